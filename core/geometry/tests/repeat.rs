//! Repeats and temperature.

mod vehicle;

use datumtrail_geometry::check::Reading;
use datumtrail_geometry::frame::{Mat3, Vec3};
use datumtrail_geometry::repeat::{RepeatError, average};
use datumtrail_geometry::temperature::{Material, factor_to_20_degrees, to_20_degrees};
use vehicle::Noise;

/// A shared error of 0.3 mm and a random one of 0.4 mm: the mean of five is as uncertain as
/// claimed, and the test fails in 5 % of the runs.
#[test]
fn the_mean_is_as_uncertain_as_claimed() {
    let shared = Mat3::identity() * 0.09;
    let random = Mat3::from_diagonal(&Vec3::new(0.16, 0.04, 0.25));
    let mut noise = Noise::seeded(41);
    let (runs, mut failed) = (4000, 0);
    let mut sum = Mat3::zeros();
    let mut claimed = Mat3::zeros();
    for _ in 0..runs {
        let common = noise.with(&shared);
        let readings: Vec<Reading> = (0..5)
            .map(|_| Reading {
                point: "H".into(),
                position_mm: common + noise.with(&random),
                covariance_mm2: Some(shared + random),
            })
            .collect();
        let found = average(&readings, Some(random)).expect("a mean");
        let mean = found.readings[0].position_mm;
        sum += mean * mean.transpose();
        claimed = found.readings[0].covariance_mm2.expect("stated");
        failed += usize::from(found.repeats[0].failed);
    }
    let sample = sum / f64::from(runs);
    for k in 0..3 {
        // The variance of a sample variance is 2 s^4 / n.
        let error = claimed[(k, k)] * (2.0 / f64::from(runs)).sqrt();
        assert!((sample[(k, k)] - claimed[(k, k)]).abs() < 4.0 * error);
    }
    let rate = failed as f64 / f64::from(runs);
    assert!((rate - 0.05).abs() < 4.0 * 0.0034, "{rate}");
}

#[test]
fn repeats_that_do_not_repeat() {
    let at = |x: f64| Reading::new("H", [x, 0.0, 0.0], Some(0.3));
    let found = average(&[at(0.0), at(0.2), at(4.0)], None).expect("a mean");
    let repeat = &found.repeats[0];
    assert!(repeat.failed && repeat.p.is_some_and(|p| p < 1e-6));
    assert!((repeat.farthest_mm - 2.6).abs() < 1e-9);
    // Which one is right is not known: the variance along x is that of one reading and of the
    // three, 0.09 + (1.4^2 + 1.2^2 + 2.6^2) / 2; across, that of one reading.
    let covariance = found.readings[0].covariance_mm2.expect("stated");
    assert!((covariance[(0, 0)] - 0.09 - 5.08).abs() < 1e-9);
    assert!((covariance[(1, 1)] - 0.09).abs() < 1e-12);

    // Good repeats, of which nothing is known to be random: as uncertain as one reading.
    let found = average(&[at(0.0), at(0.2)], None).expect("a mean");
    assert!(!found.repeats[0].failed);
    assert_eq!(found.readings[0].covariance_mm2, at(0.0).covariance_mm2);

    let unstated = |x: f64| Reading::new("H", [x, 0.0, 0.0], None);
    let found = average(&[unstated(0.0), unstated(4.0)], None).expect("a mean");
    assert_eq!((found.repeats[0].p, found.repeats[0].failed), (None, false));
    assert_eq!(found.readings[0].position_mm.x, 2.0);
}

#[test]
fn what_cannot_be_averaged() {
    let a = Reading::new("H", [0.0; 3], Some(0.3));
    let b = Reading::new("H", [0.0; 3], Some(0.4));
    let point = "H".to_string();
    let error = average(&[a.clone(), b], None);
    assert_eq!(
        error,
        Err(RepeatError::DifferentUncertainties {
            point: point.clone()
        })
    );
    let too_much = Some(Mat3::identity());
    let error = average(&[a.clone(), a.clone()], too_much);
    assert_eq!(
        error,
        Err(RepeatError::BadRandomPart {
            point: point.clone()
        })
    );
    let nan = Reading::new("H", [f64::NAN, 0.0, 0.0], Some(0.3));
    assert_eq!(
        average(&[a, nan], None),
        Err(RepeatError::NotFinite { point })
    );
}

#[test]
fn temperature() {
    assert_eq!(factor_to_20_degrees(Material::Steel, 20.0), Some(1.0));
    // 12 and 23 parts per million per kelvin.
    let ppm = |m, t: f64| (1.0 / factor_to_20_degrees(m, t).expect("a factor") - 1.0) * 1e6;
    assert!((ppm(Material::Steel, 30.0) - 120.0).abs() < 1e-6);
    assert!((ppm(Material::Aluminium, 10.0) + 230.0).abs() < 1e-6);
    assert_eq!(factor_to_20_degrees(Material::Steel, f64::NAN), None);
    assert_eq!(to_20_degrees(&[], Material::Steel, 300.0), None);
}
