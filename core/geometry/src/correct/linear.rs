//! Two small pieces of linear algebra that the moves share; both accept empty matrices.

use nalgebra::DMatrix;

use super::part::MoveError;

/// The Moore-Penrose inverse; singular values below `relative` times the largest entry count as
/// zero.
pub(super) fn pseudo_inverse(m: &DMatrix<f64>, relative: f64) -> Result<DMatrix<f64>, MoveError> {
    if m.is_empty() || m.amax() == 0.0 {
        return Ok(DMatrix::zeros(m.ncols(), m.nrows()));
    }
    m.clone()
        .pseudo_inverse(relative * m.amax())
        .map_err(|_| MoveError::DidNotSettle)
}

/// Orthonormal columns that span what m takes to zero (relative to its largest singular value).
pub(super) fn null_space(m: &DMatrix<f64>) -> DMatrix<f64> {
    if m.is_empty() {
        return DMatrix::identity(m.ncols(), m.ncols());
    }
    let eigen = (m.transpose() * m).symmetric_eigen();
    let largest = eigen.eigenvalues.amax();
    let empty: Vec<usize> = (0..m.ncols())
        .filter(|&k| eigen.eigenvalues[k] <= 1e-13 * largest)
        .collect();
    eigen.eigenvectors.select_columns(&empty)
}
