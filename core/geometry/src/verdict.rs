//! Limit, uncertainty, decision.
//!
//! # The method
//! A deviation `d` with standard uncertainty `u` is compared with a limit `+-T`. With a flat prior
//! the true deviation is normal about `d`, so the probability that it lies within the limit is
//! (JCGM 106:2012, 7.4, the conformance probability)
//!
//! ```text
//! p = F((T - d) / u) - F((-T - d) / u)
//! ```
//!
//! with F the standard normal distribution function, or Student's t where `u` was estimated from
//! the readings' own scatter. The verdict is *inside* from `p >= 95 %`, *outside* from `p <= 5 %`,
//! otherwise *too close to call*; the 95 % follow the default of ISO 14253-1. They hold for one
//! axis of one point, not for a vehicle.
//!
//! Even a deviation of exactly zero cannot be inside when `u > T / 1.96`:
//! [`largest_u_that_can_decide`] says so before anyone measures.
//!
//! Units: millimetres throughout. Cost: two evaluations of F.
//!
//! ```
//! use datumtrail_geometry::fit::Belief;
//! use datumtrail_geometry::verdict::{Verdict, judge, largest_u_that_can_decide};
//!
//! let inside = judge(1.0, Some(0.5), Some(3.0), Belief::Normal);
//! assert_eq!(inside.verdict, Verdict::Inside);
//! let close = judge(2.6, Some(0.5), Some(3.0), Belief::Normal);
//! assert_eq!(close.verdict, Verdict::TooCloseToCall);
//! let outside = judge(7.5, Some(0.5), Some(3.0), Belief::Normal);
//! assert_eq!(outside.verdict, Verdict::Outside);
//! let unlimited = judge(7.5, Some(0.5), None, Belief::Normal);
//! assert_eq!(unlimited.verdict, Verdict::NoLimitGiven);
//! assert!((largest_u_that_can_decide(3.0, Belief::Normal) - 1.53).abs() < 0.01);
//! ```

use crate::fit::Belief;
use crate::stats;
use serde::{Deserialize, Serialize};

/// From this probability on, inside; from its complement down, outside.
pub const CONFIDENCE: f64 = 0.95;

/// What a deviation, its uncertainty and a limit add up to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    Inside,
    Outside,
    TooCloseToCall,
    NoLimitGiven,
    NotMeasured,
    /// A reference point on an axis that the other reference points cannot judge.
    Unchecked,
}

impl Verdict {
    /// The words that screens use.
    pub fn words(self) -> &'static str {
        match self {
            Verdict::Inside => "inside",
            Verdict::Outside => "outside",
            Verdict::TooCloseToCall => "too close to call",
            Verdict::NoLimitGiven => "no limit given",
            Verdict::NotMeasured => "not measured",
            Verdict::Unchecked => "unchecked",
        }
    }
}

/// A verdict with the probability it rests on.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Judgement {
    /// The probability that the true deviation is within the limit; `None` without a limit or
    /// without a stated uncertainty.
    pub p_inside: Option<f64>,
    pub verdict: Verdict,
    /// False where the deviation was compared plainly, because nobody stated an uncertainty.
    pub uncertainty_stated: bool,
}

/// Judges one deviation (mm) with its standard uncertainty (mm) against a limit of `+-limit` (mm).
///
/// Without an uncertainty the deviation is compared plainly, and the result says so. Numbers that
/// make no sense (not finite, a negative uncertainty or limit) are too close to call, never inside.
pub fn judge(deviation: f64, u: Option<f64>, limit: Option<f64>, belief: Belief) -> Judgement {
    let uncertainty_stated = u.is_some();
    let judgement = |p_inside, verdict| Judgement {
        p_inside,
        verdict,
        uncertainty_stated,
    };
    let Some(limit) = limit else {
        return judgement(None, Verdict::NoLimitGiven);
    };
    let sensible = deviation.is_finite() && limit >= 0.0 && u.unwrap_or(0.0) >= 0.0;
    if !sensible {
        return judgement(None, Verdict::TooCloseToCall);
    }
    let Some(u) = u else {
        let verdict = if deviation.abs() <= limit {
            Verdict::Inside
        } else {
            Verdict::Outside
        };
        return judgement(None, verdict);
    };
    let p = probability_between(deviation, u, -limit, limit, belief);
    let verdict = if p >= CONFIDENCE {
        Verdict::Inside
    } else if p <= 1.0 - CONFIDENCE {
        Verdict::Outside
    } else {
        Verdict::TooCloseToCall
    };
    judgement(Some(p), verdict)
}

/// The probability that a quantity estimated as `estimate` with standard uncertainty `u` lies
/// between `lower` and `upper`, either of which may be infinite (JCGM 106:2012, 7.4 and 7.5).
/// With `u = 0` it is 1 or 0.
pub fn probability_between(estimate: f64, u: f64, lower: f64, upper: f64, belief: Belief) -> f64 {
    if u == 0.0 {
        return f64::from(lower <= estimate && estimate <= upper);
    }
    let cdf = |z: f64| match belief {
        Belief::Normal => stats::phi(z),
        Belief::StudentT { degrees_of_freedom } => stats::student_t(z, degrees_of_freedom),
    };
    // Both in the lower tail where possible, so that a small probability keeps its digits.
    if lower > estimate {
        cdf((estimate - lower) / u) - cdf((estimate - upper) / u)
    } else {
        cdf((upper - estimate) / u) - cdf((lower - estimate) / u)
    }
}

/// The largest standard uncertainty (mm) with which a limit of `+-limit` (mm) can be called inside
/// at all, at a deviation of zero: `limit / 1.96`, or less with Student's t.
pub fn largest_u_that_can_decide(limit: f64, belief: Belief) -> f64 {
    let two_sided = (1.0 + CONFIDENCE) / 2.0;
    let quantile = match belief {
        Belief::Normal => stats::phi_inverse(two_sided),
        Belief::StudentT { degrees_of_freedom } => {
            stats::student_t_inverse(two_sided, degrees_of_freedom)
        }
    };
    limit / quantile
}

/// What an instrument's papers say about its readings, mm.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Statement {
    /// A standard uncertainty of each axis.
    StandardUncertainty(f64),
    /// An expanded uncertainty of each axis with its coverage factor k.
    Expanded { value: f64, k: f64 },
    /// The error of each axis stays within plus or minus this bound.
    BoundPerAxis(f64),
    /// The distance between reading and truth stays below this bound.
    BoundInSpace(f64),
}

impl Statement {
    /// The standard uncertainty of one axis, mm.
    ///
    /// - A bound `a` of each axis, and nothing known within: `a / sqrt(3)` (GUM, JCGM 100:2008,
    ///   4.3.7).
    /// - A bound `a` of the distance, and nothing known within: the error is uniform in a ball,
    ///   whose mean square along one axis is `a^2 / 5`, so `a / sqrt(5)`. (The mean square radius
    ///   of a ball is `3 a^2 / 5`, shared by three axes.)
    /// - An expanded uncertainty: value over k (GUM 4.3.3).
    ///
    /// `None` when the statement is not a positive finite number. Seating, adapters and targets are
    /// not in an instrument's papers: add them with [`combine`]. An error that several readings
    /// share (a wrong adapter, a temperature) does not average away.
    ///
    /// ```
    /// use datumtrail_geometry::verdict::Statement;
    /// let u = Statement::BoundPerAxis(1.0).standard_uncertainty();
    /// assert!((u.unwrap_or(0.0) - 0.577).abs() < 1e-3);
    /// ```
    pub fn standard_uncertainty(self) -> Option<f64> {
        let u = match self {
            Statement::StandardUncertainty(u) => u,
            Statement::Expanded { value, k } => value / k,
            Statement::BoundPerAxis(a) => a / 3f64.sqrt(),
            Statement::BoundInSpace(a) => a / 5f64.sqrt(),
        };
        (u.is_finite() && u > 0.0).then_some(u)
    }
}

/// Independent standard uncertainties (mm) together: the root of the sum of squares (GUM 5.1.2).
pub fn combine(parts: &[f64]) -> f64 {
    parts.iter().map(|u| u * u).sum::<f64>().sqrt()
}

/// The variance (mm^2) of rounding to a step (mm): `step^2 / 12` (GUM F.2.2.1).
pub fn rounding_variance(step: f64) -> f64 {
    step * step / 12.0
}
