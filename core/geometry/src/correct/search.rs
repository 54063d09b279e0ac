//! The search for the minimax move.
//!
//! The worst is lowered in rounds. Each solves a linear program for the step that lowers it most
//! within a reach, which grows where the promise is kept and shrinks where the turn, which is not
//! linear, breaks it. The readings that share the worst after that step are then taken as the ones
//! that matter, and Newton's step for "these are equal, and their weighted mean is at its least" is
//! tried beside it. The first makes the search safe from any start, the second exact at its end
//! (Hald and Madsen, "Combined LP and quasi-Newton methods for minimax optimization", Mathematical
//! Programming 20, 1981; from memory). No round makes the worst worse, so that the search can be
//! stopped at any time and always has an answer.
//!
//! Then the next worst is looked after, in what freedom the worst leaves, and so on, so that the
//! answer is unique. For pure slides all this is exact in one round.

use nalgebra::{DMatrix, DVector};

use super::best::{advance, bending};
use super::chebyshev::{Program, worst_first};
use super::freedoms::Freedoms;
use super::linear::pseudo_inverse;
use super::part::{MoveError, Part};
use super::rigid::RigidMove;
use super::within::{cancelling, within};
use crate::frame::Axis;

/// The search ends when no point moves more than this from one round to the next (mm).
const SETTLED_MM: f64 = 1e-6;
/// Rounds of lowering the worst from the start; some ten are needed as a rule.
const MOST_ROUNDS: usize = 150;
/// Rounds of looking after the next worst.
const MOST_REFINEMENTS: usize = 12;
/// Newton's steps at the end, which the worst itself is too flat to judge.
const MOST_POLISHING: usize = 3;
/// How far the first step may go along each freedom (mm); later ones as experience allows.
const FIRST_REACH_MM: f64 = 20.0;
/// A reach below this leads nowhere (mm).
const LEAST_REACH_MM: f64 = 1e-10;
/// A step whose promise is this share of what its reach could do at most is the last: the solver
/// keeps its constraints to 1e-7.
const NO_FALL: f64 = 3e-7;
/// Singular values of Newton's system below this share of its largest entry count as zero.
const NEWTON_RANK: f64 = 1e-11;
/// Readings this near the worst, as a share of it, share it.
pub(super) const SHARES: f64 = 1e-7;
/// Rounding of the worst, as a share of it.
const FLAT: f64 = 1e-12;
/// Ratios that differ by less, as a share of the worst, are equal.
const SAME: f64 = 1e-9;

/// What stays the same while the place is looked for.
pub(super) struct Search<'a> {
    pub part: &'a Part,
    pub freedoms: &'a Freedoms,
    /// The readings with a limit: point, axis, limit.
    pub rows: &'a [(usize, Axis, f64)],
}

impl Search<'_> {
    /// The worst as small as it can be made, and of those the next worst, and so on.
    pub fn settle(&self, start: RigidMove) -> Result<RigidMove, MoveError> {
        let lowest = self.lower_the_worst(start)?;
        // Whole steps, each exact but for the bending of the turn: they converge where readings
        // alone hold the best. Where the bending does, there is nothing left to choose anyway.
        let mut at = lowest;
        for _ in 0..MOST_REFINEMENTS {
            let step = worst_first(&self.linearise(&at))?;
            let there = advance(self.freedoms, &at, &step);
            let change = self.farthest(&at, &there);
            at = there;
            if change < SETTLED_MM {
                break;
            }
        }
        Ok(match is_better(&self.sizes(&at), &self.sizes(&lowest)) {
            true => at,
            false => lowest,
        })
    }

    /// Makes the worst reading as small as it can be, near where it starts; never larger.
    fn lower_the_worst(&self, start: RigidMove) -> Result<RigidMove, MoveError> {
        let mut at = start;
        if !self.turns() {
            // Linear: what looks after the next worst finds the worst in the same step.
            return Ok(at);
        }
        let mut reach = FIRST_REACH_MM;
        for _ in 0..MOST_ROUNDS {
            let program = self.linearise(&at);
            let now = program.d.amax();
            let within = within(&program, reach)?;
            let last = within.falls <= NO_FALL * reach * program.g.amax();
            let straight = advance(self.freedoms, &at, &within.step);
            let kept = now - self.worst(&straight);
            let mut best = (at, 0.0);
            let newton = self.newton(&at, &program, within.sharing)?;
            let newton = newton.map(|step| advance(self.freedoms, &at, &step));
            for there in newton.into_iter().chain([straight]) {
                let falls = now - self.worst(&there);
                if falls > best.1 {
                    best = (there, falls);
                }
            }
            if kept > 0.75 * within.falls {
                reach *= 2.0;
            } else if kept < 0.25 * within.falls {
                reach /= 4.0;
            }
            at = best.0;
            if last || reach < LEAST_REACH_MM {
                break;
            }
        }
        self.polish(at)
    }

    /// Near its least the worst is flat, and its size says where it is to half the digits only.
    /// Newton's steps find the rest; they are taken as long as the worst stays what it is.
    fn polish(&self, mut at: RigidMove) -> Result<RigidMove, MoveError> {
        for _ in 0..MOST_POLISHING {
            let program = self.linearise(&at);
            let step = self.newton(&at, &program, program.sharing_the_worst(SHARES))?;
            let there = step.map(|step| advance(self.freedoms, &at, &step));
            match there.filter(|there| self.worst(there) <= program.d.amax() * (1.0 + FLAT)) {
                Some(there) => at = there,
                None => break,
            }
        }
        Ok(at)
    }

    /// Newton's step for "these readings share the worst, and their weighted mean is at its least".
    /// It matters where fewer readings than freedoms + 1 hold the best, and the bending of the turn
    /// does the rest: there the linear program alone zigzags.
    fn newton(
        &self,
        at: &RigidMove,
        program: &Program,
        sharing: Vec<(usize, f64)>,
    ) -> Result<Option<DVector<f64>>, MoveError> {
        if sharing.is_empty() {
            return Ok(None);
        }
        let sharing = cancelling(program, &sharing)?;
        let (f, n) = (self.freedoms.len(), sharing.len());
        let mut factors = DVector::zeros(3 * self.part.points().len());
        for &(k, w) in &sharing {
            let (point, axis, limit) = self.rows[k];
            factors[3 * point + axis.index()] += w / limit;
        }
        // Unknown: the step, the worst z, and the multipliers.
        let mut system = DMatrix::zeros(f + 1 + n, f + 1 + n);
        let mut right = DVector::zeros(f + 1 + n);
        let bending = bending(self.part, self.freedoms, at, &factors);
        system.view_mut((0, 0), (f, f)).copy_from(&bending);
        right[f] = 1.0;
        for (c, &(k, w)) in sharing.iter().enumerate() {
            let (sign, at) = (w.signum(), f + 1 + c);
            for j in 0..f {
                system[(j, at)] = sign * program.g[(k, j)];
                system[(at, j)] = sign * program.g[(k, j)];
            }
            system[(f, at)] = 1.0;
            system[(at, f)] = -1.0;
            right[at] = -sign * program.d[k];
        }
        // The smallest of the steps that do it: where the bending leaves a freedom open.
        let step = pseudo_inverse(&system, NEWTON_RANK)? * right;
        let step = step.rows(0, f).into_owned();
        Ok(step.iter().all(|s| s.is_finite()).then_some(step))
    }

    /// Whether the worst is smaller at one place than at another.
    pub fn is_lower(&self, there: &RigidMove, here: &RigidMove) -> bool {
        is_better(&[self.worst(there)], &[self.worst(here)])
    }

    fn turns(&self) -> bool {
        self.freedoms.turn.iter().any(|t| *t != 0.0)
    }

    fn worst(&self, at: &RigidMove) -> f64 {
        let ratio = |&(i, axis, limit): &(usize, Axis, f64)| {
            let p = &self.part.points()[i];
            ((at.apply(p.position) - p.target)[axis.index()] / limit).abs()
        };
        self.rows.iter().map(ratio).fold(0.0, f64::max)
    }

    fn sizes(&self, at: &RigidMove) -> Vec<f64> {
        self.linearise(at).worst_first()
    }

    /// The farthest that any point is from one place to the other (mm).
    fn farthest(&self, a: &RigidMove, b: &RigidMove) -> f64 {
        let points = self.part.points().iter().map(|p| p.position);
        points
            .map(|x| (a.apply(x) - b.apply(x)).norm())
            .fold(0.0, f64::max)
    }

    /// The readings in units of their limits, and how the freedoms change them there.
    pub fn linearise(&self, at: &RigidMove) -> Program {
        let readings: Vec<_> = self.rows.iter().map(|&(i, axis, _)| (i, axis)).collect();
        let mut g = self.freedoms.jacobian(self.part, at, &readings);
        let mut d = DVector::zeros(self.rows.len());
        for (k, &(i, axis, limit)) in self.rows.iter().enumerate() {
            let p = &self.part.points()[i];
            d[k] = (at.apply(p.position) - p.target)[axis.index()] / limit;
            g.row_mut(k).unscale_mut(limit);
        }
        Program { d, g }
    }
}

/// Whether the worst is smaller, or, where it is the same, the next worst, and so on.
fn is_better(a: &[f64], b: &[f64]) -> bool {
    let same = SAME * b.first().copied().unwrap_or(0.0).max(SAME);
    let different = a.iter().zip(b).find(|(a, b)| (*a - *b).abs() > same);
    different.is_some_and(|(a, b)| a < b)
}
