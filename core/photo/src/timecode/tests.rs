use super::*;
use crate::time::TimeSource;
use jiff::civil::date;
use jiff::tz::TimeZone;

fn at(text: &str) -> Timestamp {
    text.parse().unwrap()
}

#[test]
fn the_second_is_that_which_has_begun() {
    let text = |t: &str| TimeCode::showing(at(t)).text();
    assert_eq!(
        text("2026-03-04T14:03:20Z"),
        "DATUMTRAIL/1 2026-03-04T14:03:20Z"
    );
    assert_eq!(
        text("2026-03-04T14:03:20.999999999Z"),
        "DATUMTRAIL/1 2026-03-04T14:03:20Z"
    );
    // Before 1970, where instants count backwards.
    assert_eq!(
        text("1969-12-31T23:59:58.25Z"),
        "DATUMTRAIL/1 1969-12-31T23:59:58Z"
    );
    let code = TimeCode::showing(at("2026-03-04T14:03:20.999Z"));
    assert_eq!(code.next_at(), at("2026-03-04T14:03:21Z"));
}

#[test]
fn what_is_no_time_code_is_told_apart() {
    use TimeCodeError::*;
    let parse = |text: &str| TimeCode::parse(text).map(|c| c.second().to_string());
    let version = |v: &str| {
        Err(Version {
            version: v.to_owned(),
        })
    };
    let time = |t: &str| Err(Time { time: t.to_owned() });
    assert_eq!(
        parse("DATUMTRAIL/1 2026-03-04T14:03:20Z"),
        Ok("2026-03-04T14:03:20Z".into())
    );
    assert_eq!(parse("https://example.org"), Err(Other));
    assert_eq!(parse(""), Err(Other));
    assert_eq!(
        parse(&format!("DATUMTRAIL/1 {}", "2".repeat(200))),
        Err(Other)
    );
    assert_eq!(parse("DATUMTRAIL/2 2026-03-04T14:03:20Z"), version("2"));
    assert_eq!(parse("DATUMTRAIL/"), version(""));
    assert_eq!(
        parse("DATUMTRAIL/1 2026-03-04T14:03:20+01:00"),
        time("2026-03-04T14:03:20+01:00")
    );
    assert_eq!(
        parse("DATUMTRAIL/1 2026-02-30T14:03:20Z"),
        time("2026-02-30T14:03:20Z")
    );
    assert_eq!(
        parse("DATUMTRAIL/1 2026-03-04T14:03:20.5Z"),
        time("2026-03-04T14:03:20.5Z")
    );
    assert_eq!(parse("DATUMTRAIL/1 "), time(""));
}

/// A Monte Carlo of the whole thing: a camera some 7 s slow, its seconds anywhere within ours, photographs
/// the code at random moments, the screen being late at random. The stated correction is right
/// on average, and its scatter is the stated uncertainty.
#[test]
fn the_sync_point_and_its_uncertainty_are_right() {
    let mut state = 1u64;
    let mut uniform = move || {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (state >> 11) as f64 / (1u64 << 53) as f64
    };
    let start = at("2026-03-04T14:00:00Z");
    for digits in [0u8, 2] {
        let (mut sum, mut squares, mut u_s) = (0.0, 0.0, 0.0);
        let rounds = 20_000;
        for _ in 0..rounds {
            let truth = start + SignedDuration::from_secs_f64(uniform() * 3000.0);
            let late = SignedDuration::from_secs_f64(uniform() * DISPLAY_LATENCY_S);
            let code = TimeCode::showing(truth - late);
            let behind_s = 7.0 + uniform();
            let face = truth - SignedDuration::from_secs_f64(behind_s);
            let step = 10i128.pow(9 - u32::from(digits));
            let cut = face.as_nanosecond().div_euclid(step) * step;
            let shown = Timestamp::from_nanosecond(cut).unwrap();
            let taken = CameraTime {
                civil: jiff::tz::Offset::UTC.to_datetime(shown),
                offset: Some(jiff::tz::Offset::UTC),
                sub_sec_digits: digits,
                source: TimeSource::Original,
            };
            let resolved = taken.resolve(&TimeZone::UTC);
            let point = code.sync_point(&taken, &resolved).unwrap();
            let error = point.truth.duration_since(point.camera).as_secs_f64() - behind_s;
            sum += error;
            squares += error * error;
            u_s = point.u_s;
        }
        let mean = sum / f64::from(rounds);
        let rms = (squares / f64::from(rounds)).sqrt();
        assert!(mean.abs() < 0.02, "{digits} digits: mean error {mean}");
        assert!(
            (rms / u_s - 1.0).abs() < 0.02,
            "{digits} digits: {rms} against {u_s}"
        );
    }
}

#[test]
fn an_ambiguous_hour_gives_no_sync_point() {
    let code = TimeCode::showing(at("2026-10-25T00:30:00Z"));
    let taken = CameraTime {
        civil: date(2026, 10, 25).at(2, 30, 0, 0),
        offset: None,
        sub_sec_digits: 0,
        source: TimeSource::Original,
    };
    let resolved = taken.resolve(&TimeZone::get("Europe/Berlin").unwrap());
    assert_eq!(
        code.sync_point(&taken, &resolved),
        Err(TimeCodeError::Ambiguous)
    );
}

#[test]
fn a_terminal_shows_every_module_and_the_border() {
    let modules = TimeCode::showing(at("2026-03-04T14:03:20Z")).modules();
    let lines = modules.half_blocks();
    assert_eq!(lines.len(), 17);
    for (index, line) in lines.iter().enumerate() {
        let squares: Vec<char> = line
            .strip_prefix("\u{1b}[30;107m")
            .and_then(|l| l.strip_suffix("\u{1b}[0m"))
            .unwrap()
            .chars()
            .collect();
        assert_eq!(squares.len(), 33);
        for (column, square) in squares.into_iter().enumerate() {
            let dark = |row: usize| {
                let (x, y) = (column.checked_sub(QUIET), row.checked_sub(QUIET));
                x.zip(y).is_some_and(|(x, y)| modules.is_dark(x, y))
            };
            let (upper, lower) = (matches!(square, '█' | '▀'), matches!(square, '█' | '▄'));
            assert_eq!((upper, lower), (dark(2 * index), dark(2 * index + 1)));
        }
    }
}

/// The ends of the calendar have odd texts, and still a code.
#[test]
fn every_instant_has_a_code() {
    for t in [Timestamp::MIN, Timestamp::UNIX_EPOCH, Timestamp::MAX] {
        let code = TimeCode::showing(t);
        assert!(code.modules().side() >= 25, "{}", code.text());
        assert_eq!(TimeCode::parse(&code.text()), Ok(code));
    }
}
