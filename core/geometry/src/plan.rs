//! Before anyone measures: what a choice of reference points and instrument can decide and miss.
//!
//! Nothing here needs a reading. The readings are taken to be where the sheet says, with the
//! uncertainty the instrument promises, and the set-up's matrices ([`crate::fit`],
//! [`crate::sensitivity`]) say the rest: the uncertainty that each point will have, whether its
//! limit can then be called inside at all ([`crate::verdict::largest_u_that_can_decide`]), and
//! which moves of a reference point would stay unnoticed.
//!
//! Units: mm. Cost: that of a check, some thirty times over for the search of
//! [`Plan::instrument_u_mm`].
//!
//! ```
//! use datumtrail_geometry::check::Target;
//! use datumtrail_geometry::frame::{Mat3, Side};
//! use datumtrail_geometry::plan::{PlanRequest, plan};
//!
//! let targets = [
//!     ("a", [200.0, -400.0, 70.0]),
//!     ("b", [200.0, 400.0, 70.0]),
//!     ("c", [1960.0, -630.0, 70.0]),
//!     ("d", [1960.0, 630.0, 70.0]),
//!     ("rail end", [3000.0, 480.0, 230.0]),
//! ]
//! .map(|(point, p)| Target::new(point, Side::Centre, p, 1.0).with_limit(1.5));
//! let references = ["a", "b", "c", "d"].map(String::from);
//! let request = PlanRequest {
//!     targets: &targets,
//!     references: &references,
//!     reading_covariance_mm2: Mat3::identity(), // u = 1 mm
//!     build_spread_mm: None,
//! };
//! let plan = plan(&request)?;
//! let rail = &plan.points[4];
//! assert_eq!(rail.length.can_decide, Some(false)); // 1 mm is too much for a limit of 1.5 mm
//! assert!(plan.instrument_u_mm.is_some_and(|u| u < 0.75));
//! # Ok::<(), datumtrail_geometry::check::CheckError>(())
//! ```

use crate::check::{
    ALPHA, Check, CheckError, Hidden, Options, Reading, Request, Target, Warning, check,
};
use crate::fit::Belief;
use crate::frame::{Axis, Mat3, Side};
use crate::sensitivity::smallest_detectable;
use crate::verdict::{Verdict, largest_u_that_can_decide};
use serde::Serialize;

/// A choice of reference points and instrument.
#[derive(Clone, Copy, Debug)]
pub struct PlanRequest<'a> {
    pub targets: &'a [Target],
    /// Names of the reference points.
    pub references: &'a [String],
    /// What the instrument promises for each reading, mm^2, along the vehicle's axes.
    pub reading_covariance_mm2: Mat3,
    /// As in [`Request`].
    pub build_spread_mm: Option<f64>,
}

/// What the choice can decide and miss.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Plan {
    /// Every point of the sheet, in its order.
    pub points: Vec<PlannedPoint>,
    pub references: Vec<PlannedReference>,
    /// What could be missed, at the point farthest from the reference points.
    pub hidden: Option<Hidden>,
    /// The largest standard uncertainty of an instrument (the same on each axis) with which every
    /// limit of the other points could be decided from these reference points; `None` without
    /// limits, or where no instrument could.
    pub instrument_u_mm: Option<f64>,
    pub warnings: Vec<Warning>,
}

/// What to expect at one point.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PlannedPoint {
    pub point: String,
    pub side: Side,
    pub is_reference: bool,
    pub length: PlannedAxis,
    pub width: PlannedAxis,
    pub height: PlannedAxis,
}

impl PlannedPoint {
    /// What to expect along one axis.
    pub fn axis(&self, axis: Axis) -> &PlannedAxis {
        match axis {
            Axis::Length => &self.length,
            Axis::Width => &self.width,
            Axis::Height => &self.height,
        }
    }
}

/// What to expect along one axis of one point.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct PlannedAxis {
    /// The standard uncertainty that the deviation will have; `None` where the other reference
    /// points could not judge it.
    pub u_mm: Option<f64>,
    pub limit_mm: Option<f64>,
    /// The largest uncertainty with which the limit can be called inside.
    pub u_needed_mm: Option<f64>,
    /// Whether a deviation of zero would be called inside; `None` without a limit.
    pub can_decide: Option<bool>,
}

/// What the others would notice about one reference point.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PlannedReference {
    pub point: String,
    /// The smallest moves along length, width, height that are found four times in five; `None`
    /// where a move of any size stays unnoticed.
    pub smallest_detectable_mm: [Option<f64>; 3],
    /// The same in the worst direction.
    pub worst_mm: Option<f64>,
}

/// Says what a choice can decide and miss.
///
/// # Errors
/// Those of [`check`].
pub fn plan(request: &PlanRequest) -> Result<Plan, CheckError> {
    let expected = expect(request, request.reading_covariance_mm2)?;
    let alpha = ALPHA / 2.0 / request.references.len() as f64;
    let references = expected
        .setup
        .used
        .iter()
        .enumerate()
        .filter_map(|(place, point)| {
            let found = smallest_detectable(expected.set_up(), place, alpha)?;
            Some(PlannedReference {
                point: point.clone(),
                smallest_detectable_mm: found.along_mm,
                worst_mm: found.worst_mm,
            })
        })
        .collect();
    Ok(Plan {
        points: points(&expected),
        references,
        hidden: expected.setup.hidden.clone(),
        instrument_u_mm: instrument(request),
        warnings: expected.setup.warnings,
    })
}

/// The check of a survey in which everything is where the sheet says.
fn expect(request: &PlanRequest, covariance: Mat3) -> Result<Check, CheckError> {
    let readings: Vec<Reading> = request
        .targets
        .iter()
        .map(|t| Reading {
            point: t.point.clone(),
            position_mm: t.position_mm,
            covariance_mm2: Some(covariance),
        })
        .collect();
    check(&Request {
        build_spread_mm: request.build_spread_mm,
        options: Options {
            screen: false,
            ..Options::default()
        },
        ..Request::new(&readings, request.targets, request.references)
    })
}

fn points(expected: &Check) -> Vec<PlannedPoint> {
    expected
        .points
        .iter()
        .map(|p| {
            let axis = |axis| {
                let result = p.axis(axis);
                PlannedAxis {
                    u_mm: result.u_mm,
                    limit_mm: result.limit_mm,
                    u_needed_mm: result
                        .limit_mm
                        .map(|limit| largest_u_that_can_decide(limit, Belief::Normal)),
                    can_decide: result.limit_mm.map(|_| result.verdict == Verdict::Inside),
                }
            };
            PlannedPoint {
                point: p.point.clone(),
                side: p.side,
                is_reference: p.is_reference,
                length: axis(Axis::Length),
                width: axis(Axis::Width),
                height: axis(Axis::Height),
            }
        })
        .collect()
}

/// The largest u of an instrument that decides every limit, to a thousandth of itself.
fn instrument(request: &PlanRequest) -> Option<f64> {
    let limits = || {
        request
            .targets
            .iter()
            .filter(|t| !request.references.contains(&t.point))
            .flat_map(|t| t.limits_mm)
            .flatten()
    };
    let smallest = limits().reduce(f64::min)?;
    let decides = |u: f64| {
        expect(request, Mat3::identity() * (u * u)).is_ok_and(|expected| {
            let undecided = points(&expected)
                .iter()
                .filter(|p| !p.is_reference)
                .any(|p| {
                    Axis::ALL
                        .iter()
                        .any(|&a| p.axis(a).can_decide == Some(false))
                });
            !undecided
        })
    };
    // More than the smallest limit decides nothing; a millionth of it is no instrument.
    let (mut low, mut high) = (smallest * 1e-6, smallest);
    if !decides(low) {
        return None;
    }
    while high / low > 1.001 {
        let middle = (low * high).sqrt();
        if decides(middle) {
            low = middle;
        } else {
            high = middle;
        }
    }
    Some(low)
}
