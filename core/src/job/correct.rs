//! The move that brings a part in, from what a survey says about it, and what came of it.

use datumtrail_geometry::correct::{
    self, Achieved, AchievedPoint, Afterwards, Allowed, Minimax, Move, MoveError, Part, PartPoint,
};
use datumtrail_geometry::frame::{Axis, Side, Vec3};
use nalgebra::DMatrix;

use super::measure::Measured;
use super::record;
use super::view::{Entry, JobView};
use crate::error::{Error, Result};

/// A part, and the best move of the allowed kind.
#[derive(Clone, Debug)]
pub struct PlannedMove {
    pub part: Part,
    /// Least squares, weighted by the limits.
    pub best: Move,
    /// Whether any allowed move brings every reading inside, with the proof where none does; none
    /// where no point has a limit.
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
        let limits = Axis::ALL.map(|axis| seen.axis(axis).limit_mm);
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
        Err(MoveError::NoLimits) => None,
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

impl PlannedMove {
    /// The record of the decision to make this move.
    pub fn decided(&self, measured: &Measured) -> record::Move {
        let best = &self.best;
        record::Move {
            survey: measured.survey.clone(),
            allowed: correct::words::allowed(&best.allowed),
            words: correct::words::push(&self.part, best),
            pivot_mm: best.rigid.pivot.into(),
            translation_mm: best.rigid.translation.into(),
            rotation_rad: best.rigid.rotation.into(),
            points: best.points.iter().map(expected).collect(),
        }
    }
}

fn expected(point: &Afterwards) -> record::Expected {
    record::Expected {
        point: point.name.clone(),
        before_mm: point.before.into(),
        move_mm: point.displacement.into(),
        deviation_mm: point.deviation.into(),
        u_mm: point.u.map(Into::into),
    }
}

/// The newest move that was decided before a survey was taken.
pub fn move_before<'v>(
    view: &'v JobView,
    survey: &Entry<record::Survey>,
) -> Option<&'v Entry<record::Move>> {
    let decided = |m: &&Entry<record::Move>| m.stands() && m.id < survey.id;
    view.moves.iter().rev().find(decided)
}

/// What a later survey says about a move, point by point; points that it did not measure are left
/// out.
pub fn achieved(decided: &record::Move, measured: &Measured) -> Vec<AchievedPoint> {
    let side = |name: &str| measured.sheet.point(name).map_or(Side::Centre, |p| p.side);
    let planned: Vec<Afterwards> = decided
        .points
        .iter()
        .map(|p| Afterwards {
            name: p.point.clone(),
            side: side(&p.point),
            limits: [None; 3],
            before: p.before_mm.into(),
            displacement: p.move_mm.into(),
            displacement_u: None,
            deviation: p.deviation_mm.into(),
            u: p.u_mm.map(Into::into),
            u_misfit: None,
        })
        .collect();
    let found: Vec<Achieved> = planned
        .iter()
        .filter_map(|p| {
            let seen = measured.check.point(&p.name)?;
            let axes = Axis::ALL.map(|axis| seen.axis(axis));
            let [Some(x), Some(y), Some(z)] = axes.map(|a| a.deviation_mm) else {
                return None;
            };
            let u = match axes.map(|a| a.u_mm) {
                [Some(x), Some(y), Some(z)] => Some(Vec3::new(x, y, z)),
                _ => None,
            };
            Some(Achieved {
                name: p.name.clone(),
                deviation: Vec3::new(x, y, z),
                u,
            })
        })
        .collect();
    correct::compare(&planned, &found)
}
