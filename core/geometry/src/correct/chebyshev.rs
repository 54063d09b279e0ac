//! Worst first: the linear program behind the minimax move, and its order of preference.

use microlp::{ComparisonOp, LinearExpr, OptimizationDirection, Problem};
use nalgebra::{DMatrix, DVector, RowDVector};

use super::linear::{null_space, pseudo_inverse};
use super::part::MoveError;

/// Multipliers below this are the rounding of zeros (they sum to 1).
const NO_MULTIPLIER: f64 = 1e-8;
/// Rows that agree to this count as dependent.
pub(super) const RANK: f64 = 1e-9;
/// Coefficients below this share of the largest are rounding, and would trouble the solver.
pub(super) const NO_COEFFICIENT: f64 = 1e-10;
/// Effects below this share of the largest are rounding.
const NO_EFFECT: f64 = 1e-7;

/// The readings as fractions of their limits, d, and how the freedoms change them, g.
pub(super) struct Program {
    pub d: DVector<f64>,
    pub g: DMatrix<f64>,
}

impl Program {
    /// What the weights prove the worst reading to be at least.
    pub fn value(&self, weights: &[(usize, f64)]) -> f64 {
        weights.iter().map(|&(k, w)| w * self.d[k]).sum()
    }

    /// Whether no freedom changes what the weights weigh, and their sizes sum to no more than 1.
    pub fn cancel(&self, weights: &[(usize, f64)]) -> bool {
        let mut effect = RowDVector::zeros(self.g.ncols());
        for &(k, w) in weights {
            effect += self.g.row(k) * w;
        }
        let sizes: f64 = weights.iter().map(|(_, w)| w.abs()).sum();
        effect.amax() <= NO_EFFECT * self.g.amax() && sizes <= 1.0 + NO_EFFECT
    }

    /// The readings within a share of the worst: row, and the sign of the reading.
    pub fn sharing_the_worst(&self, share: f64) -> Vec<(usize, f64)> {
        let least = self.d.amax() * (1.0 - share);
        let rows = self.d.iter().enumerate();
        let worst = rows.filter(|(_, d)| d.abs() >= least);
        worst.map(|(k, d)| (k, d.signum())).collect()
    }

    /// The sizes of the readings, largest first.
    pub fn worst_first(&self) -> Vec<f64> {
        let mut sizes: Vec<f64> = self.d.iter().map(|d| d.abs()).collect();
        sizes.sort_by(|a, b| b.total_cmp(a));
        sizes
    }
}

/// The step that makes the worst reading smallest, then the next worst in the freedom that is left,
/// and so on.
pub(super) fn worst_first(program: &Program) -> Result<DVector<f64>, MoveError> {
    let freedoms = program.g.ncols();
    let mut step = DVector::zeros(freedoms);
    let mut left = DMatrix::identity(freedoms, freedoms);
    let mut rest: Vec<usize> = (0..program.d.len()).collect();
    while !rest.is_empty() {
        let level = Program {
            d: (&program.d + &program.g * &step).select_rows(&rest),
            g: (&program.g * &left).select_rows(&rest),
        };
        let weights = multipliers(&level)?;
        let z = level.value(&weights);
        // Hold what has a weight; without any, everything can be brought to zero.
        let held: Vec<(usize, f64)> = if weights.is_empty() || z < NO_MULTIPLIER {
            (0..rest.len()).map(|k| (k, 0.0)).collect()
        } else {
            weights.iter().map(|&(k, w)| (k, w.signum() * z)).collect()
        };
        let tight: Vec<usize> = held.iter().map(|&(k, _)| k).collect();
        let g = level.g.select_rows(&tight);
        let wanted = held.iter().map(|&(k, value)| value - level.d[k]);
        let wanted = DVector::from_iterator(tight.len(), wanted);
        step += &left * (pseudo_inverse(&g, RANK)? * wanted);
        left = &left * null_space(&g);

        let touched = &program.g * &left;
        let mut place = 0..;
        rest.retain(|&k| {
            let held = place.next().is_some_and(|p| tight.contains(&p));
            !held && touched.row(k).amax() > 1e-9 * program.g.row(k).amax()
        });
    }
    Ok(step)
}

pub(super) fn program_error(reason: String) -> MoveError {
    MoveError::Program { reason }
}

/// The dual program: the rows with a multiplier that is not zero, with the signed multipliers,
/// whose sizes sum to 1 (or none where every row can be brought to zero).
pub(super) fn multipliers(level: &Program) -> Result<Vec<(usize, f64)>, MoveError> {
    let mut problem = Problem::new(OptimizationDirection::Maximize);
    let mut total = LinearExpr::empty();
    let mut one = |gain: f64| {
        let variable = problem.add_var(gain, (0.0, 1.0));
        total.add(variable, 1.0);
        variable
    };
    let variables: Vec<_> = level.d.iter().map(|&d| (one(d), one(-d))).collect();
    problem.add_constraint(total, ComparisonOp::Le, 1.0);
    for column in level.g.column_iter() {
        // Scaled to 1, so that the solver's tolerances mean the same for every freedom.
        let scale = column.amax();
        if scale == 0.0 {
            continue;
        }
        let mut balance = LinearExpr::empty();
        for (&(up, down), g) in variables.iter().zip(column.iter()) {
            if g.abs() > NO_COEFFICIENT * scale {
                balance.add(up, g / scale);
                balance.add(down, -g / scale);
            }
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
