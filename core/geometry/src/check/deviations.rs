//! All deviations of a survey with their joint covariance.
//!
//! Points share the set-up, so their deviations are correlated. Anything that looks at several
//! points at once (damage, a move, a comparison) must use the whole matrix:
//!
//! ```text
//! two points:      [a = b] (R Sq_a R' + Sprint_a) + J_a C J_b'
//! two references:  [i = j] S_i - J_i C J_j'        (their residuals; rank 3 n - 6)
//! one of each:     0
//! ```
//!
//! Points of joined set-ups also share the error of the joint ([`crate::join::Common`]), which is
//! added between points that are no references.

use super::request::Target;
use crate::fit::SetUp;
use crate::frame::{Mat3, Side, Vec3};
use crate::join::Common;
use nalgebra::{DMatrix, DVector};

/// One point's place in [`Deviations`].
#[derive(Clone, Debug, PartialEq)]
pub struct DeviationPoint {
    pub point: String,
    pub side: Side,
    /// The sheet's position, mm, vehicle frame.
    pub spec: Vec3,
    /// A reference point: its block holds the residual in the set-up, not the deviation judged by
    /// the others.
    pub is_reference: bool,
}

/// The deviations of all points that were measured with a stated uncertainty.
#[derive(Clone, Debug, PartialEq)]
pub struct Deviations {
    /// In the order of the blocks, which is the sheet's.
    pub points: Vec<DeviationPoint>,
    /// Length, width, height of each point in turn, mm.
    pub values: DVector<f64>,
    /// mm^2, square, of the size of `values`.
    pub covariance: DMatrix<f64>,
    /// The build spread stated, mm; zero where none was.
    pub build_spread_mm: f64,
}

impl Deviations {
    /// The deviation of the point in block `index`, mm.
    pub fn value(&self, index: usize) -> Vec3 {
        self.values.fixed_rows::<3>(3 * index).into_owned()
    }

    /// The covariance for asking whether a point *moved*: a point that never moved may be away
    /// from the sheet by the build spread, so that is added to every point that is not a reference
    /// (theirs already is in the residual's covariance).
    pub fn covariance_for_movement(&self) -> DMatrix<f64> {
        let mut covariance = self.covariance.clone();
        let spread = self.build_spread_mm * self.build_spread_mm;
        for (index, point) in self.points.iter().enumerate() {
            if !point.is_reference {
                for k in 3 * index..3 * index + 3 {
                    covariance[(k, k)] += spread;
                }
            }
        }
        covariance
    }
}

/// What the joint covariance is made of; it is built only when asked for.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Parts {
    build_spread_mm: f64,
    points: Vec<Part>,
    common: Common,
}

#[derive(Clone, Debug, PartialEq)]
struct Part {
    point: DeviationPoint,
    value: Vec3,
    /// Where J is taken, mm, vehicle frame.
    position: Vec3,
    /// Of another point: its own covariance. Of a reference: S_i.
    own: Mat3,
}

impl Parts {
    pub(super) fn new(build_spread_mm: f64, common: Option<&Common>) -> Parts {
        Parts {
            build_spread_mm,
            common: common.cloned().unwrap_or_default(),
            points: Vec::new(),
        }
    }

    pub(super) fn push(&mut self, target: &Target, is_reference: bool, position: Vec3, own: Mat3) {
        self.points.push(Part {
            point: DeviationPoint {
                point: target.point.clone(),
                side: target.side,
                spec: target.position_mm,
                is_reference,
            },
            value: position - target.position_mm,
            position,
            own,
        });
    }

    pub(super) fn join(&self, set_up: &SetUp) -> Deviations {
        let n = self.points.len();
        let mut values = DVector::zeros(3 * n);
        let mut covariance = DMatrix::zeros(3 * n, 3 * n);
        for (a, part) in self.points.iter().enumerate() {
            values.fixed_rows_mut::<3>(3 * a).copy_from(&part.value);
            for (b, other) in self.points.iter().enumerate().skip(a) {
                let sign = match (part.point.is_reference, other.point.is_reference) {
                    (false, false) => 1.0,
                    (true, true) => -1.0,
                    _ => continue,
                };
                let mut block = set_up.covariance_between(part.position, other.position) * sign;
                if a == b {
                    block += part.own;
                } else if sign > 0.0 {
                    let shared = self.common.between(&part.point.point, &other.point.point);
                    block += set_up.turn_covariance(shared);
                }
                covariance
                    .fixed_view_mut::<3, 3>(3 * a, 3 * b)
                    .copy_from(&block);
                covariance
                    .fixed_view_mut::<3, 3>(3 * b, 3 * a)
                    .copy_from(&block.transpose());
            }
        }
        Deviations {
            points: self.points.iter().map(|p| p.point.clone()).collect(),
            values,
            covariance,
            build_spread_mm: self.build_spread_mm,
        }
    }
}
