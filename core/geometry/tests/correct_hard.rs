//! The minimax search where it is hard: few limits, points in a plane or nearly in a line, and
//! deviations of some centimetres, for which a turn is far from linear.

use datumtrail_geometry::correct::{Allowed, Part, PartPoint, RigidMove, best_move, minimax_move};
use datumtrail_geometry::frame::{Axis, Side, Vec3};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

const PARTS: u64 = 1500;

fn vector(dice: &mut ChaCha8Rng, size: f64) -> Vec3 {
    Vec3::from_fn(|_, _| dice.random_range(-size..size))
}

/// One to four points and what they may do; `out` is how far they are out of place among each
/// other (mm).
fn scene(seed: u64, out: f64) -> (Part, Allowed) {
    let mut dice = ChaCha8Rng::seed_from_u64(seed);
    let corners = [
        [0.0; 3],
        [400.0, 0.0, 0.0],
        [0.0, 250.0, 0.0],
        [0.0, 0.0, 200.0],
    ];
    let count = dice.random_range(1..=corners.len());
    let flat = if dice.random_bool(0.2) { 0.03 } else { 1.0 };
    let given = dice.random_range(0.2..1.0);
    let mut points: Vec<PartPoint> = Vec::new();
    for (i, corner) in corners.iter().take(count).enumerate() {
        let mut at = Vec3::from(*corner) + vector(&mut dice, 40.0);
        at.y *= flat;
        let target = at + Vec3::new(3000.0, 500.0, 400.0);
        points.push(PartPoint {
            name: format!("P{i}"),
            side: Side::Right,
            position: target + vector(&mut dice, out),
            target,
            limits: Axis::ALL.map(|_| {
                let limit = dice.random_range(0.5..5.0);
                dice.random_bool(given).then_some(limit)
            }),
        });
    }
    points[0].limits[0].get_or_insert(2.0);
    let part = Part::new(points, None).unwrap();
    let allowed = match seed % 2 {
        0 => Allowed::Free,
        _ => Allowed::SlideAndTurn {
            along: vector(&mut dice, 1.0),
            axis: vector(&mut dice, 1.0),
            through: Vec3::new(3000.0, 500.0, 400.0) + vector(&mut dice, 200.0),
        },
    };
    (part, allowed)
}

fn worst_after(part: &Part, rigid: &RigidMove) -> f64 {
    let of = |p: &PartPoint| {
        let d = rigid.apply(p.position) - p.target;
        let ratios = Axis::ALL.map(|a| p.limit(a).map_or(0.0, |t| d[a.index()].abs() / t));
        ratios.into_iter().fold(0.0, f64::max)
    };
    part.points().iter().map(of).fold(0.0, f64::max)
}

#[test]
fn the_search_always_ends_and_seldom_above_its_bound() {
    for (out, least) in [(5.0, 0.999), (20.0, 0.995)] {
        let mut at_the_bound = 0;
        for seed in 0..PARTS {
            let (part, allowed) = scene(seed, out);
            best_move(&part, &allowed).unwrap();
            let answer = minimax_move(&part, &allowed).unwrap();
            assert!(answer.bound <= answer.worst * (1.0 + 1e-6), "seed {seed}");
            assert!((worst_after(&part, &answer.best.rigid) - answer.worst).abs() < 1e-9);
            let none = worst_after(&part, &RigidMove::none(Vec3::zeros()));
            assert!(answer.worst <= none * (1.0 + 1e-9), "seed {seed}");
            at_the_bound += u64::from(answer.worst - answer.bound < 1e-3);
        }
        let share = at_the_bound as f64 / PARTS as f64;
        assert!(share >= least, "{out} mm: {share}");
    }
}

/// A point on an arm of 100 mm about an upright hinge, which can slide across. Its width and that
/// of the hinge are to be 130 mm apart, and can be 100 at most: 30 mm are left over, shared in the
/// ratio of the limits, 10 and 20.
#[test]
fn a_turn_ends_at_a_quarter_where_no_more_can_be_had() {
    let hinge = Vec3::new(3000.0, 500.0, 400.0);
    let point = |name: &str, position: Vec3, target: Vec3, limit: f64| PartPoint {
        name: name.into(),
        side: Side::Right,
        position,
        target,
        limits: [None, Some(limit), None],
    };
    let arm = Vec3::new(100.0, 0.0, 0.0);
    let points = vec![
        point("arm", hinge + arm, hinge + Vec3::new(0.0, 130.0, 0.0), 1.0),
        point("hinge", hinge, hinge, 2.0),
    ];
    let part = Part::new(points, None).unwrap();
    let allowed = Allowed::slide_along(Axis::Width)
        .turning_about(hinge, hinge + Vec3::z())
        .unwrap();
    let answer = minimax_move(&part, &allowed).unwrap();
    assert!((answer.worst - 10.0).abs() < 1e-9, "{}", answer.worst);
    assert!((answer.bound - 10.0).abs() < 1e-6, "{}", answer.bound);
    assert!((answer.best.slide_mm().unwrap() - 20.0).abs() < 1e-6);
    let quarter = std::f64::consts::FRAC_PI_2;
    assert!((answer.best.turn_rad().unwrap() - quarter).abs() < 1e-6);
    assert!(answer.impossible.is_some_and(|proof| proof.holds(&part)));
}
