use super::*;
use crate::time::TimeSource;
use jiff::civil::date;

fn hash(differing: u32) -> PictureHash {
    let mut words = [0u64; 4];
    for bit in 0..differing as usize {
        words[bit / 64] |= 1 << (bit % 64);
    }
    let hex: String = words.iter().map(|w| format!("{w:016x}")).collect();
    PictureHash::from_hex(&hex).unwrap()
}

fn at(second: i8, nanos: i32, digits: u8) -> Option<CameraTime> {
    Some(CameraTime {
        civil: date(2026, 3, 4).at(14, 3, second, nanos),
        offset: None,
        sub_sec_digits: digits,
        source: TimeSource::Original,
    })
}

fn shot(differing: u32, pixels: u64) -> Shot<'static> {
    Shot {
        hash: hash(differing),
        pixels,
        bytes: pixels / 4,
        camera: None,
        taken: None,
        burst: None,
    }
}

#[test]
fn the_picture_decides_where_the_files_say_nothing() {
    let first = shot(0, 100);
    let distance = SAME_SHOT;
    assert_eq!(
        compare(&first, &shot(distance, 50)),
        Resemblance::SameShot { distance }
    );
    let distance = SAME_SHOT + 1;
    assert_eq!(
        compare(&first, &shot(distance, 50)),
        Resemblance::Alike { distance }
    );
    assert_eq!(
        compare(&first, &shot(ALIKE + 1, 50)),
        Resemblance::Different
    );
}

#[test]
fn files_that_say_different_times_or_cameras_are_two_shots() {
    let with = |taken, camera| Shot {
        taken,
        camera,
        ..shot(0, 100)
    };
    let first = with(at(20, 0, 0), Some("a"));
    let same = |other: &Shot<'_>| matches!(compare(&first, other), Resemblance::SameShot { .. });
    assert!(same(&with(at(20, 0, 0), Some("a"))));
    assert!(same(&with(None, None)));
    // One of them lost its sub-seconds: the second still agrees.
    assert!(same(&with(at(20, 700_000_000, 1), Some("a"))));
    assert!(!same(&with(at(21, 0, 0), Some("a"))));
    assert!(!same(&with(at(20, 0, 0), Some("b"))));
    let fine = with(at(20, 100_000_000, 2), None);
    let later = with(at(20, 350_000_000, 2), None);
    assert!(matches!(compare(&fine, &later), Resemblance::Alike { .. }));
}

#[test]
fn the_original_has_more_pixels_then_its_metadata() {
    let small = Shot {
        taken: at(20, 0, 0),
        ..shot(0, 100)
    };
    let large = shot(3, 200);
    let stripped = Shot {
        bytes: 900,
        ..shot(1, 100)
    };
    let found = copies(&[stripped.clone(), small.clone(), large]);
    assert_eq!(
        found,
        [Copies {
            original: 2,
            copies: vec![0, 1]
        }]
    );
    let found = copies(&[stripped, small]);
    assert_eq!(
        found,
        [Copies {
            original: 1,
            copies: vec![0]
        }]
    );
}

#[test]
fn a_chain_of_small_differences_joins_nothing() {
    // Each is 15 signs from the next; the last is 45 from the first.
    let chain: Vec<Shot<'_>> = (0..4).map(|i| shot(15 * i, 400 - u64::from(i))).collect();
    let found = copies(&chain);
    let pair = |original, copy| Copies {
        original,
        copies: vec![copy],
    };
    assert_eq!(found, [pair(0, 1), pair(2, 3)]);
    assert_eq!(copies(&[]), []);
}

#[test]
fn bursts_are_of_one_camera_close_in_time_and_alike() {
    let taken = |second, camera, differing| Shot {
        taken: at(second, 0, 0),
        camera: Some(camera),
        ..shot(differing, 100)
    };
    let shots = [
        taken(22, "a", 30),
        taken(20, "a", 0),
        taken(21, "b", 0),
        taken(24, "a", 30),
        taken(27, "a", 30),
        taken(28, "a", 200),
        shot(0, 100),
    ];
    assert_eq!(bursts(&shots), [vec![1, 0, 3]]);
}

#[test]
fn a_burst_that_the_camera_named_needs_no_looks() {
    let named = |second, burst, differing| Shot {
        taken: at(second, 0, 0),
        camera: Some("a"),
        burst: Some(burst),
        ..shot(differing, 100)
    };
    let shots = [
        named(20, "x", 0),
        named(21, "x", 200),
        named(22, "y", 200),
        named(23, "y", 0),
    ];
    assert_eq!(bursts(&shots), [vec![0, 1], vec![2, 3]]);
}
