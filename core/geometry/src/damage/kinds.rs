//! The trade's kinds of damage, read off a fitted shape.

use nalgebra::{DMatrix, DVector, Matrix3xX, RowDVector};
use serde::{Deserialize, Serialize};

use super::measured::MeasuredPoint;
use super::shape::{Laid, Scope, Shape};
use crate::frame::{Axis, Side, Vec3};

/// A reading is named when it is further from zero than this many standard uncertainties: twelve
/// tests (six kinds at two ends) at 5 % together, the normal quantile of 1 - 0.05 / 24.
pub const NAMED_FROM: f64 = 2.86;

/// A kind of damage (trade terms), with its sign.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// Along the length; positive: shortened, towards the passenger cell.
    Mash,
    /// Across; positive: to the right.
    Sidesway,
    /// In height; positive: kicked up, negative: sagged.
    Sag,
    /// The right side against the left along the length; positive: right further rearward.
    Diamond,
    /// The right side against the left across; positive: further apart.
    Spread,
    /// The right side against the left in height; positive: right higher.
    Twist,
}

/// The size of one kind at the outer end of what moved.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DamageReading {
    pub kind: Kind,
    /// The side it is a reading of: of one side's cause, that side.
    pub scope: Scope,
    /// mm, with the sign of the [`Kind`]. Mash, sidesway and sag: what both sides share. Diamond,
    /// spread and twist: the whole difference, right minus left.
    pub size_mm: f64,
    /// Standard uncertainty, mm.
    pub u_mm: f64,
}

impl DamageReading {
    /// Whether it stands out from the uncertainty: see [`NAMED_FROM`].
    pub fn named(&self) -> bool {
        self.size_mm.abs() > NAMED_FROM * self.u_mm
    }
}

/// The kinds that a fitted shape carries, at the outermost points that moved.
///
/// A block that covers both sides carries no diamond and no spread: the difference between its
/// sides is its own turn, already told by sidesway. A shape on one side carries what that side did,
/// and no differences: one cause is named once.
pub(super) fn readings(
    laid: &Laid,
    parameters: &DVector<f64>,
    covariance: &DMatrix<f64>,
    at_end: &[&MeasuredPoint],
) -> Vec<DamageReading> {
    let Some((left, right)) = ends(laid, at_end) else {
        return Vec::new();
    };
    let shared = (&left + &right) / 2.0;
    let apart = &right - &left;
    let (length, width, height) = (Axis::Length, Axis::Width, Axis::Height);
    let alike = [
        (Kind::Mash, &shared, length, -laid.outward),
        (Kind::Sidesway, &shared, width, 1.0),
        (Kind::Sag, &shared, height, 1.0),
    ];
    let opposite = [
        (Kind::Diamond, &apart, length, 1.0),
        (Kind::Spread, &apart, width, 1.0),
        (Kind::Twist, &apart, height, 1.0),
    ];
    let mut asked = Vec::new();
    if laid.shape != Shape::Warp {
        asked.extend(alike);
    }
    match (laid.scope, laid.shape) {
        (Scope::Both, Shape::PushEach | Shape::Warp | Shape::BendAndWarp | Shape::Ramp) => {
            asked.extend(opposite);
        }
        (Scope::Both, Shape::Block) => asked.extend(opposite.into_iter().skip(2)),
        _ => {}
    }
    let reading = |(kind, effect, axis, sign): (Kind, &Matrix3xX<f64>, Axis, f64)| {
        let row: RowDVector<f64> = effect.row(axis.index()) * sign;
        // What the points leave open can't be read.
        let told = &row * &laid.basis;
        let whole = row.norm();
        if whole == 0.0 || told.norm() < 0.99 * whole {
            return None;
        }
        Some(DamageReading {
            kind,
            scope: laid.scope,
            size_mm: (&told * parameters)[0],
            u_mm: (&told * covariance * told.transpose())[0].max(0.0).sqrt(),
        })
    };
    asked.into_iter().filter_map(reading).collect()
}

/// What each parameter does at the left and the right outer end. An end without a point of its own
/// takes the mirror image of the other; for a shape on one side both are that side's.
fn ends(laid: &Laid, at_end: &[&MeasuredPoint]) -> Option<(Matrix3xX<f64>, Matrix3xX<f64>)> {
    let mean = |side: Side| -> Option<Vec3> {
        let at: Vec<Vec3> = at_end
            .iter()
            .filter(|p| p.side == side)
            .map(|p| p.spec)
            .collect();
        (!at.is_empty()).then(|| at.iter().sum::<Vec3>() / at.len() as f64)
    };
    let mirror = |x: Vec3| Vec3::new(x.x, -x.y, x.z);
    if let Some(side) = laid.scope.side() {
        let effect = laid.full_effect(mean(side)?, side);
        return Some((effect.clone(), effect));
    }
    let (left, right) = match (mean(Side::Left), mean(Side::Right)) {
        (Some(left), Some(right)) => (left, right),
        (Some(left), None) => (left, mirror(left)),
        (None, Some(right)) => (mirror(right), right),
        (None, None) => (mean(Side::Centre)?, mean(Side::Centre)?),
    };
    Some((
        laid.full_effect(left, Side::Left),
        laid.full_effect(right, Side::Right),
    ))
}
