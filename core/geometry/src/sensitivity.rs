//! What a set-up could have missed, and what that would do.
//!
//! # The method
//! Baarda's reliability ("A testing procedure for use in geodetic networks", Netherlands Geodetic
//! Commission, 1968), with three coordinates a point. In blocks, over the reference points,
//!
//! ```text
//! P_ij = [i = j] W_i - W_i J_i C J_j' W_j        W_i = S_i^-1
//! ```
//!
//! A move m of reference point i raises the non-centrality of its outlier test by `m' P_ii m`. The
//! test of level `alpha` finds it with probability [`POWER`] when that reaches L, the
//! non-centrality for three degrees of freedom ([`crate::stats::noncentrality`]). So the smallest
//! move that is found that often is
//!
//! ```text
//! along e:   sqrt(L / (e' P_ii e))
//! worst:     sqrt(L / least eigenvalue of P_ii)
//! ```
//!
//! and a move m that stays unnoticed shifts what the set-up says about a point x by
//! `-J_x C J_i' W_i m` (external reliability). [`worst_shift`] is the largest such shift over all
//! reference points and all moves of the size just found four times in five.
//!
//! Units: mm, vehicle frame. Cost: a few 3 by 3 decompositions a reference point.
//!
//! ```
//! use datumtrail_geometry::fit::{Reference, set_up};
//! use datumtrail_geometry::frame::{Mat3, Vec3};
//! use datumtrail_geometry::sensitivity::{smallest_detectable, worst_shift};
//!
//! // Four points in the passenger cell, u = 0.5 mm.
//! let four = [[200.0, -400.0, 70.0], [200.0, 400.0, 70.0], [1500.0, -400.0, 70.0], [1500.0, 400.0, 70.0]];
//! let references = four.map(|p| Reference {
//!     reading: p.into(),
//!     reading_covariance: Mat3::identity() * 0.25,
//!     target: p.into(),
//!     target_covariance: Mat3::zeros(),
//! });
//! let set_up = set_up(&references)?;
//! let alpha = 0.05 / 4.0;
//! let moved = smallest_detectable(&set_up, 0, alpha).ok_or("no such point")?;
//! assert!(moved.worst_mm.is_some_and(|mm| (3.8..4.1).contains(&mm)));
//! // A point 800 mm in front of them may be shifted by more than that.
//! let front = worst_shift(&set_up, Vec3::new(-600.0, 450.0, 230.0), alpha).ok_or("no points")?;
//! assert!(front.shift_mm.is_some_and(|mm| mm > 4.0));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use crate::fit::SetUp;
use crate::frame::{Axis, Mat3, Vec3};
use crate::stats;

/// How often a move counted as detectable is found.
pub const POWER: f64 = 0.8;

/// Redundancies below this part of one are rounding: nothing checks the direction.
const NO_REDUNDANCY: f64 = 1e-6;

/// The smallest moves of one reference point that are found with probability [`POWER`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Detectable {
    /// Along length, width, height, mm; `None` where a move of any size stays unnoticed.
    pub along_mm: [Option<f64>; 3],
    /// In the worst direction, mm; `None` where a move of any size stays unnoticed.
    pub worst_mm: Option<f64>,
    /// That direction, of length one, vehicle frame.
    pub worst_direction: Vec3,
}

/// The largest shift that a hidden move can cause at some point.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WorstShift {
    /// The place of the reference point whose move does it.
    pub reference: usize,
    /// mm; `None` where an unnoticed move, and so the shift, can have any size.
    pub shift_mm: Option<f64>,
    /// The move, mm, vehicle frame; where any size can hide, a direction of length one.
    pub by_move: Vec3,
}

/// `P_ij`, mm^-2; `None` when there is no such reference.
pub fn weight_block(set_up: &SetUp, i: usize, j: usize) -> Option<Mat3> {
    let weight = |k| Some(set_up.own_covariance(k)?.cholesky()?.inverse());
    Some(weight(i)? * set_up.residual_covariance(i, j)? * weight(j)?)
}

/// The smallest detectable moves of the reference at `index`, for an outlier test of level `alpha`
/// on each point; `None` when there is no such reference.
pub fn smallest_detectable(set_up: &SetUp, index: usize, alpha: f64) -> Option<Detectable> {
    let seen = Seen::at(set_up, index)?;
    let needed = stats::noncentrality(alpha, seen.rank(), POWER);
    let along_mm = Axis::ALL.map(|axis| {
        let e = axis.unit();
        let hidden = seen.hidden.is_some_and(|h| h.dot(&e).abs() > 0.999_999);
        (!hidden).then(|| (needed / e.dot(&(seen.weight * e))).sqrt())
    });
    let (least, worst_direction) = seen.weakest();
    Some(Detectable {
        along_mm,
        worst_mm: seen.hidden.is_none().then(|| (needed / least).sqrt()),
        worst_direction: seen.hidden.unwrap_or(worst_direction),
    })
}

/// How a move (mm, vehicle frame) of the reference at `index` shifts what the set-up says about
/// the point `at`, mm; `None` when there is no such reference.
pub fn shift_at(set_up: &SetUp, index: usize, by_move: Vec3, at: Vec3) -> Option<Vec3> {
    Some(influence(set_up, index, at)? * by_move)
}

/// The largest shift at the point `at` by a move of one reference point that an outlier test of
/// level `alpha` finds with probability [`POWER`] only; `None` when there are no references.
pub fn worst_shift(set_up: &SetUp, at: Vec3, alpha: f64) -> Option<WorstShift> {
    let needed = stats::noncentrality(alpha, 3, POWER);
    let mut worst: Option<WorstShift> = None;
    for reference in 0..set_up.references().len() {
        let seen = Seen::at(set_up, reference)?;
        if let Some(direction) = seen.hidden {
            return Some(WorstShift {
                reference,
                shift_mm: None,
                by_move: direction,
            });
        }
        // Largest |B m| with m' P m = L: by the largest singular value of B P^-1/2.
        let root = seen.weight.cholesky()?.l().transpose().try_inverse()?;
        let svd = (influence(set_up, reference, at)? * root).svd(false, true);
        let v = svd.v_t?.row(0).transpose();
        let shift = svd.singular_values[0] * needed.sqrt();
        if worst.is_none_or(|w| w.shift_mm.is_some_and(|s| s < shift)) {
            worst = Some(WorstShift {
                reference,
                shift_mm: Some(shift),
                by_move: root * v * needed.sqrt(),
            });
        }
    }
    worst
}

/// `-J_x C J_i' W_i`.
fn influence(set_up: &SetUp, index: usize, at: Vec3) -> Option<Mat3> {
    let position = set_up.apply(set_up.references().get(index)?.reading);
    let weight = set_up.own_covariance(index)?.cholesky()?.inverse();
    Some(-set_up.covariance_between(at, position) * weight)
}

/// What the other references see of one of them.
struct Seen {
    /// P_ii.
    weight: Mat3,
    /// A direction in which nothing is seen.
    hidden: Option<Vec3>,
    unseen: usize,
}

impl Seen {
    fn at(set_up: &SetUp, index: usize) -> Option<Seen> {
        let own = set_up.own_covariance(index)?.cholesky()?;
        let unit = own.l().try_inverse()?;
        let redundancy = unit * set_up.residual_covariance(index, index)? * unit.transpose();
        let eigen = redundancy.symmetric_eigen();
        let mut hidden = None;
        let mut unseen = 0;
        for (value, vector) in eigen
            .eigenvalues
            .iter()
            .zip(eigen.eigenvectors.column_iter())
        {
            if *value <= NO_REDUNDANCY {
                // A move along S^1/2 v has no weight.
                hidden = Some((own.l() * vector).normalize());
                unseen += 1;
            }
        }
        Some(Seen {
            weight: weight_block(set_up, index, index)?,
            hidden,
            unseen,
        })
    }

    fn rank(&self) -> usize {
        3 - self.unseen
    }

    fn weakest(&self) -> (f64, Vec3) {
        let eigen = self.weight.symmetric_eigen();
        let (k, least) = eigen.eigenvalues.argmin();
        (least, eigen.eigenvectors.column(k).into_owned())
    }
}
