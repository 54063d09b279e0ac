//! The move that brings a part in, from what a survey says about it.

use datumtrail_geometry::correct::{self, Allowed, Minimax, Move, MoveError, Part, PartPoint};
use datumtrail_geometry::frame::Vec3;
use nalgebra::DMatrix;

use super::measure::Measured;
use crate::error::{Error, Result};

/// A part, and the best move of the allowed kind.
#[derive(Clone, Debug)]
pub struct PlannedMove {
    pub part: Part,
    /// Least squares, weighted by the limits.
    pub best: Move,
    /// Whether any allowed move brings every reading inside, with the proof where none does; none
    /// where no point has a limit or the search did not settle.
    pub minimax: Option<Minimax>,
}

/// Finds the move for these points of a survey.
///
/// # Errors
/// [`Error::Measurement`] where a point was not measured, or the points don't determine a move.
pub fn plan(measured: &Measured, points: &[String], allowed: &Allowed) -> Result<PlannedMove> {
    let refused = |what: String| {
        Error::Measurement(what, "measure the points of the part in one survey".into())
    };
    let mut of_part = Vec::new();
    for name in points {
        let seen = measured.check.point(name);
        let Some((seen, reading)) = seen.and_then(|p| Some((p, p.reading_mm?))) else {
            return Err(refused(format!(
                "point {name} was not measured in the survey {} of {}",
                measured.survey.short(),
                measured.stage
            )));
        };
        if seen.is_reference {
            return Err(Error::invalid(
                format!("point {name} is a reference point of this survey"),
                "a part is moved by points that did not make the set-up",
            ));
        }
        let limits = [0, 1, 2].map(|axis| {
            let axis = datumtrail_geometry::frame::Axis::ALL[axis];
            seen.axis(axis).limit_mm
        });
        of_part.push(PartPoint {
            name: name.clone(),
            side: seen.side,
            position: Vec3::from(reading),
            target: Vec3::from(seen.spec_mm),
            limits,
        });
    }
    let covariance = joint_covariance(measured, points);
    let words = |e: MoveError| refused(e.to_string());
    let part = Part::new(of_part, covariance).map_err(words)?;
    let best = correct::best_move(&part, allowed).map_err(words)?;
    let minimax = match correct::minimax_move(&part, allowed) {
        Ok(minimax) => Some(minimax),
        // A search that did not settle has no answer; the least-squares move stands without it.
        Err(MoveError::NoLimits | MoveError::DidNotSettle) => None,
        Err(other) => return Err(words(other)),
    };
    Ok(PlannedMove {
        part,
        best,
        minimax,
    })
}

/// The joint covariance of these points' deviations, x, y, z of each in turn; none where the
/// uncertainty is not stated.
fn joint_covariance(measured: &Measured, points: &[String]) -> Option<DMatrix<f64>> {
    let all = measured.check.deviations()?;
    let places: Vec<usize> = points
        .iter()
        .map(|name| all.points.iter().position(|p| p.point == *name))
        .collect::<Option<_>>()?;
    let rows: Vec<usize> = places
        .iter()
        .flat_map(|p| (0..3).map(move |k| 3 * p + k))
        .collect();
    Some(DMatrix::from_fn(rows.len(), rows.len(), |i, j| {
        all.covariance[(rows[i], rows[j])]
    }))
}
