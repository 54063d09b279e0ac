//! HEIC files by libheif (`files/make_heic.py`): read in any build, decoded with the feature.

use datumtrail_photo::meta::{Dimensions, read_meta_bytes};
use datumtrail_photo::orientation::Orientation;
use datumtrail_photo::preview::{Likeness, likeness};
use datumtrail_photo::time::TimeSource;

fn file(name: &str) -> Vec<u8> {
    std::fs::read(format!("{}/tests/files/{name}", env!("CARGO_MANIFEST_DIR"))).unwrap()
}

#[test]
fn what_the_files_say_is_read() {
    for (name, stored, orientation) in [
        ("tiny.heic", (96, 64), Orientation::Upright),
        ("turned.heic", (96, 64), Orientation::TurnRight),
    ] {
        let meta = read_meta_bytes(&file(name)).unwrap();
        assert_eq!(
            meta.dimensions,
            Dimensions::new(stored.0, stored.1),
            "{name}"
        );
        assert_eq!(meta.orientation, orientation, "{name}");
        assert_eq!(
            meta.camera.label().as_deref(),
            Some("Bench Pocket 3 no. B0042")
        );
        let taken = meta.taken.unwrap();
        assert_eq!(taken.source, TimeSource::Original);
        assert_eq!(taken.civil.to_string(), "2026-03-04T14:03:20.25");
        assert_eq!(taken.offset.unwrap().seconds(), 3600);
        assert!(meta.has_gps);
        assert_eq!(meta.warnings, [] as [String; 0]);
    }
}

/// Red, green, blue, white: the middle of each quarter, seen upright.
fn quarters(jpeg: &[u8]) -> (u16, u16, [&'static str; 4]) {
    let mut decoder = jpeg_decoder::Decoder::new(jpeg);
    let rgb = decoder.decode().unwrap();
    let info = decoder.info().unwrap();
    let (width, height) = (usize::from(info.width), usize::from(info.height));
    let at = |x: usize, y: usize| {
        let place = 3 * (y * width + x);
        match rgb[place..place + 3] {
            [r, g, b] if r > 200 && g > 200 && b > 200 => "white",
            [r, g, b] if r > 150 && g < 90 && b < 90 => "red",
            [r, g, b] if r < 90 && g > 120 && b < 100 => "green",
            [r, g, b] if r < 90 && g < 110 && b > 150 => "blue",
            _ => "?",
        }
    };
    let (left, right) = (width / 4, 3 * width / 4);
    let (top, bottom) = (height / 4, 3 * height / 4);
    let colors = [
        at(left, top),
        at(right, top),
        at(left, bottom),
        at(right, bottom),
    ];
    (info.width, info.height, colors)
}

const EXPECTED: [&str; 4] = ["red", "green", "blue", "white"];

#[cfg(feature = "heic")]
#[test]
fn pictures_are_decoded_upright() {
    for (name, size) in [("tiny.heic", (96, 64)), ("turned.heic", (64, 96))] {
        let bytes = file(name);
        let shown = likeness(&bytes, &read_meta_bytes(&bytes).unwrap(), 512);
        let Likeness::Picture(preview) = shown else {
            panic!("{name}: {shown:?}");
        };
        let (width, height, colors) = quarters(&preview.jpeg);
        assert_eq!(((width, height), colors), (size, EXPECTED), "{name}");
        let hash = datumtrail_photo::alike::PictureHash::of(&bytes).unwrap();
        let other = datumtrail_photo::alike::PictureHash::of(&preview.jpeg).unwrap();
        // A few flat blocks: what is small in them differs by rounding.
        assert!(
            hash.distance(&other) < datumtrail_photo::alike::ALIKE,
            "{name}: {}",
            hash.distance(&other)
        );
    }
}

/// A picture that can't be decoded, as in a build without the decoder (which forgives much of what
/// one could spoil here). The camera's own small picture is shown, turned as the large one is; without one, a placeholder.
#[cfg(not(feature = "heic"))]
#[test]
fn the_cameras_own_small_picture_comes_second_a_placeholder_last() {
    let spoilt = |name: &str| {
        let mut bytes = file(name);
        // The pictures are of a coding that does not exist.
        while let Some(at) = bytes.windows(4).position(|w| w == b"hvc1") {
            bytes[at..at + 4].copy_from_slice(b"hvcX");
        }
        bytes
    };
    let bytes = spoilt("turned.heic");
    let shown = likeness(&bytes, &read_meta_bytes(&bytes).unwrap(), 512);
    let Likeness::Embedded { preview, .. } = shown else {
        panic!("{shown:?}");
    };
    assert_eq!(quarters(&preview.jpeg), (32, 48, EXPECTED));

    let bytes = spoilt("tiny.heic");
    match likeness(&bytes, &read_meta_bytes(&bytes).unwrap(), 512) {
        Likeness::Placeholder { size, why, .. } => {
            assert_eq!(size, Dimensions::new(96, 64));
            assert!(why.to_string().contains("HEIC"), "{why}");
        }
        other => panic!("{other:?}"),
    }
}
