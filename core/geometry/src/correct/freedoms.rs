//! What a part is allowed to do, and how much of it its points determine.

use nalgebra::{DMatrix, Matrix3xX};

use super::part::{LARGEST_MM, MoveError, Part};
use super::rigid::{RigidMove, cross};
use crate::frame::{Axis, Vec3};

/// A freedom counts as determined when one unit of it (1 mm for a push; for a turn, 1 mm at the
/// part's own radius) moves the readings by at least this much, root mean square over the points.
/// Below, measurement errors would come out multiplied by fifty: points nearly in a line don't
/// say how the part is turned about that line. Our own choice, not a published figure.
const LEAST_LEVERAGE: f64 = 0.02;

const SLIDE: &str = "direction of the slide";
const AXIS: &str = "turning axis";

/// The moves that are possible on the bench.
#[derive(Clone, Debug, PartialEq)]
pub enum Allowed {
    /// Every push and turn: six freedoms.
    Free,
    /// A slide along a direction (any length; only where it points matters).
    Slide {
        /// Vehicle frame.
        along: Vec3,
    },
    /// A slide along a direction and a turn about a fixed axis through a stated point.
    SlideAndTurn {
        /// The direction of the slide.
        along: Vec3,
        /// The direction of the turning axis; it may be that of the slide.
        axis: Vec3,
        /// A point on the turning axis, mm.
        through: Vec3,
    },
}

impl Allowed {
    /// A slide along one of the vehicle's axes.
    pub fn slide_along(axis: Axis) -> Self {
        Allowed::Slide { along: axis.unit() }
    }

    /// A slide along the line through two points, mm, vehicle frame: "from A towards H". Only the
    /// line matters; which of the two the part then goes towards is for the readings to say.
    ///
    /// ```
    /// use datumtrail_geometry::correct::Allowed;
    /// use datumtrail_geometry::frame::Vec3;
    ///
    /// let a = Vec3::new(3200.0, 500.0, 400.0);
    /// let h = Vec3::new(3600.0, 500.0, 500.0);
    /// assert_eq!(Allowed::along(a, h)?, Allowed::Slide { along: Vec3::new(400.0, 0.0, 100.0) });
    /// assert!(Allowed::along(a, a).is_err());
    /// # Ok::<(), datumtrail_geometry::correct::MoveError>(())
    /// ```
    ///
    /// # Errors
    /// Points that coincide, or are not finite.
    pub fn along(from: Vec3, to: Vec3) -> Result<Self, MoveError> {
        let along = to - from;
        direction(along, SLIDE)?;
        Ok(Allowed::Slide { along })
    }

    /// The same slide with a turn about the axis through two points: a hinge, a bolt, a clamp's
    /// pin. A free move stays free.
    ///
    /// # Errors
    /// Points that coincide, or are not finite.
    pub fn turning_about(self, from: Vec3, to: Vec3) -> Result<Self, MoveError> {
        let (axis, through) = (to - from, from);
        direction(axis, AXIS)?;
        Ok(match self {
            Allowed::Free => Allowed::Free,
            Allowed::Slide { along } | Allowed::SlideAndTurn { along, .. } => {
                Allowed::SlideAndTurn {
                    along,
                    axis,
                    through,
                }
            }
        })
    }

    /// How many freedoms the move has before its points are looked at.
    pub fn freedoms(&self) -> usize {
        match self {
            Allowed::Free => 6,
            Allowed::Slide { .. } => 1,
            Allowed::SlideAndTurn { .. } => 2,
        }
    }
}

/// A freedom that was allowed but that the points don't determine: it was left alone.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum LeftAlone {
    /// A slide in this direction (unit vector) changes no reading that counts.
    Slide(Vec3),
    /// A turn about this axis (unit vector) hardly changes any reading that counts.
    Turn(Vec3),
}

/// The determined freedoms: a push of `push * m` and a turn of `turn * m` about the pivot. The
/// columns are orthonormal in millimetres at the part's radius, so the smallest m is the smallest
/// move.
pub(super) struct Freedoms {
    pub pivot: Vec3,
    pub push: Matrix3xX<f64>,
    pub turn: Matrix3xX<f64>,
    pub left_alone: Vec<LeftAlone>,
}

impl Freedoms {
    /// The freedoms that the readings with `counts(point, axis)` determine.
    pub fn of(
        part: &Part,
        allowed: &Allowed,
        counts: impl Fn(usize, Axis) -> bool,
    ) -> Result<Self, MoveError> {
        let all = Self::all(part, allowed)?;
        let start = RigidMove::none(all.pivot);
        let rows: Vec<_> = readings(part)
            .filter(|&(i, axis)| counts(i, axis))
            .collect();
        let jacobian = all.jacobian(part, &start, &rows);

        let f = all.len();
        // The eigenvectors of the normal matrix exist even with fewer readings than freedoms.
        let eigen = (jacobian.transpose() * &jacobian).symmetric_eigen();
        let least = LEAST_LEVERAGE * LEAST_LEVERAGE * part.points().len() as f64;
        let (kept, lost): (Vec<usize>, Vec<usize>) =
            (0..f).partition(|&k| eigen.eigenvalues[k] >= least);
        let kept = eigen.eigenvectors.select_columns(&kept);
        let lost = eigen.eigenvectors.select_columns(&lost);
        Ok(Freedoms {
            pivot: all.pivot,
            left_alone: name_the_lost(&all.push * &lost, &all.turn * &lost),
            push: &all.push * &kept,
            turn: &all.turn * &kept,
        })
    }

    fn all(part: &Part, allowed: &Allowed) -> Result<Self, MoveError> {
        let centroid = part.centroid();
        let zero = Vec3::zeros();
        let (pivot, push, turn) = match *allowed {
            Allowed::Free => {
                let r = radius(part, |x| (x - centroid).norm());
                let unit = Axis::ALL.map(Axis::unit);
                (
                    centroid,
                    vec![unit[0], unit[1], unit[2], zero, zero, zero],
                    vec![zero, zero, zero, unit[0] / r, unit[1] / r, unit[2] / r],
                )
            }
            Allowed::Slide { along } => {
                let along = direction(along, SLIDE)?;
                (centroid, vec![along], vec![zero])
            }
            Allowed::SlideAndTurn {
                along,
                axis,
                through,
            } => {
                let along = direction(along, SLIDE)?;
                let axis = direction(axis, AXIS)?;
                if !through.iter().all(|c| c.abs() < LARGEST_MM) {
                    return Err(MoveError::Through);
                }
                let r = radius(part, |x| axis.cross(&(x - through)).norm());
                (through, vec![along, zero], vec![zero, axis / r])
            }
        };
        Ok(Freedoms {
            pivot,
            push: Matrix3xX::from_columns(&push),
            turn: Matrix3xX::from_columns(&turn),
            left_alone: Vec::new(),
        })
    }

    /// How many freedoms.
    pub fn len(&self) -> usize {
        self.push.ncols()
    }

    /// How the readings change with each freedom, from the place that `at` took the part to: one
    /// row for each of `rows`, one column for each freedom.
    pub fn jacobian(&self, part: &Part, at: &RigidMove, rows: &[(usize, Axis)]) -> DMatrix<f64> {
        let mut jacobian = DMatrix::zeros(rows.len(), self.len());
        for (k, &(i, axis)) in rows.iter().enumerate() {
            let point = self.at_point(at, part.points()[i].position);
            jacobian.row_mut(k).copy_from(&point.row(axis.index()));
        }
        jacobian
    }

    /// How the point that was at x changes with each freedom: push - [arm]x turn.
    pub fn at_point(&self, at: &RigidMove, x: Vec3) -> Matrix3xX<f64> {
        &self.push - cross(at.arm(x)) * &self.turn
    }
}

/// Every reading of the part, point by point: (point, axis).
pub(super) fn readings(part: &Part) -> impl Iterator<Item = (usize, Axis)> {
    (0..part.points().len()).flat_map(|i| Axis::ALL.map(|axis| (i, axis)))
}

pub(super) fn direction(v: Vec3, what: &'static str) -> Result<Vec3, MoveError> {
    // The square of a huge or tiny vector leaves the floating-point range, so scale first.
    let largest = v.amax();
    if !(v.iter().all(|c| c.is_finite()) && largest > 0.0) {
        return Err(MoveError::Direction { what });
    }
    Ok((v / largest).normalize())
}

/// Root mean square lever of the points; 1 where there is none, so that it can divide.
fn radius(part: &Part, lever: impl Fn(Vec3) -> f64) -> f64 {
    let sum: f64 = part
        .points()
        .iter()
        .map(|p| lever(p.position).powi(2))
        .sum();
    let r = (sum / part.points().len() as f64).sqrt();
    if r > 1e-6 { r } else { 1.0 }
}

/// Splits the undetermined space into pure slides and turns, so that each can be named.
fn name_the_lost(push: Matrix3xX<f64>, turn: Matrix3xX<f64>) -> Vec<LeftAlone> {
    if push.ncols() == 0 {
        return Vec::new();
    }
    let eigen = (turn.transpose() * &turn).symmetric_eigen();
    let largest = turn.amax().max(f64::MIN_POSITIVE);
    let mut named = Vec::new();
    for k in 0..push.ncols() {
        let combination = eigen.eigenvectors.column(k);
        let turned = &turn * combination;
        named.push(if turned.norm() > 1e-6 * largest {
            LeftAlone::Turn(turned.normalize())
        } else {
            LeftAlone::Slide((&push * combination).normalize())
        });
    }
    named
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::correct::PartPoint;
    use crate::frame::Side;

    fn part(at: &[[f64; 3]]) -> Part {
        let points = at.iter().enumerate().map(|(i, x)| PartPoint {
            name: format!("R{i}"),
            side: Side::Right,
            position: Vec3::from(*x),
            target: Vec3::from(*x),
            limits: [None; 3],
        });
        Part::new(points.collect(), None).unwrap()
    }

    fn left_alone(at: &[[f64; 3]]) -> Vec<LeftAlone> {
        Freedoms::of(&part(at), &Allowed::Free, |_, _| true)
            .unwrap()
            .left_alone
    }

    #[test]
    fn one_point_says_nothing_about_turns() {
        let lost = left_alone(&[[3000.0, 500.0, 400.0]]);
        assert_eq!(lost.len(), 3);
        assert!(lost.iter().all(|l| matches!(l, LeftAlone::Turn(_))));
    }

    #[test]
    fn points_in_a_line_leave_the_turn_about_it() {
        for at in [
            vec![[3000.0, 500.0, 400.0], [3400.0, 500.0, 400.0]],
            vec![
                [3000.0, 500.0, 400.0],
                [3200.0, 500.0, 400.5],
                [3400.0, 500.0, 400.0],
            ],
        ] {
            let lost = left_alone(&at);
            assert_eq!(lost.len(), 1, "{lost:?}");
            let LeftAlone::Turn(axis) = lost[0] else {
                panic!("{lost:?}")
            };
            assert!(axis.x.abs() > 0.999_99, "{axis}");
        }
    }

    #[test]
    fn three_spread_points_determine_everything() {
        let at = [
            [3000.0, 500.0, 400.0],
            [3400.0, 500.0, 400.0],
            [3200.0, 480.0, 500.0],
        ];
        assert!(left_alone(&at).is_empty());
    }

    #[test]
    fn heights_alone_leave_the_plane_alone() {
        let at = [
            [3000.0, 500.0, 400.0],
            [3400.0, 500.0, 400.0],
            [3200.0, 300.0, 500.0],
        ];
        let freedoms = Freedoms::of(&part(&at), &Allowed::Free, |_, axis| axis == Axis::Height);
        let lost = freedoms.unwrap().left_alone;
        let slides = lost
            .iter()
            .filter(|l| matches!(l, LeftAlone::Slide(d) if d.z.abs() < 1e-9));
        let turns = lost
            .iter()
            .filter(|l| matches!(l, LeftAlone::Turn(a) if a.z.abs() > 0.999));
        assert_eq!((slides.count(), turns.count()), (2, 1), "{lost:?}");
    }
}
