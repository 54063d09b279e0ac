//! What a hold point asks of a survey.
//!
//! The *simple* rule (the default): every deviation within its limit, every uncertainty at most a
//! third of it, and what is too close to call listed. The *guarded* rule: every axis inside at
//! 95 %. For thirty axes truly within limits, guarded with `u = T/6` passes one vehicle in five:
//! right for a laboratory, rarely for a shop.
//!
//! A rule is met or it is not; where it is not, [`Answer::failures`] says by what, in full.
//!
//! ```
//! use datumtrail_geometry::check::{Reading, Request, Target, check};
//! use datumtrail_geometry::frame::Side;
//! use datumtrail_geometry::rule::{Failure, Rule, meets};
//!
//! let sheet = [
//!     ("a", [0.0, -400.0, 70.0]),
//!     ("b", [0.0, 400.0, 70.0]),
//!     ("c", [1900.0, -450.0, 10.0]),
//!     ("d", [1900.0, 450.0, 10.0]),
//!     ("end", [2300.0, 480.0, 60.0]),
//! ];
//! let targets = sheet.map(|(p, at)| Target::new(p, Side::Centre, at, 1.0).with_limit(3.0));
//! let readings = sheet.map(|(p, at)| Reading::new(p, at, Some(0.4)));
//! let references = ["a", "b", "c", "d"].map(String::from);
//! let answer = check(&Request::new(&readings, &targets, &references))?;
//!
//! assert!(meets(Rule::Simple, &answer, &["end"]).met);
//! let unknown = meets(Rule::Simple, &answer, &["end", "nowhere"]);
//! assert!(matches!(unknown.failures[..], [Failure::NotOnSheet { .. }]));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use crate::check::{AxisResult, Check};
use crate::frame::Axis;
use crate::verdict::{CONFIDENCE, Verdict};
use serde::{Deserialize, Serialize};

/// How strict a hold point is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Rule {
    /// Every |d| <= T and every u <= T/3.
    #[default]
    Simple,
    /// Every axis inside at 95 %.
    Guarded,
}

/// One thing that keeps a rule from being met; its `Display` is a sentence for a screen.
#[derive(Clone, Debug, PartialEq, Serialize, thiserror::Error)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Failure {
    #[error("No points were chosen: a rule about nothing is not met.")]
    NothingChosen,
    #[error("The reference points do not fit the sheet: find the cause first.")]
    SetUpTestFailed,
    #[error("Point {point} is not on the sheet.")]
    NotOnSheet { point: String },
    #[error("Point {point} was not measured.")]
    NotMeasured { point: String },
    #[error("Point {point}, {}: no limit given, so nothing can be decided.", axis.word())]
    NoLimit { point: String, axis: Axis },
    #[error(
        "Point {point}, {}: the other reference points cannot judge it; add reference points.",
        axis.word()
    )]
    Unchecked { point: String, axis: Axis },
    #[error("Point {point}, {}: uncertainty not stated.", axis.word())]
    UncertaintyNotStated { point: String, axis: Axis },
    #[error(
        "Point {point}, {}: {:.1} mm away, and {limit_mm} mm are allowed.",
        axis.word(), deviation_mm.abs()
    )]
    BeyondLimit {
        point: String,
        axis: Axis,
        deviation_mm: f64,
        limit_mm: f64,
    },
    #[error(
        "Point {point}, {}: uncertain by {u_mm:.2} mm, and a third of the limit, {allowed_mm:.2} \
         mm, is allowed.", axis.word()
    )]
    TooUncertain {
        point: String,
        axis: Axis,
        u_mm: f64,
        allowed_mm: f64,
    },
    #[error(
        "Point {point}, {}: inside with a probability of {:.0} %, and 95 % are asked.",
        axis.word(), 100.0 * p_inside
    )]
    NotSureEnough {
        point: String,
        axis: Axis,
        p_inside: f64,
    },
}

/// One axis of one point.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct PointAxis {
    pub point: String,
    pub axis: Axis,
}

/// Whether a rule is met, and everything that says otherwise.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Answer {
    pub rule: Rule,
    pub met: bool,
    /// Empty exactly when the rule is met.
    pub failures: Vec<Failure>,
    /// What is too close to call at 95 %, for the simple rule to be printed with its answer.
    pub too_close_to_call: Vec<PointAxis>,
}

/// Asks whether a checked survey meets a rule for the chosen points.
pub fn meets<S: AsRef<str>>(rule: Rule, check: &Check, chosen: &[S]) -> Answer {
    let mut failures = Vec::new();
    let mut too_close_to_call = Vec::new();
    if chosen.is_empty() {
        failures.push(Failure::NothingChosen);
    }
    if check.setup.doubtful {
        failures.push(Failure::SetUpTestFailed);
    }
    for name in chosen {
        let point = || name.as_ref().to_owned();
        let Some(result) = check.point(name.as_ref()) else {
            failures.push(Failure::NotOnSheet { point: point() });
            continue;
        };
        if result.reading_mm.is_none() {
            failures.push(Failure::NotMeasured { point: point() });
            continue;
        }
        for axis in Axis::ALL {
            let on_axis = result.axis(axis);
            if on_axis.verdict == Verdict::TooCloseToCall {
                too_close_to_call.push(PointAxis {
                    point: point(),
                    axis,
                });
            }
            failures_on_axis(rule, point(), axis, on_axis, &mut failures);
        }
    }
    Answer {
        rule,
        met: failures.is_empty(),
        failures,
        too_close_to_call,
    }
}

fn failures_on_axis(
    rule: Rule,
    point: String,
    axis: Axis,
    result: &AxisResult,
    failures: &mut Vec<Failure>,
) {
    if result.verdict == Verdict::Unchecked {
        failures.push(Failure::Unchecked { point, axis });
        return;
    }
    let Some(limit_mm) = result.limit_mm else {
        failures.push(Failure::NoLimit { point, axis });
        return;
    };
    let Some(deviation_mm) = result.deviation_mm else {
        failures.push(Failure::NotMeasured { point });
        return;
    };
    let within = deviation_mm.abs() <= limit_mm;
    if !within {
        failures.push(Failure::BeyondLimit {
            point: point.clone(),
            axis,
            deviation_mm,
            limit_mm,
        });
    }
    let Some(u_mm) = result.u_mm else {
        failures.push(Failure::UncertaintyNotStated { point, axis });
        return;
    };
    let allowed_mm = limit_mm / 3.0;
    match rule {
        Rule::Simple if u_mm > allowed_mm => failures.push(Failure::TooUncertain {
            point,
            axis,
            u_mm,
            allowed_mm,
        }),
        Rule::Guarded if within => {
            let p_inside = result.p_inside.unwrap_or(0.0);
            if p_inside < CONFIDENCE {
                failures.push(Failure::NotSureEnough {
                    point,
                    axis,
                    p_inside,
                });
            }
        }
        _ => {}
    }
}
