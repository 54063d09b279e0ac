//! First positions for the points that the caller knows nothing about.
//!
//! 1. *What single figures say*: heights, observed coordinates, half of a printed width on either
//!    side of the centre plane.
//! 2. *Trilateration*: a point with distances to at least three placed points (two, where its
//!    height and its side are known) goes to the intersection that all its distances like best,
//!    under a loss that a wrong distance cannot pull (see [`super::local`]).
//! 3. *Multidimensional scaling* where too few points are placed ([`scaling`]).
//! 4. *Descent* of all positions under Cauchy's loss, loosened at first, and the trial of every
//!    point's mirror images ([`refine`]).
//!
//! None of this weighs in the result: it only decides which minimum the adjustment starts in.

mod refine;
mod scaling;

use super::local::Local;
use super::model::{Network, NetworkError};
use super::quantity::Quantity;
use super::settle::{Loss, System};
use super::trilaterate::{three_spheres, two_circles};
use crate::frame::{Axis, Vec3};
pub(super) use refine::near_enough;
use refine::refine;
use scaling::{scaled, turn};

/// A distance between two points, near enough to start from.
struct Link {
    a: usize,
    b: usize,
    mm: f64,
    /// Whether it ignores heights.
    level: bool,
}

/// Coordinates known one by one.
type Partial = Vec<[Option<f64>; 3]>;

/// Positions for all points.
///
/// # Errors
/// [`NetworkError::Apart`] when some points cannot be reached from the rest.
pub(super) fn first_positions(network: &Network) -> Result<Vec<Vec3>, NetworkError> {
    let stated: Vec<Option<Vec3>> = network.points().iter().map(|p| p.stated()).collect();
    if let Some(all) = stated.iter().copied().collect() {
        return Ok(all);
    }
    let known = single_figures(network, &stated);
    let links = links(network, &known);
    let system = System::new(network);
    let mut placed: Vec<Option<Vec3>> = known.iter().map(complete).collect();
    if placed.iter().flatten().count() >= 3 {
        trilaterate_all(&system, &known, &links, &mut placed);
    }
    let mut at: Vec<Vec3> = if let Some(all) = placed.iter().copied().collect() {
        all
    } else {
        let shape = scaled(network, &links, &placed)?;
        let turned = turn(network, &shape, &placed);
        (placed.iter().zip(turned))
            .map(|(p, t)| p.unwrap_or(t))
            .collect()
    };
    for (p, known) in at.iter_mut().zip(&known) {
        for axis in 0..3 {
            p[axis] = known[axis].unwrap_or(p[axis]);
        }
    }
    refine(&system, &known, &mut at)?;
    Ok(at)
}

fn complete(c: &[Option<f64>; 3]) -> Option<Vec3> {
    Some(Vec3::new(c[0]?, c[1]?, c[2]?))
}

fn single_figures(network: &Network, stated: &[Option<Vec3>]) -> Partial {
    let mut known: Partial = (stated.iter())
        .map(|p| p.map_or([None; 3], |p| [Some(p.x), Some(p.y), Some(p.z)]))
        .collect();
    let fill = |slot: &mut Option<f64>, value: f64| {
        slot.get_or_insert(value);
    };
    for o in network.observations() {
        match o.quantity {
            Quantity::Coordinate { point, axis } => {
                fill(&mut known[point][axis.index()], o.value_mm);
            }
            Quantity::Span { point } => fill(&mut known[point][1], o.value_mm / 2.0),
            Quantity::Width { left, right } => {
                match (known[left][1], known[right][1]) {
                    (None, None) => {
                        known[left][1] = Some(-o.value_mm / 2.0);
                        known[right][1] = Some(o.value_mm / 2.0);
                    }
                    (Some(y), None) => known[right][1] = Some(y + o.value_mm),
                    (None, Some(y)) => known[left][1] = Some(y - o.value_mm),
                    (Some(_), Some(_)) => {}
                };
            }
            _ => {}
        }
    }
    // Height differences pass heights on, as far as they reach.
    for _ in network.points() {
        for o in network.observations() {
            if let Quantity::HeightDifference { from, to } = o.quantity {
                match (known[from][2], known[to][2]) {
                    (Some(z), None) => known[to][2] = Some(z + o.value_mm),
                    (None, Some(z)) => known[from][2] = Some(z - o.value_mm),
                    _ => {}
                }
            }
        }
    }
    known
}

fn links(network: &Network, known: &Partial) -> Vec<Link> {
    let difference =
        |a: usize, b: usize, axis: Axis| Some(known[a][axis.index()]? - known[b][axis.index()]?);
    let mut links = Vec::new();
    for o in network.observations() {
        let (a, Some(b)) = o.quantity.points() else {
            continue;
        };
        let v = o.value_mm;
        let across = difference(a, b, Axis::Width);
        let up = difference(a, b, Axis::Height);
        let to_mirror = (known[a][1].zip(known[b][1])).map(|(ya, yb)| ya + yb);
        // A diagonal runs to the mirror image: exchange that way across for the direct one.
        let direct = |square: f64| {
            let across = to_mirror.zip(across);
            across.map(|(far, near)| (square - far * far + near * near).max(0.0).sqrt())
        };
        let (mm, level) = match o.quantity {
            Quantity::TrueDistance { .. } => match up {
                Some(up) => ((v * v - up * up).max(0.0).sqrt(), true),
                None => (v, false),
            },
            Quantity::LevelDistance { .. } | Quantity::Width { .. } => (v.abs(), true),
            Quantity::Length { .. } => (v.hypot(across.unwrap_or(0.0)), true),
            Quantity::LevelDiagonal { .. } => (direct(v * v).unwrap_or(v), true),
            Quantity::TrueDiagonal { .. } => {
                let up = up.unwrap_or(0.0);
                (direct(v * v - up * up).unwrap_or(v), true)
            }
            _ => continue,
        };
        links.push(Link { a, b, mm, level });
    }
    // The order of the readings must not matter.
    links.sort_by(|l, r| (l.a, l.b).cmp(&(r.a, r.b)).then(l.mm.total_cmp(&r.mm)));
    links
}

/// Places every point that has enough distances to placed ones, until nothing changes.
fn trilaterate_all(system: &System, known: &Partial, links: &[Link], placed: &mut [Option<Vec3>]) {
    let base = middle_height(placed, known);
    loop {
        // The point with the most distances to placed ones goes first.
        let next = (0..placed.len())
            .filter(|&p| placed[p].is_none())
            .map(|p| (anchors(p, links, placed), p))
            .filter(|(anchors, p)| {
                anchors.len() >= 3 || (anchors.len() == 2 && known[*p][1].is_some())
            })
            .max_by_key(|(anchors, p)| (anchors.len(), usize::MAX - p));
        let Some((anchors, point)) = next else {
            return;
        };
        let height = known[point][2];
        let mut candidates = Vec::new();
        for (i, (a, la)) in anchors.iter().enumerate() {
            for (k, (b, lb)) in anchors.iter().enumerate().skip(i + 1) {
                let level = height.unwrap_or(base);
                candidates.extend(
                    two_circles([*a, *b], [la.mm, lb.mm], level)
                        .into_iter()
                        .flatten(),
                );
                if height.is_none() && !la.level && !lb.level {
                    for (c, lc) in anchors.iter().skip(k + 1).filter(|(_, l)| !l.level) {
                        let spheres = three_spheres([*a, *b, *c], [la.mm, lb.mm, lc.mm]);
                        candidates.extend(spheres.into_iter().flatten());
                    }
                }
            }
        }
        let mut at: Vec<Vec3> = placed.iter().map(|p| p.unwrap_or_default()).collect();
        let mut local = Local::new(system, point, |_, _| 0.0);
        local.keep_only(|far| placed[far].is_some());
        let loss = Loss::Cauchy(3.0);
        let mut scored: Vec<(f64, Vec3)> = (candidates.into_iter())
            .map(|mut candidate| {
                for axis in 0..3 {
                    candidate[axis] = known[point][axis].unwrap_or(candidate[axis]);
                }
                at[point] = candidate;
                (local.cost(&at, loss), candidate)
            })
            .collect();
        scored.sort_by(|a, b| a.0.total_cmp(&b.0));
        let best = (scored.into_iter().take(6))
            .map(|(_, candidate)| {
                at[point] = candidate;
                (local.settle(&mut at, loss), at[point])
            })
            .min_by(|a, b| a.0.total_cmp(&b.0));
        match best {
            Some((_, position)) => placed[point] = Some(position),
            None => return,
        }
    }
}

fn anchors<'l>(point: usize, links: &'l [Link], placed: &[Option<Vec3>]) -> Vec<(Vec3, &'l Link)> {
    (links.iter())
        .filter_map(|link| {
            let far = match point {
                p if p == link.a => link.b,
                p if p == link.b => link.a,
                _ => return None,
            };
            placed[far].map(|position| (position, link))
        })
        // More than ten would only cost time: pairs and triples grow fast.
        .take(10)
        .collect()
}

fn middle_height(placed: &[Option<Vec3>], known: &Partial) -> f64 {
    let heights: Vec<f64> = (placed.iter().zip(known))
        .filter_map(|(p, k)| p.map(|p| p.z).or(k[2]))
        .collect();
    heights.iter().sum::<f64>() / heights.len().max(1) as f64
}
