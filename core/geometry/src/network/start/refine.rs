//! From rough first positions to the start of the adjustment: descents under Cauchy's loss, the
//! trial of every point's mirror images, and new beginnings with other heights.

use super::Partial;
use crate::frame::Vec3;
use crate::network::local::Local;
use crate::network::model::NetworkError;
use crate::network::quantity::Quantity;
use crate::network::settle::{Loss, System};

/// Descends robustly and tries mirror images; where the figures still disagree, begins again with
/// other heights. Distances in a flat structure leave many ups and downs to choose from.
pub(super) fn refine(
    system: &System,
    known: &Partial,
    at: &mut Vec<Vec3>,
) -> Result<(), NetworkError> {
    for c in [300.0, 30.0] {
        // The loss is loose first, so that rough positions feel every figure.
        near_enough(system.settle(at, Loss::Cauchy(c)))?;
    }
    let mut cost = polish(system, at)?;
    let open: Vec<usize> = (movable(system).into_iter())
        .filter(|&p| known[p][2].is_none())
        .collect();
    let base = at.iter().map(|p| p.z).sum::<f64>() / at.len() as f64;
    let squares: f64 = at.iter().map(|p| (p.z - base).powi(2)).sum();
    let spread = (squares / at.len() as f64).sqrt().max(50.0);
    let mut random = Random(1);
    let mut same = 0;
    // The mirror images of a few points have all been tried one by one.
    let restarts = if open.len() > 3 { RESTARTS } else { 0 };
    for attempt in 0..restarts {
        if same == CONVINCING || !disagrees(system, at) {
            break;
        }
        let mut other = at.clone();
        for &p in &open {
            // By turns: all heights anew, or a third of them to the other side.
            if attempt % 2 == 0 {
                other[p].z = base + spread * random.between(-1.7, 1.7);
            } else if random.between(0.0, 3.0) < 1.0 {
                other[p].z = 2.0 * base - other[p].z;
            }
        }
        sweep(system, &mut other, Loss::Cauchy(30.0));
        let other_cost = polish(system, &mut other)?;
        if (other_cost - cost).abs() < 1e-3 {
            same += 1;
        } else if other_cost < cost {
            (*at, cost, same) = (other, other_cost, 0);
        }
    }
    for _ in 0..TURNS {
        if !disagrees(system, at) || !try_turning_lengths(system, at) {
            break;
        }
        polish(system, at)?;
    }
    Ok(())
}

/// How often to begin again at most.
const RESTARTS: usize = 24;
/// The same best answer this often again is taken for the best there is: blunders remain then.
const CONVINCING: usize = 4;

/// How often to go through all lengths for one that points the other way.
const TURNS: usize = 3;

/// Whether any figure is off by more than chance would have it in a network of hundreds.
fn disagrees(system: &System, at: &[Vec3]) -> bool {
    (system.used()).any(|(_, o)| (o.value_mm - o.quantity.predict(at)).abs() > 3.5 * o.u_mm)
}

/// Descends and tries mirror images by turns until neither helps; returns the cost.
fn polish(system: &System, at: &mut Vec<Vec3>) -> Result<f64, NetworkError> {
    let loss = Loss::Cauchy(3.0);
    near_enough(system.settle(at, loss))?;
    for _ in 0..10 {
        if !try_reflections(system, at) {
            break;
        }
        near_enough(system.settle(at, loss))?;
    }
    Ok(system.cost(at, loss))
}

/// A start need not be a minimum: the adjustment itself insists on one.
pub(in crate::network) fn near_enough<T>(
    result: Result<T, NetworkError>,
) -> Result<(), NetworkError> {
    match result {
        Ok(_) | Err(NetworkError::NotSettled { .. }) => Ok(()),
        Err(other) => Err(other),
    }
}

/// Settles every point in turn, mirror images included, until nothing gains.
fn sweep(system: &System, at: &mut [Vec3], loss: Loss) {
    for _ in 0..30 {
        let before = system.cost(at, loss);
        for point in movable(system) {
            let local = Local::new(system, point, |_, _| 0.0);
            local.settle(at, loss);
            better_reflection(&local, at, loss);
        }
        if system.cost(at, loss) > before - 1.0 {
            break;
        }
    }
}

fn movable(system: &System) -> Vec<usize> {
    (0..system.column.len())
        .filter(|&p| system.column[p].is_some())
        .collect()
}

/// Moves each point to a mirror image that fits clearly better; says whether any did.
fn try_reflections(system: &System, at: &mut [Vec3]) -> bool {
    let mut any = false;
    for point in movable(system) {
        let local = Local::new(system, point, |_, _| 0.0);
        any |= better_reflection(&local, at, Loss::Cauchy(3.0));
    }
    any
}

/// A length says how far, not which way: puts each point to the other side of each of its lengths,
/// lets its neighbours follow, and keeps what fits clearly better. Says whether anything did.
/// (One point alone may be held on the wrong side by neighbours that followed it there.)
fn try_turning_lengths(system: &System, at: &mut Vec<Vec3>) -> bool {
    let loss = Loss::Cauchy(3.0);
    let mut any = false;
    let mut cost = system.cost(at, loss);
    for (_, o) in system.used() {
        let Quantity::Length { from, to } = o.quantity else {
            continue;
        };
        for (point, far) in [(from, to), (to, from)] {
            if system.column[point].is_none() {
                continue;
            }
            let mut turned = at.clone();
            turned[point].x = 2.0 * at[far].x - at[point].x;
            let local = Local::new(system, point, |_, _| 0.0);
            for neighbour in local.neighbours() {
                if system.column[neighbour].is_some() {
                    Local::new(system, neighbour, |_, _| 0.0).settle(&mut turned, loss);
                }
            }
            local.settle(&mut turned, loss);
            let turned_cost = system.cost(&turned, loss);
            if turned_cost < cost - 1.0 {
                (*at, cost, any) = (turned, turned_cost, true);
            }
        }
    }
    any
}

fn better_reflection(local: &Local, at: &mut [Vec3], loss: Loss) -> bool {
    let point = local.point;
    let here = at[point];
    let mut best = (local.cost(at, loss) - 1.0, here);
    for candidate in local.reflections(at) {
        at[point] = candidate;
        let cost = local.settle(at, loss);
        if cost < best.0 {
            best = (cost, at[point]);
        }
    }
    at[point] = best.1;
    best.1 != here
}

/// SplitMix64 (Steele, Lea, Flood 2014): the same restarts on every machine.
struct Random(u64);

impl Random {
    fn between(&mut self, low: f64, high: f64) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        low + (high - low) * ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }
}
