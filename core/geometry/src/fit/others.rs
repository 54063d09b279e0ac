//! A reference point judged by the others.
//!
//! A reference's residual in its own set-up is too kind: the point pulled the set-up towards
//! itself. Setting it aside gives the honest deviation
//!
//! ```text
//! d_(i) = x_i placed by the set-up without i, minus p_i
//! cov   = S_i + J_i C_(i) J_i'
//! ```
//!
//! which to first order is `S_i (S_i - J_i C J_i')^-1 r_i` (a test holds the two together); the
//! refit is used because it stays exact for a point that is far out.
//!
//! With three references the other two leave a turn about their line open, and with more the rest
//! may still lie on one line. A direction in which such a turn moves the point is *unchecked*: the
//! others cannot speak about it, and whoever reads the result must not call it inside.

use super::newton::{self, Transform};
use super::{Reference, SetUp};
use crate::frame::{Mat3, Vec3};

/// An axis is unchecked when an open turn that moves points at the lever arm by one millimetre
/// moves the point along that axis by more than this, mm.
const MOVED_BY_AN_OPEN_TURN: f64 = 1e-3;

/// What the other references say about one of them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Judged {
    /// d_(i), mm, vehicle frame; without meaning along an unchecked axis.
    pub deviation: Vec3,
    /// `J_i C_(i) J_i'`, mm^2: how well the others place this point.
    pub others_covariance: Mat3,
    /// `S_i`, mm^2: the point's own reading and sheet position.
    pub own_covariance: Mat3,
    /// Length, width, height: the others cannot speak about this axis.
    pub unchecked: [bool; 3],
}

impl Judged {
    /// The covariance of the deviation, mm^2.
    pub fn covariance(&self) -> Mat3 {
        self.others_covariance + self.own_covariance
    }
}

pub(super) fn judge(set_up: &SetUp, index: usize) -> Option<Judged> {
    let own = set_up.references.get(index)?;
    let own_covariance = set_up.reference_covariance(own);
    let others: Vec<Reference> = set_up
        .references
        .iter()
        .enumerate()
        .filter(|&(i, _)| i != index)
        .map(|(_, r)| *r)
        .collect();
    let start = Transform {
        rotation: set_up.rotation,
        translation: set_up.translation,
    };
    let Ok(found) = newton::settle(&others, start) else {
        return Some(Judged {
            deviation: set_up.apply(own.reading) - own.target,
            others_covariance: Mat3::zeros(),
            own_covariance,
            unchecked: [true; 3],
        });
    };

    let position = found.transform.apply(own.reading);
    let j = newton::jacobian(position - found.centroid);
    let mut open = Vec3::zeros();
    for direction in found.undetermined.iter().flatten() {
        open += (j * direction).map(|v| v * v);
    }
    let unchecked = [0, 1, 2].map(|k| open[k].sqrt() > MOVED_BY_AN_OPEN_TURN);
    Some(Judged {
        deviation: position - own.target,
        others_covariance: j * found.covariance * j.transpose() * set_up.variance_factor,
        own_covariance,
        unchecked,
    })
}
