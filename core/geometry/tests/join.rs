//! Joined set-ups against simulation.

mod vehicle;

use datumtrail_geometry::check::{Reading, Request, Target, Warning, check};
use datumtrail_geometry::frame::{Axis, Mat3, Vec3};
use datumtrail_geometry::join::{JoinError, Joined, Part, join};
use datumtrail_geometry::stats;
use datumtrail_geometry::verdict::Verdict;
use nalgebra::{DVector, Rotation3};
use vehicle::{Instrument, Noise, names, published_sheet};

fn rear() -> Instrument {
    Instrument::somewhere()
}

fn front() -> Instrument {
    Instrument {
        turn: Rotation3::from_euler_angles(-0.2, 0.7, -1.9),
        at: Vec3::new(-2900.0, -1500.0, 700.0),
    }
}

/// What an instrument reads of the named points, with noise of the given covariance.
fn part(
    name: &str,
    targets: &[Target],
    instrument: &Instrument,
    points: &[&str],
    own: &Mat3,
    noise: &mut Noise,
) -> Part {
    let readings = targets
        .iter()
        .filter(|t| points.contains(&t.point.as_str()))
        .map(|t| Reading {
            point: t.point.clone(),
            position_mm: instrument.sees(t.position_mm) + noise.with(own),
            covariance_mm2: Some(*own),
        })
        .collect();
    Part {
        name: name.into(),
        readings,
    }
}

const REAR: [&str; 14] = [
    "B", "B'", "B1", "B1'", "D", "D'", "J", "J'", "L", "L'", "M", "G", "G'", "A",
];
const FRONT: [&str; 13] = [
    "C", "C'", "F", "F'", "F1", "F1'", "H", "H'", "M", "G", "G'", "A", "A'",
];

/// Coverage of the 95 % intervals of the points that are no references, seen from the first part
/// and through the joint, and of their joint 95 % region, over 600 seeds. The sheet is exact here.
fn coverage(references: &[&str]) -> [f64; 3] {
    let targets: Vec<Target> = published_sheet(3.0)
        .into_iter()
        .map(|t| Target {
            print_covariance_mm2: Mat3::zeros(),
            ..t
        })
        .collect();
    let references = names(references);
    let (mut held, mut asked) = ([0u32; 2], [0u32; 2]);
    let mut jointly = 0u32;
    let runs = 600;
    for seed in 0..runs {
        let mut noise = Noise::seeded(seed);
        let rear_own = Mat3::from_diagonal(&Vec3::new(0.04, 0.16, 0.09));
        let front_own = Mat3::from_diagonal(&Vec3::new(0.25, 0.09, 0.36));
        let parts = [
            part("rear", &targets, &rear(), &REAR, &rear_own, &mut noise),
            part("front", &targets, &front(), &FRONT, &front_own, &mut noise),
        ];
        let joined = join(&parts).expect("joined");
        let request = Request {
            common: Some(&joined.common),
            ..Request::new(&joined.readings, &targets, &references)
        };
        let answer = check(&request).expect("an answer");
        for p in answer.points.iter().filter(|p| !p.is_reference) {
            let through = usize::from(!REAR.contains(&p.point.as_str()));
            for axis in Axis::ALL {
                let on_axis = p.axis(axis);
                let (Some(d), Some(u)) = (on_axis.deviation_mm, on_axis.u_mm) else {
                    continue;
                };
                held[through] += u32::from(d.abs() <= 1.959_964 * u);
                asked[through] += 1;
            }
        }
        let all = answer.deviations().expect("stated");
        let chosen: Vec<usize> = (0..all.points.len())
            .filter(|&i| !all.points[i].is_reference)
            .flat_map(|i| [3 * i, 3 * i + 1, 3 * i + 2])
            .collect();
        let off = DVector::from_iterator(chosen.len(), chosen.iter().map(|&k| all.values[k]));
        let covariance = all.covariance.select_rows(&chosen).select_columns(&chosen);
        let solved = covariance
            .cholesky()
            .expect("positive definite")
            .solve(&off);
        let critical = stats::chi2_critical(0.05, chosen.len());
        jointly += u32::from(off.dot(&solved) <= critical);
    }
    let share = |k: usize| f64::from(held[k]) / f64::from(asked[k]);
    [share(0), share(1), f64::from(jointly) / runs as f64]
}

/// With reference points of the first part alone, that are not shared, everything is exact.
#[test]
fn coverage_through_a_joint() {
    let found = coverage(&["B", "B'", "D", "D'", "J", "J'"]);
    println!("references in the first part: {found:?}");
    assert!(found.iter().all(|c| (0.93..=0.97).contains(c)), "{found:?}");
}

/// With shared reference points, or some in either part, leaving out their correlation must not
/// make the result look better than it is.
#[test]
fn coverage_with_shared_references() {
    for references in [
        &["G", "G'", "A", "M", "B", "B'"][..],
        &["G", "G'", "A", "A'", "B", "B'"][..],
        &["C", "C'", "A'", "B", "B'", "L"][..],
    ] {
        let found = coverage(references);
        println!("{references:?}: {found:?}");
        assert!(
            found.iter().all(|c| *c >= 0.93),
            "{references:?}: {found:?}"
        );
    }
}

fn quiet(points: &[&str], instrument: &Instrument, name: &str) -> Part {
    let own = Mat3::identity() * 0.09;
    let mut part = part(
        name,
        &published_sheet(3.0),
        instrument,
        points,
        &own,
        &mut Noise::seeded(1),
    );
    for r in &mut part.readings {
        let t = published_sheet(3.0);
        let t = t.iter().find(|t| t.point == r.point).expect("on the sheet");
        r.position_mm = instrument.sees(t.position_mm);
    }
    part
}

fn position<'a>(joined: &'a Joined, point: &str) -> &'a Reading {
    joined
        .readings
        .iter()
        .find(|r| r.point == point)
        .expect("joined")
}

#[test]
fn three_parts_in_any_order_give_the_frame_of_the_first() {
    let side = Instrument {
        turn: Rotation3::from_euler_angles(1.0, 0.1, 0.4),
        at: Vec3::new(500.0, 3000.0, 0.0),
    };
    let parts = [
        quiet(&REAR, &rear(), "rear"),
        // Shares only one point with the rear: it must wait for the front.
        quiet(&["C", "C'", "H", "H'", "F", "M"], &side, "nose"),
        quiet(&FRONT, &front(), "front"),
    ];
    let joined = join(&parts).expect("joined");
    let order: Vec<&str> = joined.joints.iter().map(|j| j.part.as_str()).collect();
    assert_eq!(order, ["front", "nose"]);
    assert_eq!(joined.readings.len(), 23);
    for t in published_sheet(3.0) {
        let r = position(&joined, &t.point);
        assert!(
            (r.position_mm - rear().sees(t.position_mm)).amax() < 1e-6,
            "{}",
            t.point
        );
    }
    // A shared point knows more than each reading of it, one through two joints less.
    let trace = |p: &str| position(&joined, p).covariance_mm2.expect("stated").trace();
    assert!(trace("G") < 0.27 && trace("D") == 0.27 && trace("F1'") > 0.27);
    assert!(joined.common.between("F1", "F1'").trace() > 0.0);
    assert_eq!(joined.common.between("D", "F1'"), Mat3::zeros());
}

#[test]
fn a_shared_point_that_was_knocked_is_left_out() {
    let mut parts = [
        quiet(&REAR, &rear(), "rear"),
        quiet(&[&FRONT[..], &["B", "B'"]].concat(), &front(), "front"),
    ];
    let m = parts[1]
        .readings
        .iter_mut()
        .find(|r| r.point == "M")
        .expect("M");
    m.position_mm.z += 7.0;
    let joined = join(&parts).expect("joined");
    assert_eq!(joined.joints[0].moved, ["M"]);
    assert!(joined.joints[0].settled && joined.joints[0].rms_mm < 1e-6);
    let m = published_sheet(3.0)
        .into_iter()
        .find(|t| t.point == "M")
        .expect("M");
    let kept = position(&joined, "M");
    assert!((kept.position_mm - rear().sees(m.position_mm)).amax() < 1e-9);
}

#[test]
fn shared_points_that_disagree_leave_nothing_inside() {
    let mut parts = [
        quiet(&REAR, &rear(), "rear"),
        quiet(&FRONT, &front(), "front"),
    ];
    for (k, r) in parts[1].readings.iter_mut().enumerate() {
        r.position_mm.x += if k % 2 == 0 { 4.0 } else { -4.0 };
    }
    let joined = join(&parts).expect("joined");
    assert!(!joined.joints[0].settled);
    let targets = published_sheet(3.0);
    let references = names(&["B", "B'", "D", "D'", "J", "J'"]);
    let request = Request {
        common: Some(&joined.common),
        ..Request::new(&joined.readings, &targets, &references)
    };
    let answer = check(&request).expect("an answer");
    assert!(answer.setup.doubtful);
    assert!(
        answer
            .setup
            .warnings
            .iter()
            .any(|w| matches!(w, Warning::JointDoubtful { .. }))
    );
    assert!(
        answer
            .points
            .iter()
            .all(|p| p.length.verdict != Verdict::Inside)
    );
}

#[test]
fn without_uncertainty_the_first_reading_stands() {
    let mut parts = [
        quiet(&REAR, &rear(), "rear"),
        quiet(&FRONT, &front(), "front"),
    ];
    for r in &mut parts[1].readings {
        r.covariance_mm2 = None;
    }
    let joined = join(&parts).expect("joined");
    assert_eq!((joined.joints[0].chi2, joined.joints[0].p), (None, None));
    assert_eq!(position(&joined, "H").covariance_mm2, None);
    assert_eq!(
        position(&joined, "G"),
        &parts[0]
            .readings
            .iter()
            .find(|r| r.point == "G")
            .expect("G")
            .clone()
    );
}

#[test]
fn what_is_refused() {
    assert_eq!(join(&[]), Err(JoinError::Nothing));
    let one = quiet(&REAR, &rear(), "rear");
    assert_eq!(
        join(std::slice::from_ref(&one)).expect("one part").readings,
        one.readings
    );
    let far = quiet(&["C", "H", "M", "G"], &front(), "nose");
    let part = "nose".to_string();
    assert_eq!(
        join(&[one.clone(), far]),
        Err(JoinError::TooFewShared { part, count: 2 })
    );
    let mut twice = quiet(&FRONT, &front(), "front");
    twice.readings.push(twice.readings[0].clone());
    assert!(matches!(
        join(&[one, twice]),
        Err(JoinError::ReadTwice { .. })
    ));
}
