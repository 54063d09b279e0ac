//! What goes in: the part's points, their targets and limits, and how well they are known.

use nalgebra::DMatrix;
use thiserror::Error;

use crate::frame::{Axis, Side, Vec3};

/// Positions, directions and limits outside this range are mistakes, and would leave the range of
/// floating-point numbers when squared (mm).
pub(super) const LARGEST_MM: f64 = 1e9;
const SMALLEST_LIMIT_MM: f64 = 1e-6;

/// One control point of the part. Millimetres, vehicle frame.
#[derive(Clone, Debug, PartialEq)]
pub struct PartPoint {
    /// The name people call it by.
    pub name: String,
    /// Its side, so that inboard and outboard mean something.
    pub side: Side,
    /// Where it was measured.
    pub position: Vec3,
    /// Where the sheet wants it.
    pub target: Vec3,
    /// The permitted deviation along length, width and height: positive, or absent.
    pub limits: [Option<f64>; 3],
}

impl PartPoint {
    /// Position minus target.
    pub fn deviation(&self) -> Vec3 {
        self.position - self.target
    }

    /// The limit along one axis.
    pub fn limit(&self, axis: Axis) -> Option<f64> {
        self.limits[axis.index()]
    }
}

/// Why no move was computed.
#[derive(Debug, Error)]
pub enum MoveError {
    #[error("a part needs at least one measured point: name the points that move together")]
    NoPoints,
    #[error(
        "point {point}: its position or target is not a number of millimetres that a vehicle could have; correct the reading or the sheet"
    )]
    Position { point: String },
    #[error(
        "point {point}, {axis}: a limit must be a positive number of millimetres, not {limit}; correct it or leave it out"
    )]
    Limit {
        point: String,
        axis: &'static str,
        limit: f64,
    },
    #[error(
        "{count} points need a covariance of {size} by {size}, but it is {rows} by {columns}: give length, width, height of each point in the points' order",
        size = count * 3
    )]
    CovarianceShape {
        count: usize,
        rows: usize,
        columns: usize,
    },
    #[error(
        "point {point}: its covariance is not that of a measurement (not finite, not symmetric, or negative on the diagonal)"
    )]
    Covariance { point: String },
    #[error("{count} points need as many weights, but {given} were given")]
    WeightCount { count: usize, given: usize },
    #[error("point {point}: a weight must be finite and not negative")]
    Weight { point: String },
    #[error("every reading has the weight zero, so nothing says where the part should go")]
    NothingCounts,
    #[error(
        "the {what} must be a direction: three finite numbers that are not all zero (two points that coincide give none)"
    )]
    Direction { what: &'static str },
    #[error(
        "the point that the turning axis passes through is not a position on a vehicle; correct it"
    )]
    Through,
    #[error(
        "the best worst case needs limits, and no point of this part has one: give limits with their source, or ask for the least-squares move"
    )]
    NoLimits,
    #[error(
        "the computation of the move did not settle; check the points for a swapped label or a wrong unit before trusting any move"
    )]
    DidNotSettle,
    #[error(
        "the linear program behind the best worst case failed ({reason}); the least-squares move is not affected"
    )]
    Program { reason: String },
}

/// A part that moves as one: points, the joint covariance of their deviations, and weights.
#[derive(Clone, Debug)]
pub struct Part {
    points: Vec<PartPoint>,
    covariance: Option<DMatrix<f64>>,
    weights: Vec<[f64; 3]>,
}

impl Part {
    /// A part of n points. `covariance` is the joint covariance of their deviations in square
    /// millimetres, 3n by 3n, in the order length, width, height of the first point, then of the
    /// second, and so on; `None` where no uncertainty is stated.
    ///
    /// A reading weighs 1/limit^2. One without a limit counts as much as the loosest limit of the
    /// part; where nothing has a limit, all weigh the same. [`Part::with_weights`] changes that.
    ///
    /// # Errors
    /// No points, numbers that are not finite, a limit that is not positive, a covariance of the
    /// wrong shape or that cannot be one.
    pub fn new(
        points: Vec<PartPoint>,
        covariance: Option<DMatrix<f64>>,
    ) -> Result<Self, MoveError> {
        if points.is_empty() {
            return Err(MoveError::NoPoints);
        }
        for p in &points {
            let coordinates = p.position.iter().chain(p.target.iter());
            if !coordinates.into_iter().all(|c| c.abs() < LARGEST_MM) {
                return Err(MoveError::Position {
                    point: p.name.clone(),
                });
            }
            for axis in Axis::ALL {
                if let Some(limit) = p
                    .limit(axis)
                    .filter(|l| !(SMALLEST_LIMIT_MM..LARGEST_MM).contains(l))
                {
                    return Err(MoveError::Limit {
                        point: p.name.clone(),
                        axis: axis.word(),
                        limit,
                    });
                }
            }
        }
        if let Some(s) = &covariance {
            check_covariance(&points, s)?;
        }
        let weights = weights_from_limits(&points);
        Ok(Part {
            points,
            covariance,
            weights,
        })
    }

    /// The same part with other weights for least squares, one triple a point: finite, not
    /// negative; zero leaves a reading out.
    ///
    /// # Errors
    /// As many triples as points are needed, and at least one weight above zero.
    pub fn with_weights(mut self, weights: Vec<[f64; 3]>) -> Result<Self, MoveError> {
        if weights.len() != self.points.len() {
            return Err(MoveError::WeightCount {
                count: self.points.len(),
                given: weights.len(),
            });
        }
        for (p, w) in self.points.iter().zip(&weights) {
            if w.iter().any(|w| !(w.is_finite() && *w >= 0.0)) {
                return Err(MoveError::Weight {
                    point: p.name.clone(),
                });
            }
        }
        if weights.iter().flatten().all(|w| *w == 0.0) {
            return Err(MoveError::NothingCounts);
        }
        self.weights = weights;
        Ok(self)
    }

    /// The points, in the order they were given.
    pub fn points(&self) -> &[PartPoint] {
        &self.points
    }

    /// The joint covariance, if the uncertainty is stated.
    pub fn covariance(&self) -> Option<&DMatrix<f64>> {
        self.covariance.as_ref()
    }

    /// The weights, one triple a point.
    pub fn weights(&self) -> &[[f64; 3]] {
        &self.weights
    }

    /// The mean of the measured positions: where moves are stated.
    pub fn centroid(&self) -> Vec3 {
        let sum: Vec3 = self.points.iter().map(|p| p.position).sum();
        sum / self.points.len() as f64
    }

    /// The side that all points share, or the centre where they don't.
    pub fn side(&self) -> Side {
        let first = self.points.first().map_or(Side::Centre, |p| p.side);
        if self.points.iter().all(|p| p.side == first) {
            first
        } else {
            Side::Centre
        }
    }
}

fn check_covariance(points: &[PartPoint], s: &DMatrix<f64>) -> Result<(), MoveError> {
    let size = points.len() * 3;
    if s.shape() != (size, size) {
        return Err(MoveError::CovarianceShape {
            count: points.len(),
            rows: s.nrows(),
            columns: s.ncols(),
        });
    }
    for i in 0..size {
        let sound = s[(i, i)] >= 0.0
            && (0..size).all(|j| {
                let scale = (s[(i, i)] * s[(j, j)]).sqrt();
                s[(i, j)].is_finite() && (s[(i, j)] - s[(j, i)]).abs() <= 1e-9 * scale.max(1e-12)
            });
        if !sound {
            return Err(MoveError::Covariance {
                point: points[i / 3].name.clone(),
            });
        }
    }
    Ok(())
}

fn weights_from_limits(points: &[PartPoint]) -> Vec<[f64; 3]> {
    let given = points.iter().flat_map(|p| p.limits).flatten();
    let loosest = given.fold(0.0, f64::max);
    let weight = |limit: Option<f64>| match limit {
        Some(t) => (t * t).recip(),
        None if loosest > 0.0 => (loosest * loosest).recip(),
        None => 1.0,
    };
    points.iter().map(|p| p.limits.map(weight)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn point(limits: [Option<f64>; 3]) -> PartPoint {
        PartPoint {
            name: "R7".into(),
            side: Side::Right,
            position: Vec3::zeros(),
            target: Vec3::zeros(),
            limits,
        }
    }

    #[test]
    fn a_reading_without_a_limit_counts_like_the_loosest() {
        let points = vec![point([Some(2.0), None, Some(4.0)]), point([None; 3])];
        let part = Part::new(points, None).unwrap();
        assert_eq!(part.weights()[0], [1.0 / 4.0, 1.0 / 16.0, 1.0 / 16.0]);
        assert_eq!(part.weights()[1], [1.0 / 16.0; 3]);
        let part = Part::new(vec![point([None; 3])], None).unwrap();
        assert_eq!(part.weights()[0], [1.0; 3]);
    }

    #[test]
    fn what_cannot_be_a_part_is_refused_by_name() {
        assert!(matches!(Part::new(vec![], None), Err(MoveError::NoPoints)));
        for bad in [0.0, -3.0, f64::NAN, f64::INFINITY] {
            let refused = Part::new(vec![point([Some(bad), None, None])], None);
            assert!(matches!(refused, Err(MoveError::Limit { .. })), "{bad}");
        }
        let mut p = point([None; 3]);
        p.target.y = f64::NAN;
        let text = Part::new(vec![p], None).unwrap_err().to_string();
        assert!(text.contains("R7"), "{text}");
        let s = DMatrix::identity(4, 4);
        let text = Part::new(vec![point([None; 3])], Some(s)).unwrap_err();
        assert!(text.to_string().contains("3 by 3"), "{text}");
        let mut s = DMatrix::identity(3, 3);
        s[(0, 1)] = 0.5;
        let refused = Part::new(vec![point([None; 3])], Some(s));
        assert!(matches!(refused, Err(MoveError::Covariance { .. })));
        let part = Part::new(vec![point([None; 3])], None).unwrap();
        let refused = part.clone().with_weights(vec![[0.0; 3]]);
        assert!(matches!(refused, Err(MoveError::NothingCounts)));
        let refused = part.with_weights(vec![]);
        assert!(matches!(refused, Err(MoveError::WeightCount { .. })));
    }
}
