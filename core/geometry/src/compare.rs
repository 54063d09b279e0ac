//! What moved between two surveys, independent of the sheet.
//!
//! The second survey is set up on the first: the readings of the reference points in the first
//! survey take the place of the sheet, with their own covariances in the place of the print's.
//! So the sheet's rounding and the vehicle's build spread drop out, and what is left is movement
//! with the uncertainty of the two readings and of the set-up between them. The first survey's own
//! set-up on the sheet serves for directions only.
//!
//! A point *moved* when the movement's three components together exceed what chance allows:
//! `m' C^-1 m` against chi-square with three degrees of freedom at [`ALPHA`] over the number of
//! points asked about. Reference points are judged by the others, as in [`crate::check`], and
//! screened in the same way: one that moved between the surveys is named. Where the reference
//! points disagree and nothing explains it, no point is said to have moved or stayed.
//!
//! Units: mm. Cost: that of a check.
//!
//! ```
//! use datumtrail_geometry::check::{Reading, Request, Target, check};
//! use datumtrail_geometry::compare::{Movement, compare};
//! use datumtrail_geometry::frame::Side;
//!
//! let sheet = [
//!     ("a", [200.0, -400.0, 70.0]),
//!     ("b", [200.0, 400.0, 70.0]),
//!     ("c", [1960.0, -630.0, 70.0]),
//!     ("d", [1960.0, 630.0, 70.0]),
//!     ("rail end", [3000.0, 480.0, 230.0]),
//! ];
//! let targets = sheet.map(|(p, at)| Target::new(p, Side::Right, at, 1.0));
//! let references = ["a", "b", "c", "d"].map(String::from);
//! // As found, the rail end is 12 mm too far forward; finally, 1 mm.
//! let survey = |forward: f64, shift: f64| {
//!     sheet.map(|(p, [x, y, z])| {
//!         let off = if p == "rail end" { forward } else { 0.0 };
//!         Reading::new(p, [x - off + shift, y, z], Some(0.3))
//!     })
//! };
//! let (found, last) = (survey(12.0, 500.0), survey(1.0, -80.0));
//! let before = check(&Request::new(&found, &targets, &references))?;
//! let comparison = compare(&before, &found, &last, &references)?;
//! let rail = &comparison.points[4];
//! assert_eq!(rail.movement, Movement::Moved);
//! assert!((rail.moved_mm.ok_or("measured")?[0] - 11.0).abs() < 1e-9); // 11 mm rearward
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use crate::check::{
    ALPHA, Check, CheckError, PointResult, Reading, Request, SetUpResult, Target, Warning, check,
};
use crate::fit::SetUp;
use crate::frame::{Side, Vec3};
use crate::stats;
use serde::Serialize;
use std::collections::HashMap;

/// Whether a point moved between the surveys.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Movement {
    /// By more than chance allows.
    Moved,
    /// By no more than chance allows: it may have moved by less than can be seen.
    NotSeenToMove,
    /// The reference points disagree, or cannot judge this one, or no uncertainty was stated.
    Undecided,
    /// In one of the surveys only.
    NotMeasuredTwice,
}

/// One point of either survey.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Moved {
    pub point: String,
    pub side: Side,
    pub is_reference: bool,
    /// Length, width, height of the movement, vehicle frame.
    pub moved_mm: Option<[f64; 3]>,
    /// Its standard uncertainties.
    pub u_mm: Option<[f64; 3]>,
    pub distance_mm: Option<f64>,
    /// The probability of so large a movement or larger by chance.
    pub p: Option<f64>,
    pub movement: Movement,
}

/// What moved between two surveys.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Comparison {
    /// How the reference points of the two surveys fit each other.
    pub setup: SetUpResult,
    /// The points of the first survey in its order, then those of the second alone.
    pub points: Vec<Moved>,
}

/// Compares a later survey with an earlier one. `before` is the check of the earlier survey
/// against the sheet, `first` and `second` are the readings of the two, and `references` names the
/// points that are taken to have stayed.
///
/// # Errors
/// Those of [`check`]; "the sheet" in their words is the first survey here.
pub fn compare(
    before: &Check,
    first: &[Reading],
    second: &[Reading],
    references: &[String],
) -> Result<Comparison, CheckError> {
    let sides: HashMap<&str, Side> = before
        .points
        .iter()
        .map(|p| (p.point.as_str(), p.side))
        .collect();
    let side = |point: &str| sides.get(point).copied().unwrap_or(Side::Centre);
    let targets: Vec<Target> = first
        .iter()
        .map(|r| as_target(r, before.set_up(), side(&r.point)))
        .collect();
    // A movement has an uncertainty only when both its readings have one.
    let unstated: Vec<&str> = first
        .iter()
        .filter(|r| r.covariance_mm2.is_none())
        .map(|r| r.point.as_str())
        .collect();
    let readings: Vec<Reading> = second
        .iter()
        .map(|r| Reading {
            covariance_mm2: r
                .covariance_mm2
                .filter(|_| !unstated.contains(&r.point.as_str())),
            ..r.clone()
        })
        .collect();
    let mut answer = check(&Request::new(&readings, &targets, references))?;
    answer
        .setup
        .warnings
        .retain(|w| *w != Warning::BuildSpreadNotStated);

    let asked = answer.points.iter().filter(|p| p.reading_mm.is_some());
    let critical_p = ALPHA / asked.count().max(1) as f64;
    let mut points: Vec<Moved> = answer
        .points
        .iter()
        .map(|p| moved(p, answer.setup.doubtful, critical_p))
        .collect();
    points.extend(answer.not_on_sheet.iter().map(|p| Moved {
        point: p.point.clone(),
        side: side(&p.point),
        is_reference: false,
        moved_mm: None,
        u_mm: None,
        distance_mm: None,
        p: None,
        movement: Movement::NotMeasuredTwice,
    }));
    Ok(Comparison {
        setup: answer.setup,
        points,
    })
}

/// A first reading in the place of a sheet's position.
fn as_target(reading: &Reading, set_up: &SetUp, side: Side) -> Target {
    let own = reading.covariance_mm2.unwrap_or_default();
    Target {
        point: reading.point.clone(),
        side,
        position_mm: set_up.apply(reading.position_mm),
        print_covariance_mm2: set_up.rotation * own * set_up.rotation.transpose(),
        limits_mm: [None; 3],
    }
}

fn moved(point: &PointResult, doubtful: bool, critical_p: f64) -> Moved {
    let mut result = Moved {
        point: point.point.clone(),
        side: point.side,
        is_reference: point.is_reference,
        moved_mm: None,
        u_mm: None,
        distance_mm: point.distance_mm,
        p: None,
        movement: Movement::NotMeasuredTwice,
    };
    if point.reading_mm.is_none() {
        return result;
    }
    result.movement = Movement::Undecided;
    let axes = [&point.length, &point.width, &point.height];
    let [Some(x), Some(y), Some(z)] = axes.map(|a| a.deviation_mm) else {
        return result; // a reference point that the others cannot judge on every axis
    };
    result.moved_mm = Some([x, y, z]);
    let Some(covariance) = point.covariance_mm2 else {
        return result;
    };
    result.u_mm = Some([0, 1, 2].map(|k| covariance[(k, k)].max(0.0).sqrt()));
    let Some(decomposed) = covariance.cholesky() else {
        return result;
    };
    let by = Vec3::new(x, y, z);
    let p = stats::chi2_exceeds(by.dot(&decomposed.solve(&by)), 3);
    result.p = Some(p);
    if !doubtful {
        result.movement = if p < critical_p {
            Movement::Moved
        } else {
            Movement::NotSeenToMove
        };
    }
    result
}
