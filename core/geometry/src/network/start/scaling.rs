//! A first shape where too few points are placed, by multidimensional scaling: distances missing
//! between two points are filled in with the shortest way through the others, and the largest
//! eigenvectors of the doubly centred squares are the coordinates (Torgerson 1952; with shortest
//! ways: Shang, Ruml, Zhang, Fromherz 2003, "MDS-MAP"). The shape is turned onto whatever is
//! placed, else so that left and right lie as stated, else along its longest direction.
//!
//! Cost: n^3 for the shortest ways and for the eigenvectors of n points.

use nalgebra::DMatrix;

use super::Link;
use crate::frame::{Mat3, Side, Vec3};
use crate::network::local::principal;
use crate::network::model::{Network, NetworkError};

/// Multidimensional scaling with shortest ways. The third coordinate is scaled along.
pub(super) fn scaled(
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
pub(super) fn turn(network: &Network, shape: &[Vec3], placed: &[Option<Vec3>]) -> Vec<Vec3> {
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
