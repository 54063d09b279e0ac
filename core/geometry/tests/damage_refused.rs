//! Damage and extent where there is little to go by, or nothing sound: no panic, no false comfort.

mod damage_scenes;

use damage_scenes::*;
use datumtrail_geometry::check::{Reading, Request, check};
use datumtrail_geometry::damage::{
    self, DamageError, Finding, Kind, Layout, Measured, MeasuredPoint, Scope, SheetPoint, Zone,
    words,
};
use datumtrail_geometry::extent::{self, Direction, Movement, Options};
use datumtrail_geometry::frame::{Side, Vec3};
use datumtrail_geometry::verdict::Verdict;
use nalgebra::DMatrix;
use proptest::prelude::*;

fn point(name: &str, side: Side, x: f64, deviation: [f64; 3]) -> MeasuredPoint {
    let y = match side {
        Side::Left => -450.0,
        Side::Right => 450.0,
        Side::Centre => 0.0,
    };
    MeasuredPoint {
        name: name.into(),
        side,
        spec: Vec3::new(x, y, 200.0),
        deviation: deviation.into(),
        limits: [Some(3.0); 3],
        verdicts: deviation.map(|d| match d.abs() < 3.0 {
            true => Verdict::Inside,
            false => Verdict::Outside,
        }),
        is_reference: false,
        zone: Zone::Front,
        member: format!("{} rail", side.word()),
    }
}

fn measured(points: Vec<MeasuredPoint>, u: f64) -> Measured {
    let size = 3 * points.len();
    Measured::new(points, DMatrix::identity(size, size) * u * u).unwrap()
}

fn named(zone: &damage::ZoneDamage) -> Vec<(Kind, Scope)> {
    let Finding::Moved { by, .. } = &zone.finding else {
        return Vec::new();
    };
    let named = by.readings.iter().filter(|r| r.named());
    named.map(|r| (r.kind, r.scope)).collect()
}

#[test]
fn nothing_measured_is_not_measured() {
    let zones = damage::read(&measured(vec![], 0.5), 0.05).unwrap();
    assert!(zones.iter().all(|z| z.finding == Finding::NotMeasured));
    assert!(extent::read(&measured(vec![], 0.5), None, Options::default()).is_empty());
    assert!(extent::whole(&measured(vec![], 0.5), None, Options::default()).is_empty());
}

#[test]
fn a_single_point_is_told_as_itself() {
    let zones = damage::read(
        &measured(vec![point("H", Side::Left, 0.0, [9.0, 0.0, 0.0])], 0.5),
        0.05,
    );
    let Finding::Points(moved) = &zones.unwrap()[0].finding else {
        panic!("one point can't show how it moved")
    };
    assert_eq!(moved.len(), 1);
}

/// Four reference points in the cell and the two rail ends: the least that a shop may have.
#[test]
fn six_points_are_enough_for_a_mash_but_not_for_inside() {
    let of_these = ["G", "G'", "N", "N'", "H", "H'"];
    let targets: Vec<_> = sheet()
        .into_iter()
        .filter(|t| of_these.contains(&t.point.as_str()))
        .collect();
    let readings: Vec<Reading> = readings(mash, 4, 0.3)
        .into_iter()
        .filter(|r| of_these.contains(&r.point.as_str()))
        .collect();
    let references = ["G", "G'", "N", "N'"].map(String::from);
    let check = checked(&targets, &readings, &references);
    let layout = Layout::propose(&targets.iter().map(SheetPoint::from).collect::<Vec<_>>());
    let measured = Measured::of_check(&check, &layout).unwrap().unwrap();
    let zones = damage::read(&measured, 0.05).unwrap();
    assert_eq!(named(&zones[0]), [(Kind::Mash, Scope::Both)]);
    let whole = extent::whole(&measured, Some(&layout), Options::default());
    assert_eq!(whole[0].direction, Direction::Forward);
    // Four reference points, each judged by three others: trusted to have stayed, but not shown to
    // be inside; so the short sentence is not said.
    assert_eq!(extent::words::sentence(&whole[0]), None);
    assert_eq!(
        extent::words::conclusion(&whole[0]),
        "whole structure, forward: H moved; everything measured behind it (G and G') stayed, \
         but G and G' are not shown to be inside their limits."
    );
}

#[test]
fn one_side_alone_is_told_as_that_side() {
    let hit = [12.0, 0.1, -0.2];
    let points = vec![
        point("H", Side::Right, -500.0, hit),
        point("C", Side::Right, -200.0, hit),
        point("A", Side::Right, 100.0, hit),
    ];
    let zones = damage::read(&measured(points, 0.5), 0.05).unwrap();
    assert_eq!(named(&zones[0]), [(Kind::Mash, Scope::Right)]);
    assert!(words::zone(&zones[0])[1].contains("right side only"));
}

#[test]
fn points_on_the_centre_line_belong_to_both_sides() {
    let hit = [12.0, 0.1, -0.2];
    let centre = vec![
        point("K", Side::Centre, -500.0, hit),
        point("Q", Side::Centre, -200.0, hit),
    ];
    let zones = damage::read(&measured(centre.clone(), 0.5), 0.05).unwrap();
    assert_eq!(named(&zones[0]), [(Kind::Mash, Scope::Both)]);
    let mut with_sides = centre;
    with_sides.push(point("H", Side::Left, -500.0, hit));
    with_sides.push(point("H'", Side::Right, -500.0, hit));
    let zones = damage::read(&measured(with_sides, 0.5), 0.05).unwrap();
    assert_eq!(named(&zones[0]), [(Kind::Mash, Scope::Both)], "no diamond");
}

#[test]
fn both_ends_are_read_each_for_itself() {
    let measured = survey(both_ends, 3, 0.5);
    let zones = damage::read(&measured, 0.05).unwrap();
    assert_eq!(named(&zones[0]), [(Kind::Mash, Scope::Both)]);
    assert_eq!(
        named(&zones[2]),
        [(Kind::Mash, Scope::Both)],
        "{:?}",
        words::zone(&zones[2])
    );
    let Finding::Moved { by, .. } = &zones[2].finding else {
        panic!()
    };
    assert!(by.readings[0].size_mm > 0.0, "shortened, at the rear too");
    let whole = extent::whole(&measured, None, Options::default());
    let innermost = |e: &extent::Extent| e.chain[e.first_moved().unwrap()].name.clone();
    assert_eq!(
        (innermost(&whole[0]), innermost(&whole[1])),
        ("F".into(), "J".into())
    );
    assert!(
        extent::words::sentence(&whole[0])
            .unwrap()
            .contains("behind F is inside"),
        "{}",
        extent::words::conclusion(&whole[0])
    );
}

#[test]
fn reference_points_are_never_what_moved() {
    let hit = [12.0, 0.0, 0.0];
    let mut points = vec![
        point("H", Side::Left, -500.0, hit),
        point("H'", Side::Right, -500.0, hit),
    ];
    for p in &mut points {
        p.is_reference = true;
    }
    let measured = measured(points, 0.5);
    let zones = damage::read(&measured, 0.05).unwrap();
    assert_eq!(zones[0].finding, Finding::NotMeasured);
    let whole = extent::whole(&measured, None, Options::default());
    assert!(whole.iter().all(|e| e.first_moved().is_none()));
}

/// Three reference points fit their set-up, so that nothing checks them: "unchecked" is not inside.
#[test]
fn unchecked_points_behind_do_not_give_the_sentence() {
    let references = ["G", "G'", "M"].map(String::from);
    let check = checked(&sheet(), &readings(mash, 1, 0.3), &references);
    let measured = Measured::of_check(&check, &layout()).unwrap().unwrap();
    let whole = extent::whole(&measured, None, Options::default());
    assert!(!whole[0].behind_is_inside());
    assert_eq!(extent::words::sentence(&whole[0]), None);
    let said = extent::words::conclusion(&whole[0]);
    assert!(
        said.contains("not shown to be inside") || said.contains("can't be said"),
        "{said}"
    );
}

/// Two groups of reference points that contradict each other: nothing is said to have stayed.
#[test]
fn a_doubtful_set_up_blocks_every_sentence() {
    let mut seen = readings(undamaged, 1, 0.3);
    // Three of the six are 30 mm away together: neither half can be preferred.
    let shift = Vec3::new(9.0, -25.0, 14.0);
    for r in &mut seen {
        if ["G'", "M'", "N'"].contains(&r.point.as_str()) {
            r.position_mm += shift;
        }
    }
    let targets = sheet();
    let references = REFERENCES.map(String::from);
    let mut request = Request::new(&seen, &targets, &references);
    request.build_spread_mm = Some(BUILD_SPREAD_MM);
    let check = check(&request).unwrap();
    assert!(check.setup.doubtful);
    let measured = Measured::of_check(&check, &layout()).unwrap().unwrap();
    assert!(measured.doubtful());
    for e in extent::whole(&measured, None, Options::default()) {
        assert_eq!(extent::words::sentence(&e), None);
        let said = extent::words::conclusion(&e);
        assert!(said.contains("contradict each other"), "{said}");
        let told = |m: &Movement| !matches!(m, Movement::CannotTell { .. });
        assert!(!e.chain.iter().any(|p| told(&p.movement)));
    }
    for zone in damage::read(&measured, 0.05).unwrap() {
        let said = words::zone(&zone);
        let in_doubt = said.last().unwrap().contains("in doubt");
        assert_eq!(in_doubt, zone.finding != Finding::NotMeasured, "{said:?}");
    }
}

#[test]
fn without_a_stated_uncertainty_movement_is_not_read() {
    let targets = sheet();
    let bare: Vec<Reading> = readings(mash, 1, 0.3)
        .into_iter()
        .map(|r| Reading {
            covariance_mm2: None,
            ..r
        })
        .collect();
    let check = checked(&targets, &bare, &REFERENCES.map(String::from));
    assert!(Measured::of_check(&check, &layout()).unwrap().is_none());
}

#[test]
fn a_point_without_a_place_is_refused_by_name() {
    let check = checked(
        &sheet(),
        &readings(mash, 1, 0.3),
        &REFERENCES.map(String::from),
    );
    let mut points: Vec<SheetPoint> = sheet().iter().map(SheetPoint::from).collect();
    points.retain(|p| p.name != "E'");
    let refused = Measured::of_check(&check, &Layout::propose(&points)).unwrap_err();
    assert!(refused.to_string().contains("E'"), "{refused}");
}

#[test]
fn what_can_not_be_a_measurement_is_refused_by_name() {
    let pair = || {
        vec![
            point("H", Side::Left, 0.0, [0.0; 3]),
            point("J", Side::Right, 0.0, [0.0; 3]),
        ]
    };
    let sound = || DMatrix::<f64>::identity(6, 6);

    let mut points = pair();
    points[1].name = "H".into();
    let refused = Measured::new(points, sound());
    assert!(matches!(refused, Err(DamageError::Twice { point }) if point == "H"));

    for spoil in [
        |p: &mut MeasuredPoint| p.deviation.y = f64::NAN,
        |p: &mut MeasuredPoint| p.spec.x = f64::INFINITY,
        |p: &mut MeasuredPoint| p.limits[2] = Some(f64::NAN),
        |p: &mut MeasuredPoint| p.limits[2] = Some(0.0),
    ] {
        let mut points = pair();
        spoil(&mut points[1]);
        let refused = Measured::new(points, sound());
        assert!(matches!(refused, Err(DamageError::NotFinite { point }) if point == "J"));
    }
    let mut covariance = sound();
    covariance[(0, 4)] = f64::NAN;
    let refused = Measured::new(pair(), covariance);
    assert!(matches!(refused, Err(DamageError::NotFinite { .. })));
    let mut covariance = sound();
    covariance[(0, 4)] = 0.5;
    let refused = Measured::new(pair(), covariance);
    assert!(matches!(refused, Err(DamageError::NotSymmetric { .. })));
    let refused = Measured::new(pair(), DMatrix::identity(5, 5));
    assert!(matches!(refused, Err(DamageError::CovarianceShape { .. })));

    for alpha in [0.0, 1.0, -0.5, f64::NAN] {
        let refused = damage::read(&measured(pair(), 0.5), alpha);
        assert!(matches!(refused, Err(DamageError::Alpha { .. })), "{alpha}");
        let options = Options {
            alpha,
            ..Options::default()
        };
        let whole = extent::whole(&measured(pair(), 0.5), None, options);
        assert!(!whole[0].behind_stayed(), "no false comfort at {alpha}");
    }
    let options = Options {
        relevant_mm: Some(f64::NAN),
        ..Options::default()
    };
    assert!(!extent::whole(&measured(pair(), 0.5), None, options)[0].behind_stayed());
}

#[test]
fn a_singular_covariance_is_refused_and_gives_no_comfort() {
    let points = vec![
        point("H", Side::Left, 0.0, [0.1, 0.0, 0.0]),
        point("J", Side::Right, 0.0, [0.0; 3]),
    ];
    for covariance in [
        DMatrix::zeros(6, 6),
        DMatrix::from_element(6, 6, 0.25),
        -DMatrix::<f64>::identity(6, 6),
    ] {
        let measured = Measured::new(points.clone(), covariance).unwrap();
        let refused = damage::read(&measured, 0.05);
        assert!(matches!(refused, Err(DamageError::Covariance { .. })));
        let whole = extent::whole(&measured, None, Options::default());
        assert!(
            !whole[0].behind_stayed(),
            "{}",
            extent::words::conclusion(&whole[0])
        );
    }
}

fn wild() -> impl Strategy<Value = Vec<MeasuredPoint>> {
    let side = prop_oneof![Just(Side::Left), Just(Side::Right), Just(Side::Centre)];
    let zone = prop_oneof![Just(Zone::Front), Just(Zone::Centre), Just(Zone::Rear)];
    let number = prop_oneof![4 => -20.0..20.0_f64, 1 => Just(0.0), 1 => -1e7..1e7_f64];
    let deviation = [number.clone(), number.clone(), number];
    let place = [-2000.0..4000.0_f64, -900.0..900.0, -200.0..900.0];
    let member = prop_oneof![Just("a"), Just("b"), Just("c")];
    let one = (
        side,
        zone,
        deviation,
        place,
        member,
        any::<bool>(),
        prop::option::of(0.1..9.0_f64),
    );
    prop::collection::vec(one, 0..10).prop_map(|points| {
        let points = points.into_iter().enumerate();
        let of = |(i, (side, zone, deviation, place, member, is_reference, limit))| MeasuredPoint {
            zone,
            is_reference,
            spec: Vec3::from(place),
            member: String::from(member),
            limits: [limit, None, limit],
            ..point(&format!("P{i}"), side, 0.0, deviation)
        };
        points.map(of).collect()
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, failure_persistence: None, ..ProptestConfig::default() })]

    /// Whatever the numbers: no panic, every point told once, words that can be printed.
    #[test]
    fn any_points_are_read_without_a_panic(points in wild(), u in 0.05..3.0_f64) {
        let measured = measured(points, u);
        for zone in damage::read(&measured, 0.05).unwrap() {
            prop_assert!(!words::zone(&zone).is_empty());
            if let Finding::Moved { by, .. } = &zone.finding {
                prop_assert!(by.readings.iter().all(|r| r.size_mm.is_finite() && r.u_mm.is_finite()));
                prop_assert!(by.points.iter().all(|p| zone.points.contains(p)));
            }
        }
        let whole = extent::whole(&measured, None, Options::default());
        let told: usize = whole.iter().map(|e| e.chain.len()).sum();
        prop_assert_eq!(told, measured.points().len());
        let by_member = extent::read(&measured, None, Options::default());
        let told: usize = by_member.iter().map(|e| e.chain.len()).sum();
        prop_assert_eq!(told, measured.points().len());
        for e in whole.iter().chain(&by_member) {
            prop_assert!(extent::words::conclusion(e).ends_with('.'));
            // The sentence is never said where a point behind it is open or outside.
            if extent::words::sentence(e).is_some() {
                prop_assert!(e.behind_stayed() && e.behind_is_inside());
            }
        }
    }
}
