//! The move with the best worst case, and whether the limits can be met at all.

use nalgebra::{DMatrix, DVector};

use super::afterwards::Move;
use super::best::{advance, bending, least_squares};
use super::chebyshev::{Answer, Program, multipliers, worst_first};
use super::freedoms::{Allowed, Freedoms, readings};
use super::part::{MoveError, Part};
use super::proof::{Contradiction, Proof};
use super::rigid::RigidMove;
use crate::frame::Axis;

/// Linearising ends when no point moves more than this from one round to the next (mm).
const SETTLED_MM: f64 = 1e-6;
/// Every round improves the answer. Where the best is not at a corner of the linear program, the
/// rounds zigzag towards it ever more slowly, and this ends them.
const MOST_ROUNDS: usize = 40;
/// The least share of a step that is tried is a millionth.
const MOST_HALVINGS: i32 = 20;
/// Ratios that differ by less are equal.
const SAME: f64 = 1e-10;
/// The minimax move and what it proves.
#[derive(Clone, Debug)]
pub struct Minimax {
    /// The move that makes the worst reading, as a fraction of its limit, as small as it can be;
    /// of those, the one that also makes the next worst smallest, and so on.
    pub best: Move,
    /// The worst expected |deviation| / limit under that move.
    pub worst: f64,
    /// No allowed move does better than this (for turns: none near this one, see
    /// [`Proof::turn_within`]). It is `worst` itself but for rounding, except where a turn is held
    /// by very few limits: there the search may stop some hundredths above.
    pub bound: f64,
    /// Present exactly when `bound` is above 1: why no allowed move brings every reading inside.
    pub impossible: Option<Proof>,
}

impl Minimax {
    /// Whether an allowed move brings every reading with a limit inside: yes, with the move; no,
    /// with the proof; or neither was found, which takes a `worst` within some hundredths of 1.
    pub fn possible(&self) -> Option<bool> {
        match &self.impossible {
            Some(_) => Some(false),
            None => self.best.outside().is_empty().then_some(true),
        }
    }
}

/// The allowed move that minimises z in |deviation| <= z limit, over every reading with a limit.
///
/// Solved as the dual linear program: maximise sum(w_k d_k / T_k) over signed weights w with
/// sum(|w_k|) <= 1 and sum(w_k G_k / T_k) = 0. Its optimum is z; at most one more than the freedoms
/// of the weights are not zero, and where z > 1 they are the proof that nothing can be done
/// (Farkas). Readings with a weight are held at their value, and the rest is solved again in what
/// freedom is left, so that the answer is unique. The whole is repeated about the new place until
/// no point changes by a thousandth of a micrometre; for pure slides the first round is exact. A
/// round that makes things worse (a turn is not linear) is shortened.
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
    let start = least_squares(part, &freedoms, &by_limit.collect::<Vec<_>>())?;
    let search = Search {
        part,
        freedoms: &freedoms,
        rows: &rows,
    };
    let at = search.settle(start)?;

    let program = search.linearise(&at);
    let weights = multipliers(&program)?;
    let bound = program.value(&weights);
    let best = Move::new(part, allowed, &freedoms, at, None);
    let worst = best.worst_ratio().unwrap_or(0.0);
    let contradictions = weights.into_iter().map(|(k, weight)| {
        let (point, axis, _) = rows[k];
        Contradiction {
            point,
            name: part.points()[point].name.clone(),
            axis,
            weight,
        }
    });
    let proof = Proof::new(part, allowed.clone(), at, contradictions.collect());
    Ok(Minimax {
        impossible: proof.holds(part).then_some(proof),
        best,
        worst,
        bound,
    })
}

/// What stays the same while the place is looked for.
struct Search<'a> {
    part: &'a Part,
    freedoms: &'a Freedoms,
    /// The readings with a limit: point, axis, limit.
    rows: &'a [(usize, Axis, f64)],
}

impl Search<'_> {
    /// Relinearises until the answer stays where it is.
    fn settle(&self, start: RigidMove) -> Result<RigidMove, MoveError> {
        let mut at = start;
        for _ in 0..MOST_ROUNDS {
            let program = self.linearise(&at);
            let answer = worst_first(&program)?;
            let now = program.worst_first();
            let mut best = (at, now.clone());
            let mut attempt = |step: DVector<f64>| {
                let there = advance(self.freedoms, &at, &step);
                let sizes = self.linearise(&there).worst_first();
                if is_better(&sizes, &best.1) {
                    best = (there, sizes);
                }
                now[0] - best.1[0]
            };
            let promised = now[0] - answer.z;
            if attempt(answer.step.clone()) < 0.9 * promised - SAME {
                for halvings in 1..MOST_HALVINGS {
                    attempt(&answer.step * 0.5_f64.powi(halvings));
                }
                for step in self.bent_steps(&at, &program, &answer) {
                    attempt(step);
                }
            }
            let points = self.part.points().iter().map(|p| p.position);
            let change = points
                .map(|x| (best.0.apply(x) - at.apply(x)).norm())
                .fold(0.0, f64::max);
            at = best.0;
            if change < SETTLED_MM {
                break;
            }
        }
        Ok(at)
    }

    /// Where the best is not at a corner of the linear program, because fewer readings than
    /// freedoms + 1 hold it there and the bending of the turn does the rest: Newton's step for
    /// "these readings share the worst, and their weighted mean is at its least", for the readings
    /// with a multiplier without the lightest, the two lightest, and so on.
    fn bent_steps(&self, at: &RigidMove, program: &Program, answer: &Answer) -> Vec<DVector<f64>> {
        let f = self.freedoms.len();
        let mut factors = DVector::zeros(3 * self.part.points().len());
        for &(k, w) in &answer.weights {
            let (point, axis, limit) = self.rows[k];
            factors[3 * point + axis.index()] += w / limit;
        }
        let hessian = bending(self.part, self.freedoms, at, &factors);
        let mut sharing = answer.weights.clone();
        sharing.sort_by(|a, b| b.1.abs().total_cmp(&a.1.abs()));
        let mut steps = Vec::new();
        while sharing.len() > 1 {
            sharing.pop();
            let n = sharing.len();
            // Unknown: the step, the worst z, and the multipliers.
            let mut system = DMatrix::zeros(f + 1 + n, f + 1 + n);
            let mut right = DVector::zeros(f + 1 + n);
            system.view_mut((0, 0), (f, f)).copy_from(&hessian);
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
            steps.extend(system.lu().solve(&right).map(|x| x.rows(0, f).into_owned()));
        }
        steps
    }

    /// The readings in units of their limits, and how the freedoms change them there.
    fn linearise(&self, at: &RigidMove) -> Program {
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
    let different = a.iter().zip(b).find(|(a, b)| (*a - *b).abs() > SAME);
    different.is_some_and(|(a, b)| a < b)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::correct::PartPoint;
    use crate::frame::{Side, Vec3};

    fn part(deviations: &[[f64; 3]], limits: &[[Option<f64>; 3]]) -> Part {
        let target = |i: usize| Vec3::new(3000.0 + 200.0 * i as f64, 500.0, 400.0);
        let points = deviations.iter().zip(limits).enumerate();
        let points = points.map(|(i, (d, limits))| PartPoint {
            name: format!("R{i}"),
            side: Side::Right,
            position: target(i) + Vec3::from(*d),
            target: target(i),
            limits: *limits,
        });
        Part::new(points.collect(), None).unwrap()
    }

    #[test]
    fn two_readings_share_the_misfit_in_the_ratio_of_their_limits() {
        // 5 + s = 1 z and -3 + s = -3 z: z = 2, s = -3.
        let part = part(
            &[[5.0, 0.0, 0.0], [-3.0, 0.0, 0.0]],
            &[[Some(1.0), None, None], [Some(3.0), None, None]],
        );
        let answer = minimax_move(&part, &Allowed::slide_along(Axis::Length)).unwrap();
        assert!((answer.worst - 2.0).abs() < 1e-9, "{}", answer.worst);
        assert!((answer.best.rigid.translation - Vec3::new(-3.0, 0.0, 0.0)).norm() < 1e-9);
        assert_eq!(answer.possible(), Some(false));
        let proof = answer.impossible.unwrap();
        // w1 / 1 + w2 / 3 = 0 with |w1| + |w2| = 1.
        let weights: Vec<f64> = proof.readings.iter().map(|r| r.weight).collect();
        assert!((weights[0] - 0.25).abs() < 1e-9 && (weights[1] + 0.75).abs() < 1e-9);
        assert!(proof.holds(&part));
        assert_eq!(proof.turn_within, None);
    }

    #[test]
    fn what_the_worst_leaves_free_is_still_done_well() {
        // The height is out of reach of the slide; the length is not, and is made even.
        let part = part(
            &[[5.0, 0.0, 7.0], [3.0, 0.0, 0.0]],
            &[
                [Some(2.0), Some(2.0), Some(1.0)],
                [Some(2.0), Some(2.0), Some(1.0)],
            ],
        );
        let answer = minimax_move(&part, &Allowed::slide_along(Axis::Length)).unwrap();
        assert!((answer.worst - 7.0).abs() < 1e-9);
        assert!((answer.best.rigid.translation.x + 4.0).abs() < 1e-9);
        let proof = answer.impossible.unwrap();
        assert_eq!(proof.readings.len(), 1);
        assert_eq!(
            (proof.readings[0].point, proof.readings[0].axis),
            (0, Axis::Height)
        );
    }

    #[test]
    fn fewer_limits_than_freedoms_are_all_met_exactly() {
        let limits = [
            [Some(2.0), Some(2.0), None],
            [None, None, Some(1.0)],
            [None; 3],
        ];
        let part = part(&[[5.0, -4.0, 7.0], [3.0, 1.0, -6.0], [0.0; 3]], &limits);
        let answer = minimax_move(&part, &Allowed::Free).unwrap();
        assert!(answer.worst < 1e-9 && answer.possible() == Some(true));
        assert!(!answer.best.left_alone.is_empty());
    }

    #[test]
    fn a_tampered_proof_does_not_hold() {
        let limits = [[Some(1.0); 3], [Some(1.0); 3]];
        let part = part(&[[5.0, 0.0, 0.0], [-3.0, 0.0, 0.0]], &limits);
        let answer = minimax_move(&part, &Allowed::slide_along(Axis::Length)).unwrap();
        let proof = answer.impossible.unwrap();
        assert!(proof.holds(&part));
        let mut heavier = proof.clone();
        heavier.readings[0].weight = 0.6;
        assert!(!heavier.holds(&part));
        let mut elsewhere = proof.clone();
        elsewhere.readings[0].point = 9;
        assert!(!elsewhere.holds(&part));
        let mut bolder = proof;
        bolder.bound = 9.0;
        assert!(!bolder.holds(&part));
    }

    #[test]
    fn without_limits_it_says_so() {
        let part = part(&[[5.0, 0.0, 0.0]], &[[None; 3]]);
        let refused = minimax_move(&part, &Allowed::Free);
        assert!(matches!(refused, Err(MoveError::NoLimits)));
    }
}
