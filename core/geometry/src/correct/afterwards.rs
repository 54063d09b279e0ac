//! What comes out: the move, how far each point goes, and what to expect afterwards.

use nalgebra::{DMatrix, Matrix6};

use super::freedoms::{Allowed, Freedoms, LeftAlone, direction};
use super::part::Part;
use super::rigid::{RigidMove, cross};
use crate::frame::{Axis, Side, Vec3};

/// A reading that is over its limit by less than this is called inside: rounding, not metal (mm).
const ROUNDING_MM: f64 = 1e-7;

/// A move of the part and what is expected of each point afterwards.
#[derive(Clone, Debug)]
pub struct Move {
    /// The move, stated at the mean of the part's measured points.
    pub rigid: RigidMove,
    /// What was allowed.
    pub allowed: Allowed,
    /// The allowed freedoms that the points don't determine, and that were left alone.
    pub left_alone: Vec<LeftAlone>,
    /// Each point in the part's order.
    pub points: Vec<Afterwards>,
    /// The covariance of the move: push of the pivot (mm), then rotation vector (rad). Absent
    /// without a stated uncertainty, and for the minimax move, which rests on a few readings only.
    pub covariance: Option<Matrix6<f64>>,
}

/// One point: what the move asks of it and where it should then be. Millimetres, vehicle frame.
#[derive(Clone, Debug, PartialEq)]
pub struct Afterwards {
    pub name: String,
    pub side: Side,
    pub limits: [Option<f64>; 3],
    /// The measured deviation, before the move.
    pub before: Vec3,
    /// How far the move takes the point.
    pub displacement: Vec3,
    /// The standard uncertainty of that displacement, for the measurement errors it rests on.
    pub displacement_u: Option<Vec3>,
    /// The deviation expected when the move is executed exactly as computed.
    pub deviation: Vec3,
    /// The standard uncertainty of the expected deviation as a statement about where the point
    /// truly is then, the move being executed exactly: that of the reading it came from.
    pub u: Option<Vec3>,
    /// The standard uncertainty of the expected deviation as a statement about the part's own
    /// shape, that is, of what no allowed move can take away. Never above `u` by more than the
    /// weights cause; absent like [`Move::covariance`].
    pub u_misfit: Option<Vec3>,
}

impl Afterwards {
    /// Whether the expected deviation is inside its limit; `None` where there is no limit.
    pub fn inside(&self, axis: Axis) -> Option<bool> {
        let limit = self.limits[axis.index()]?;
        Some(self.deviation[axis.index()].abs() <= limit + ROUNDING_MM)
    }
}

impl Move {
    /// How far the part slides (mm), positive along the direction that was stated; `None` for a
    /// free move. Where a turn about an axis is allowed too, this is the slide of the axis.
    pub fn slide_mm(&self) -> Option<f64> {
        let (along, push) = match self.allowed {
            Allowed::Free => return None,
            Allowed::Slide { along } => (along, self.rigid.translation),
            Allowed::SlideAndTurn { along, through, .. } => {
                (along, self.rigid.displacement(through))
            }
        };
        Some(direction(along, "direction of the slide").ok()?.dot(&push))
    }

    /// How far the part turns about the stated axis (radians, right-handed); `None` where no axis
    /// was stated.
    pub fn turn_rad(&self) -> Option<f64> {
        match self.allowed {
            Allowed::SlideAndTurn { axis, .. } => Some(
                direction(axis, "turning axis")
                    .ok()?
                    .dot(&self.rigid.rotation),
            ),
            _ => None,
        }
    }

    /// The readings (place in [`Move::points`], axis) expected outside their limits. The
    /// comparison is plain: the verdict that weighs the uncertainty belongs to the next survey.
    pub fn outside(&self) -> Vec<(usize, Axis)> {
        self.readings_that(Some(false))
    }

    /// The readings that have no limit to compare with.
    pub fn without_limit(&self) -> Vec<(usize, Axis)> {
        self.readings_that(None)
    }

    /// The largest expected |deviation| as a fraction of its limit; `None` without any limit.
    pub fn worst_ratio(&self) -> Option<f64> {
        let ratios = self.points.iter().flat_map(|p| {
            let axes = Axis::ALL.map(|a| (p.deviation[a.index()], p.limits[a.index()]));
            axes.into_iter()
                .filter_map(|(d, limit)| Some(d.abs() / limit?))
        });
        ratios.reduce(f64::max)
    }

    fn readings_that(&self, inside: Option<bool>) -> Vec<(usize, Axis)> {
        let all = (0..self.points.len()).flat_map(|i| Axis::ALL.map(|axis| (i, axis)));
        all.filter(|&(i, axis)| self.points[i].inside(axis) == inside)
            .collect()
    }
}

/// The answer's linear behaviour near itself: how the readings change with the freedoms (3n by f)
/// and how the freedoms follow the readings (f by 3n; m = -gain * d).
pub(super) struct Linear {
    pub jacobian: DMatrix<f64>,
    pub gain: DMatrix<f64>,
}

impl Move {
    pub(super) fn new(
        part: &Part,
        allowed: &Allowed,
        freedoms: &Freedoms,
        at: RigidMove,
        linear: Option<Linear>,
    ) -> Self {
        let centroid = part.centroid();
        let spread = part.covariance().zip(linear).map(|(s, l)| {
            let of_freedoms = &l.gain * s * l.gain.transpose();
            let kept = DMatrix::identity(s.nrows(), s.ncols()) - &l.jacobian * &l.gain;
            let to_move = to_push_and_turn(freedoms, &at, centroid);
            Spread {
                displacement: &l.jacobian * &of_freedoms * l.jacobian.transpose(),
                misfit: &kept * s * kept.transpose(),
                of_move: &to_move * of_freedoms * to_move.transpose(),
            }
        });
        let points = part.points().iter().enumerate().map(|(i, p)| Afterwards {
            name: p.name.clone(),
            side: p.side,
            limits: p.limits,
            before: p.deviation(),
            displacement: at.displacement(p.position),
            displacement_u: spread.as_ref().map(|s| root_diagonal(&s.displacement, i)),
            deviation: at.apply(p.position) - p.target,
            u: part.covariance().map(|s| root_diagonal(s, i)),
            u_misfit: spread.as_ref().map(|s| root_diagonal(&s.misfit, i)),
        });
        Move {
            rigid: at.about(centroid),
            allowed: allowed.clone(),
            left_alone: freedoms.left_alone.clone(),
            points: points.collect(),
            covariance: spread.map(|s| Matrix6::from_fn(|i, j| s.of_move[(i, j)])),
        }
    }
}

struct Spread {
    displacement: DMatrix<f64>,
    misfit: DMatrix<f64>,
    of_move: DMatrix<f64>,
}

/// How the push of the centroid and the rotation vector follow the freedoms (6 by f).
fn to_push_and_turn(freedoms: &Freedoms, at: &RigidMove, centroid: Vec3) -> DMatrix<f64> {
    let push = &freedoms.push - cross(at.arm(centroid)) * &freedoms.turn;
    let mut map = DMatrix::zeros(6, freedoms.len());
    map.rows_mut(0, 3).copy_from(&push);
    map.rows_mut(3, 3).copy_from(&freedoms.turn);
    map
}

fn root_diagonal(s: &DMatrix<f64>, point: usize) -> Vec3 {
    Vec3::from_fn(|k, _| s[(3 * point + k, 3 * point + k)].max(0.0).sqrt())
}
