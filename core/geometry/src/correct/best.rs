//! The least-squares move: free, slide, or slide and turn.

use nalgebra::{DMatrix, DVector};

use super::afterwards::{Linear, Move};
use super::freedoms::{Allowed, Freedoms, readings};
use super::linear::pseudo_inverse;
use super::part::{MoveError, Part};
use super::rigid::RigidMove;
use crate::frame::Axis;

/// A step below this, at the part's own radius, ends the iteration (mm).
const SETTLED_MM: f64 = 1e-9;
const MOST_STEPS: usize = 200;
/// The freedoms are determined, so this only guards against weights of very different size.
const RANK: f64 = 1e-12;

/// The allowed move that makes the weighted sum of squared deviations least.
///
/// Where the points don't determine a freedom (one point, points in a line, weights of zero), that
/// freedom is left alone and named in [`Move::left_alone`]: the answer is the smallest of the
/// moves that do equally well.
///
/// Gauss-Newton from where the part is, with step halving; meant for moves that turn a part by up
/// to some tens of degrees. Each step costs O(n f^2) for n points and f freedoms.
///
/// # Errors
/// A direction of zero length, or an iteration that does not settle.
pub fn best_move(part: &Part, allowed: &Allowed) -> Result<Move, MoveError> {
    let weights = part.weights();
    let freedoms = Freedoms::of(part, allowed, |i, axis| weights[i][axis.index()] > 0.0)?;
    let at = least_squares(part, &freedoms, weights)?;
    let rows: Vec<_> = readings(part).collect();
    let jacobian = freedoms.jacobian(part, &at, &rows);
    let root = roots(weights);
    let weighted = scale_rows(&jacobian, &root);
    // K = (G'WG)^-1 G'W, as the pseudo-inverse of W^1/2 G times W^1/2.
    let mut gain = pseudo_inverse(&weighted, RANK)?;
    for (mut column, root) in gain.column_iter_mut().zip(root.iter()) {
        column *= *root;
    }
    let linear = Linear { jacobian, gain };
    Ok(Move::new(part, allowed, &freedoms, at, Some(linear)))
}

/// The move with the least weighted sum of squares among the given freedoms.
pub(super) fn least_squares(
    part: &Part,
    freedoms: &Freedoms,
    weights: &[[f64; 3]],
) -> Result<RigidMove, MoveError> {
    let rows: Vec<_> = readings(part).collect();
    let root = roots(weights);
    let residual = |at: &RigidMove| -> DVector<f64> {
        let values = rows.iter().zip(root.iter()).map(|(&(i, axis), root)| {
            let p = &part.points()[i];
            root * (at.apply(p.position) - p.target)[axis.index()]
        });
        DVector::from_iterator(rows.len(), values)
    };

    let mut at = RigidMove::none(freedoms.pivot);
    if freedoms.len() == 0 {
        return Ok(at);
    }
    let mut r = residual(&at);
    for _ in 0..MOST_STEPS {
        let jacobian = scale_rows(&freedoms.jacobian(part, &at, &rows), &root);
        let step = -(pseudo_inverse(&jacobian, RANK)? * &r);
        if step.amax() < SETTLED_MM {
            return Ok(at);
        }
        let mut share = 1.0;
        loop {
            let next = advance(freedoms, &at, &(&step * share));
            let next_r = residual(&next);
            if next_r.norm() < r.norm() {
                (at, r) = (next, next_r);
                break;
            }
            share /= 2.0;
            // Rounding hides any further gain: this is the place.
            if share * step.amax() < SETTLED_MM {
                return Ok(at);
            }
        }
    }
    Err(MoveError::DidNotSettle)
}

/// The move `at` with a further step of the freedoms.
pub(super) fn advance(freedoms: &Freedoms, at: &RigidMove, step: &DVector<f64>) -> RigidMove {
    at.and(&freedoms.push * step, &freedoms.turn * step)
}

fn roots(weights: &[[f64; 3]]) -> DVector<f64> {
    // Only ratios matter; the heaviest reading gets 1, so that huge or tiny weights do no harm.
    let heaviest = weights.iter().flatten().copied().fold(0.0, f64::max);
    DVector::from_iterator(
        weights.len() * Axis::ALL.len(),
        weights.iter().flatten().map(|w| (w / heaviest).sqrt()),
    )
}

fn scale_rows(m: &DMatrix<f64>, by: &DVector<f64>) -> DMatrix<f64> {
    let mut scaled = m.clone();
    for (mut row, by) in scaled.row_iter_mut().zip(by.iter()) {
        row *= *by;
    }
    scaled
}
