//! What a check must not depend on: where the instrument stood, the order of things, which side is
//! called left.

mod vehicle;

use datumtrail_geometry::check::{Check, Reading, Request, Target, check};
use datumtrail_geometry::frame::{Axis, Mat3, Side, Vec3};
use nalgebra::Rotation3;
use proptest::prelude::*;
use vehicle::{Instrument, Noise, published_sheet, readings, six_references};

/// A noisy, damaged survey to move about.
fn some_survey(seed: u64, targets: &[Target], instrument: &Instrument) -> Vec<Reading> {
    let mut noise = Noise::seeded(seed);
    let hit = noise.vector() * 5.0;
    let mut survey = readings(targets, instrument, None, |p| {
        if p.starts_with('H') {
            hit
        } else {
            Vec3::zeros()
        }
    });
    for (k, r) in survey.iter_mut().enumerate() {
        let own = Mat3::from_diagonal(&Vec3::new(0.1, 0.3, 0.2 + 0.01 * k as f64));
        r.position_mm += noise.with(&own);
        r.covariance_mm2 = Some(own);
    }
    survey
}

fn assert_same(a: &Check, b: &Check, tolerance: f64) {
    assert!((a.setup.rms_mm - b.setup.rms_mm).abs() < tolerance);
    for (p, q) in a.points.iter().zip(&b.points) {
        for axis in Axis::ALL {
            let (x, y) = (p.axis(axis), q.axis(axis));
            let off = (x.deviation_mm.unwrap_or(0.0) - y.deviation_mm.unwrap_or(0.0)).abs();
            assert!(off < tolerance, "{} {axis:?}: {off}", p.point);
            assert!((x.u_mm.unwrap_or(0.0) - y.u_mm.unwrap_or(0.0)).abs() < tolerance);
            assert_eq!(x.verdict, y.verdict);
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    /// A rigid motion of all readings (their covariances turned with them) changes no deviation.
    #[test]
    fn a_rigid_motion_changes_nothing(
        seed in 0u64..1000,
        angles in prop::array::uniform3(-3.1..3.1f64),
        shift in prop::array::uniform3(-5000.0..5000.0f64),
    ) {
        let targets = published_sheet(3.0);
        let references = six_references();
        let survey = some_survey(seed, &targets, &Instrument::somewhere());
        let turn = Rotation3::from_euler_angles(angles[0], angles[1], angles[2]);
        let moved: Vec<Reading> = survey
            .iter()
            .map(|r| Reading {
                point: r.point.clone(),
                position_mm: turn * r.position_mm + Vec3::from(shift),
                covariance_mm2: r.covariance_mm2.map(|c| turn * c * turn.transpose()),
            })
            .collect();
        let before = check(&Request::new(&survey, &targets, &references)).expect("an answer");
        let after = check(&Request::new(&moved, &targets, &references)).expect("an answer");
        assert_same(&before, &after, 1e-7);
    }

    /// Left and right mirrored, readings and sheet, mirrors the answer.
    #[test]
    fn mirrored_left_and_right(seed in 0u64..1000) {
        let mirror = Mat3::from_diagonal(&Vec3::new(1.0, -1.0, 1.0));
        let targets = published_sheet(3.0);
        let references = six_references();
        let survey = some_survey(seed, &targets, &Instrument::somewhere());
        let mirrored_targets: Vec<Target> = targets
            .iter()
            .map(|t| Target {
                side: t.side.opposite(),
                position_mm: mirror * t.position_mm,
                ..t.clone()
            })
            .collect();
        let mirrored: Vec<Reading> = survey
            .iter()
            .map(|r| Reading {
                position_mm: mirror * r.position_mm,
                ..r.clone()
            })
            .collect();
        let before = check(&Request::new(&survey, &targets, &references)).expect("an answer");
        let mut after =
            check(&Request::new(&mirrored, &mirrored_targets, &references)).expect("an answer");
        for p in &mut after.points {
            prop_assert_eq!(p.side, before.point(&p.point).expect("same").side.opposite());
            p.width.deviation_mm = p.width.deviation_mm.map(|d| -d);
        }
        assert_same(&before, &after, 1e-7);
    }

    /// The order of readings never matters, nor does that of the reference points.
    #[test]
    fn order_does_not_matter(seed in 0u64..1000, cut in 1usize..20) {
        let targets = published_sheet(3.0);
        let references = six_references();
        let survey = some_survey(seed, &targets, &Instrument::somewhere());
        let mut shuffled = survey.clone();
        shuffled.rotate_left(cut);
        shuffled.swap(0, 7);
        let mut turned = references.clone();
        turned.rotate_left(cut % 6);
        let before = check(&Request::new(&survey, &targets, &references)).expect("an answer");
        let after = check(&Request::new(&shuffled, &targets, &turned)).expect("an answer");
        prop_assert_eq!(before.points, after.points);
    }

    /// No numbers make it panic.
    #[test]
    fn no_input_panics(
        numbers in prop::collection::vec(prop::array::uniform3(prop_oneof![
            -4000.0..4000.0f64,
            prop::num::f64::ANY,
        ]), 4..8),
        u in prop_oneof![Just(None), (0.0..2.0f64).prop_map(Some), prop::num::f64::ANY.prop_map(Some)],
        step in prop_oneof![Just(0.0), Just(1.0)],
    ) {
        let n = numbers.len() / 2 + 2;
        let survey: Vec<Reading> = numbers
            .iter()
            .enumerate()
            .map(|(k, p)| Reading::new(format!("{k}"), *p, u))
            .collect();
        let targets: Vec<Target> = numbers
            .iter()
            .rev()
            .enumerate()
            .map(|(k, p)| Target::new(format!("{k}"), Side::Centre, *p, step).with_limit(1.0))
            .collect();
        let references: Vec<String> = (0..n.min(numbers.len())).map(|k| k.to_string()).collect();
        if let Ok(answer) = check(&Request::new(&survey, &targets, &references)) {
            prop_assert!(answer.setup.rms_mm.is_finite());
            for p in &answer.points {
                for axis in Axis::ALL {
                    prop_assert!(p.axis(axis).deviation_mm.is_none_or(f64::is_finite));
                }
            }
        }
    }
}
