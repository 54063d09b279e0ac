//! The least-squares move: free, slide, or slide and turn.

use nalgebra::{DMatrix, DVector};

use super::afterwards::{Linear, Move};
use super::freedoms::{Allowed, Freedoms, readings};
use super::linear::pseudo_inverse;
use super::part::{MoveError, Part};
use super::rigid::RigidMove;
use crate::frame::{Axis, Mat3, Vec3};

/// A step below this, at the part's own radius, ends the iteration (mm).
const SETTLED_MM: f64 = 1e-8;
const MOST_STEPS: usize = 200;
/// Steps that promise less than rounding; a few polish the answer, more only wander about in it.
const MOST_FLAT: usize = 5;
/// A step must bring this share of what the slope promises.
const ENOUGH: f64 = 1e-4;
/// The freedoms are determined, so this only guards against weights of very different size.
const RANK: f64 = 1e-12;

/// The allowed move that makes the weighted sum of squared deviations least.
///
/// Where the points don't determine a freedom (one point, points in a line, weights of zero), that
/// freedom is left alone and named in [`Move::left_alone`]: the answer is the smallest of the
/// moves that do equally well.
///
/// Newton's method from where the part is, with step halving; meant for moves that turn a part by
/// up to some tens of degrees. Each step costs O(n f^2) for n points and f freedoms.
///
/// # Errors
/// A direction of zero length, or an iteration that does not settle.
pub fn best_move(part: &Part, allowed: &Allowed) -> Result<Move, MoveError> {
    let weights = part.weights();
    let freedoms = Freedoms::of(part, allowed, |i, axis| weights[i][axis.index()] > 0.0)?;
    let (at, settled) = least_squares(part, &freedoms, weights);
    if !settled {
        return Err(MoveError::DidNotSettle);
    }
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

/// The move with the least weighted sum of squares among the given freedoms, and whether the
/// iteration settled there.
///
/// Newton's method: to the normal matrix G'WG of Gauss-Newton comes what the bending of the turn
/// adds (a point with arm a, turned by b, moves by b x a + b x (b x a) / 2 + ...). Without it the
/// iteration creeps or circles where residuals are large and few readings hold a turn. Where the
/// sum bends downwards in some direction, that curvature counts with its size (the modified
/// Newton method with the eigenvalues' absolute values; Nocedal and Wright, 3.4), so that every
/// step leads downhill and none is short for want of curvature.
pub(super) fn least_squares(
    part: &Part,
    freedoms: &Freedoms,
    weights: &[[f64; 3]],
) -> (RigidMove, bool) {
    let mut at = RigidMove::none(freedoms.pivot);
    if freedoms.len() == 0 {
        return (at, true);
    }
    let rows: Vec<_> = readings(part).collect();
    let root = roots(weights);
    let mut r = residuals(part, &at, &root);
    let mut flat = 0;
    for _ in 0..MOST_STEPS {
        let jacobian = scale_rows(&freedoms.jacobian(part, &at, &rows), &root);
        let gradient = jacobian.transpose() * &r;
        let hessian = jacobian.transpose() * &jacobian
            + bending(part, freedoms, &at, &r.component_mul(&root));
        let step = downhill(hessian, &gradient);
        if step.amax() < SETTLED_MM {
            return (at, true);
        }
        let falls = -gradient.dot(&step);
        flat += usize::from(falls <= 1e-15 * r.norm_squared());
        if flat > MOST_FLAT {
            return (at, true);
        }
        let mut share = 1.0;
        loop {
            let next = advance(freedoms, &at, &(&step * share));
            let next_r = residuals(part, &next, &root);
            // Near the best the sum of squares is flat, and rounding must not stop the last steps.
            let enough = r.norm_squared() * (1.0 + 1e-12) - ENOUGH * share * falls;
            if next_r.norm_squared() <= enough {
                (at, r) = (next, next_r);
                break;
            }
            share /= 2.0;
            if share * step.amax() < SETTLED_MM {
                return (at, true);
            }
        }
    }
    (at, false)
}

/// -|H|^-1 g, with the absolute values of H's eigenvalues, none below rounding.
fn downhill(hessian: DMatrix<f64>, gradient: &DVector<f64>) -> DVector<f64> {
    let eigen = hessian.symmetric_eigen();
    let least = (RANK * eigen.eigenvalues.amax()).max(f64::MIN_POSITIVE);
    let along = eigen.eigenvectors.transpose() * gradient;
    let step = along.zip_map(&eigen.eigenvalues, |g, h| -g / h.abs().max(least));
    eigen.eigenvectors * step
}

/// The deviations after the move, each times the root of its weight.
fn residuals(part: &Part, at: &RigidMove, root: &DVector<f64>) -> DVector<f64> {
    let points = part.points().iter();
    let each = points.flat_map(|p| <[f64; 3]>::from(at.apply(p.position) - p.target));
    DVector::from_iterator(root.len(), each).component_mul(root)
}

/// The second derivative of sum(v_k d_k) over the freedoms, v holding one factor for each reading:
/// for each point, with its factors v and its arm a, (v a' + a v') / 2 - (v'a) I acts on the turn.
pub(super) fn bending(
    part: &Part,
    freedoms: &Freedoms,
    at: &RigidMove,
    factors: &DVector<f64>,
) -> DMatrix<f64> {
    let mut of_turn = Mat3::zeros();
    for (i, p) in part.points().iter().enumerate() {
        let v: Vec3 = factors.fixed_rows::<3>(3 * i).into_owned();
        let a = at.arm(p.position);
        let outer = v * a.transpose();
        of_turn += (outer + outer.transpose()) / 2.0 - Mat3::identity() * v.dot(&a);
    }
    let turn = &freedoms.turn;
    turn.transpose() * of_turn * turn
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::correct::{LeftAlone, PartPoint};
    use crate::frame::Side;

    fn part(points: &[([f64; 3], [f64; 3])]) -> Part {
        let points = points
            .iter()
            .enumerate()
            .map(|(i, (target, off))| PartPoint {
                name: format!("R{i}"),
                side: Side::Right,
                position: Vec3::from(*target) + Vec3::from(*off),
                target: Vec3::from(*target),
                limits: [None; 3],
            });
        Part::new(points.collect(), None).unwrap()
    }

    #[test]
    fn one_point_is_pushed_to_its_place_and_not_turned() {
        let answer = best_move(
            &part(&[([3000.0, 500.0, 400.0], [2.0, -1.0, 3.0])]),
            &Allowed::Free,
        );
        let answer = answer.unwrap();
        assert!(answer.points[0].deviation.norm() < 1e-9);
        assert_eq!(answer.rigid.rotation, Vec3::zeros());
        assert_eq!(answer.left_alone.len(), 3);
    }

    #[test]
    fn two_points_are_turned_as_little_as_brings_them_in() {
        // The rear point is 4 mm high: a turn about the width axis, none about the line itself.
        let points = [
            ([3000.0, 500.0, 400.0], [0.0; 3]),
            ([3400.0, 500.0, 400.0], [0.0, 0.0, 4.0]),
        ];
        let answer = best_move(&part(&points), &Allowed::Free).unwrap();
        // Turned, the pair is 0.02 mm longer than its targets: half of that stays at each end.
        assert!(answer.points.iter().all(|p| p.deviation.amax() < 0.011));
        assert!(answer.rigid.rotation.x.abs() < 1e-12 && answer.rigid.rotation.z.abs() < 1e-12);
        assert!(
            (answer.rigid.rotation.y - 0.01).abs() < 1e-6,
            "{}",
            answer.rigid.rotation
        );
        assert!(matches!(answer.left_alone[..], [LeftAlone::Turn(_)]));
    }

    #[test]
    fn a_slide_takes_the_mean_of_its_direction_and_leaves_the_rest() {
        let points = [
            ([3000.0, 500.0, 400.0], [-7.0, 1.0, 2.0]),
            ([3400.0, 500.0, 400.0], [-8.0, 1.0, 2.0]),
        ];
        let answer = best_move(
            &part(&points),
            &Allowed::Slide {
                along: Vec3::new(-9.0, 0.0, 0.0),
            },
        );
        let answer = answer.unwrap();
        assert!((answer.rigid.translation - Vec3::new(7.5, 0.0, 0.0)).norm() < 1e-9);
        assert!((answer.points[1].deviation - Vec3::new(-0.5, 1.0, 2.0)).norm() < 1e-9);
    }

    #[test]
    fn a_slide_that_no_reading_sees_stays_where_it_is() {
        let part = part(&[([3000.0, 500.0, 400.0], [5.0, 0.0, 0.0])]);
        let part = part.with_weights(vec![[0.0, 1.0, 1.0]]).unwrap();
        let answer = best_move(&part, &Allowed::slide_along(Axis::Length)).unwrap();
        assert_eq!(answer.rigid.translation, Vec3::zeros());
        assert!(matches!(answer.left_alone[..], [LeftAlone::Slide(_)]));
    }

    #[test]
    fn a_turn_is_about_the_stated_axis_only() {
        let hinge = Vec3::new(3000.0, 500.0, 400.0);
        let points = [
            ([3400.0, 500.0, 400.0], [0.0, 6.0, 0.0]),
            ([3400.0, 500.0, 600.0], [0.0, 6.0, 0.0]),
        ];
        let allowed = Allowed::SlideAndTurn {
            along: Vec3::z(),
            axis: Vec3::z(),
            through: hinge,
        };
        let answer = best_move(&part(&points), &allowed).unwrap();
        assert!(
            (answer.rigid.apply(hinge) - hinge).norm() < 1e-6,
            "the hinge stays"
        );
        assert!((answer.rigid.rotation.z + (6.0_f64 / 400.0).atan()).abs() < 1e-6);
    }

    #[test]
    fn directions_that_are_none_are_refused() {
        let part = part(&[([3000.0, 500.0, 400.0], [5.0, 0.0, 0.0])]);
        for along in [Vec3::zeros(), Vec3::new(f64::NAN, 0.0, 1.0)] {
            let refused = best_move(&part, &Allowed::Slide { along });
            assert!(matches!(refused, Err(MoveError::Direction { .. })));
        }
        let (along, axis) = (Vec3::x(), Vec3::z());
        let through = Vec3::new(f64::INFINITY, 0.0, 0.0);
        let refused = best_move(
            &part,
            &Allowed::SlideAndTurn {
                along,
                axis,
                through,
            },
        );
        assert!(matches!(refused, Err(MoveError::Through)));
    }
}
