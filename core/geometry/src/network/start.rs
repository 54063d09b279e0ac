//! First positions for the points that the caller knows nothing about.
//!
//! 1. *What single figures say*: heights, observed coordinates, half of a printed width on either
//!    side of the centre plane.
//! 2. *Trilateration*: a point with distances to at least three placed points (two, where its
//!    height and its side are known) goes to the intersection that all its distances like best,
//!    under a loss that a wrong distance cannot pull (see [`super::local`]).
//! 3. *Multidimensional scaling* where too few points are placed: distances missing between two
//!    points are filled in with the shortest way through the others, and the largest eigenvectors
//!    of the doubly centred squares are the coordinates (Torgerson 1952; with shortest ways:
//!    Shang, Ruml, Zhang, Fromherz 2003, "MDS-MAP"). The result is turned onto whatever is placed,
//!    else so that left and right lie as stated, else along its longest direction.
//! 4. *Descent* of all positions under Cauchy's loss, loosened at first, and the trial of every
//!    point's mirror images.
//!
//! None of this weighs in the result: it only decides which minimum the adjustment starts in.

use nalgebra::DMatrix;

use super::local::{Local, principal};
use super::model::{Network, NetworkError};
use super::quantity::Quantity;
use super::settle::{Loss, System};
use super::trilaterate::{three_spheres, two_circles};
use crate::frame::{Axis, Mat3, Side, Vec3};

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

/// Multidimensional scaling with shortest ways. The third coordinate is scaled along.
fn scaled(
    network: &Network,
    links: &[Link],
    placed: &[Option<Vec3>],
) -> Result<Vec<Vec3>, NetworkError> {
    let n = network.points().len();
    let mut d = DMatrix::from_element(n, n, f64::INFINITY);
    let mut shorten = |a: usize, b: usize, mm: f64| {
        d[(a, b)] = mm.min(d[(a, b)]);
        d[(b, a)] = d[(a, b)];
    };
    for a in 0..n {
        shorten(a, a, 0.0);
        for b in 0..a {
            if let (Some(p), Some(q)) = (placed[a], placed[b]) {
                shorten(a, b, (p - q).norm());
            }
        }
    }
    for link in links {
        shorten(link.a, link.b, link.mm);
    }
    for via in 0..n {
        for a in 0..n {
            for b in 0..n {
                let way = d[(a, via)] + d[(via, b)];
                if way < d[(a, b)] {
                    d[(a, b)] = way;
                }
            }
        }
    }
    let apart: Vec<&str> = (network.points().iter().enumerate())
        .filter(|(p, _)| d[(0, *p)].is_infinite())
        .map(|(_, point)| point.name.as_str())
        .collect();
    if !apart.is_empty() {
        return Err(NetworkError::Apart {
            names: apart.join(", "),
        });
    }
    let squares = d.map(|v| v * v);
    let rows = squares.column_mean();
    let mean = rows.mean();
    let centred = DMatrix::from_fn(n, n, |a, b| {
        -0.5 * (squares[(a, b)] - rows[a] - rows[b] + mean)
    });
    let eigen = centred.symmetric_eigen();
    let mut order: Vec<usize> = (0..n).collect();
    order.sort_by(|a, b| eigen.eigenvalues[*b].total_cmp(&eigen.eigenvalues[*a]));
    Ok((0..n)
        .map(|p| {
            let mut position = Vec3::zeros();
            for (axis, &i) in order.iter().take(3).enumerate() {
                position[axis] = eigen.eigenvectors[(p, i)] * eigen.eigenvalues[i].max(0.0).sqrt();
            }
            position
        })
        .collect())
}

/// Turns a shape onto the placed points; without enough of them, by the sides.
fn turn(network: &Network, shape: &[Vec3], placed: &[Option<Vec3>]) -> Vec<Vec3> {
    let pairs: Vec<(Vec3, Vec3)> = (shape.iter().zip(placed))
        .filter_map(|(s, p)| p.map(|p| (*s, p)))
        .collect();
    if pairs.len() >= 3 {
        return onto(shape, &pairs);
    }
    let upright = upright(network, shape);
    // One or two placed points fix where, and which way, as far as they can.
    let shift = (upright.iter().zip(placed)).find_map(|(s, p)| p.map(|p| p - s));
    let shift = shift.unwrap_or_else(Vec3::zeros);
    upright.into_iter().map(|p| p + shift).collect()
}

/// The orthogonal map, mirror images allowed, that brings the first of each pair nearest to the
/// second (Schoenemann 1966).
fn onto(shape: &[Vec3], pairs: &[(Vec3, Vec3)]) -> Vec<Vec3> {
    let count = pairs.len() as f64;
    let from = pairs.iter().map(|(s, _)| s).sum::<Vec3>() / count;
    let to = pairs.iter().map(|(_, p)| p).sum::<Vec3>() / count;
    let cross: Mat3 = (pairs.iter())
        .map(|(s, p)| (p - to) * (s - from).transpose())
        .sum();
    let svd = cross.svd(true, true);
    let (Some(u), Some(vt)) = (svd.u, svd.v_t) else {
        return shape.to_vec();
    };
    let map = u * vt;
    shape.iter().map(|s| map * (s - from) + to).collect()
}

/// The longest direction along x; where sides are stated, left to right along y instead. The
/// third direction stays up.
fn upright(network: &Network, shape: &[Vec3]) -> Vec<Vec3> {
    let mean = |side: Side| {
        let on: Vec<&Vec3> = (network.points().iter().zip(shape))
            .filter(|(point, _)| point.side == Some(side))
            .map(|(_, s)| s)
            .collect();
        let count = on.len() as f64;
        (!on.is_empty()).then(|| on.into_iter().sum::<Vec3>() / count)
    };
    let across = (mean(Side::Left).zip(mean(Side::Right)))
        .and_then(|(l, r)| Vec3::new(r.x - l.x, r.y - l.y, 0.0).try_normalize(1e-6));
    let ey = match across {
        Some(across) => across,
        None => match principal(shape) {
            Some((_, along)) => Vec3::new(-along.y, along.x, 0.0)
                .try_normalize(1e-9)
                .unwrap_or(Vec3::y()),
            None => Vec3::y(),
        },
    };
    let ex = Vec3::new(ey.y, -ey.x, 0.0);
    (shape.iter())
        .map(|s| Vec3::new(ex.dot(s), ey.dot(s), s.z))
        .collect()
}

/// Descends robustly and tries mirror images; where the figures still disagree, begins again with
/// other heights. Distances in a flat structure leave many ups and downs to choose from.
fn refine(system: &System, known: &Partial, at: &mut Vec<Vec3>) -> Result<(), NetworkError> {
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
    Ok(())
}

/// How often to begin again at most.
const RESTARTS: usize = 24;
/// The same best answer this often again is taken for the best there is: blunders remain then.
const CONVINCING: usize = 4;

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
pub(super) fn near_enough<T>(result: Result<T, NetworkError>) -> Result<(), NetworkError> {
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
