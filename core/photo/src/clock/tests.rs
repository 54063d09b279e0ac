use super::*;
use proptest::prelude::*;

fn at(text: &str) -> Timestamp {
    text.parse().unwrap()
}

fn point(camera: &str, correction_s: i64, u_s: f64) -> SyncPoint {
    SyncPoint::from_offset(at(camera), SignedDuration::from_secs(correction_s), u_s).unwrap()
}

fn close(a: f64, b: f64) {
    assert!((a - b).abs() < 1e-6, "{a} is not {b}");
}

#[test]
fn an_unchecked_clock_changes_nothing_and_claims_nothing() {
    let moment = Clock::unchecked().correct(at("2026-03-04T12:00:00Z"));
    assert_eq!(moment.at, at("2026-03-04T12:00:00Z"));
    assert_eq!(moment.u_s, None);
}

#[test]
fn one_point_is_kept_with_growing_uncertainty() {
    let clock = Clock::new(vec![point("2026-03-04T12:00:00Z", -240, 2.0)]).unwrap();
    let there = clock.correct(at("2026-03-04T12:00:00Z"));
    assert_eq!(there.at, at("2026-03-04T11:56:00Z"));
    close(there.u_s.unwrap(), 2.0);
    // Ten days away on either side: 864,000 s at 28.8675 ppm is 24.9415 s.
    for away in ["2026-03-14T12:00:00Z", "2026-02-22T12:00:00Z"] {
        let moment = clock.correct(at(away));
        close(seconds(at(away), moment.at), -240.0);
        close(moment.u_s.unwrap(), 2f64.hypot(24.941_531_628_991_83));
    }
}

#[test]
fn two_points_give_drift() {
    let clock = Clock::new(vec![
        point("2026-03-04T00:00:00Z", 14, 0.3),
        point("2026-03-02T00:00:00Z", 10, 0.4),
    ])
    .unwrap();
    let quarter = clock.correct(at("2026-03-02T12:00:00Z"));
    assert_eq!(quarter.at, at("2026-03-02T12:00:11Z"));
    // ends: hypot(0.75 * 0.4, 0.25 * 0.3); bend: 14.43376e-6 * 172800 * 0.1875.
    let ends = 0.3f64.hypot(0.075);
    close(quarter.u_s.unwrap(), ends.hypot(0.467_653_718_043_596_8));
    let segment = clock.segments().next().unwrap();
    close(segment.losing_ppm, 4.0 / 172_800.0 * 1e6);
    assert!(!segment.was_set);
}

/// Worked by hand: two exact points, a day apart, 2 s of drift. Three days later the same
/// drift has added 6 s, and the rate may have changed by 14.43 ppm: 3.741 s.
#[test]
fn drift_is_carried_on_beyond_the_points() {
    let clock = Clock::new(vec![
        point("2026-03-02T00:00:00Z", 10, 0.0),
        point("2026-03-03T00:00:00Z", 12, 0.0),
    ])
    .unwrap();
    let later = clock.correct(at("2026-03-06T00:00:00Z"));
    assert_eq!(later.at, at("2026-03-06T00:00:18Z"));
    close(later.u_s.unwrap(), 3.741_229_744_348_775);
    let earlier = clock.correct(at("2026-02-27T00:00:00Z"));
    assert_eq!(earlier.at, at("2026-02-27T00:00:04Z"));
    close(earlier.u_s.unwrap(), 3.741_229_744_348_775);
}

/// Two points a minute apart that differ by their own reading errors say nothing about the
/// rate: without κ the correction would run off by 720 s a day.
#[test]
fn points_close_together_give_no_rate() {
    let clock = Clock::new(vec![
        point("2026-03-02T00:00:00Z", 10, 0.5),
        point("2026-03-02T00:01:00Z", 11, 0.5),
    ])
    .unwrap();
    assert!(clock.segments().all(|s| !s.was_set));
    let next_day = clock.correct(at("2026-03-03T00:01:00Z"));
    let moved = seconds(at("2026-03-03T00:01:00Z"), next_day.at) - 11.0;
    assert!(moved.abs() < 0.02, "{moved}");
    // About that of a single point: hypot(0.5, 86400 s at 28.87 ppm), and the change of rate.
    let single = 0.5f64.hypot(2.494_153).hypot(1.247_077);
    assert!((next_day.u_s.unwrap() - single).abs() < 0.02);
}

/// The camera was checked twice on each of two days: the two points of one day tell nothing
/// about its rate, those of different days do.
#[test]
fn the_rate_comes_from_the_points_that_measure_it() {
    let clock = Clock::new(vec![
        point("2026-03-02T00:00:00Z", 10, 0.5),
        point("2026-03-02T00:01:00Z", 10, 0.5),
        point("2026-03-07T00:00:00Z", 20, 0.5),
        point("2026-03-07T00:01:00Z", 20, 0.5),
    ])
    .unwrap();
    for (away, correction) in [
        ("2026-03-12T00:01:00Z", 30.0),
        ("2026-02-25T00:00:00Z", 0.0),
    ] {
        let moment = clock.correct(at(away));
        let moved = seconds(at(away), moment.at);
        // Five days at 28.87 ppm are 12.5 s: κ is 0.997.
        assert!((moved - correction).abs() < 0.05, "{moved}");
    }
}

#[test]
fn a_step_is_not_carried_on() {
    let clock = Clock::new(vec![
        point("2026-03-02T00:00:00Z", 0, 1.0),
        point("2026-03-04T00:00:00Z", -3600, 1.0),
    ])
    .unwrap();
    for (away, correction) in [
        ("2026-03-14T00:00:00Z", -3600.0),
        ("2026-02-20T00:00:00Z", 0.0),
    ] {
        let moment = clock.correct(at(away));
        close(seconds(at(away), moment.at), correction);
        close(moment.u_s.unwrap(), 1f64.hypot(24.941_531_628_991_83));
    }
}

#[test]
fn a_clock_that_was_set_is_uncertain_in_between_only() {
    let clock = Clock::new(vec![
        point("2026-03-02T00:00:00Z", 0, 1.0),
        point("2026-03-04T00:00:00Z", -3600, 1.0),
    ])
    .unwrap();
    assert!(clock.segments().all(|s| s.was_set));
    let middle = clock.correct(at("2026-03-03T00:00:00Z"));
    close(seconds(at("2026-03-03T00:00:00Z"), middle.at), -1800.0);
    assert!((middle.u_s.unwrap() - 1800.0).abs() < 0.01);
    for end in clock.points() {
        let moment = clock.correct(end.camera);
        assert_eq!(moment.at, end.truth);
        close(moment.u_s.unwrap(), 1.0);
    }
}

#[test]
fn two_photographs_of_a_clock_seconds_apart_are_no_step() {
    // Half a second of reading error over one second is 500,000 ppm, and means nothing.
    let mut second = point("2026-03-02T00:00:01Z", 10, 0.5);
    second.truth += SignedDuration::from_millis(500);
    let clock = Clock::new(vec![point("2026-03-02T00:00:00Z", 10, 0.5), second]).unwrap();
    assert!(clock.segments().all(|s| !s.was_set));
}

#[test]
fn points_at_the_same_camera_time_are_averaged_or_refused() {
    let same = "2026-03-02T00:00:00Z";
    let clock = Clock::new(vec![point(same, 10, 1.0), point(same, 12, 1.0)]).unwrap();
    let moment = clock.correct(at(same));
    close(seconds(at(same), moment.at), 11.0);
    close(moment.u_s.unwrap(), 0.5f64.sqrt());

    let apart = Clock::new(vec![point(same, 10, 0.1), point(same, 20, 0.1)]);
    assert_eq!(
        apart,
        Err(ClockError::Contradiction {
            camera: at(same),
            apart_s: 10.0
        })
    );
    let exact = Clock::new(vec![point(same, 10, 0.0), point(same, 10, 0.0)]).unwrap();
    assert_eq!(exact.points().len(), 1);
}

#[test]
fn nonsense_is_refused() {
    for u_s in [-1.0, f64::NAN, f64::INFINITY] {
        let result = Clock::new(vec![SyncPoint {
            camera: at("2026-03-02T00:00:00Z"),
            truth: at("2026-03-02T00:00:00Z"),
            u_s,
        }]);
        assert!(
            matches!(result, Err(ClockError::Uncertainty { .. })),
            "{u_s}"
        );
    }
    let far = SyncPoint::from_offset(Timestamp::MAX, SignedDuration::from_secs(1), 0.0);
    assert!(matches!(far, Err(ClockError::OutOfRange { .. })));
    let clock = Clock::new(vec![point("2026-03-02T00:00:00Z", 60, 1.0)]).unwrap();
    assert_eq!(clock.correct(Timestamp::MAX).at, Timestamp::MAX);
}

#[test]
fn the_reading_adds_its_own_uncertainty() {
    let clock = Clock::new(vec![point("2026-03-02T00:00:00Z", 0, 0.3)]).unwrap();
    let taken = Taken::Exact {
        at: at("2026-03-02T00:00:00Z"),
        offset: jiff::tz::Offset::UTC,
        reading_u_s: 0.4,
    };
    let TrueTime::At(moment) = clock.apply(&taken) else {
        panic!("one time");
    };
    close(moment.u_s.unwrap(), 0.5);
}

/// A camera with a random but constant rate, checked twice without error: every reading is
/// corrected exactly, between the points and beyond them.
fn steady_clock(rate_ppm: f64, first_s: i64, length_s: i64, where_: f64) {
    let start = at("2026-03-02T00:00:00Z");
    let truth_of = |camera: Timestamp| {
        let drifted = SignedDuration::from_secs_f64(seconds(start, camera) * rate_ppm * 1e-6);
        camera + drifted + SignedDuration::from_secs(77)
    };
    let sync = |s: i64| {
        let camera = start + SignedDuration::from_secs(s);
        SyncPoint {
            camera,
            truth: truth_of(camera),
            u_s: 0.0,
        }
    };
    let clock = Clock::new(vec![sync(first_s), sync(first_s + length_s)]).unwrap();
    assert!(clock.segments().all(|s| !s.was_set));
    let from_first = where_ * length_s as f64;
    let camera =
        start + SignedDuration::from_secs(first_s) + SignedDuration::from_secs_f64(from_first);
    let moment = clock.correct(camera);
    let error = seconds(truth_of(camera), moment.at).abs();
    assert!(error < 1e-6, "{error}");
}

/// The stated uncertainty holds: clocks with a normal rate of the prior's width, a rate that
/// changes by the wander at the outermost point, and points read with normal errors. Of the
/// errors over the stated uncertainty, the root mean square is 1.
#[test]
fn beyond_the_points_the_uncertainty_is_that_of_the_errors() {
    let start = at("2026-03-02T00:00:00Z");
    let mut seed = 7u64;
    let mut uniform = move || {
        seed = seed
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (seed >> 11) as f64 / (1u64 << 53) as f64
    };
    let mut normal = move || (0..12).map(|_| uniform()).sum::<f64>() - 6.0;
    for (length, away, u1, u2) in [
        (86_400.0, 200_000.0, 0.5, 0.5),
        (3_600.0, 86_400.0, 0.3, 0.3),
        (600_000.0, 600_000.0, 2.0, 0.3),
    ] {
        let rounds = 20_000;
        let sum: f64 = (0..rounds)
            .map(|_| {
                let rate = normal() * DRIFT_U_PPM * 1e-6;
                let (e1, e2) = (normal() * u1, normal() * u2);
                let sync = |camera_s: f64, o: f64, u_s| SyncPoint {
                    camera: start + SignedDuration::from_secs_f64(camera_s),
                    truth: start + SignedDuration::from_secs_f64(camera_s + o),
                    u_s,
                };
                let clock = Clock::new(vec![
                    sync(0.0, e1, u1),
                    sync(length, rate * length + e2, u2),
                ])
                .unwrap();
                let camera = start + SignedDuration::from_secs_f64(length + away);
                let moment = clock.correct(camera);
                let true_o = rate * (length + away) + normal() * WANDER_U_PPM * 1e-6 * away;
                ((seconds(camera, moment.at) - true_o) / moment.u_s.unwrap()).powi(2)
            })
            .sum();
        let rms = (sum / f64::from(rounds)).sqrt();
        // 20,000 normal squares scatter by 0.5 % in the root: five times that.
        assert!((rms - 1.0).abs() < 0.025, "{length} {away}: {rms}");
    }
}

proptest! {
    #[test]
    fn steady_clocks_are_followed(
        rate_ppm in -DRIFT_BOUND_PPM..DRIFT_BOUND_PPM,
        first_s in -1_000_000i64..1_000_000,
        length_s in 60i64..1_000_000,
        where_ in -3.0f64..4.0,
    ) {
        steady_clock(rate_ppm, first_s, length_s, where_);
    }

    /// The correction has no jumps at sync points, stepped or not.
    #[test]
    fn corrections_are_continuous(
        points in prop::collection::vec((0i64..100_000, -5_000i64..5_000, 0.0f64..10.0), 1..6),
        probe in 0usize..6,
    ) {
        let start = at("2026-03-02T00:00:00Z");
        let mut points: Vec<SyncPoint> = points.into_iter().map(|(s, o, u_s)| SyncPoint {
            camera: start + SignedDuration::from_secs(s * 100),
            truth: start + SignedDuration::from_secs(s * 100 + o),
            u_s,
        }).collect();
        points.sort_by_key(|p| p.camera);
        points.dedup_by_key(|p| p.camera);
        let clock = Clock::new(points.clone()).unwrap();
        let p = points[probe % points.len()];
        let nearly = SignedDuration::from_micros(1);
        for camera in [p.camera - nearly, p.camera, p.camera + nearly] {
            let moment = clock.correct(camera);
            prop_assert!(seconds(p.truth, moment.at).abs() < 1e-3);
            // The step term's root has an infinite slope at its ends: 5000 s over 100 s
            // is sqrt(1e-8) * 10,000 s = 1 s after a microsecond.
            prop_assert!((moment.u_s.unwrap() - p.u_s).abs() < 1.5);
        }
    }
}
