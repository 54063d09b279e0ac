//! Damage readings and extents on simulated surveys of an invented van.

mod damage_scenes;

use damage_scenes::*;
use datumtrail_geometry::damage::{
    self, Explanation, Finding, Kind, Measured, MeasuredPoint, Scope, Shape, Zone, ZoneDamage,
    words,
};
use datumtrail_geometry::extent::{self, Direction, Movement, Options};
use datumtrail_geometry::frame::Vec3;
use nalgebra::DMatrix;

const RUNS: u64 = 60;

fn front(measured: &Measured) -> ZoneDamage {
    damage::read(measured, 0.05).unwrap().remove(0)
}

fn explained(answer: ZoneDamage) -> Option<Explanation> {
    match answer.finding {
        Finding::Moved { by, .. } => Some(by),
        _ => None,
    }
}

fn named(by: &Explanation) -> Vec<Kind> {
    by.readings
        .iter()
        .filter(|r| r.named())
        .map(|r| r.kind)
        .collect()
}

/// The share of runs in which the front is read as `right` says.
fn share(scene: Damage, right: impl Fn(&Explanation) -> bool) -> f64 {
    let hit =
        |seed: &u64| explained(front(&survey(scene, *seed, 1.0))).is_some_and(|by| right(&by));
    (0..RUNS).filter(hit).count() as f64 / RUNS as f64
}

#[test]
fn an_undamaged_van_is_called_damaged_in_at_most_five_of_a_hundred_surveys() {
    let runs = 300;
    let alarmed = |seed: &u64| {
        let zones = damage::read(&survey(undamaged, *seed, 1.0), 0.05).unwrap();
        let quiet =
            |z: &ZoneDamage| matches!(z.finding, Finding::NothingMoved | Finding::NotMeasured);
        !zones.iter().all(quiet)
    };
    let alarms = (0..runs).filter(alarmed).count() as f64 / runs as f64;
    // 5 % and three standard deviations of the count.
    assert!(alarms < 0.088, "{alarms}");
    assert!(alarms > 0.0, "a test that never alarms tests nothing");
}

#[test]
fn without_noise_every_scene_is_read_as_what_was_done() {
    let read = |scene| explained(front(&survey(scene, 1, 1e-6))).unwrap();

    let by = read(mash);
    assert_eq!(
        (by.shape, by.scope, by.whole_end),
        (Shape::Push, Scope::Both, true)
    );
    assert_eq!(named(&by), [Kind::Mash]);
    assert!((by.readings[0].size_mm - 10.0).abs() < 1e-3);

    let by = read(one_rail);
    assert_eq!((by.shape, by.scope), (Shape::Push, Scope::Left));
    assert_eq!(by.points, ["A", "C", "H"]);
    assert_eq!(
        named(&by),
        [Kind::Mash],
        "one cause, named once: no diamond"
    );
    assert!((by.readings[0].size_mm - 12.0).abs() < 1e-3);

    let by = read(rail_ends);
    assert_eq!((by.shape, by.scope), (Shape::Push, Scope::Both));
    assert_eq!(by.points, ["C", "C'", "H", "H'"]);
    assert!(!by.whole_end && by.from == ["C", "C'"]);

    let by = read(swung);
    assert_eq!((by.shape, by.scope), (Shape::Block, Scope::Both));
    assert_eq!(named(&by), [Kind::Sidesway], "no diamond beside it");
    let turn = by.turn.unwrap();
    assert!((turn - Vec3::new(0.0, 0.0, -0.012)).norm() < 1e-4, "{turn}");
    // 0.012 rad over the metre from the hinge to the end.
    assert!((by.readings[1].size_mm - 12.0).abs() < 0.1);

    let by = read(sidesway);
    assert_eq!((by.shape, named(&by)), (Shape::Bend, vec![Kind::Sidesway]));
    assert!(
        (by.readings[1].size_mm + 10.0).abs() < 0.05,
        "{:?}",
        by.readings
    );

    let by = read(twist);
    assert_eq!((by.shape, named(&by)), (Shape::Warp, vec![Kind::Twist]));
    assert!(
        (by.readings[2].size_mm - 10.0).abs() < 0.05,
        "{:?}",
        by.readings
    );
}

#[test]
fn with_noise_the_cause_is_found_in_nearly_all_surveys() {
    let only = |kind: Kind| move |by: &Explanation| named(by) == [kind];
    assert!(share(mash, |by| by.scope == Scope::Both && only(Kind::Mash)(by)) > 0.9);
    assert!(
        share(one_rail, |by| by.scope == Scope::Left
            && only(Kind::Mash)(by))
            > 0.9
    );
    assert!(share(rail_ends, |by| by.points.len() == 4 && only(Kind::Mash)(by)) > 0.85);
    assert!(share(swung, |by| only(Kind::Sidesway)(by)) > 0.8);
    assert!(share(sidesway, |by| only(Kind::Sidesway)(by)) > 0.85);
    assert!(share(sag, |by| only(Kind::Sag)(by)) > 0.85);
    assert!(share(twist, |by| only(Kind::Twist)(by)) > 0.7);
}

#[test]
fn the_size_of_a_mash_is_covered_by_its_uncertainty() {
    let (mut covered, mut read) = (0.0, 0.0);
    for seed in 0..200 {
        let by = explained(front(&survey(mash, seed, 1.0)));
        let Some(by) = by.filter(|by| by.shape == Shape::Push && by.scope == Scope::Both) else {
            continue;
        };
        let r = by.readings[0];
        read += 1.0;
        covered += if (r.size_mm - 10.0).abs() < 1.96 * r.u_mm {
            1.0
        } else {
            0.0
        };
    }
    assert!(read > 175.0);
    let share = covered / read;
    assert!((0.90..0.99).contains(&share), "{share} of {read}");
}

#[test]
fn a_single_point_is_listed_and_not_made_into_a_cause() {
    let answer = front(&survey(one_point, 3, 0.5));
    let Finding::Points(points) = &answer.finding else {
        panic!("{answer:?}")
    };
    assert_eq!(points.len(), 1);
    assert_eq!(points[0].name, "E'");
    assert!(
        words::zone(&answer)[1].starts_with("E': "),
        "{:?}",
        words::zone(&answer)
    );
}

fn mirrored(measured: &Measured) -> Measured {
    let flip = |v: Vec3| Vec3::new(v.x, -v.y, v.z);
    let n = measured.points().len();
    let points = measured.points().iter().map(|p| MeasuredPoint {
        side: p.side.opposite(),
        spec: flip(p.spec),
        deviation: flip(p.deviation),
        ..p.clone()
    });
    let sign = |k: usize| if k % 3 == 1 { -1.0 } else { 1.0 };
    let mut covariance = DMatrix::zeros(3 * n, 3 * n);
    for i in 0..n {
        covariance
            .view_mut((3 * i, 3 * i), (3, 3))
            .copy_from(&measured.covariance_of(i));
    }
    let covariance = covariance.map_with_location(|i, j, v| v * sign(i) * sign(j));
    Measured::new(points.collect(), covariance).unwrap()
}

/// The same points with the covariance between different points left out, as `mirrored` makes it.
fn uncoupled(measured: &Measured) -> Measured {
    mirrored(&mirrored(measured))
}

#[test]
fn the_mirrored_van_gives_the_mirrored_answer() {
    let scenes: [Damage; 8] = [
        undamaged, mash, one_rail, rail_ends, swung, sidesway, twist, one_point,
    ];
    for (k, scene) in scenes.into_iter().enumerate() {
        for seed in 0..10 {
            let here = uncoupled(&survey(scene, seed, 1.0));
            let (a, b) = (front(&here), front(&mirrored(&here)));
            assert!((a.chi2 - b.chi2).abs() < 1e-6);
            match (a.finding, b.finding) {
                (Finding::Moved { by: a, .. }, Finding::Moved { by: b, .. }) => {
                    let swapped = match a.scope {
                        Scope::Both => Scope::Both,
                        Scope::Left => Scope::Right,
                        Scope::Right => Scope::Left,
                    };
                    assert_eq!(
                        (a.shape, swapped),
                        (b.shape, b.scope),
                        "scene {k} seed {seed}"
                    );
                    for (a, b) in a.readings.iter().zip(&b.readings) {
                        let sign = match a.kind {
                            Kind::Mash | Kind::Sag | Kind::Spread => 1.0,
                            Kind::Sidesway | Kind::Diamond | Kind::Twist => -1.0,
                        };
                        assert!((a.size_mm * sign - b.size_mm).abs() < 1e-6, "{a:?} {b:?}");
                        assert!((a.u_mm - b.u_mm).abs() < 1e-9);
                    }
                }
                (Finding::Points(a), Finding::Points(b)) => assert_eq!(a.len(), b.len()),
                (a, b) => assert_eq!(a, b),
            }
        }
    }
}

#[test]
fn the_order_of_the_points_does_not_matter() {
    for scene in [mash as Damage, one_rail, swung, one_point] {
        let here = uncoupled(&survey(scene, 5, 1.0));
        let n = here.points().len();
        let points: Vec<MeasuredPoint> = here.points().iter().rev().cloned().collect();
        let mut covariance = DMatrix::zeros(3 * n, 3 * n);
        for i in 0..n {
            covariance
                .view_mut((3 * i, 3 * i), (3, 3))
                .copy_from(&here.covariance_of(n - 1 - i));
        }
        let turned = Measured::new(points, covariance).unwrap();
        let (a, b) = (front(&here), front(&turned));
        assert_eq!(words::zone(&a), words::zone(&b));
    }
}

#[test]
fn the_extent_of_a_rear_corner_is_told_in_the_sentence_a_shop_needs() {
    let measured = survey(rear_corner, 2, 0.5);
    let extents = extent::read(
        &measured,
        Some(&layout()),
        Options {
            relevant_mm: Some(8.0),
            ..Options::default()
        },
    );
    let left = extents
        .iter()
        .find(|e| {
            e.member.starts_with("left")
                && e.direction == Direction::Rearward
                && e.chain.iter().any(|p| p.name == "L")
        })
        .unwrap();
    let names: Vec<&str> = left.chain.iter().map(|p| p.name.as_str()).collect();
    assert_eq!(names, ["M", "N", "D", "J", "L"]);
    assert_eq!(left.first_moved(), Some(3));
    assert!(left.behind_stayed(), "{}", extent::words::conclusion(left));
    let said = extent::words::conclusion(left);
    assert!(
        said.contains("everything measured ahead of J (M, N and D) stayed"),
        "{said}"
    );
    let right = extents
        .iter()
        .find(|e| e.chain.iter().any(|p| p.name == "L'"))
        .unwrap();
    assert_eq!(right.first_moved(), None);
}

#[test]
fn a_point_that_can_not_be_told_blocks_the_sentence() {
    let measured = survey(rear_corner, 2, 0.5);
    // A limit of 3 mm asks for more than u = 0.8 mm can show at 0.05 / 16.
    let extents = extent::read(&measured, None, Options::default());
    let left = extents
        .iter()
        .find(|e| e.chain.iter().any(|p| p.name == "L"))
        .unwrap();
    let blocked: Vec<&str> = left.blocked_by().iter().map(|p| p.name.as_str()).collect();
    assert_eq!(blocked, ["D"]);
    assert!(!left.behind_stayed());
    let said = extent::words::conclusion(left);
    assert!(
        said.contains("can't be said, because D could hide a move of"),
        "{said}"
    );
    assert!(!said.contains("stayed and"), "{said}");
}

#[test]
fn the_smallest_detectable_move_is_detected_four_times_in_five() {
    // Move J by exactly what extent says would be found, in the worst direction.
    let still = survey(undamaged, 0, 1e-9);
    let j = still.points().iter().position(|p| p.name == "J").unwrap();
    let eigen = still.covariance_of(j).symmetric_eigen();
    let worst: Vec3 = eigen
        .eigenvectors
        .column(eigen.eigenvalues.imax())
        .into_owned();
    let extents = extent::read(
        &still,
        None,
        Options {
            relevant_mm: Some(99.0),
            ..Options::default()
        },
    );
    let chain = extents.iter().flat_map(|e| &e.chain);
    let Movement::Stayed { hides_mm } = chain.clone().find(|p| p.name == "J").unwrap().movement
    else {
        panic!()
    };
    let runs = 200;
    let found = (0..runs).filter(|seed| {
        let noisy = survey(undamaged, *seed, 1.0);
        let points = noisy.points().iter().map(|p| MeasuredPoint {
            deviation: p.deviation
                + if p.name == "J" {
                    worst * hides_mm
                } else {
                    Vec3::zeros()
                },
            ..p.clone()
        });
        let mut blocks = DMatrix::zeros(3 * noisy.points().len(), 3 * noisy.points().len());
        for i in 0..noisy.points().len() {
            blocks
                .view_mut((3 * i, 3 * i), (3, 3))
                .copy_from(&noisy.covariance_of(i));
        }
        let moved = Measured::new(points.collect(), blocks).unwrap();
        let extents = extent::read(&moved, None, Options::default());
        let mut chain = extents.iter().flat_map(|e| &e.chain);
        chain.any(|p| p.name == "J" && p.movement == Movement::Moved)
    });
    let share = found.count() as f64 / runs as f64;
    // 80 % and three standard deviations of the count.
    assert!((0.71..0.89).contains(&share), "{share}");
}

#[test]
fn what_the_words_say() {
    let said = words::zone(&front(&survey(one_rail, 1, 1e-3)));
    assert_eq!(
        said[0],
        "Front: the member left H\u{2013}L was pushed as one."
    );
    assert!(
        said[1].starts_with("Mash: the front is shortened by 12.0 mm, left side only"),
        "{said:?}"
    );
    assert!(said[1].ends_with("It rests on A, C and H."), "{said:?}");
    let zones = damage::read(&survey(undamaged, 1, 1e-3), 0.05).unwrap();
    assert_eq!(
        words::zone(&zones[0])[0],
        "Front: no movement found (10 points measured)."
    );
    assert_eq!(zones[1].zone, Zone::Centre);
    assert_eq!(words::zone(&zones[1])[0], "Centre: not measured.");
}
