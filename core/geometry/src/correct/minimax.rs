//! The move with the best worst case, and whether the limits can be met at all.

use super::afterwards::Move;
use super::best::least_squares;
use super::chebyshev::{Program, multipliers};
use super::freedoms::{Allowed, Freedoms, readings};
use super::part::{MoveError, Part};
use super::proof::{Contradiction, Proof};
use super::rigid::RigidMove;
use super::search::{SHARES, Search};
use super::within::cancelling;
use crate::frame::Axis;

/// The minimax move and what it proves.
#[derive(Clone, Debug)]
pub struct Minimax {
    /// The move that makes the worst reading, as a fraction of its limit, as small as it can be;
    /// of those, the one that also makes the next worst smallest, and so on.
    pub best: Move,
    /// The worst expected |deviation| / limit under that move.
    pub worst: f64,
    /// No allowed move does better than this (for turns: none near this one, see
    /// [`Proof::turn_within`]). It is `worst` itself but for rounding: in 50,000 random parts some
    /// 10 mm out of place they were 0.0004 apart at most. Only where few limits hold a turn and
    /// deviations reach some tens of millimetres may the search end well above it.
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
/// The search lowers the worst, then the next worst in what freedom that leaves, and so on, so that
/// the answer is unique. It always ends with an answer: no round makes the worst worse.
///
/// Freedoms that the readings with a limit don't determine are left alone
/// ([`Move::left_alone`]); neither the answer nor the bound speaks of them.
///
/// Last, the dual linear program at the answer: maximise sum(w_k d_k / T_k) over signed weights w
/// with sum(|w_k|) <= 1 and sum(w_k G_k / T_k) = 0. Its optimum is the bound; at most one more than
/// the freedoms of the weights are not zero, and where it is above 1 they are the proof that nothing
/// can be done (Farkas).
///
/// O(rounds x freedoms) programs of at most 7 rows and 6n columns; some tens of rounds at worst.
///
/// # Errors
/// No limits at all, a direction of zero length, or a failure of the solver.
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
    let search = Search {
        part,
        freedoms: &freedoms,
        rows: &rows,
    };
    // Where a turn is large there may be several places to end in: never in one that is worse than
    // another answer that is at hand.
    let (start, _) = least_squares(part, &freedoms, &by_limit.collect::<Vec<_>>());
    let mut at = search.settle(start)?;
    let others = [
        least_squares(part, &freedoms, part.weights()).0,
        RigidMove::none(freedoms.pivot),
    ];
    for other in others {
        if search.is_lower(&other, &at) {
            at = search.settle(other)?;
        }
    }

    let program = search.linearise(&at);
    let weights = proving_weights(&program)?;
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

/// The multipliers of the dual program, or those of the readings that share the worst, whichever
/// proves more: where a turn bends a lot, or rows nearly depend on each other, rounding can hide
/// from the first what the second shows. None where neither are sound: then nothing is proved.
fn proving_weights(program: &Program) -> Result<Vec<(usize, f64)>, MoveError> {
    let sharing = program.sharing_the_worst(SHARES);
    let sound = [multipliers(program)?, cancelling(program, &sharing)?]
        .into_iter()
        .filter(|weights| program.cancel(weights));
    let most = sound.max_by(|a, b| program.value(a).total_cmp(&program.value(b)));
    Ok(most.unwrap_or_default())
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
