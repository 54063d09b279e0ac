//! What goes in: the measured points, where they belong, and the joint covariance.

use std::collections::BTreeSet;

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
    #[error("point {point} is there twice: average its readings, or withdraw one")]
    Twice { point: String },
    #[error(
        "point {point}: its position, deviation, limit or covariance is not a finite number; correct the reading or the sheet"
    )]
    NotFinite { point: String },
    #[error("point {point}: its covariance is not symmetric, so it is not that of a measurement")]
    NotSymmetric { point: String },
    #[error("the probability of a false alarm must be between 0 and 1, not {given}: 0.05 is usual")]
    Alpha { given: f64 },
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
    doubtful: bool,
}

impl Measured {
    /// n points and the joint covariance of their deviations *for asking whether they moved*
    /// (square millimetres, 3n by 3n, length, width, height of each point in turn). The rows of
    /// reference points are not used.
    ///
    /// # Errors
    /// A covariance of the wrong shape or not symmetric, a point that is there twice, numbers that
    /// are not finite.
    pub fn new(points: Vec<MeasuredPoint>, covariance: DMatrix<f64>) -> Result<Self, DamageError> {
        let size = 3 * points.len();
        if covariance.shape() != (size, size) {
            return Err(DamageError::CovarianceShape {
                points: points.len(),
                rows: covariance.nrows(),
                columns: covariance.ncols(),
            });
        }
        let mut names = BTreeSet::new();
        for (i, p) in points.iter().enumerate() {
            let point = || p.name.clone();
            if !names.insert(&p.name) {
                return Err(DamageError::Twice { point: point() });
            }
            let rows = covariance.rows(3 * i, 3);
            let mut numbers = p.spec.iter().chain(p.deviation.iter()).chain(rows.iter());
            let limits = p.limits.iter().flatten().all(|t| t.is_finite() && *t > 0.0);
            if !(limits && numbers.all(|x| x.is_finite())) {
                return Err(DamageError::NotFinite { point: point() });
            }
            let columns = covariance.columns(3 * i, 3);
            if (rows - columns.transpose()).amax() > 1e-9 * rows.amax() {
                return Err(DamageError::NotSymmetric { point: point() });
            }
        }
        Ok(Measured {
            points,
            covariance,
            doubtful: false,
        })
    }

    /// The measured points of a check, with their places from a layout; `None` where the check has
    /// no stated uncertainty, without which movement and error can't be told apart. The build
    /// spread is the one stated to the check.
    ///
    /// From a survey to what moved and how far it goes:
    ///
    /// ```
    /// use datumtrail_geometry::check::{Reading, Request, Target, check};
    /// use datumtrail_geometry::damage::{self, Layout, Measured};
    /// use datumtrail_geometry::extent::{self, Options};
    /// use datumtrail_geometry::frame::Side::{self, Left, Right};
    ///
    /// // Six reference points in the cell, and the ends of both front rails.
    /// let sheet: [(&str, Side, [f64; 3]); 8] = [
    ///     ("G", Left, [900.0, -370.0, 10.0]), ("G'", Right, [900.0, 370.0, 10.0]),
    ///     ("M", Left, [1400.0, -380.0, 90.0]), ("M'", Right, [1400.0, 380.0, 90.0]),
    ///     ("N", Left, [1900.0, -400.0, 20.0]), ("N'", Right, [1900.0, 400.0, 20.0]),
    ///     ("H", Left, [-550.0, -460.0, 120.0]), ("H'", Right, [-550.0, 460.0, 120.0]),
    /// ];
    /// let targets = sheet.map(|(name, side, at)| Target::new(name, side, at, 1.0).with_limit(3.0));
    /// // Both rail ends were found 12 mm too far rearward.
    /// let readings = sheet.map(|(name, _, [x, y, z])| {
    ///     Reading::new(name, [if x < 0.0 { x + 12.0 } else { x }, y, z], Some(0.4))
    /// });
    /// let references = ["G", "G'", "M", "M'", "N", "N'"].map(String::from);
    /// let mut request = Request::new(&readings, &targets, &references);
    /// request.build_spread_mm = Some(0.5);
    /// let check = check(&request)?;
    ///
    /// // Zones and members as the sheet gives them, or proposed from the geometry as here.
    /// let layout = Layout::propose(&targets.each_ref().map(Into::into));
    /// let measured = Measured::of_check(&check, &layout)?.expect("an uncertainty is stated");
    ///
    /// let zones = damage::read(&measured, 0.05)?;
    /// assert_eq!(damage::words::zone(&zones[0])[0], "Front: the front was pushed as one.");
    /// let whole = extent::whole(&measured, Some(&layout), Options::default());
    /// assert_eq!(
    ///     extent::words::sentence(&whole[0]).as_deref(),
    ///     Some("Everything measured behind H is inside; the section ahead of it moved.")
    /// );
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
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
        let mut measured = Measured::new(points, deviations.covariance_for_movement())?;
        measured.doubtful = check.setup.doubtful;
        Ok(Some(measured))
    }

    /// The reference points contradict each other and nothing has explained why: whatever is read
    /// from these deviations is in doubt, and nothing can be said to have stayed.
    pub fn doubtful(&self) -> bool {
        self.doubtful
    }

    /// The same points under such a doubt.
    pub fn in_doubt(mut self) -> Self {
        self.doubtful = true;
        self
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
