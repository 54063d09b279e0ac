//! Monte Carlo checks of every uncertainty that the moves claim. Fixed seeds; the bounds are some
//! four standard deviations of the count wide.

use datumtrail_geometry::correct::{Allowed, Move, Part, PartPoint, best_move};
use datumtrail_geometry::frame::{Axis, Side, Vec3};
use datumtrail_geometry::stats::phi_inverse;
use nalgebra::{DMatrix, DVector};

/// splitmix64 (Steele, Lea and Flood 2014): the same numbers on every machine.
struct Chance(u64);

impl Chance {
    fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }

    fn normal(&mut self) -> f64 {
        phi_inverse(self.uniform().clamp(1e-15, 1.0 - 1e-15))
    }

    fn errors(&mut self, root: &DMatrix<f64>) -> DVector<f64> {
        root * DVector::from_fn(root.ncols(), |_, _| self.normal())
    }
}

const RAIL: [[f64; 3]; 4] = [
    [3210.0, 530.0, 410.0],
    [3460.0, 545.0, 415.0],
    [3455.0, 490.0, 520.0],
    [3640.0, 540.0, 430.0],
];

/// Own errors of 0.4 mm (0.6 mm in height) on top of a shared set-up error of the part as a whole.
fn covariance() -> DMatrix<f64> {
    let n = 3 * RAIL.len();
    DMatrix::from_fn(n, n, |i, j| {
        let own = match (i == j, i % 3) {
            (true, 2) => 0.36,
            (true, _) => 0.16,
            _ => 0.0,
        };
        let shared = if i % 3 == j % 3 { 0.25 } else { 0.0 };
        own + shared
    })
}

fn part(truth: &[Vec3], errors: &DVector<f64>) -> Part {
    let points = RAIL
        .iter()
        .zip(truth)
        .enumerate()
        .map(|(i, (target, at))| PartPoint {
            name: format!("R{}", i + 7),
            side: Side::Right,
            position: at + Vec3::new(errors[3 * i], errors[3 * i + 1], errors[3 * i + 2]),
            target: Vec3::from(*target),
            limits: [Some(3.0), Some(1.5), Some(3.0)],
        });
    Part::new(points.collect(), Some(covariance())).unwrap()
}

/// A welded section: turned a little, in the wrong place, and not quite of the right shape.
fn truth() -> Vec<Vec3> {
    let turn = nalgebra::Rotation3::new(Vec3::new(0.004, -0.006, 0.009));
    let middle = Vec3::new(3440.0, 526.0, 444.0);
    let shape = [
        [0.4, -0.3, 0.2],
        [-0.6, 0.5, 0.1],
        [0.1, 0.2, -0.7],
        [0.0, -0.4, 0.5],
    ];
    let points = RAIL.iter().zip(shape).map(|(target, shape)| {
        let target = Vec3::from(*target);
        middle + turn * (target - middle) + Vec3::new(-7.2, 0.4, -3.6) + Vec3::from(shape)
    });
    points.collect()
}

fn repeat(allowed: &Allowed, times: usize, mut each: impl FnMut(&Move)) {
    let root = covariance().cholesky().unwrap().l();
    let mut chance = Chance(7);
    for _ in 0..times {
        let measured = part(&truth(), &chance.errors(&root));
        each(&best_move(&measured, allowed).unwrap());
    }
}

fn all_allowed() -> [Allowed; 3] {
    [
        Allowed::Free,
        Allowed::slide_along(Axis::Length),
        Allowed::SlideAndTurn {
            along: Vec3::x(),
            axis: Vec3::z(),
            through: Vec3::new(3200.0, 530.0, 410.0),
        },
    ]
}

#[test]
fn where_a_point_truly_is_after_an_exact_move_is_covered_by_u() {
    for allowed in all_allowed() {
        let (mut inside, mut count) = (0, 0);
        repeat(&allowed, 4000, |answer| {
            for (p, (at, target)) in answer.points.iter().zip(truth().iter().zip(RAIL)) {
                // The shop executes the computed move on the true part.
                let truly = answer.rigid.apply(*at) - Vec3::from(target);
                let off = (truly - p.deviation).component_div(&p.u.unwrap());
                inside += off.iter().filter(|z| z.abs() < 1.96).count();
                count += 3;
            }
        });
        let share = f64::from(inside as u32) / f64::from(count as u32);
        assert!((0.94..0.96).contains(&share), "{allowed:?}: {share}");
    }
}

#[test]
fn the_stated_spread_of_moves_and_of_misfits_is_the_one_that_repeats_show() {
    const TIMES: usize = 4000;
    for allowed in all_allowed() {
        let mut answers = Vec::new();
        repeat(&allowed, TIMES, |answer| answers.push(answer.clone()));
        let spread = |of: &dyn Fn(&Move) -> f64| {
            let mean = answers.iter().map(of).sum::<f64>() / TIMES as f64;
            let squares = answers.iter().map(|a| (of(a) - mean).powi(2)).sum::<f64>();
            (squares / TIMES as f64).sqrt()
        };
        let exact = best_move(&part(&truth(), &DVector::zeros(12)), &allowed).unwrap();
        // The spread of 4000 repeats is known to 1.1 %.
        let same = |found: f64, stated: f64, what: &str| {
            assert!(
                (found - stated).abs() < 0.05 * stated + 1e-3,
                "{allowed:?} {what}: {found} {stated}"
            );
        };
        for (i, p) in exact.points.iter().enumerate() {
            for k in 0..3 {
                let found = spread(&|a| a.points[i].displacement[k]);
                same(found, p.displacement_u.unwrap()[k], "displacement");
                let found = spread(&|a| a.points[i].deviation[k]);
                same(found, p.u_misfit.unwrap()[k], "misfit");
            }
        }
        let stated = exact.covariance.unwrap().diagonal().map(f64::sqrt);
        for k in 0..3 {
            // The pivot is the centroid as measured, so the push is what the centroid is asked to do.
            same(spread(&|a| a.rigid.translation[k]), stated[k], "push");
            let (found, stated) = (spread(&|a| a.rigid.rotation[k]), stated[k + 3]);
            assert!(
                (found - stated).abs() < 0.05 * stated + 1e-6,
                "turn {found} {stated}"
            );
        }
    }
}

/// Common practice (no published source): everything bolts up although the new section sits 7 to
/// 8 mm too deep in its joint; only a measurement finds it.
#[test]
fn a_section_too_deep_in_its_joint_is_brought_back_to_within_the_stated_uncertainty() {
    const TIMES: usize = 4000;
    let root = covariance().cholesky().unwrap().l();
    let mut chance = Chance(11);
    let mut covered = 0;
    for _ in 0..TIMES {
        let deep = 7.0 + chance.uniform();
        // A rear section that is too deep sits too far forward.
        let truth: Vec<Vec3> = RAIL
            .iter()
            .map(|p| Vec3::from(*p) - Vec3::x() * deep)
            .collect();
        let measured = part(&truth, &chance.errors(&root));
        let before = measured
            .points()
            .iter()
            .filter(|p| p.deviation().x < -3.0)
            .count();
        assert_eq!(before, 4, "every point is found outside in length");
        let answer = best_move(&measured, &Allowed::slide_along(Axis::Length)).unwrap();
        let slide = answer.rigid.translation;
        assert!(
            slide.y == 0.0 && slide.z == 0.0 && slide.x > 0.0,
            "rearward only: {slide}"
        );
        assert!(answer.rigid.rotation == Vec3::zeros());
        let u = answer.covariance.unwrap()[(0, 0)].sqrt();
        covered += usize::from((slide.x - deep).abs() < 1.96 * u);
        // Brought back, the part is truly within what is stated of each point.
        for (p, (at, target)) in answer.points.iter().zip(truth.iter().zip(RAIL)) {
            let truly = answer.rigid.apply(*at) - Vec3::from(target);
            assert!((truly - p.deviation).x.abs() < 5.0 * p.u.unwrap().x);
        }
    }
    let share = covered as f64 / TIMES as f64;
    assert!((0.935..0.965).contains(&share), "{share}");
}
