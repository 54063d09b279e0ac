//! What must hold for every part, whatever its numbers.

use datumtrail_geometry::correct::{Allowed, Part, PartPoint, RigidMove, best_move, minimax_move};
use datumtrail_geometry::frame::{Axis, Side, Vec3};
use proptest::prelude::*;

/// How near the best the minimax search comes, in limits.
const CLOSE: f64 = 1e-3;

fn vector(size: f64) -> impl Strategy<Value = Vec3> {
    [-size..size, -size..size, -size..size].prop_map(Vec3::from)
}

/// Targets spread over a part of half a metre, so that nothing is nearly in a line for long.
fn targets() -> impl Strategy<Value = Vec<Vec3>> {
    let corners = [
        [0.0, 0.0, 0.0],
        [400.0, 0.0, 0.0],
        [0.0, 250.0, 0.0],
        [0.0, 0.0, 200.0],
    ];
    let more = prop::collection::vec(vector(250.0), 0..4);
    (prop::collection::vec(vector(40.0), 4), more).prop_map(move |(jitter, more)| {
        let corners = corners.into_iter().map(Vec3::from);
        let base = corners.zip(jitter).map(|(c, j)| c + j);
        let all = base
            .chain(more)
            .map(|x| x + Vec3::new(3000.0, 500.0, 400.0));
        all.collect()
    })
}

fn limits() -> impl Strategy<Value = [Option<f64>; 3]> {
    let one = || prop::option::weighted(0.8, 0.5..5.0);
    [one(), one(), one()]
}

/// A part somewhere near its place, with limits, at least one of them given.
fn parts() -> impl Strategy<Value = Part> {
    targets()
        .prop_flat_map(|targets| {
            let n = targets.len();
            let off = prop::collection::vec(vector(4.0), n);
            let limits = prop::collection::vec(limits(), n);
            (Just(targets), vector(6.0), off, limits)
        })
        .prop_map(|(targets, push, off, mut limits)| {
            limits[0][0].get_or_insert(2.0);
            let shifted = targets.iter().zip(off).map(|(t, o)| t + push + o);
            part(&targets, shifted.collect(), limits)
        })
}

fn part(targets: &[Vec3], positions: Vec<Vec3>, limits: Vec<[Option<f64>; 3]>) -> Part {
    let points = targets.iter().zip(positions).zip(limits).enumerate();
    let points = points.map(|(i, ((target, position), limits))| PartPoint {
        name: format!("P{i}"),
        side: Side::Right,
        position,
        target: *target,
        limits,
    });
    Part::new(points.collect(), None).unwrap()
}

fn allowed() -> impl Strategy<Value = Allowed> {
    let unit = || vector(1.0).prop_filter("a direction", |v| v.norm() > 0.1);
    prop_oneof![
        Just(Allowed::Free),
        Just(Allowed::slide_along(Axis::Length)),
        unit().prop_map(|along| Allowed::Slide { along }),
        (unit(), unit(), vector(200.0)).prop_map(|(along, axis, off)| Allowed::SlideAndTurn {
            along,
            axis,
            through: Vec3::new(3000.0, 500.0, 400.0) + off,
        }),
    ]
}

fn worst_after(part: &Part, rigid: &RigidMove) -> f64 {
    let ratios = part.points().iter().flat_map(|p| {
        let d = rigid.apply(p.position) - p.target;
        Axis::ALL.map(|a| p.limit(a).map_or(0.0, |t| d[a.index()].abs() / t))
    });
    ratios.fold(0.0, f64::max)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_rigid_displacement_without_noise_is_undone(
        targets in targets(), turn in vector(0.3), push in vector(80.0),
    ) {
        let away = RigidMove { pivot: targets[0], translation: push, rotation: turn };
        let positions: Vec<Vec3> = targets.iter().map(|t| away.apply(*t)).collect();
        let limits = vec![[Some(3.0), Some(1.5), None]; targets.len()];
        let part = part(&targets, positions, limits);
        let answer = best_move(&part, &Allowed::Free).unwrap();
        for p in &answer.points {
            prop_assert!(p.deviation.amax() < 1e-6, "{}", p.deviation);
        }
        prop_assert!((answer.rigid.rotation + turn).norm() < 1e-9);
        // Minimax sees no heights here, and three coordinates of a rigid part follow from two.
        prop_assert!(minimax_move(&part, &Allowed::Free).unwrap().worst < 1e-5);
    }

    #[test]
    fn turning_the_whole_world_turns_the_answer(
        part in parts(), turn in vector(2.0), push in vector(3000.0),
    ) {
        let alike = part.points().iter().map(|p| PartPoint { limits: [Some(2.0); 3], ..p.clone() });
        let alike = Part::new(alike.collect(), None).unwrap();
        let world = RigidMove { pivot: Vec3::zeros(), translation: push, rotation: turn };
        let elsewhere = alike.points().iter().map(|p| PartPoint {
            position: world.apply(p.position),
            target: world.apply(p.target),
            ..p.clone()
        });
        let elsewhere = Part::new(elsewhere.collect(), None).unwrap();
        let (a, b) = (best_move(&alike, &Allowed::Free).unwrap(), best_move(&elsewhere, &Allowed::Free).unwrap());
        let spin = RigidMove { translation: Vec3::zeros(), ..world };
        for (a, b) in a.points.iter().zip(&b.points) {
            prop_assert!((spin.apply(a.displacement) - b.displacement).amax() < 1e-6);
        }
    }

    #[test]
    fn the_mirrored_vehicle_gets_the_mirrored_move(part in parts(), along in vector(1.0)) {
        prop_assume!(along.norm() > 0.1);
        let flip = |v: Vec3| Vec3::new(v.x, -v.y, v.z);
        let mirrored = part.points().iter().map(|p| PartPoint {
            side: p.side.opposite(),
            position: flip(p.position),
            target: flip(p.target),
            ..p.clone()
        });
        let mirrored = Part::new(mirrored.collect(), None).unwrap();
        let pairs = [
            (Allowed::Free, Allowed::Free),
            (Allowed::Slide { along }, Allowed::Slide { along: flip(along) }),
        ];
        for (here, there) in pairs {
            let (a, b) = (best_move(&part, &here).unwrap(), best_move(&mirrored, &there).unwrap());
            for (a, b) in a.points.iter().zip(&b.points) {
                prop_assert!((flip(a.displacement) - b.displacement).amax() < 1e-6);
            }
            let (a, b) = (minimax_move(&part, &here).unwrap(), minimax_move(&mirrored, &there).unwrap());
            prop_assert!((a.worst - b.worst).abs() < CLOSE);
        }
    }

    #[test]
    fn the_order_of_the_points_does_not_matter(part in parts(), allowed in allowed()) {
        let mut points = part.points().to_vec();
        points.reverse();
        let turned = Part::new(points, None).unwrap();
        let (a, b) = (best_move(&part, &allowed).unwrap(), best_move(&turned, &allowed).unwrap());
        for (a, b) in a.points.iter().zip(b.points.iter().rev()) {
            prop_assert!((a.displacement - b.displacement).amax() < 1e-6);
        }
        let (a, b) = (minimax_move(&part, &allowed).unwrap(), minimax_move(&turned, &allowed).unwrap());
        prop_assert!((a.worst - b.worst).abs() < CLOSE);
    }

    #[test]
    fn the_minimax_move_is_never_worse_than_another(part in parts(), allowed in allowed()) {
        let minimax = minimax_move(&part, &allowed).unwrap();
        let squares = best_move(&part, &allowed).unwrap();
        prop_assert!((worst_after(&part, &minimax.best.rigid) - minimax.worst).abs() < 1e-9);
        prop_assert!(minimax.worst <= squares.worst_ratio().unwrap() + CLOSE);
        prop_assert!(minimax.worst <= worst_after(&part, &RigidMove::none(Vec3::zeros())) + CLOSE);
        prop_assert!(minimax.bound <= minimax.worst + 1e-9);
        prop_assert!(minimax.worst <= minimax.bound + CLOSE);
        prop_assert_eq!(minimax.impossible.is_some(), minimax.bound > 1.0);
        if minimax.possible() == Some(true) {
            prop_assert!(minimax.best.outside().is_empty() && minimax.worst <= 1.0 + 1e-6);
        }
    }

    /// The proof is checked without the code that made it: by differences and by trying moves.
    #[test]
    fn a_proof_of_impossibility_withstands_every_other_move(
        part in parts(), allowed in allowed(), tries in prop::collection::vec((vector(15.0), vector(1.0)), 40),
    ) {
        let minimax = minimax_move(&part, &allowed).unwrap();
        let Some(proof) = minimax.impossible else { return Ok(()) };
        prop_assert!(proof.holds(&part));
        prop_assert!(proof.readings.len() <= allowed.freedoms() + 1);
        let sizes: f64 = proof.readings.iter().map(|r| r.weight.abs()).sum();
        prop_assert!((sizes - 1.0).abs() < 1e-9);
        let mean = |rigid: &RigidMove| -> f64 {
            let each = proof.readings.iter().map(|r| {
                let p = &part.points()[r.point];
                r.weight * (rigid.apply(p.position) - p.target)[r.axis.index()] / p.limit(r.axis).unwrap()
            });
            each.sum()
        };
        prop_assert!((mean(&minimax.best.rigid) - proof.bound).abs() < 1e-9);
        prop_assert!(proof.bound > 1.0 && (proof.bound - minimax.bound).abs() < 1e-9);

        let reach = proof.turn_within.unwrap_or(0.0);
        for (push, turn) in tries {
            let further = match &allowed {
                Allowed::Free => RigidMove { pivot: part.centroid(), translation: push, rotation: turn * reach / 2.0 },
                Allowed::Slide { along } => RigidMove {
                    translation: along.normalize() * push.x, ..RigidMove::none(Vec3::zeros())
                },
                Allowed::SlideAndTurn { along, axis, through } => RigidMove {
                    // The turning axis is fixed in the vehicle, but the move is stated from where
                    // the slide has taken the part.
                    pivot: minimax.best.rigid.displacement(*through) + through,
                    translation: along.normalize() * push.x,
                    rotation: axis.normalize() * turn.x * reach,
                },
            };
            let worst = part.points().iter().flat_map(|p| {
                let d = further.apply(minimax.best.rigid.apply(p.position)) - p.target;
                Axis::ALL.map(|a| p.limit(a).map_or(0.0, |t| d[a.index()].abs() / t))
            }).fold(0.0, f64::max);
            prop_assert!(worst > 1.0, "{allowed:?} {worst}");
        }
    }
}
