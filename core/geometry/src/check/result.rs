//! What comes out of a check, ready to be written as JSON.

use super::request::{Reading, Survey, Target};
use super::screened::{Hidden, Screened, ScreeningResult};
use super::warning::Warning;
use crate::fit::{Belief, SetUp};
use crate::frame::{Axis, Mat3, Side, Vec3};
use crate::verdict::{self, Verdict};
use serde::Serialize;

/// How the reference points fit.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SetUpResult {
    /// Root mean square of the lengths of the reference points' residuals.
    pub rms_mm: f64,
    /// Degrees of freedom: coordinates used minus six.
    pub dof: usize,
    /// The weighted sum of squares; `None` where no uncertainty was stated.
    pub chi2: Option<f64>,
    /// The probability of so large a sum or larger, if the uncertainties are as stated.
    pub p: Option<f64>,
    /// The reference points do not fit the sheet, and nothing has explained why: nothing is inside.
    pub doubtful: bool,
    /// The reference points used, in the sheet's order.
    pub used: Vec<String>,
    /// Reference points found to have moved, and left out of the set-up, in that order.
    pub moved: Vec<String>,
    pub warnings: Vec<Warning>,
    /// `None` where nothing was screened.
    pub screening: Option<ScreeningResult>,
    /// What could have been missed; `None` where no uncertainty was stated.
    pub hidden: Option<Hidden>,
    /// False where the readings were compared plainly.
    pub uncertainty_stated: bool,
    /// Rows of the rotation from the instrument's frame to the vehicle's.
    pub rotation: [[f64; 3]; 3],
    pub translation_mm: [f64; 3],
}

impl SetUpResult {
    pub(super) fn new(
        screened: &Screened,
        survey: &Survey,
        stated: bool,
        warnings: Vec<Warning>,
        screening: Option<ScreeningResult>,
        hidden: Option<Hidden>,
    ) -> SetUpResult {
        let names = |places: &[usize]| {
            places
                .iter()
                .filter_map(|&k| survey.references.get(k))
                .map(|r| r.target.point.clone())
                .collect()
        };
        let fitted = &screened.fitted;
        let r = &fitted.rotation;
        SetUpResult {
            rms_mm: fitted.rms,
            dof: fitted.degrees_of_freedom,
            chi2: stated.then_some(fitted.chi2),
            p: stated.then_some(screened.p),
            doubtful: screened.doubtful,
            used: names(&screened.kept),
            moved: names(&screened.moved),
            warnings,
            screening,
            hidden,
            uncertainty_stated: stated,
            rotation: [0, 1, 2].map(|i| [r[(i, 0)], r[(i, 1)], r[(i, 2)]]),
            translation_mm: fitted.translation.into(),
        }
    }
}

/// One axis of one point.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct AxisResult {
    /// Reading minus sheet; `None` when not measured or unchecked.
    pub deviation_mm: Option<f64>,
    /// Standard uncertainty; `None` where none was stated, or nothing was measured.
    pub u_mm: Option<f64>,
    pub limit_mm: Option<f64>,
    /// The probability that the true deviation is within the limit.
    pub p_inside: Option<f64>,
    pub verdict: Verdict,
    /// False where the deviation was compared plainly.
    pub uncertainty_stated: bool,
}

/// One point of the sheet.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PointResult {
    pub point: String,
    pub side: Side,
    /// The set-up rests on this point; its deviation is judged by the others.
    pub is_reference: bool,
    /// The reading in the vehicle's frame: the sheet's position plus the deviation. A reference
    /// point is placed by the others; along an unchecked axis by all together.
    pub reading_mm: Option<[f64; 3]>,
    pub spec_mm: [f64; 3],
    /// A reference point's residual in the set-up it belongs to: smaller than its deviation, since
    /// it pulled the set-up towards itself.
    pub residual_mm: Option<[f64; 3]>,
    pub length: AxisResult,
    pub width: AxisResult,
    pub height: AxisResult,
    /// Length of the deviation in space; `None` when not measured or unchecked.
    pub distance_mm: Option<f64>,
    /// The covariance of the three deviations; without meaning along an unchecked axis. `None`
    /// where no uncertainty was stated or nothing was measured. Not part of the JSON.
    #[serde(skip)]
    pub covariance_mm2: Option<Mat3>,
}

impl PointResult {
    /// The result along one axis.
    pub fn axis(&self, axis: Axis) -> &AxisResult {
        match axis {
            Axis::Length => &self.length,
            Axis::Width => &self.width,
            Axis::Height => &self.height,
        }
    }
}

/// A reading of a point that the sheet does not have.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PlacedPoint {
    pub point: String,
    /// In the vehicle's frame.
    pub reading_mm: [f64; 3],
    /// Standard uncertainty of length, width, height.
    pub u_mm: Option<[f64; 3]>,
}

/// A measured point before its verdicts.
pub(super) struct Seen {
    pub deviation: Vec3,
    pub covariance: Option<Mat3>,
    /// Of a reference point.
    pub residual: Option<Vec3>,
    pub unchecked: [bool; 3],
}

pub(super) fn judge(target: &Target, seen: &Seen, belief: Belief, doubtful: bool) -> PointResult {
    let axis = |axis: Axis| {
        let k = axis.index();
        let limit_mm = target.limits_mm[k];
        let uncertainty_stated = seen.covariance.is_some();
        if seen.unchecked[k] {
            return AxisResult {
                deviation_mm: None,
                u_mm: None,
                limit_mm,
                p_inside: None,
                verdict: Verdict::Unchecked,
                uncertainty_stated,
            };
        }
        let u_mm = seen.covariance.map(|c| c[(k, k)].max(0.0).sqrt());
        let judged = verdict::judge(seen.deviation[k], u_mm, limit_mm, belief);
        let verdict = match judged.verdict {
            Verdict::Inside if doubtful => Verdict::TooCloseToCall,
            other => other,
        };
        AxisResult {
            deviation_mm: Some(seen.deviation[k]),
            u_mm,
            limit_mm,
            p_inside: judged.p_inside,
            verdict,
            uncertainty_stated,
        }
    };
    let fallback = seen.residual.unwrap_or(seen.deviation);
    let shown = Vec3::from_fn(|k, _| {
        if seen.unchecked[k] {
            fallback[k]
        } else {
            seen.deviation[k]
        }
    });
    PointResult {
        point: target.point.clone(),
        side: target.side,
        is_reference: seen.residual.is_some(),
        reading_mm: Some((target.position_mm + shown).into()),
        spec_mm: target.position_mm.into(),
        residual_mm: seen.residual.map(Into::into),
        length: axis(Axis::Length),
        width: axis(Axis::Width),
        height: axis(Axis::Height),
        distance_mm: (seen.unchecked == [false; 3]).then(|| seen.deviation.norm()),
        covariance_mm2: seen.covariance,
    }
}

pub(super) fn not_measured(target: &Target) -> PointResult {
    let axis = |axis: Axis| AxisResult {
        deviation_mm: None,
        u_mm: None,
        limit_mm: target.limits_mm[axis.index()],
        p_inside: None,
        verdict: Verdict::NotMeasured,
        uncertainty_stated: false,
    };
    PointResult {
        point: target.point.clone(),
        side: target.side,
        is_reference: false,
        reading_mm: None,
        spec_mm: target.position_mm.into(),
        residual_mm: None,
        length: axis(Axis::Length),
        width: axis(Axis::Width),
        height: axis(Axis::Height),
        distance_mm: None,
        covariance_mm2: None,
    }
}

pub(super) fn place(reading: &Reading, fitted: &SetUp, stated: bool) -> PlacedPoint {
    let u_mm = reading.covariance_mm2.filter(|_| stated).map(|own| {
        let c = fitted.place(reading.position_mm, own).covariance;
        [0, 1, 2].map(|k| c[(k, k)].max(0.0).sqrt())
    });
    PlacedPoint {
        point: reading.point.clone(),
        reading_mm: fitted.apply(reading.position_mm).into(),
        u_mm,
    }
}
