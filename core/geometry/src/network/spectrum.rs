//! What the figures determine, and how well: the covariance, and the motions they leave open.
//!
//! The normal matrix N is symmetric; N = V diag(lambda) V'. A motion v with lambda = 0 changes no
//! figure. Such motions are of two kinds:
//!
//! - *rigid*: all points move as one body. That is the choice of the frame (the datum defect), not
//!   a lack of measurements. Inner constraints answer it: of all solutions, the one whose points
//!   move least, with the covariance N^+ = sum over lambda > 0 of v v' / lambda (Meissl 1969;
//!   Grafarend and Schaffrin 1974; Teunissen, Adjustment theory, on free networks).
//! - *lost*: the shape itself is open along v, for example the height of a point from which only
//!   level distances were taken. No number is reported along it.
//!
//! Which part of the open space is rigid: with B an orthonormal basis of the rigid motions of the
//! movable points and V0 of the open ones, the singular values of B'V0 are the cosines between the
//! two spaces, and those equal to one belong to motions that are both.
//!
//! Laying a free network onto some of its points instead of all of them is an S-transformation
//! (Baarda 1973): x' = S x with S = I - G (G' E G)^-1 G' E, E selecting the coordinates of those
//! points and G spanning the open rigid motions; Q' = S Q S'.
//!
//! Units: millimetres and square millimetres. Cost: an inverse of order 3n where the shape is
//! rigid, else a symmetric eigendecomposition of that order.

use nalgebra::{DMatrix, DVector};

use super::settle::System;
use crate::frame::Vec3;

/// Covariance and open motions at one set of positions.
#[derive(Clone, Debug)]
pub(super) struct Spectrum {
    /// Covariance of all movable coordinates, without the open motions.
    pub q: DMatrix<f64>,
    /// Orthonormal columns: open rigid motions.
    pub rigid: DMatrix<f64>,
    /// Orthonormal columns: open motions of the shape.
    pub lost: DMatrix<f64>,
}

/// A motion of unit length whose standard uncertainty exceeds ten metres is open. Far above what
/// distances on a vehicle can leave uncertain, far below what rounding makes of an exact zero.
const OPEN_MM: f64 = 1e4;
/// Eigenvalues of N below this belong to open motions; `largest` is N's largest one, or a bound.
fn open_below(largest: f64) -> f64 {
    (1.0 / (OPEN_MM * OPEN_MM)).max(1e-11 * largest)
}

/// Cosine from which a motion counts as rigid.
const SAME: f64 = 1.0 - 1e-7;

impl Spectrum {
    pub fn of(system: &System, at: &[Vec3], n: DMatrix<f64>) -> Spectrum {
        let size = system.size;
        if size == 0 {
            let nothing = || DMatrix::zeros(0, 0);
            return Spectrum {
                q: nothing(),
                rigid: nothing(),
                lost: nothing(),
            };
        }
        let basis = rigid_basis(system, at);
        Spectrum::of_a_rigid_shape(&n, &basis).unwrap_or_else(|| Spectrum::of_any(n, &basis))
    }

    /// Where no motion of the shape is open, N with the open rigid motions filled in has an
    /// inverse, and N^+ = (N + s R R')^-1 - R R' / s. That costs a third of the eigenvectors. The
    /// trace of the inverse bounds its largest eigenvalue, so this refuses what it cannot vouch for.
    fn of_a_rigid_shape(n: &DMatrix<f64>, basis: &DMatrix<f64>) -> Option<Spectrum> {
        let size = n.nrows();
        let open = open_below(n.trace());
        let mut rigid = Vec::new();
        if basis.ncols() > 0 {
            let eigen = (basis.transpose() * n * basis).symmetric_eigen();
            let motions = eigen.eigenvectors.column_iter();
            rigid.extend(
                (eigen.eigenvalues.iter().zip(motions))
                    .filter(|(lambda, _)| **lambda <= open)
                    .map(|(_, v)| basis * v),
            );
        }
        let rigid = columns(size, &rigid);
        let scale = n.trace() / size as f64;
        let spread = &rigid * rigid.transpose();
        let q = (n + &spread * scale).cholesky()?.inverse() - spread / scale;
        (q.trace() < 1.0 / open).then(|| Spectrum {
            q,
            rigid,
            lost: DMatrix::zeros(size, 0),
        })
    }

    fn of_any(n: DMatrix<f64>, basis: &DMatrix<f64>) -> Spectrum {
        let size = n.nrows();
        let eigen = n.symmetric_eigen();
        let open = open_below(eigen.eigenvalues.max());
        let mut scaled = DMatrix::zeros(size, size);
        let mut kernel = Vec::new();
        for (i, (lambda, v)) in (eigen
            .eigenvalues
            .iter()
            .zip(eigen.eigenvectors.column_iter()))
        .enumerate()
        {
            if *lambda > open {
                scaled.set_column(i, &(v / lambda.sqrt()));
            } else {
                kernel.push(v.into_owned());
            }
        }
        let q = &scaled * scaled.transpose();
        let (rigid, lost) = split(&columns(size, &kernel), basis);
        Spectrum { q, rigid, lost }
    }

    /// The S-transformation onto some points. None when they leave an open rigid motion open.
    pub fn laid_onto(&self, system: &System, places: &[usize]) -> Option<Spectrum> {
        let chosen = rows_of(system, places);
        let selected = select(&self.rigid, &chosen);
        let gram = (selected.transpose() * &self.rigid).try_inverse()?;
        // Distances this poorly fixed would blow the covariance up instead of placing it.
        if !gram.iter().all(|c| c.is_finite() && c.abs() < 1e12) {
            return None;
        }
        // S = I - G M with M = (G' E G)^-1 G' E of a few rows only.
        let m = gram * selected.transpose();
        let shift = &self.rigid * (&m * &self.q);
        let both = &self.rigid * (&m * &self.q * m.transpose()) * self.rigid.transpose();
        Some(Spectrum {
            q: &self.q - &shift - shift.transpose() + both,
            rigid: self.rigid.clone(),
            lost: &self.lost - &self.rigid * (&m * &self.lost),
        })
    }

    /// The twist, in the coordinates of the open rigid motions, that brings the chosen points
    /// nearest to where they were stated: least squares over their coordinates.
    pub fn twist(&self, system: &System, at: &[Vec3], stated: &[(usize, Vec3)]) -> DVector<f64> {
        let mut wanted = DVector::zeros(system.size);
        for (place, position) in stated {
            if let Some(c) = system.column[*place] {
                let step = position - at[*place];
                wanted.fixed_rows_mut::<3>(c).copy_from(&step);
            }
        }
        let places: Vec<usize> = stated.iter().map(|(place, _)| *place).collect();
        let selected = select(&self.rigid, &rows_of(system, &places));
        let gram = selected.transpose() * &self.rigid;
        match gram.pseudo_inverse(1e-9) {
            Ok(inverse) => &self.rigid * (inverse * selected.transpose() * wanted),
            Err(_) => DVector::zeros(system.size),
        }
    }

    /// The 3 by 3 block of the covariance between two points' columns.
    pub fn block(&self, a: usize, b: usize) -> crate::frame::Mat3 {
        self.q.fixed_view::<3, 3>(a, b).into_owned()
    }
}

fn columns(rows: usize, vectors: &[DVector<f64>]) -> DMatrix<f64> {
    let mut m = DMatrix::zeros(rows, vectors.len());
    for (i, v) in vectors.iter().enumerate() {
        m.set_column(i, v);
    }
    m
}

fn rows_of(system: &System, places: &[usize]) -> Vec<bool> {
    let mut chosen = vec![false; system.size];
    for c in places.iter().filter_map(|&p| system.column[p]) {
        chosen[c..c + 3].fill(true);
    }
    chosen
}

fn select(m: &DMatrix<f64>, chosen: &[bool]) -> DMatrix<f64> {
    let mut selected = m.clone();
    for (row, keep) in chosen.iter().enumerate() {
        if !keep {
            selected.row_mut(row).fill(0.0);
        }
    }
    selected
}

/// An orthonormal basis of the motions that move all movable points as one body and leave the
/// rigidly held ones in place.
fn rigid_basis(system: &System, at: &[Vec3]) -> DMatrix<f64> {
    let centre = at.iter().sum::<Vec3>() / at.len() as f64;
    let reach = at.iter().map(|p| (p - centre).norm()).fold(1.0, f64::max);
    let field = |motion: usize, p: &Vec3| match motion {
        0..3 => Vec3::ith(motion, 1.0),
        _ => Vec3::ith(motion - 3, 1.0).cross(&(p - centre)) / reach,
    };
    let mut moving = DMatrix::zeros(system.size, 6);
    let mut holding = DMatrix::<f64>::zeros(6, 6);
    for (p, column) in at.iter().zip(&system.column) {
        let fields: [Vec3; 6] = std::array::from_fn(|motion| field(motion, p));
        match column {
            Some(c) => {
                for (motion, f) in fields.iter().enumerate() {
                    moving.fixed_view_mut::<3, 1>(*c, motion).copy_from(f);
                }
            }
            None => {
                for (i, f) in fields.iter().enumerate() {
                    for (k, h) in fields.iter().enumerate() {
                        holding[(i, k)] += f.dot(h);
                    }
                }
            }
        }
    }
    let allowed = kernel_of(holding);
    range_of(moving * allowed)
}

fn kernel_of(gram: DMatrix<f64>) -> DMatrix<f64> {
    let eigen = gram.symmetric_eigen();
    let kept: Vec<DVector<f64>> = (eigen
        .eigenvalues
        .iter()
        .zip(eigen.eigenvectors.column_iter()))
    .filter(|(lambda, _)| **lambda < 1e-9)
    .map(|(_, v)| v.into_owned())
    .collect();
    columns(eigen.eigenvectors.nrows(), &kept)
}

/// An orthonormal basis of the space that the columns span.
fn range_of(m: DMatrix<f64>) -> DMatrix<f64> {
    if m.ncols() == 0 {
        return m;
    }
    let eigen = (m.transpose() * &m).symmetric_eigen();
    let largest = eigen.eigenvalues.max();
    let kept: Vec<DVector<f64>> = (eigen
        .eigenvalues
        .iter()
        .zip(eigen.eigenvectors.column_iter()))
    .filter(|(lambda, _)| **lambda > 1e-9 * largest)
    .map(|(lambda, v)| &m * v / lambda.sqrt())
    .collect();
    columns(m.nrows(), &kept)
}

/// Splits the open space into its rigid part and the rest.
fn split(kernel: &DMatrix<f64>, basis: &DMatrix<f64>) -> (DMatrix<f64>, DMatrix<f64>) {
    let empty = DMatrix::zeros(kernel.nrows(), 0);
    if kernel.ncols() == 0 {
        return (empty.clone(), empty);
    }
    if basis.ncols() == 0 {
        return (empty, kernel.clone());
    }
    let cosines = basis.transpose() * kernel;
    // Right singular vectors by the eigenvectors of C'C: the squares of the cosines.
    let eigen = (cosines.transpose() * cosines).symmetric_eigen();
    let mut rigid = Vec::new();
    let mut lost = Vec::new();
    for (square, v) in eigen
        .eigenvalues
        .iter()
        .zip(eigen.eigenvectors.column_iter())
    {
        let motion = kernel * v;
        if *square > SAME {
            rigid.push(motion);
        } else {
            lost.push(motion);
        }
    }
    (
        columns(kernel.nrows(), &rigid),
        columns(kernel.nrows(), &lost),
    )
}
