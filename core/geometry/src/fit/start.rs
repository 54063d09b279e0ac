//! The closed form for equal weights, from which the weighted fit starts.
//!
//! Arun, Huang and Blostein 1987; Umeyama 1991 without the scale. The determinant correction makes
//! the result a rotation even where a reflection would fit better.

use super::newton::Transform;
use super::{FitError, Reference};
use crate::frame::{Mat3, Vec3};

/// Below this ratio of the second singular value to the first, points are on one line as far as
/// doubles can tell.
const ON_A_LINE: f64 = 1e-7;

pub(super) fn closed_form(references: &[Reference]) -> Result<Transform, FitError> {
    refuse_degenerate(references.iter().map(|r| r.target))?;
    refuse_degenerate(references.iter().map(|r| r.reading))?;

    let from = centroid(references.iter().map(|r| r.reading));
    let to = centroid(references.iter().map(|r| r.target));
    let cross: Mat3 = references
        .iter()
        .map(|r| (r.target - to) * (r.reading - from).transpose())
        .sum();
    let svd = cross.svd(true, true);
    let (Some(u), Some(v_t)) = (svd.u, svd.v_t) else {
        return Err(FitError::NotSettled);
    };
    let sign = (u.determinant() * v_t.determinant()).signum();
    let rotation = u * Mat3::from_diagonal(&Vec3::new(1.0, 1.0, sign)) * v_t;
    Ok(Transform {
        rotation,
        translation: to - rotation * from,
    })
}

/// Root mean square distance of the references from the sheet under the closed form: also where no
/// weighted fit settles.
pub(crate) fn closed_form_rms(references: &[Reference]) -> Result<f64, FitError> {
    let fitted = closed_form(references)?;
    let square = |r: &Reference| {
        (fitted.rotation * r.reading + fitted.translation - r.target).norm_squared()
    };
    let sum: f64 = references.iter().map(square).sum();
    Ok((sum / references.len() as f64).sqrt())
}

/// Refuses points at one place or on one line.
fn refuse_degenerate(points: impl Iterator<Item = Vec3> + Clone) -> Result<(), FitError> {
    let c = centroid(points.clone());
    let size = points.clone().map(|p| p.norm()).fold(0.0, f64::max);
    let scatter: Mat3 = points.map(|p| (p - c) * (p - c).transpose()).sum();
    let mut spread = scatter.symmetric_eigenvalues().map(|v| v.max(0.0).sqrt());
    spread.as_mut_slice().sort_by(|a, b| b.total_cmp(a));
    if spread[0] <= 1e-12 * size.max(1.0) {
        Err(FitError::Coincident)
    } else if spread[1] <= ON_A_LINE * spread[0] {
        Err(FitError::Collinear)
    } else {
        Ok(())
    }
}

fn centroid(points: impl Iterator<Item = Vec3>) -> Vec3 {
    let (sum, n) = points.fold((Vec3::zeros(), 0.0), |(s, n), p| (s + p, n + 1.0));
    sum / n
}
