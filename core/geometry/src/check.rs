//! A whole survey in one pure call: set-up, deviations, verdicts, and what to be warned of.
//!
//! [`check`] takes readings in the instrument's frame, the sheet's positions, and the names of the
//! reference points, and answers for every point of the sheet, axis by axis. What it does, in
//! order:
//!
//! 1. finds the set-up from the reference points ([`crate::fit`]) and screens them
//!    ([`crate::screen`]): a point named as moved is left out and judged like any other; where
//!    something is wrong and cannot be named, nothing is called inside;
//! 2. says what could still have been missed ([`crate::sensitivity`]);
//! 3. places every other reading, and takes its deviation with the uncertainty of the reading, the
//!    rounding of the print and the set-up together;
//! 4. judges each reference point by the others ([`crate::fit::Judged`]);
//! 5. gives the verdicts ([`crate::verdict`]).
//!
//! **Build spread** (how far an undamaged vehicle may itself be from the sheet) loosens the
//! reference points' hold on the set-up. It is not part of a deviation's own uncertainty: a limit
//! is about the distance to the sheet, whatever caused it. Tests for *movement* need it, and
//! [`Deviations::covariance_for_movement`] adds it.
//!
//! **No stated uncertainty**: when a reference point's reading comes without one, the set-up gives
//! equal weights, no deviation has an uncertainty, and the comparison is plain; results and
//! warnings say so.
//!
//! Units: millimetres. Points come back in the order of the sheet, so the order of the readings
//! changes nothing. Cost: linear in the points; [`Check::deviations`] is quadratic.
//!
//! ```
//! use datumtrail_geometry::check::{Reading, Request, Target, check};
//! use datumtrail_geometry::frame::{Side, Vec3};
//! use datumtrail_geometry::verdict::Verdict;
//!
//! let sheet = [
//!     ("a", [0.0, -400.0, 70.0]),
//!     ("b", [0.0, 400.0, 70.0]),
//!     ("c", [1900.0, -450.0, 10.0]),
//!     ("d", [1900.0, 450.0, 10.0]),
//!     ("rail end", [3000.0, 500.0, 230.0]),
//! ];
//! let targets: Vec<Target> = sheet
//!     .iter()
//!     .map(|&(point, p)| Target::new(point, Side::Centre, p, 1.0).with_limit(3.0))
//!     .collect();
//! // The instrument's frame is shifted; the rail end sits 7 mm too far forward.
//! let readings: Vec<Reading> = sheet
//!     .iter()
//!     .map(|&(point, [x, y, z])| {
//!         let forward = if point == "rail end" { 7.0 } else { 0.0 };
//!         Reading::new(point, [x - forward + 1000.0, y + 2000.0, z + 300.0], Some(0.4))
//!     })
//!     .collect();
//! let references = ["a", "b", "c", "d"].map(String::from);
//! let answer = check(&Request::new(&readings, &targets, &references))?;
//!
//! let rail = answer.point("rail end").ok_or("not there")?;
//! assert_eq!(rail.length.verdict, Verdict::Outside);
//! assert!((rail.length.deviation_mm.unwrap_or(0.0) + 7.0).abs() < 1e-9);
//! assert_eq!(rail.height.verdict, Verdict::Inside);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod deviations;
mod request;
mod result;
mod screened;
mod warning;

pub use deviations::{DeviationPoint, Deviations};
pub use request::{CheckError, Options, Reading, Request, Target};
pub use result::{AxisResult, PlacedPoint, PointResult, SetUpResult};
pub use screened::{
    FurtherPoint, GroupResult, Hidden, OutcomeName, ScreeningResult, StatisticResult,
};
pub use warning::{TooCoarse, Warning};

use crate::fit::{FitError, SetUp};
use crate::frame::Mat3;

pub use crate::screen::ALPHA;

/// Below this number of reference points a set-up hides too much.
pub const RECOMMENDED_REFERENCES: usize = 6;

/// The answer to one survey.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub struct Check {
    /// How the reference points fit.
    pub setup: SetUpResult,
    /// Every point of the sheet, in the sheet's order.
    pub points: Vec<PointResult>,
    /// Readings of points that the sheet does not have, placed in the vehicle's frame.
    pub not_on_sheet: Vec<PlacedPoint>,
    #[serde(skip)]
    fitted: SetUp,
    #[serde(skip)]
    deviations: deviations::Parts,
}

impl Check {
    /// The result for a point of the sheet.
    pub fn point(&self, name: &str) -> Option<&PointResult> {
        self.points.iter().find(|p| p.point == name)
    }

    /// The set-up with its matrices.
    pub fn set_up(&self) -> &SetUp {
        &self.fitted
    }

    /// All measured deviations with their joint covariance, for what looks at several points at
    /// once. `None` where no uncertainty was stated.
    pub fn deviations(&self) -> Option<Deviations> {
        self.setup
            .uncertainty_stated
            .then(|| self.deviations.join(&self.fitted))
    }
}

/// Checks a survey against a sheet.
///
/// # Errors
/// See [`CheckError`]. Nothing panics on any input, and an error leaves nothing half done.
pub fn check(request: &Request) -> Result<Check, CheckError> {
    let survey = request::sort(request)?;
    let stated = survey.references.iter().all(|r| r.covariance.is_some());
    let build = request.build_spread_mm.filter(|_| stated).unwrap_or(0.0);
    let references = survey.for_the_fit(stated, build);
    let screened = screened::screen(&references, request, stated)?;
    let fitted = &screened.fitted;

    let mut points = Vec::with_capacity(survey.points.len());
    let mut parts = deviations::Parts::new(build, request.common);
    for measured in &survey.points {
        let Some(reading) = measured.reading else {
            points.push(result::not_measured(measured.target));
            continue;
        };
        let place = measured
            .reference_index
            .and_then(|index| screened.kept.iter().position(|&kept| kept == index));
        let seen = match place {
            Some(place) => {
                see_reference(fitted, place, measured.target, stated, build, &mut parts)?
            }
            None => see_other(fitted, &reading, measured.target, stated, &mut parts),
        };
        points.push(result::judge(
            measured.target,
            &seen,
            fitted.belief,
            screened.doubtful,
        ));
    }

    let not_on_sheet = survey
        .strangers
        .iter()
        .map(|r| result::place(r, fitted, stated))
        .collect();
    let hidden = stated
        .then(|| screened::hidden(&screened, &survey))
        .flatten();
    let mut warnings = Vec::new();
    let screening = screened::report(&screened, &survey, request, &mut warnings);
    warning::about(
        &mut warnings,
        request,
        &points,
        &screened,
        hidden.as_ref(),
        stated,
    );
    Ok(Check {
        setup: SetUpResult::new(&screened, &survey, stated, warnings, screening, hidden),
        points,
        not_on_sheet,
        fitted: screened.fitted,
        deviations: parts,
    })
}

/// A reference point, judged by the others. Build spread is in the set-up, not in the deviation's
/// own uncertainty.
fn see_reference(
    fitted: &SetUp,
    place: usize,
    target: &Target,
    stated: bool,
    build: f64,
    parts: &mut deviations::Parts,
) -> Result<result::Seen, CheckError> {
    let (judged, residual) = fitted
        .judge_by_the_others(place)
        .zip(fitted.residuals.get(place).copied())
        .ok_or(CheckError::Fit(FitError::NotSettled))?;
    let position = target.position_mm + residual;
    parts.push(target, true, position, judged.own_covariance);
    let spread = Mat3::identity() * (build * build * fitted.variance_factor);
    Ok(result::Seen {
        deviation: judged.deviation,
        covariance: stated.then(|| judged.covariance() - spread),
        residual: Some(residual),
        unchecked: judged.unchecked,
    })
}

/// A point that the set-up does not rest on.
fn see_other(
    fitted: &SetUp,
    reading: &request::Read,
    target: &Target,
    stated: bool,
    parts: &mut deviations::Parts,
) -> result::Seen {
    let position = fitted.apply(reading.position);
    let covariance = reading.covariance.filter(|_| stated).map(|own| {
        let print = target.print_covariance_mm2 * fitted.variance_factor;
        let own = fitted.turn_covariance(own) + print;
        parts.push(target, false, position, own);
        own + fitted.covariance_between(position, position)
    });
    result::Seen {
        deviation: position - target.position_mm,
        covariance,
        residual: None,
        unchecked: [false; 3],
    }
}
