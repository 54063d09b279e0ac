//! The set-up: the rigid transform from the instrument's frame to the vehicle's, with its
//! covariance.
//!
//! # The model
//! Readings `q_i` (instrument frame, mm) of `n >= 3` reference points whose sheet positions are
//! `p_i` (vehicle frame, mm):
//!
//! ```text
//! x_i = R q_i + t                     where the set-up places reading i
//! r_i = x_i - p_i                     its residual
//! S_i = R Sq_i R' + Sp_i              the covariance of reading and sheet position together
//! minimise  T = sum r_i' S_i^-1 r_i   over rotations R and translations t
//! ```
//!
//! # The method
//! The start is the closed form for equal weights, by singular values with the determinant
//! correction that keeps a reflection out (Arun, Huang and Blostein, "Least-squares fitting of two
//! 3-D point sets", IEEE PAMI 9(5), 1987; Umeyama, IEEE PAMI 13(4), 1991, without the scale).
//! Gauss-Newton with the full weights finishes. A small turn `w` (radians, vehicle axes) about the
//! weighted centroid `c` followed by a shift `s` moves a point by `w x (x - c) + s`, so the
//! parameters are `(w, s)` and
//!
//! ```text
//! J_i = [ -[x_i - c]x   I ]           3 by 6
//! C   = (sum J_i' S_i^-1 J_i)^-1      6 by 6: rad^2, rad mm, mm^2
//! ```
//!
//! `S_i` is held at the latest rotation while a step is computed (the usual estimating equation
//! for errors in both positions: the term neglected is of the order residual over lever arm).
//!
//! From `C` follows all the rest, by first-order propagation (GUM, JCGM 100:2008, 5.2):
//!
//! ```text
//! another point:    cov(x_a, x_b) = [a = b] R Sq_a R' + J_a C J_b'
//! two residuals:    cov(r_i, r_j) = [i = j] S_i - J_i C J_j'
//! another, residual: cov(x_a, r_j) = 0
//! T                 chi-square with 3 n - 6 degrees of freedom, if the covariances are right
//! ```
//!
//! # What is refused
//! Fewer than three points, numbers that are not finite, covariances that are not positive
//! definite, points at one place, points on one line. "Nearly on one line" has a measure that
//! means something on the shop floor: the standard uncertainty of the least certain turn, which
//! must not exceed [`LARGEST_TURN_UNCERTAINTY`]. Beyond it the linear propagation above would not
//! hold either.
//!
//! Cost: a few steps, each linear in the number of points; no allocation inside a step.
//!
//! # Example
//! Three points measured in a frame that is turned by 90 degrees about the height and shifted:
//!
//! ```
//! use datumtrail_geometry::fit::{Reference, set_up};
//! use datumtrail_geometry::frame::{Mat3, Vec3};
//!
//! let sheet = [[0.0, -400.0, 70.0], [0.0, 400.0, 70.0], [1900.0, 0.0, 10.0]];
//! let references: Vec<Reference> = sheet
//!     .iter()
//!     .map(|&[x, y, z]| Reference {
//!         reading: Vec3::new(y + 5000.0, -x + 100.0, z - 30.0),
//!         reading_covariance: Mat3::identity() * 0.25, // u = 0.5 mm on each axis
//!         target: Vec3::new(x, y, z),
//!         target_covariance: Mat3::identity() / 12.0, // printed to whole millimetres
//!     })
//!     .collect();
//! let set_up = set_up(&references)?;
//! assert!(set_up.rms < 1e-9);
//! assert_eq!(set_up.degrees_of_freedom, 3);
//!
//! // A fourth point, 10 mm higher than the sheet says 80 mm is.
//! let placed = set_up.place(Vec3::new(5000.0, -900.0, 60.0), Mat3::identity() * 0.25);
//! assert!((placed.position - Vec3::new(1000.0, 0.0, 90.0)).norm() < 1e-9);
//! assert!(placed.covariance[(2, 2)] > 0.25); // the set-up's own uncertainty comes on top
//! # Ok::<(), datumtrail_geometry::fit::FitError>(())
//! ```

mod newton;
mod others;
mod start;

pub(crate) use start::closed_form_rms;

use crate::frame::{Mat3, Vec3};
use crate::stats;
use nalgebra::{Matrix3x6, Matrix6};

pub use others::Judged;

/// The largest standard uncertainty of a turn, in radians, at which a set-up is still accepted:
/// 0.02 rad is 1.1 degrees, or 20 mm at a point one metre away.
pub const LARGEST_TURN_UNCERTAINTY: f64 = 0.02;

/// One reference point as the set-up sees it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reference {
    /// The reading, mm, in the instrument's frame.
    pub reading: Vec3,
    /// The reading's covariance, mm^2, in the instrument's frame; it may differ by axis.
    pub reading_covariance: Mat3,
    /// The sheet's position, mm, in the vehicle's frame.
    pub target: Vec3,
    /// The covariance of the sheet's position, mm^2: rounding of the print and build spread.
    pub target_covariance: Mat3,
}

/// Why a set-up was refused.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum FitError {
    #[error(
        "a set-up needs at least three reference points, and only {given} can be used: measure \
         more reference points"
    )]
    TooFew { given: usize },
    #[error(
        "a number of reference point {index} (counted from 0) is not finite: check its reading \
         and its sheet position"
    )]
    NotFinite { index: usize },
    #[error(
        "the covariance of reference point {index} (counted from 0) is not positive definite: \
         state an uncertainty above zero on every axis"
    )]
    BadCovariance { index: usize },
    #[error("the reference points are all at one place: choose points spread over the structure")]
    Coincident,
    #[error(
        "the reference points lie on one line, so a turn about it cannot be seen: add a \
         reference point away from that line"
    )]
    Collinear,
    #[error(
        "the reference points lie too near one line for readings as uncertain as these: a turn \
         about it stays uncertain by {degrees:.1} degrees, and at most {allowed:.1} degrees are \
         accepted: add a reference point farther from that line",
        allowed = LARGEST_TURN_UNCERTAINTY.to_degrees()
    )]
    NearlyCollinear { degrees: f64 },
    #[error(
        "the readings cannot be brought onto the sheet by any set-up (the fit does not settle): \
         look for swapped names, wrong units or another vehicle's sheet"
    )]
    NotSettled,
}

/// A reading in the vehicle's frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Placed {
    /// mm, vehicle frame.
    pub position: Vec3,
    /// mm^2, vehicle frame: the reading's own and the set-up's.
    pub covariance: Mat3,
}

/// How a covariance is to be read.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Belief {
    /// The stated uncertainties are taken as known.
    Normal,
    /// The stated uncertainties were scaled by the fit's own scatter, which has this many degrees
    /// of freedom: Student's t replaces the normal.
    StudentT { degrees_of_freedom: usize },
}

/// A set-up: see the module's page for the model and the meaning of each matrix.
#[derive(Clone, Debug, PartialEq)]
pub struct SetUp {
    /// R, from the instrument's frame to the vehicle's.
    pub rotation: Mat3,
    /// t, mm, vehicle frame: `x = R q + t`.
    pub translation: Vec3,
    /// c, mm, vehicle frame: the weighted centroid that turns are about.
    pub centroid: Vec3,
    /// C: covariance of a turn (rad, vehicle axes, about `centroid`) and a shift (mm).
    pub covariance: Matrix6<f64>,
    /// The residuals `r_i`, mm, vehicle frame, in the order of the references given.
    pub residuals: Vec<Vec3>,
    /// Coordinates used minus six.
    pub degrees_of_freedom: usize,
    /// T, the weighted sum of squares, before any scaling.
    pub chi2: f64,
    /// Root mean square of the residuals' lengths, mm.
    pub rms: f64,
    /// What every covariance above was multiplied with: 1 unless [`SetUp::scaled`] was called.
    pub variance_factor: f64,
    /// Normal, or Student's t after scaling.
    pub belief: Belief,
    references: Vec<Reference>,
}

/// Finds the set-up.
///
/// # Errors
/// See [`FitError`]; nothing panics on any input.
pub fn set_up(references: &[Reference]) -> Result<SetUp, FitError> {
    if references.len() < 3 {
        return Err(FitError::TooFew {
            given: references.len(),
        });
    }
    for (index, r) in references.iter().enumerate() {
        let finite = r
            .reading
            .iter()
            .chain(r.target.iter())
            .all(|v| v.is_finite())
            && r.reading_covariance.iter().all(|v| v.is_finite())
            && r.target_covariance.iter().all(|v| v.is_finite());
        if !finite {
            return Err(FitError::NotFinite { index });
        }
        if (r.reading_covariance + r.target_covariance)
            .cholesky()
            .is_none()
        {
            return Err(FitError::BadCovariance { index });
        }
    }
    let start = start::closed_form(references)?;
    let found = newton::settle(references, start)?;
    if found.undetermined.is_some() {
        return Err(FitError::NearlyCollinear {
            degrees: found.turn_uncertainty.to_degrees(),
        });
    }

    let residuals: Vec<Vec3> = references
        .iter()
        .map(|r| found.transform.apply(r.reading) - r.target)
        .collect();
    let mean_square =
        residuals.iter().map(Vec3::norm_squared).sum::<f64>() / residuals.len() as f64;
    Ok(SetUp {
        rotation: found.transform.rotation,
        translation: found.transform.translation,
        centroid: found.centroid,
        covariance: found.covariance,
        residuals,
        degrees_of_freedom: 3 * references.len() - 6,
        chi2: found.chi2,
        rms: mean_square.sqrt(),
        variance_factor: 1.0,
        belief: Belief::Normal,
        references: references.to_vec(),
    })
}

impl SetUp {
    /// The position of a reading, mm, in the vehicle's frame.
    pub fn apply(&self, reading: Vec3) -> Vec3 {
        self.rotation * reading + self.translation
    }

    /// J at a point of the vehicle: how a turn and a shift of the set-up move it.
    pub fn jacobian(&self, position: Vec3) -> Matrix3x6<f64> {
        newton::jacobian(position - self.centroid)
    }

    /// A covariance of the instrument's frame, seen in the vehicle's, scaled as the set-up is.
    pub fn turn_covariance(&self, covariance: Mat3) -> Mat3 {
        self.rotation * covariance * self.rotation.transpose() * self.variance_factor
    }

    /// Places the reading of a point that is *not* one of the references: for those the set-up and
    /// the reading are correlated, and [`SetUp::judge_by_the_others`] is the right question.
    pub fn place(&self, reading: Vec3, reading_covariance: Mat3) -> Placed {
        let position = self.apply(reading);
        Placed {
            position,
            covariance: self.turn_covariance(reading_covariance)
                + self.covariance_between(position, position),
        }
    }

    /// The covariance that two positions (mm, vehicle frame) share through the set-up:
    /// `J_a C J_b'`, mm^2. With the same position twice, the set-up's part of its covariance.
    pub fn covariance_between(&self, a: Vec3, b: Vec3) -> Mat3 {
        self.jacobian(a) * self.covariance * self.jacobian(b).transpose()
    }

    /// The references that the set-up rests on, in the order given.
    pub fn references(&self) -> &[Reference] {
        &self.references
    }

    /// `S_i`: the covariance of a reference's reading and sheet position together, mm^2, vehicle
    /// frame.
    pub fn reference_covariance(&self, reference: &Reference) -> Mat3 {
        self.turn_covariance(reference.reading_covariance)
            + reference.target_covariance * self.variance_factor
    }

    /// `S_i` of the reference at `index`; `None` when there is no such reference.
    pub fn own_covariance(&self, index: usize) -> Option<Mat3> {
        self.references
            .get(index)
            .map(|r| self.reference_covariance(r))
    }

    /// `cov(r_i, r_j) = [i = j] S_i - J_i C J_j'`, mm^2; `None` when there is no such reference.
    pub fn residual_covariance(&self, i: usize, j: usize) -> Option<Mat3> {
        let (a, b) = (self.references.get(i)?, self.references.get(j)?);
        let shared = self.covariance_between(self.apply(a.reading), self.apply(b.reading));
        Some(if i == j {
            self.reference_covariance(a) - shared
        } else {
            -shared
        })
    }

    /// The probability that readings as uncertain as stated would scatter this much or more: the
    /// global chi-square test. Small means that something is wrong, not what.
    pub fn chi2_probability(&self) -> f64 {
        stats::chi2_exceeds(self.chi2, self.degrees_of_freedom)
    }

    /// The set-up under the explicit choice "the instrument is worse than stated": every covariance
    /// is multiplied with T over its degrees of freedom, and Student's t replaces the normal.
    ///
    /// The factor is never below one: a fit that happens to agree well does not make an instrument
    /// better than stated.
    pub fn scaled(mut self) -> SetUp {
        let factor = (self.chi2 / self.degrees_of_freedom as f64).max(1.0);
        self.covariance *= factor / self.variance_factor;
        self.variance_factor = factor;
        self.belief = Belief::StudentT {
            degrees_of_freedom: self.degrees_of_freedom,
        };
        self
    }

    /// What the other references say about reference `index`: see [`Judged`]. `None` when there is
    /// no such reference.
    pub fn judge_by_the_others(&self, index: usize) -> Option<Judged> {
        others::judge(self, index)
    }
}
