//! Gauss-Newton with the full weights, in the directions that the points determine.
//!
//! The normal matrix is looked at through its eigenvectors, with turns expressed as millimetres at
//! the points' own lever arm, so that one comparison of eigenvalues serves turns and shifts alike.
//! A direction without information is left where the start put it and reported: with all
//! references that is a refusal, with one reference set aside it is an "unchecked" direction.

use super::{FitError, LARGEST_TURN_UNCERTAINTY, Reference};
use crate::frame::{Mat3, Vec3};
use nalgebra::{Matrix3x6, Matrix6, Rotation3, Vector6};

/// Eigenvalues below this part of the largest carry no information, only rounding.
const NO_INFORMATION: f64 = 1e-11;
const MOST_STEPS: usize = 200;

/// `x = R q + t`.
#[derive(Clone, Copy, Debug)]
pub(super) struct Transform {
    pub rotation: Mat3,
    pub translation: Vec3,
}

impl Transform {
    pub fn apply(&self, q: Vec3) -> Vec3 {
        self.rotation * q + self.translation
    }
}

/// Where the fit settled.
pub(super) struct Settled {
    pub transform: Transform,
    pub centroid: Vec3,
    /// C, over the determined directions only.
    pub covariance: Matrix6<f64>,
    pub chi2: f64,
    /// The standard uncertainty of the least certain turn, rad.
    pub turn_uncertainty: f64,
    /// The undetermined directions as `(turn, shift)`, each scaled to move points at the lever arm
    /// by about a millimetre.
    pub undetermined: Option<Vec<Vector6<f64>>>,
}

/// J for a point at `arm` from the centroid.
pub(super) fn jacobian(arm: Vec3) -> Matrix3x6<f64> {
    let mut j = Matrix3x6::zeros();
    j.fixed_view_mut::<3, 3>(0, 0)
        .copy_from(&(-arm.cross_matrix()));
    j.fixed_view_mut::<3, 3>(0, 3).fill_with_identity();
    j
}

/// The weighted problem, linearised at one transform.
struct Linear {
    centroid: Vec3,
    lever: f64,
    /// sum J' W J with turns in units of 1/lever rad.
    normal: Matrix6<f64>,
    /// sum J' W r, likewise.
    gradient: Vector6<f64>,
    chi2: f64,
}

pub(super) fn settle(references: &[Reference], start: Transform) -> Result<Settled, FitError> {
    let mut at = start;
    let mut weights = Vec::with_capacity(references.len());
    for _ in 0..MOST_STEPS {
        weigh(references, &at, &mut weights)?;
        let linear = linearise(references, &weights, &at);
        let (inverse, undetermined, turn_uncertainty) = invert(&linear);
        let step = -(inverse * linear.gradient);
        if !(linear.chi2.is_finite() && step.iter().all(|v| v.is_finite())) {
            return Err(FitError::NotSettled);
        }

        // Settled when the step is below what doubles hold of such positions, or below a ten
        // thousand millionth of a standard uncertainty.
        let size = linear.lever + linear.centroid.norm() + at.translation.norm();
        let in_uncertainties = step.dot(&(linear.normal * step)).max(0.0).sqrt();
        if step.norm() <= 1e-13 * size || in_uncertainties <= 1e-10 {
            let unscale = scaling(linear.lever);
            return Ok(Settled {
                transform: at,
                centroid: linear.centroid,
                covariance: unscale * inverse * unscale,
                chi2: linear.chi2,
                turn_uncertainty,
                undetermined: (!undetermined.is_empty())
                    .then(|| undetermined.iter().map(|v| unscale * v).collect()),
            });
        }
        at = descend(references, &weights, &at, &linear, step);
    }
    Err(FitError::NotSettled)
}

/// `S_i^-1` at the given rotation.
fn weigh(
    references: &[Reference],
    at: &Transform,
    weights: &mut Vec<Mat3>,
) -> Result<(), FitError> {
    weights.clear();
    for (index, r) in references.iter().enumerate() {
        let s = at.rotation * r.reading_covariance * at.rotation.transpose() + r.target_covariance;
        let inverse = s
            .cholesky()
            .ok_or(FitError::BadCovariance { index })?
            .inverse();
        weights.push(inverse);
    }
    Ok(())
}

fn linearise(references: &[Reference], weights: &[Mat3], at: &Transform) -> Linear {
    let pairs = || references.iter().zip(weights);
    let total: f64 = weights.iter().map(Mat3::trace).sum();
    let centroid = pairs()
        .map(|(r, w)| at.apply(r.reading) * w.trace())
        .sum::<Vec3>()
        / total;
    let spread = pairs()
        .map(|(r, w)| (at.apply(r.reading) - centroid).norm_squared() * w.trace())
        .sum::<f64>();
    let lever = (spread / total).sqrt().max(f64::MIN_POSITIVE);

    let unscale = scaling(lever);
    let mut normal = Matrix6::zeros();
    let mut gradient = Vector6::zeros();
    let mut chi2 = 0.0;
    for (r, w) in pairs() {
        let x = at.apply(r.reading);
        let residual = x - r.target;
        let j = jacobian(x - centroid) * unscale;
        normal += j.transpose() * w * j;
        gradient += j.transpose() * w * residual;
        chi2 += residual.dot(&(w * residual));
    }
    Linear {
        centroid,
        lever,
        normal,
        gradient,
        chi2,
    }
}

/// Turns in millimetres at the lever arm, to radians.
fn scaling(lever: f64) -> Matrix6<f64> {
    let t = 1.0 / lever;
    Matrix6::from_diagonal(&Vector6::new(t, t, t, 1.0, 1.0, 1.0))
}

/// The inverse of the normal matrix over its determined directions, the others, and the standard
/// uncertainty (rad) of the least certain turn.
fn invert(linear: &Linear) -> (Matrix6<f64>, Vec<Vector6<f64>>, f64) {
    let eigen = linear.normal.symmetric_eigen();
    let largest = eigen.eigenvalues.max();
    let mut inverse = Matrix6::zeros();
    let mut undetermined = Vec::new();
    let mut worst_turn: f64 = 0.0;
    for (value, vector) in eigen
        .eigenvalues
        .iter()
        .zip(eigen.eigenvectors.column_iter())
    {
        let turn = if *value > 0.0 {
            vector.fixed_rows::<3>(0).norm() / linear.lever / value.sqrt()
        } else {
            f64::INFINITY
        };
        worst_turn = worst_turn.max(turn);
        if *value <= NO_INFORMATION * largest || turn > LARGEST_TURN_UNCERTAINTY {
            undetermined.push(vector.into_owned());
        } else {
            inverse += vector * vector.transpose() / *value;
        }
    }
    (inverse, undetermined, worst_turn)
}

/// Takes the step, halved until it does not make the weighted sum of squares worse by more than
/// rounding does.
fn descend(
    references: &[Reference],
    weights: &[Mat3],
    at: &Transform,
    linear: &Linear,
    step: Vector6<f64>,
) -> Transform {
    let enough = linear.chi2 * (1.0 + 1e-9);
    let mut fraction = 1.0;
    let mut next = advance(at, linear, &step);
    while cost(references, weights, &next) > enough && fraction > 1e-6 {
        fraction /= 2.0;
        next = advance(at, linear, &(step * fraction));
    }
    next
}

fn cost(references: &[Reference], weights: &[Mat3], at: &Transform) -> f64 {
    references
        .iter()
        .zip(weights)
        .map(|(r, w)| {
            let residual = at.apply(r.reading) - r.target;
            residual.dot(&(w * residual))
        })
        .sum()
}

fn advance(at: &Transform, linear: &Linear, step: &Vector6<f64>) -> Transform {
    let turn: Vec3 = step.fixed_rows::<3>(0) / linear.lever;
    let shift: Vec3 = step.fixed_rows::<3>(3).into_owned();
    let r = Rotation3::new(turn);
    let mut rotation = Rotation3::from_matrix_unchecked(r.matrix() * at.rotation);
    rotation.renormalize();
    Transform {
        rotation: rotation.into_inner(),
        translation: r * (at.translation - linear.centroid) + linear.centroid + shift,
    }
}
