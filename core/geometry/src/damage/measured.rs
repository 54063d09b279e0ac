//! What goes in: the measured points, where they belong, and the joint covariance.

use nalgebra::{DMatrix, DVector};
use thiserror::Error;

use super::layout::{Layout, Zone};
use crate::check::Check;
use crate::frame::{Axis, Mat3, Side, Vec3};
use crate::verdict::Verdict;

/// A measured control point. Millimetres, vehicle frame.
#[derive(Clone, Debug, PartialEq)]
pub struct MeasuredPoint {
    pub name: String,
    pub side: Side,
    /// The sheet's position.
    pub spec: Vec3,
    /// Reading minus sheet.
    pub deviation: Vec3,
    /// The permitted deviation along length, width and height.
    pub limits: [Option<f64>; 3],
    /// The verdict on each axis: about the limit, where everything here is about movement.
    pub verdicts: [Verdict; 3],
    /// A reference point: trusted as undamaged, and so never part of what moved.
    pub is_reference: bool,
    pub zone: Zone,
    /// The member whose chain it belongs to.
    pub member: String,
}

/// Why damage can't be read.
#[derive(Debug, Error)]
pub enum DamageError {
    #[error("{points} points need a covariance of {size} by {size}, but it is {rows} by {columns}", size = points * 3)]
    CovarianceShape {
        points: usize,
        rows: usize,
        columns: usize,
    },
    #[error(
        "point {point}: its position, deviation or covariance is not a finite number; correct the reading or the sheet"
    )]
    NotFinite { point: String },
    #[error(
        "the covariance of the points in the {zone} leaves no room for error (not positive definite); state an uncertainty above zero for every reading"
    )]
    Covariance { zone: &'static str },
    #[error(
        "point {point} has no place in the layout; give its zone and member, or propose the layout from all points of the sheet"
    )]
    NoPlace { point: String },
}

/// Measured points and the joint covariance of their deviations, build spread included: what an
/// undamaged vehicle could have shown.
#[derive(Clone, Debug)]
pub struct Measured {
    points: Vec<MeasuredPoint>,
    covariance: DMatrix<f64>,
}

impl Measured {
    /// n points and the joint covariance of their deviations *for asking whether they moved*
    /// (square millimetres, 3n by 3n, length, width, height of each point in turn). The rows of
    /// reference points are not used.
    ///
    /// # Errors
    /// A covariance of the wrong shape, or numbers that are not finite.
    pub fn new(points: Vec<MeasuredPoint>, covariance: DMatrix<f64>) -> Result<Self, DamageError> {
        let size = 3 * points.len();
        if covariance.shape() != (size, size) {
            return Err(DamageError::CovarianceShape {
                points: points.len(),
                rows: covariance.nrows(),
                columns: covariance.ncols(),
            });
        }
        for (i, p) in points.iter().enumerate() {
            let rows = covariance.rows(3 * i, 3);
            let mut numbers = p.spec.iter().chain(p.deviation.iter()).chain(rows.iter());
            if !numbers.all(|x| x.is_finite()) {
                return Err(DamageError::NotFinite {
                    point: p.name.clone(),
                });
            }
        }
        Ok(Measured { points, covariance })
    }

    /// The measured points of a check, with their places from a layout; `None` where the check has
    /// no stated uncertainty, without which movement and error can't be told apart.
    ///
    /// # Errors
    /// A point without a place in the layout; else as [`Measured::new`].
    pub fn of_check(check: &Check, layout: &Layout) -> Result<Option<Self>, DamageError> {
        let Some(deviations) = check.deviations() else {
            return Ok(None);
        };
        let mut points = Vec::new();
        for (i, p) in deviations.points.iter().enumerate() {
            let no_place = || DamageError::NoPlace {
                point: p.point.clone(),
            };
            let place = layout.place(&p.point).ok_or_else(no_place)?;
            let result = check.point(&p.point).ok_or_else(no_place)?;
            points.push(MeasuredPoint {
                name: p.point.clone(),
                side: p.side,
                spec: p.spec,
                deviation: deviations.value(i),
                limits: Axis::ALL.map(|axis| result.axis(axis).limit_mm),
                verdicts: Axis::ALL.map(|axis| result.axis(axis).verdict),
                is_reference: p.is_reference,
                zone: place.zone,
                member: place.member.clone(),
            });
        }
        Measured::new(points, deviations.covariance_for_movement()).map(Some)
    }

    /// The points, in the order given.
    pub fn points(&self) -> &[MeasuredPoint] {
        &self.points
    }

    /// The covariance of one point's deviation, mm^2.
    pub fn covariance_of(&self, point: usize) -> Mat3 {
        self.covariance
            .fixed_view::<3, 3>(3 * point, 3 * point)
            .into_owned()
    }

    /// The deviations of some points, one after the other, and their joint covariance.
    pub(super) fn select(&self, points: &[usize]) -> (DVector<f64>, DMatrix<f64>) {
        let rows: Vec<usize> = points.iter().flat_map(|p| 3 * p..3 * p + 3).collect();
        let values = points
            .iter()
            .flat_map(|&p| <[f64; 3]>::from(self.points[p].deviation));
        let values = DVector::from_iterator(rows.len(), values);
        let covariance = self.covariance.select_rows(&rows).select_columns(&rows);
        (values, covariance)
    }

    /// d' S^-1 d of one point: chi-square with three degrees of freedom if it never moved; `None`
    /// where its covariance is not positive definite.
    pub fn distance_squared(&self, point: usize) -> Option<f64> {
        let d = self.points.get(point)?.deviation;
        Some(d.dot(&self.covariance_of(point).cholesky()?.solve(&d)))
    }
}
