//! The linear program of a step within reach, and the readings that it leaves sharing the worst.

use microlp::{ComparisonOp, LinearExpr, OptimizationDirection, Problem};
use nalgebra::{DMatrix, DVector};

use super::chebyshev::{NO_COEFFICIENT, Program, RANK, program_error};
use super::linear::pseudo_inverse;
use super::part::MoveError;

/// A row with less room than this share of what a step can do is at the worst.
const SHARED: f64 = 1e-7;
/// Gains and weights below this are rounding (the weights sum to 1).
const NO_GAIN: f64 = 1e-12;

/// What the linear program promises of a step that is not longer than `reach`.
pub(super) struct Within {
    pub step: DVector<f64>,
    /// By how much the worst reading falls, as far as the program is linear; not negative.
    pub falls: f64,
    /// The readings that then share the worst: row, and the sign of the reading.
    pub sharing: Vec<(usize, f64)>,
}

/// The step with every freedom within `reach` (> 0) that lowers the worst reading most.
///
/// Stated in what the worst can fall by, so that the numbers stay near 1 however short the reach:
/// with t = step / reach and the fall in units of rho = reach max|G|, every row reads
/// sign (reach / rho) G_k t + fall <= (worst - sign d_k) / rho. Rows with more room than t and the
/// fall can use are left out.
pub(super) fn within(program: &Program, reach: f64) -> Result<Within, MoveError> {
    let freedoms = program.g.ncols();
    let nothing = |sharing| Within {
        step: DVector::zeros(freedoms),
        falls: 0.0,
        sharing,
    };
    let worst = program.d.amax();
    let unit = reach * program.g.amax();
    if !(unit > 0.0 && worst > 0.0) {
        return Ok(nothing(Vec::new()));
    }
    let mut problem = Problem::new(OptimizationDirection::Maximize);
    let most = freedoms as f64;
    let fall = problem.add_var(1.0, (0.0, most.min(worst / unit)));
    let shares: Vec<_> = (0..freedoms)
        .map(|_| problem.add_var(0.0, (-1.0, 1.0)))
        .collect();
    let mut near = Vec::new();
    for (k, row) in program.g.row_iter().enumerate() {
        for sign in [1.0, -1.0] {
            let room = (worst - sign * program.d[k]) / unit;
            if room > 2.0 * most {
                continue;
            }
            let mut sum = LinearExpr::empty();
            sum.add(fall, 1.0);
            for (&t, g) in shares.iter().zip(row.iter()) {
                let coefficient = sign * g * (reach / unit);
                if coefficient.abs() > NO_COEFFICIENT {
                    sum.add(t, coefficient);
                }
            }
            problem.add_constraint(sum, ComparisonOp::Le, room);
            near.push((k, sign, room));
        }
    }
    let solution = problem
        .solve()
        .map_err(|e| program_error(e.to_string()))?
        .into_solution()
        .map_err(|_| program_error("interrupted".into()))?;
    let t = DVector::from_iterator(freedoms, shares.iter().map(|t| solution.var_value(*t)));
    let falls = solution.var_value(fall);
    let taken = |k: usize, sign: f64| sign * (reach / unit) * program.g.row(k).dot(&t.transpose());
    let sharing = near
        .into_iter()
        .filter(|&(k, sign, room)| room - falls - taken(k, sign) < SHARED)
        .map(|(k, sign, _)| (k, sign));
    Ok(Within {
        sharing: sharing.collect(),
        step: t * reach,
        falls: falls.max(0.0) * unit,
    })
}

/// The weights, none negative and 1 in sum, with which the signed effects of these rows cancel
/// best; rows without a weight are left out.
///
/// Non-negative least squares, by Lawson and Hanson's active sets ("Solving Least Squares
/// Problems", 1974, chapter 23; from memory), for "the effects sum to zero, the weights to 1".
pub(super) fn cancelling(
    program: &Program,
    sharing: &[(usize, f64)],
) -> Result<Vec<(usize, f64)>, MoveError> {
    let freedoms = program.g.ncols();
    let scale = program.g.amax().max(f64::MIN_POSITIVE);
    let mut columns = DMatrix::zeros(freedoms + 1, sharing.len());
    for (c, &(k, sign)) in sharing.iter().enumerate() {
        let effect = program.g.row(k).transpose() * (sign / scale);
        columns.view_mut((0, c), (freedoms, 1)).copy_from(&effect);
        columns[(freedoms, c)] = 1.0;
    }
    let mut wanted = DVector::zeros(freedoms + 1);
    wanted[freedoms] = 1.0;

    let mut weights = DVector::zeros(sharing.len());
    let mut used: Vec<usize> = Vec::new();
    for _ in 0..3 * sharing.len() {
        let gain = columns.transpose() * (&wanted - &columns * &weights);
        let unused = (0..sharing.len()).filter(|c| !used.contains(c));
        let Some(next) = unused.max_by(|&a, &b| gain[a].total_cmp(&gain[b])) else {
            break;
        };
        if gain[next] <= NO_GAIN {
            break;
        }
        used.push(next);
        while !used.is_empty() {
            let solved = pseudo_inverse(&columns.select_columns(&used), RANK)? * &wanted;
            // From the weights towards the solution, as far as none becomes negative.
            let room = used.iter().zip(solved.iter()).filter(|(_, s)| **s <= 0.0);
            let share = room
                .map(|(&c, s)| weights[c] / (weights[c] - s).max(f64::MIN_POSITIVE))
                .fold(1.0, f64::min);
            for (&c, s) in used.iter().zip(solved.iter()) {
                weights[c] += share * (s - weights[c]);
            }
            if share == 1.0 {
                break;
            }
            used.retain(|&c| weights[c] > NO_GAIN);
            for c in (0..sharing.len()).filter(|c| !used.contains(c)) {
                weights[c] = 0.0;
            }
        }
    }
    // Where the effects can't cancel, least squares gives up part of the sum.
    let sum = weights.sum().max(f64::MIN_POSITIVE);
    let signed = sharing
        .iter()
        .zip(weights.iter())
        .filter(|(_, w)| **w > 0.0);
    Ok(signed.map(|(&(k, sign), w)| (k, sign * w / sum)).collect())
}
