//! Which further control point would settle an undecided screening.
//!
//! "i moved" and "j moved" are told apart by what j's freedom cannot imitate of i's move. For a
//! move m of i, the expected lead of T_i over T_j is
//!
//! ```text
//! m' (P_ii - P_ij P_jj^+ P_ji) m
//! ```
//!
//! with the blocks of [`crate::sensitivity`]. The best further reference point makes the least
//! eigenvalue of that matrix, over all undecided pairs, as large as possible.

use super::LEAD;
use crate::fit::{Reference, SetUp, set_up};
use crate::frame::{Mat3, Vec3};
use crate::sensitivity::weight_block;

/// How well undecided points would be told apart.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Further {
    /// The place of the best candidate among those given.
    pub candidate: usize,
    /// From this size on, mm, a move of one of the undecided points would on average lead by
    /// 19 to 1, in the worst direction.
    pub tells_apart_mm: f64,
}

/// The size of move (mm) that the set-up as it is tells apart, on average, between the references
/// at the `undecided` places; `None` where no size does.
pub fn tells_apart(fitted: &SetUp, undecided: &[usize]) -> Option<f64> {
    let mut least = f64::INFINITY;
    for &i in undecided {
        for &j in undecided.iter().filter(|&&j| j != i) {
            let cross = weight_block(fitted, i, j)?;
            let own = weight_block(fitted, i, i)?;
            let other = pseudo_inverse(&weight_block(fitted, j, j)?);
            let left = own - cross * other * cross.transpose();
            // Relative to what i has at all, so that rounding is not taken for information.
            let value = left.symmetric_eigenvalues().min();
            if value <= 1e-6 * own.norm() {
                return None;
            }
            least = least.min(value);
        }
    }
    (least.is_finite() && least > 0.0).then(|| (LEAD / least).sqrt())
}

/// The best of the candidates to measure as a further reference point. A candidate's `target` is
/// its sheet position and its covariances are those its reading would have; its `reading` is not
/// used. `None` where no candidate would tell the undecided points apart.
pub fn further(fitted: &SetUp, undecided: &[usize], candidates: &[Reference]) -> Option<Further> {
    let back = fitted.rotation.transpose();
    let mut best: Option<Further> = None;
    for (candidate, extra) in candidates.iter().enumerate() {
        let reading: Vec3 = back * (extra.target - fitted.translation);
        let mut references = fitted.references().to_vec();
        references.push(Reference { reading, ..*extra });
        let Ok(with) = set_up(&references) else {
            continue;
        };
        let Some(tells_apart_mm) = tells_apart(&with, undecided) else {
            continue;
        };
        if best.is_none_or(|b| tells_apart_mm < b.tells_apart_mm) {
            best = Some(Further {
                candidate,
                tells_apart_mm,
            });
        }
    }
    best
}

fn pseudo_inverse(m: &Mat3) -> Mat3 {
    let eigen = m.symmetric_eigen();
    let least = 1e-9 * eigen.eigenvalues.amax();
    let mut inverse = Mat3::zeros();
    for (value, v) in eigen
        .eigenvalues
        .iter()
        .zip(eigen.eigenvectors.column_iter())
    {
        if *value > least {
            inverse += v * v.transpose() / *value;
        }
    }
    inverse
}
