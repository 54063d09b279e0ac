//! The move with the best worst case, and whether the limits can be met at all.

use microlp::{ComparisonOp, LinearExpr, OptimizationDirection, Problem};
use nalgebra::{DMatrix, DVector};

use super::afterwards::Move;
use super::best::{advance, least_squares};
use super::freedoms::{Allowed, Freedoms, readings};
use super::linear::{null_space, pseudo_inverse};
use super::part::{MoveError, Part};
use super::proof::{Contradiction, Proof};
use super::rigid::RigidMove;
use crate::frame::Axis;

/// Linearising ends when no point moves more than this from one round to the next (mm).
const SETTLED_MM: f64 = 1e-6;
/// After [`MOST_ROUNDS`] this much is accepted: the move then hovers between neighbouring answers
/// that are equally good (mm).
const GOOD_ENOUGH_MM: f64 = 0.01;
const MOST_ROUNDS: usize = 50;
/// Multipliers below this are the rounding of zeros (they sum to 1).
const NO_MULTIPLIER: f64 = 1e-8;
/// Rows that agree to this count as dependent.
const RANK: f64 = 1e-9;

/// The minimax move and what it proves.
#[derive(Clone, Debug)]
pub struct Minimax {
    /// The move that makes the worst reading, as a fraction of its limit, as small as it can be;
    /// of those, the one that also makes the next worst smallest, and so on.
    pub best: Move,
    /// The worst expected |deviation| / limit under that move.
    pub worst: f64,
    /// Present exactly when `worst` is above 1: why no allowed move brings every reading inside.
    pub impossible: Option<Proof>,
}

/// The allowed move that minimises z in |deviation| <= z limit, over every reading with a limit.
///
/// Solved as the dual linear program: maximise sum(w_k d_k / T_k) over signed weights w with
/// sum(|w_k|) <= 1 and sum(w_k G_k / T_k) = 0. Its optimum is z; at most one more than the freedoms
/// of the weights are not zero, and where z > 1 they are the proof that nothing can be done
/// (Farkas). Rows with a weight are fixed at their value, and the rest is solved again in what
/// freedom is left, so that the answer is unique. The whole is repeated about the new place until
/// no point changes by a micrometre's thousandth; for pure slides the first round is exact.
///
/// O(rounds x freedoms) programs of at most 7 rows and 6n columns.
///
/// # Errors
/// No limits at all, a direction of zero length, no settling, or a failure of the solver.
pub fn minimax_move(part: &Part, allowed: &Allowed) -> Result<Minimax, MoveError> {
    let limit = |i: usize, axis: Axis| part.points()[i].limit(axis);
    let rows: Vec<_> = readings(part)
        .filter_map(|(i, axis)| Some((i, axis, limit(i, axis)?)))
        .collect();
    if rows.is_empty() {
        return Err(MoveError::NoLimits);
    }
    let freedoms = Freedoms::of(part, allowed, |i, axis| limit(i, axis).is_some())?;
    let by_limit = part
        .points()
        .iter()
        .map(|p| p.limits.map(|t| t.map_or(0.0, |t| 1.0 / (t * t))));
    let mut at = least_squares(part, &freedoms, &by_limit.collect::<Vec<_>>())?;

    for round in 0..MOST_ROUNDS {
        let program = linearise(part, &freedoms, &at, &rows);
        let answer = worst_first(&program)?;
        let next = advance(&freedoms, &at, &answer.step);
        let points = part.points().iter().map(|p| p.position);
        let change = points
            .map(|x| (next.apply(x) - at.apply(x)).norm())
            .fold(0.0, f64::max);
        let last = round + 1 == MOST_ROUNDS && change < GOOD_ENOUGH_MM;
        if change < SETTLED_MM || last {
            // The weights belong to the place they were computed at.
            return Ok(finish(part, allowed, &freedoms, at, &rows, answer.weights));
        }
        at = next;
    }
    Err(MoveError::DidNotSettle)
}

fn finish(
    part: &Part,
    allowed: &Allowed,
    freedoms: &Freedoms,
    at: RigidMove,
    rows: &[(usize, Axis, f64)],
    weights: Vec<(usize, f64)>,
) -> Minimax {
    let best = Move::new(part, allowed, freedoms, at, None);
    let worst = best.worst_ratio().unwrap_or(0.0);
    let impossible = (!best.outside().is_empty()).then(|| {
        let readings = weights.into_iter().map(|(k, weight)| {
            let (point, axis, _) = rows[k];
            Contradiction {
                point,
                name: part.points()[point].name.clone(),
                axis,
                weight,
            }
        });
        Proof::new(part, allowed.clone(), at, readings.collect())
    });
    Minimax {
        best,
        worst,
        impossible,
    }
}

/// The readings as fractions of their limits, d, and how the freedoms change them, g.
struct Program {
    d: DVector<f64>,
    g: DMatrix<f64>,
}

fn linearise(
    part: &Part,
    freedoms: &Freedoms,
    at: &RigidMove,
    rows: &[(usize, Axis, f64)],
) -> Program {
    let readings: Vec<_> = rows.iter().map(|&(i, axis, _)| (i, axis)).collect();
    let mut g = freedoms.jacobian(part, at, &readings);
    let mut d = DVector::zeros(rows.len());
    for (k, &(i, axis, limit)) in rows.iter().enumerate() {
        let p = &part.points()[i];
        d[k] = (at.apply(p.position) - p.target)[axis.index()] / limit;
        g.row_mut(k).unscale_mut(limit);
    }
    Program { d, g }
}

struct Answer {
    step: DVector<f64>,
    /// The multipliers of the first level, by row.
    weights: Vec<(usize, f64)>,
}

/// Worst reading first, then the next worst in the freedom that is left, and so on.
fn worst_first(program: &Program) -> Result<Answer, MoveError> {
    let freedoms = program.g.ncols();
    let mut step = DVector::zeros(freedoms);
    let mut left = DMatrix::identity(freedoms, freedoms);
    let mut rest: Vec<usize> = (0..program.d.len()).collect();
    let mut first = None;
    loop {
        let level = Program {
            d: (&program.d + &program.g * &step).select_rows(&rest),
            g: (&program.g * &left).select_rows(&rest),
        };
        let weights = multipliers(&level)?;
        let z: f64 = weights.iter().map(|&(k, w)| w * level.d[k]).sum();
        let tight: Vec<usize> = weights.iter().map(|&(k, _)| k).collect();
        if first.is_none() {
            let by_row = weights.iter().map(|&(k, w)| (rest[k], w));
            first = Some(by_row.collect::<Vec<_>>());
        }
        if left.ncols() > 0 && (weights.is_empty() || z < NO_MULTIPLIER) {
            // Everything that is left can be brought to zero.
            step += &left * (-(pseudo_inverse(&level.g, RANK)? * &level.d));
            break;
        }
        if left.ncols() > 0 {
            step += &left * hold(&level, &weights, z)?;
            left = &left * null_space(&level.g.select_rows(&tight));
        }
        let touched = &program.g * &left;
        let mut place = 0..;
        rest.retain(|&k| {
            let held = place.next().is_some_and(|p| tight.contains(&p));
            !held && touched.row(k).amax() > 1e-9 * program.g.row(k).amax()
        });
        if rest.is_empty() {
            break;
        }
    }
    Ok(Answer {
        step,
        weights: first.unwrap_or_default(),
    })
}

/// The smallest step that brings every row with a multiplier to sign * z.
fn hold(level: &Program, weights: &[(usize, f64)], z: f64) -> Result<DVector<f64>, MoveError> {
    let rows: Vec<usize> = weights.iter().map(|&(k, _)| k).collect();
    let g = level.g.select_rows(&rows);
    let wanted = weights.iter().map(|&(k, w)| w.signum() * z - level.d[k]);
    let wanted = DVector::from_iterator(rows.len(), wanted);
    Ok(pseudo_inverse(&g, RANK)? * wanted)
}

/// The dual program: the rows with a multiplier that is not zero, with the signed multipliers,
/// whose sizes sum to 1 (or none at all where every row can be brought to zero).
fn multipliers(level: &Program) -> Result<Vec<(usize, f64)>, MoveError> {
    let program_error = |reason: String| MoveError::Program { reason };
    let mut problem = Problem::new(OptimizationDirection::Maximize);
    let mut one = |gain: f64| problem.add_var(gain, (0.0, 1.0));
    let variables: Vec<_> = level.d.iter().map(|&d| (one(d), one(-d))).collect();

    let mut total = LinearExpr::empty();
    for &(up, down) in &variables {
        total.add(up, 1.0);
        total.add(down, 1.0);
    }
    problem.add_constraint(total, ComparisonOp::Le, 1.0);
    for column in level.g.column_iter() {
        // Scaled to 1, so that the solver's tolerances mean the same for every freedom.
        let scale = column.amax();
        if scale == 0.0 {
            continue;
        }
        let mut balance = LinearExpr::empty();
        for (&(up, down), g) in variables.iter().zip(column.iter()) {
            balance.add(up, g / scale);
            balance.add(down, -g / scale);
        }
        problem.add_constraint(balance, ComparisonOp::Eq, 0.0);
    }
    let solution = problem
        .solve()
        .map_err(|e| program_error(e.to_string()))?
        .into_solution()
        .map_err(|_| program_error("interrupted".into()))?;

    let found = variables.iter().enumerate().filter_map(|(k, &(up, down))| {
        let w = solution.var_value(up) - solution.var_value(down);
        (w.abs() > NO_MULTIPLIER).then_some((k, w))
    });
    polish(level, found.collect())
}

/// At most one more row than freedoms (Carathéodory), and the multipliers to full precision.
fn polish(level: &Program, mut weights: Vec<(usize, f64)>) -> Result<Vec<(usize, f64)>, MoveError> {
    while !weights.is_empty() {
        // The columns are the rows' effects on the freedoms, and 1 for the sum of the sizes.
        let mut columns = DMatrix::zeros(level.g.ncols() + 1, weights.len());
        for (c, &(k, w)) in weights.iter().enumerate() {
            let sign = w.signum();
            for f in 0..level.g.ncols() {
                columns[(f, c)] = sign * level.g[(k, f)];
            }
            columns[(level.g.ncols(), c)] = 1.0;
        }
        let spare = null_space(&columns);
        if spare.ncols() == 0 {
            let mut sum = DVector::zeros(columns.nrows());
            sum[level.g.ncols()] = 1.0;
            let exact = pseudo_inverse(&columns, RANK)? * sum;
            let signed = weights.iter().zip(exact.iter());
            return Ok(signed
                .map(|(&(k, w), size)| (k, w.signum() * size))
                .collect());
        }
        // Along a spare direction neither the balance nor, at the optimum, the value changes:
        // follow it until a multiplier is used up.
        let direction = spare.column(0).into_owned();
        let most = direction.iter().copied().fold(0.0, f64::max);
        let direction = if most > 0.0 { direction } else { -direction };
        let room = weights.iter().zip(direction.iter());
        let (used_up, share) = room
            .enumerate()
            .filter(|(_, (_, v))| **v > 0.0)
            .map(|(c, ((_, w), v))| (c, w.abs() / v))
            .fold((0, f64::INFINITY), |a, b| if b.1 < a.1 { b } else { a });
        for (entry, v) in weights.iter_mut().zip(direction.iter()) {
            entry.1 -= entry.1.signum() * share * v;
        }
        weights.remove(used_up);
    }
    Ok(weights)
}
