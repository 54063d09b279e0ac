//! Damage readings and extents on simulated surveys of an invented van.

mod damage_scenes;

use damage_scenes::*;
use datumtrail_geometry::check::{Reading, Target};
use datumtrail_geometry::damage::{
    self, Explanation, Finding, Kind, Layout, Measured, MeasuredPoint, Scope, Shape, SheetPoint,
    Zone, ZoneDamage, words,
};
use datumtrail_geometry::extent::{self, Options};
use datumtrail_geometry::frame::{Mat3, Vec3};
use nalgebra::{DMatrix, Rotation3};

const RUNS: u64 = 80;

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

    let by = read(each_side);
    assert_eq!((by.shape, by.scope), (Shape::PushEach, Scope::Both));
    assert_eq!(named(&by), [Kind::Mash, Kind::Diamond]);
    assert!((by.readings[0].size_mm - 10.0).abs() < 1e-3);
    assert!(
        (by.readings[3].size_mm + 8.0).abs() < 1e-3,
        "{:?}",
        by.readings
    );

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

/// A scene, how it is rightly read, and what its named kinds should measure at the front end.
struct Expected {
    scene: Damage,
    scope: Scope,
    kinds: &'static [(Kind, f64)],
    /// The least share of surveys to be read so.
    share: f64,
}

const EXPECTED: [Expected; 8] = [
    expect(mash, Scope::Both, &[(Kind::Mash, 10.0)], 0.9),
    expect(one_rail, Scope::Left, &[(Kind::Mash, 12.0)], 0.9),
    expect(rail_ends, Scope::Both, &[(Kind::Mash, 8.0)], 0.9),
    expect(
        each_side,
        Scope::Both,
        &[(Kind::Mash, 10.0), (Kind::Diamond, -8.0)],
        0.85,
    ),
    // 0.012 rad over the metre from the hinge; the turn's shortening is a sixth of the noise.
    expect(swung, Scope::Both, &[(Kind::Sidesway, 12.0)], 0.85),
    expect(sidesway, Scope::Both, &[(Kind::Sidesway, -10.0)], 0.85),
    expect(sag, Scope::Both, &[(Kind::Sag, -9.0)], 0.85),
    expect(twist, Scope::Both, &[(Kind::Twist, 10.0)], 0.7),
];

const fn expect(
    scene: Damage,
    scope: Scope,
    kinds: &'static [(Kind, f64)],
    share: f64,
) -> Expected {
    Expected {
        scene,
        scope,
        kinds,
        share,
    }
}

/// Monte Carlo: how often the cause is found, and whether the sizes are covered by the standard
/// uncertainties stated with them.
#[test]
fn the_cause_is_found_in_nearly_all_surveys_and_its_sizes_are_covered() {
    let (mut covered, mut sizes) = (0, 0);
    for (k, expected) in EXPECTED.iter().enumerate() {
        let kinds: Vec<Kind> = expected.kinds.iter().map(|(kind, _)| *kind).collect();
        let mut right = 0;
        for seed in 0..RUNS {
            let by = explained(front(&survey(expected.scene, seed, 1.0)));
            let Some(by) = by.filter(|by| by.scope == expected.scope && named(by) == kinds) else {
                continue;
            };
            right += 1;
            for (r, (_, truth)) in by.readings.iter().filter(|r| r.named()).zip(expected.kinds) {
                sizes += 1;
                covered += usize::from((r.size_mm - truth).abs() < 1.96 * r.u_mm);
            }
        }
        let share = f64::from(right) / RUNS as f64;
        assert!(share > expected.share, "scene {k}: {share}");
    }
    // 95 %, four standard deviations of the count, and a little for the choice of the model.
    let share = covered as f64 / sizes as f64;
    assert!((0.91..0.98).contains(&share), "{share} of {sizes}");
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

/// Everything that a person is told about a survey.
fn told(measured: &Measured) -> Vec<String> {
    let zones = damage::read(measured, 0.05).unwrap();
    let mut said: Vec<String> = zones.iter().flat_map(words::zone).collect();
    for e in extent::read(measured, None, Options::default()) {
        said.push(extent::words::conclusion(&e));
        said.extend(extent::words::points(&e));
    }
    said
}

const SCENES: [Damage; 10] = [
    undamaged,
    mash,
    one_rail,
    each_side,
    swung,
    sidesway,
    twist,
    one_point,
    rear_corner,
    both_ends,
];

#[test]
fn a_rigid_motion_of_all_readings_changes_nothing() {
    let away = Rotation3::from_euler_angles(-2.0, 0.7, 1.3);
    for (k, scene) in SCENES.into_iter().enumerate() {
        for seed in 0..3 {
            let here = readings(scene, seed, 1.0);
            let moved = here.iter().map(|r| Reading {
                position_mm: away * r.position_mm + Vec3::new(4000.0, -250.0, 77.0),
                ..r.clone()
            });
            let moved: Vec<Reading> = moved.collect();
            let (a, b) = (measure(&sheet(), &here), measure(&sheet(), &moved));
            assert_eq!(told(&a), told(&b), "scene {k} seed {seed}");
            for (a, b) in damage::read(&a, 0.05)
                .unwrap()
                .iter()
                .zip(damage::read(&b, 0.05).unwrap())
            {
                assert!((a.chi2 - b.chi2).abs() < 1e-6 * a.chi2.max(1.0));
            }
        }
    }
}

#[test]
fn the_order_of_readings_and_of_the_sheet_does_not_matter() {
    for (k, scene) in SCENES.into_iter().enumerate() {
        let mut backwards = readings(scene, 5, 1.0);
        let here = told(&measure(&sheet(), &backwards));
        backwards.reverse();
        assert_eq!(here, told(&measure(&sheet(), &backwards)), "scene {k}");
        let mut targets = sheet();
        targets.reverse();
        targets.swap(3, 11);
        assert_eq!(here, told(&measure(&targets, &backwards)), "scene {k}");
    }
}

/// The vehicle and its readings seen in a mirror that swaps left and right.
fn mirrored(readings: &[Reading]) -> (Vec<Target>, Vec<Reading>) {
    let targets = sheet().into_iter().map(|t| Target {
        side: t.side.opposite(),
        position_mm: flip(t.position_mm),
        ..t
    });
    let seen = readings.iter().map(|r| Reading {
        position_mm: flip(r.position_mm),
        ..r.clone()
    });
    (targets.collect(), seen.collect())
}

fn flip(v: Vec3) -> Vec3 {
    Vec3::new(v.x, -v.y, v.z)
}

#[test]
fn swapping_left_and_right_mirrors_the_answer() {
    let other_side = |scope: Scope| match scope {
        Scope::Both => Scope::Both,
        Scope::Left => Scope::Right,
        Scope::Right => Scope::Left,
    };
    for (k, scene) in SCENES.into_iter().enumerate() {
        for seed in 0..4 {
            let here = readings(scene, seed, 1.0);
            let (targets, there) = mirrored(&here);
            let (here, there) = (measure(&sheet(), &here), measure(&targets, &there));
            let (a, b) = (front(&here), front(&there));
            assert!((a.chi2 - b.chi2).abs() < 1e-6 * a.chi2.max(1.0));
            match (a.finding, b.finding) {
                (Finding::Moved { by: a, .. }, Finding::Moved { by: b, .. }) => {
                    let at = format!("scene {k} seed {seed}");
                    assert_eq!((a.shape, other_side(a.scope)), (b.shape, b.scope), "{at}");
                    assert_eq!(a.points, b.points, "{at}");
                    assert_eq!(a.readings.len(), b.readings.len());
                    for (a, b) in a.readings.iter().zip(&b.readings) {
                        let sign = match a.kind {
                            Kind::Mash | Kind::Sag | Kind::Spread => 1.0,
                            Kind::Sidesway | Kind::Diamond | Kind::Twist => -1.0,
                        };
                        assert!((a.size_mm * sign - b.size_mm).abs() < 1e-6, "{a:?} {b:?}");
                        assert!((a.u_mm - b.u_mm).abs() < 1e-6);
                    }
                }
                (Finding::Points(a), Finding::Points(b)) => {
                    let names = |p: &[damage::MovedPoint]| -> Vec<String> {
                        p.iter().map(|p| p.name.clone()).collect()
                    };
                    assert_eq!(names(&a), names(&b));
                }
                (a, b) => assert_eq!(a, b),
            }
            let side_words = |mut said: Vec<String>| {
                said.retain(|line| !line.contains("left") && !line.contains("right"));
                said
            };
            let lines = |m: &Measured| -> Vec<String> {
                let extents = extent::whole(m, None, Options::default());
                extents.iter().map(extent::words::conclusion).collect()
            };
            assert_eq!(side_words(lines(&here)), side_words(lines(&there)));
        }
    }
}

/// Front and rear are the same method in a mirror: a rear hit is read like the front hit it is the
/// image of.
#[test]
fn the_same_hit_at_the_other_end_is_read_alike() {
    for seed in 0..10 {
        let here = survey(one_rail, seed, 1.0);
        let n = here.points().len();
        let turned = |v: Vec3| Vec3::new(-v.x, v.y, v.z);
        let points = here.points().iter().map(|p| MeasuredPoint {
            spec: turned(p.spec),
            deviation: turned(p.deviation),
            zone: match p.zone {
                Zone::Front => Zone::Rear,
                Zone::Centre => Zone::Centre,
                Zone::Rear => Zone::Front,
            },
            ..p.clone()
        });
        let mut blocks = DMatrix::zeros(3 * n, 3 * n);
        for i in 0..n {
            let own = Mat3::from_diagonal(&here.covariance_of(i).diagonal());
            blocks.view_mut((3 * i, 3 * i), (3, 3)).copy_from(&own);
        }
        let same = Measured::new(here.points().to_vec(), blocks.clone()).unwrap();
        let there = Measured::new(points.collect(), blocks).unwrap();
        let (a, b) = (front(&same), damage::read(&there, 0.05).unwrap().remove(2));
        assert_eq!((a.points.clone(), a.dof), (b.points.clone(), b.dof));
        let (a, b) = (explained(a).unwrap(), explained(b).unwrap());
        assert_eq!((a.shape, a.scope, &a.points), (b.shape, b.scope, &b.points));
        assert_eq!(named(&a), named(&b));
        assert!((a.readings[0].size_mm - b.readings[0].size_mm).abs() < 1e-6);
    }
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
    let said = words::zone(&front(&survey(each_side, 1, 1e-3)));
    assert_eq!(
        said[0],
        "Front: the front was pushed, each side as one but not alike."
    );
    assert!(
        said[2].starts_with("Diamond: the left side sits 8.0 mm behind the right"),
        "{said:?}"
    );
    let zones = damage::read(&survey(undamaged, 1, 1e-3), 0.05).unwrap();
    assert_eq!(
        words::zone(&zones[0])[0],
        "Front: no movement found (10 points measured)."
    );
    assert_eq!(zones[1].zone, Zone::Centre);
    assert_eq!(words::zone(&zones[1])[0], "Centre: not measured.");
}

#[test]
fn zones_and_members_are_shown_for_confirmation() {
    let said = words::layout(&layout());
    assert!(
        said[0].starts_with("Front (proposed from the geometry, please confirm): A, A', C,"),
        "{said:?}"
    );
    let mut points: Vec<SheetPoint> = sheet().iter().map(SheetPoint::from).collect();
    for p in &mut points {
        p.zone = Some(if p.spec.x < 400.0 {
            Zone::Front
        } else {
            Zone::Centre
        });
        p.member = (p.name == "H").then(|| "left longitudinal".to_string());
    }
    let said = words::layout(&Layout::propose(&points));
    assert!(
        said[0].starts_with("Front (as the sheet says): A, A',"),
        "{said:?}"
    );
    assert!(
        said.contains(&"Member left longitudinal (as the sheet says): H.".to_string()),
        "{said:?}"
    );
}
