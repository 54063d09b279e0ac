//! Time codes found in rendered photographs, one of each kind that a shop will take.
//!
//! How often, over many seeds, is printed by the example `timecode_rate`.

use datumtrail_photo::clock::Clock;
use datumtrail_photo::meta::read_meta_bytes;
use datumtrail_photo::shown::shown;
use datumtrail_photo::timecode::{Found, TimeCode, find};
use datumtrail_photo::write::{ExifFields, with_exif};
use jiff::civil::date;
use jiff::tz::Offset;

mod support;
use support::distort::{Distortion, KINDS, scene};
use support::scene::{Room, Scene};

fn code() -> TimeCode {
    TimeCode::showing("2026-03-04T13:03:27Z".parse().unwrap())
}

/// As each photograph that comes in is looked at.
fn at_a_glance(photo: &[u8]) -> Option<Found> {
    let meta = read_meta_bytes(photo).unwrap();
    shown(photo, meta.kind, meta.orientation, 512)
        .unwrap()
        .time_code
}

/// Kinds that are found in each of many scenes; the two that are not are blurred beyond what
/// one would keep, or everything at once.
#[test]
fn a_code_is_found_in_bad_photographs() {
    let mut by_kind = Vec::new();
    for kind in KINDS {
        if matches!(kind, Distortion::VeryBlurred | Distortion::EverythingAtOnce) {
            continue;
        }
        // Twelve megapixels take too long to draw here.
        if kind == Distortion::SmallInTwelveMegapixels {
            continue;
        }
        let mut small = scene(kind, 40);
        small.size = (1280, 960);
        small.share = small.share.max(0.12);
        let photo = small.photograph(Some(&code()));
        let found = find(&photo).unwrap();
        by_kind.push((kind, found.map(|f| f.code)));
    }
    let missed: Vec<_> = by_kind.iter().filter(|(_, f)| *f != Some(code())).collect();
    assert!(missed.is_empty(), "{missed:?}");
}

#[test]
fn each_exif_orientation_is_read_mirrored_or_not() {
    for orientation in 1..=8 {
        let scene = Scene {
            size: (800, 600),
            share: 0.5,
            orientation,
            ..Scene::plain(3)
        };
        let found = at_a_glance(&scene.photograph(Some(&code())));
        assert_eq!(
            found.map(|f| f.code),
            Some(code()),
            "orientation {orientation}"
        );
    }
}

#[test]
fn nothing_is_found_where_nothing_is() {
    let bench = Scene {
        size: (1200, 900),
        room: Room::Cluttered,
        ..Scene::plain(5)
    };
    assert_eq!(find(&bench.photograph(None)).unwrap(), None);
    assert_eq!(at_a_glance(&bench.photograph(None)), None);
    assert!(find(b"text").is_err());
}

/// The whole way: a camera on Berlin time, three minutes and 20 seconds slow, photographs the
/// code, and its next picture is corrected.
#[test]
fn a_photographed_code_corrects_the_cameras_clock() {
    let scene = Scene {
        size: (800, 600),
        share: 0.5,
        ..Scene::plain(8)
    };
    let photo = with_exif(
        &scene.photograph(Some(&code())),
        &ExifFields {
            date_time_original: Some(date(2026, 3, 4).at(14, 0, 7, 0)),
            offset: Some(Offset::constant(1)),
            ..Default::default()
        },
    )
    .unwrap();
    let taken = read_meta_bytes(&photo).unwrap().taken.unwrap();
    let found = at_a_glance(&photo).unwrap();
    let zone = jiff::tz::TimeZone::UTC;
    let point = found
        .code
        .sync_point(&taken, &taken.resolve(&zone))
        .unwrap();
    // 13:03:27 to 13:03:28 and up to 0.2 s late, against 13:00:07 to 13:00:08.
    assert_eq!(point.truth.to_string(), "2026-03-04T13:03:27.6Z");
    assert_eq!(point.camera.to_string(), "2026-03-04T13:00:07.5Z");
    let clock = Clock::new(vec![point]).unwrap();
    let next = clock.correct("2026-03-04T13:10:00Z".parse().unwrap());
    assert_eq!(next.at.to_string(), "2026-03-04T13:13:20.1Z");
    // sqrt(1/12 + 0.04/12 + 1/12), and ten minutes of drift.
    assert!((next.u_s.unwrap() - 0.413).abs() < 0.001, "{:?}", next.u_s);
}
