//! Predicted against achieved: what the next survey says about the move that was made.

use super::afterwards::Afterwards;
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
pub fn compare(planned: &[Afterwards], found: &[Achieved]) -> Vec<AchievedPoint> {
    let of_point = |p: &Afterwards| {
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
    planned.iter().filter_map(of_point).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::correct::{Allowed, Part, PartPoint, best_move, words};
    use nalgebra::DMatrix;

    #[test]
    fn what_was_asked_is_set_beside_what_was_made() {
        let target = Vec3::new(3000.0, 500.0, 400.0);
        let points = vec![PartPoint {
            name: "R7".into(),
            side: Side::Right,
            position: target + Vec3::new(-7.2, 0.0, 0.2),
            target,
            limits: [Some(3.0); 3],
        }];
        let part = Part::new(points, Some(DMatrix::identity(3, 3) * 0.09)).unwrap();
        let planned = best_move(&part, &Allowed::slide_along(Axis::Length)).unwrap();
        let found = |deviation, u| Achieved {
            name: "R7".into(),
            deviation,
            u,
        };
        let u = Vec3::repeat(0.4);
        let compared = compare(
            &planned.points,
            &[found(Vec3::new(-1.4, 0.1, 0.2), Some(u))],
        );
        let p = &compared[0];
        assert!((p.asked - Vec3::new(7.2, 0.0, 0.0)).norm() < 1e-9);
        assert!((p.made - Vec3::new(5.8, 0.1, 0.0)).norm() < 1e-9);
        assert!((p.u.unwrap().x - 0.5).abs() < 1e-12, "0.3 and 0.4 together");
        assert_eq!(
            p.as_predicted(Axis::Length),
            Some(false),
            "1.4 mm short, 2 u = 1.0"
        );
        assert_eq!(p.as_predicted(Axis::Width), Some(true));
        assert_eq!(
            words::achieved(&compared),
            [
                "R7: asked 7.2 mm rearward; made 5.8 mm rearward and 0.1 mm outboard; \
              1.4 mm too far forward and 0.1 mm too far outboard against the prediction."
            ]
        );
        let compared = compare(&planned.points, &[found(Vec3::zeros(), None)]);
        assert_eq!(compared[0].as_predicted(Axis::Length), None);
        assert!(compare(&planned.points, &[]).is_empty());
    }
}
