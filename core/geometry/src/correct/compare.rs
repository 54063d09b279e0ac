//! Predicted against achieved: what the next survey says about the move that was made.

use super::afterwards::Move;
use crate::frame::{Axis, Side, Vec3};

/// A point as the next survey found it.
#[derive(Clone, Debug, PartialEq)]
pub struct Achieved {
    pub name: String,
    /// Its deviation from the same target as before, mm.
    pub deviation: Vec3,
    /// Its standard uncertainty along length, width and height, if stated.
    pub u: Option<Vec3>,
}

/// One point's prediction and what came of it. Millimetres.
#[derive(Clone, Debug, PartialEq)]
pub struct AchievedPoint {
    pub name: String,
    pub side: Side,
    /// The displacement that the move asked for.
    pub asked: Vec3,
    /// The displacement that was made, by the two surveys.
    pub made: Vec3,
    /// The deviation that the move promised.
    pub predicted: Vec3,
    /// The deviation found.
    pub achieved: Vec3,
    /// The standard uncertainty of achieved minus predicted, if both are stated.
    pub u: Option<Vec3>,
}

impl AchievedPoint {
    /// Achieved minus predicted.
    pub fn difference(&self) -> Vec3 {
        self.achieved - self.predicted
    }

    /// Whether achieved and predicted agree within two standard uncertainties of their difference
    /// (about 95 % for each axis); `None` where the uncertainty is not stated.
    pub fn as_predicted(&self, axis: Axis) -> Option<bool> {
        let u = self.u?[axis.index()];
        Some(self.difference()[axis.index()].abs() <= 2.0 * u)
    }
}

/// Sets the move's prediction beside the next survey, point by point, in the move's order. Points
/// that the next survey did not measure are left out; so are points that were not part of the move.
///
/// The two surveys are taken as independent, so that their variances add. Where they share
/// something (the rounding of the sheet, an instrument's constant error) the difference is in truth
/// known better than stated here.
pub fn compare(planned: &Move, found: &[Achieved]) -> Vec<AchievedPoint> {
    let of_point = |p: &super::Afterwards| {
        let now = found.iter().find(|a| a.name == p.name)?;
        let u = p.u.zip(now.u).map(|(a, b)| a.zip_map(&b, f64::hypot));
        Some(AchievedPoint {
            name: p.name.clone(),
            side: p.side,
            asked: p.displacement,
            made: now.deviation - p.before,
            predicted: p.deviation,
            achieved: now.deviation,
            u,
        })
    };
    planned.points.iter().filter_map(of_point).collect()
}
