//! Coordinates from a sheet that prints only distances, as far as these suffice.
//!
//! The sheet's figures are adjusted as one network ([`super::audit`] compares them the same way),
//! folded: the right side of each station, mirrored for the left. Heights count from the datum
//! plane and widths from the centre plane; along the vehicle distances only give differences, and
//! not which way is forward. So the caller says which of two stations is nearer to the front; its
//! length becomes zero.
//!
//! A station is placed where all three coordinates are determined, no other place fits its figures
//! nearly as well, and it hangs together with the two stations named. What is not placed is listed,
//! never guessed.
//!
//! The method and its sources are those of [`crate::network`]; a length from the front station has
//! the variance C_ii + C_ff - 2 C_if of a difference. Millimetres in and out.
//!
//! ```
//! use datumtrail_geometry::audit::{End, Figure, Printed, Sheet, Station, positions};
//!
//! let stations = ["A", "B", "C"].map(|name| Station::new(name, 1.0)).to_vec();
//! let end = |station| End { station, side: None };
//! let one = |what, a, value_mm| Figure { what, a: end(a), b: None, value_mm, step_mm: 1.0 };
//! let two = |a, b, value_mm| Figure {
//!     what: Printed::Length, a: end(a), b: Some(end(b)), value_mm, step_mm: 1.0,
//! };
//! let mut figures = vec![two(0, 1, 400.0), two(1, 2, 500.0), two(0, 2, 900.0)];
//! for (station, width, height) in [(0, 800.0, 20.0), (1, 820.0, 30.0), (2, 900.0, 10.0)] {
//!     figures.push(one(Printed::Width, station, width));
//!     figures.push(one(Printed::Height, station, height));
//! }
//! let found = positions(&Sheet { stations, figures }, 0, 2, 0.05)?;
//! let b = &found.placed[1];
//! assert!((b.right - nalgebra::Vector3::new(400.0, 410.0, 30.0)).norm() < 1e-6);
//! // Three lengths that close know each better than its rounding does.
//! assert!(b.u_mm[0] < 1.0 / 12f64.sqrt());
//! # Ok::<(), datumtrail_geometry::audit::AuditError>(())
//! ```

use super::finding::Meaning;
use super::layout::Layout;
use super::sheet::{AuditError, Sheet};
use super::whole;
use crate::frame::{Axis, Vec3};
use crate::network::{Network, Options, Solution};

/// A station whose place the figures determine.
#[derive(Clone, Debug, PartialEq)]
pub struct Placed {
    /// Its place in the sheet's list.
    pub station: usize,
    /// Its right-hand point, mm, vehicle frame; the left one is its mirror image. On the centre
    /// line the width is zero.
    pub right: Vec3,
    /// Standard uncertainty of length, width and height, mm.
    pub u_mm: [f64; 3],
}

/// The coordinates that a sheet's distances determine.
#[derive(Clone, Debug, PartialEq)]
pub struct Positions {
    /// In the order of the sheet.
    pub placed: Vec<Placed>,
    /// Stations that are not placed, and why, in words.
    pub open: Vec<(usize, String)>,
    /// How distances whose kind the sheet does not say were read.
    pub meaning: Meaning,
}

/// Solves for coordinates. `front` and `rear` are two stations by their places, `front` the one
/// nearer to the vehicle's front.
///
/// # Errors
/// As [`super::audit`]; [`AuditError::NoNetwork`] where the figures do not join the two stations,
/// do not settle, or the sheet can be read in several ways.
pub fn positions(
    sheet: &Sheet,
    front: usize,
    rear: usize,
    alpha: f64,
) -> Result<Positions, AuditError> {
    sheet.check()?;
    let refused = |why: &str| AuditError::NoNetwork {
        why: why.to_owned(),
    };
    if sheet.stations.iter().any(|s| s.has_positions()) {
        return Err(refused("the sheet prints positions itself"));
    }
    let meaning = whole::best_meaning(sheet, alpha)
        .ok_or_else(|| refused("its distances can be read in several ways that fit alike"))?;
    let layout = Layout::of(sheet, meaning);
    let group = (layout.groups().into_iter())
        .find(|group| group.contains(&front) && group.contains(&rear))
        .ok_or_else(|| refused("its figures do not join these two points"))?;
    let (points, observations, _) = layout.part(&group);
    let solution = Network::new(points, observations)
        .and_then(|network| {
            network.adjust(&Options {
                alpha,
                ..Options::default()
            })
        })
        .map_err(|e| refused(&e.to_string()))?;
    let found = placed(sheet, &solution, &group, (front, rear), meaning);
    // Everything hangs on the two: where one of them has two places, so has everything else.
    for named in [front, rear] {
        if let Some((_, why)) = found.open.iter().find(|(station, _)| *station == named) {
            let name = (sheet.stations.get(named)).map_or("a point", |s| s.name.as_str());
            return Err(refused(&format!(
                "{name} can't be placed itself, since {why}; name another"
            )));
        }
    }
    Ok(found)
}

fn placed(
    sheet: &Sheet,
    solution: &Solution,
    group: &[usize],
    (front, rear): (usize, usize),
    meaning: Meaning,
) -> Positions {
    let at = |station: usize| group.iter().position(|&s| s == station);
    let origin = at(front).unwrap_or_default();
    let located = |place: usize| solution.points.get(place);
    let x = |station| at(station).and_then(located).map_or(0.0, |p| p.position.x);
    let zero = x(front);
    let forward = if x(rear) < zero { -1.0 } else { 1.0 };
    // The mirror image fits a folded sheet as well; the right side is meant.
    let right = if solution.points.iter().map(|p| p.position.y).sum::<f64>() < 0.0 {
        -1.0
    } else {
        1.0
    };
    let elsewhere: Vec<usize> = (solution.alternatives.iter())
        .flat_map(|alternative| &alternative.points)
        .map(|(place, _)| *place)
        .collect();
    let mut found = Positions {
        placed: Vec::new(),
        open: Vec::new(),
        meaning,
    };
    for station in 0..sheet.stations.len() {
        let Some((place, point)) = at(station).and_then(|p| Some((p, located(p)?))) else {
            let why = "no figure joins it to the others".to_owned();
            found.open.push((station, why));
            continue;
        };
        let open = point.undetermined_axes();
        if !open.is_empty() {
            let axes: Vec<&str> = open.into_iter().map(Axis::word).collect();
            let why = format!("its figures leave open its {}", axes.join(" and "));
            found.open.push((station, why));
            continue;
        }
        let p = point.position;
        if elsewhere.contains(&place) || right * p.y < -1e-6 {
            let why = "its figures fit in two places alike".to_owned();
            found.open.push((station, why));
            continue;
        }
        let own = point.covariance;
        let along = own[(0, 0)] + solution.covariance(origin, origin)[(0, 0)]
            - 2.0 * solution.covariance(place, origin)[(0, 0)];
        let variances = [along, own[(1, 1)], own[(2, 2)]];
        found.placed.push(Placed {
            station,
            // Adding zero takes the sign off a zero.
            right: Vec3::new(forward * (p.x - zero) + 0.0, right * p.y + 0.0, p.z),
            u_mm: variances.map(|v| v.max(0.0).sqrt()),
        });
    }
    found
}
