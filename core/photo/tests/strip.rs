//! Stripped and covered copies: the secrets are gone, the picture is the same.

use datumtrail_photo::cover::{CoverError, Rectangle, cover, encode_again};
use datumtrail_photo::meta::{Dimensions, read_meta_bytes};
use datumtrail_photo::strip::{LeaveOut, strip};
use datumtrail_photo::whole::check_whole;
use datumtrail_photo::write::{encode_block, insert_exif};
use exif::{Field, In, Tag, Value};

mod support;
use support::full_fields;

/// What must not be in a copy, each at its place in every file below.
const SECRETS: [&str; 6] = [
    "B0042",
    "SECRETNAME",
    "SECRETNOTE",
    "SECRETTEXT",
    "SECRETXMP",
    "SECRETTAIL",
];

fn secret_fields() -> Vec<Field> {
    let mut fields = full_fields().to_fields().unwrap();
    let field = |tag, value| Field {
        tag,
        ifd_num: In::PRIMARY,
        value,
    };
    fields.push(field(
        Tag::Artist,
        Value::Ascii(vec![b"SECRETNAME".to_vec()]),
    ));
    fields.push(field(
        Tag::CameraOwnerName,
        Value::Ascii(vec![b"SECRETNAME".to_vec()]),
    ));
    fields.push(field(
        Tag::ImageDescription,
        Value::Ascii(vec![b"SECRETTEXT".to_vec()]),
    ));
    fields.push(field(
        Tag::MakerNote,
        Value::Undefined(b"SECRETNOTE with a serial number".to_vec(), 0),
    ));
    fields.push(field(
        Tag::UserComment,
        Value::Undefined(b"ASCII\0\0\0SECRETTEXT".to_vec(), 0),
    ));
    fields
}

fn segment(marker: u8, body: &[u8]) -> Vec<u8> {
    let len = (2 + body.len() as u16).to_be_bytes();
    [&[0xFF, marker][..], &len, body].concat()
}

fn secret_jpeg() -> Vec<u8> {
    let plain = support::jpeg_of(&support::busy_pixels(96, 64, 5), 96, 64, 85);
    let with_exif = insert_exif(&plain, &encode_block(&secret_fields()).unwrap()).unwrap();
    // Behind the start marker: XMP, IPTC, a comment, a list of further pictures.
    let others = [
        segment(0xE1, b"http://ns.adobe.com/xap/1.0/\0<x>SECRETXMP</x>"),
        segment(0xED, b"Photoshop 3.0\x008BIM SECRETNAME"),
        segment(0xFE, b"SECRETTEXT"),
        segment(0xE2, b"MPF\0SECRETTEXT"),
        segment(0xE2, b"ICC_PROFILE\0\x01\x01a profile that stays"),
    ];
    [
        &with_exif[..2],
        &others.concat(),
        &with_exif[2..],
        b"a video: SECRETTAIL",
    ]
    .concat()
}

fn secret_png() -> Vec<u8> {
    let good = support::png(48, 32, &full_fields());
    let block = encode_block(&secret_fields()).unwrap();
    let chunk = |name: &[u8; 4], body: &[u8]| {
        let mut out = (body.len() as u32).to_be_bytes().to_vec();
        out.extend_from_slice(name);
        out.extend_from_slice(body);
        let sum = crc32fast::hash(&out[4..]);
        out.extend_from_slice(&sum.to_be_bytes());
        out
    };
    // Behind the header chunk: 8 + 25 bytes.
    let extra = [
        chunk(b"eXIf", &block),
        chunk(b"tEXt", b"Author\0SECRETNAME"),
        chunk(b"iTXt", b"XML:com.adobe.xmp\0\0\0\0\0<x>SECRETXMP</x>"),
        chunk(b"zzZz", b"SECRETNOTE"),
    ];
    [&good[..33], &extra.concat(), &good[33..], b"SECRETTAIL"].concat()
}

fn secret_webp() -> Vec<u8> {
    let mut file = support::webp(48, 32, &full_fields());
    let xmp = b"<x>SECRETXMP</x>";
    file.extend_from_slice(b"XMP ");
    file.extend_from_slice(&(xmp.len() as u32).to_le_bytes());
    file.extend_from_slice(xmp);
    let len = (file.len() as u32 - 8).to_le_bytes();
    file[4..8].copy_from_slice(&len);
    file.extend_from_slice(b"SECRETTAIL");
    file
}

fn contains(bytes: &[u8], text: &str) -> bool {
    bytes.windows(text.len()).any(|w| w == text.as_bytes())
}

fn pixels(bytes: &[u8]) -> Vec<u8> {
    image::load_from_memory(bytes)
        .unwrap()
        .into_rgb8()
        .into_raw()
}

#[test]
fn copies_hold_the_picture_and_no_secret() {
    let files = [
        ("jpeg", secret_jpeg()),
        ("png", secret_png()),
        ("webp", secret_webp()),
    ];
    for (name, bytes) in files {
        assert!(
            contains(&bytes, "SECRETXMP") && contains(&bytes, "SECRETTAIL"),
            "{name}"
        );
        let copy = strip(&bytes, LeaveOut::ALL).unwrap();
        for secret in SECRETS {
            assert!(!contains(&copy, secret), "{name}: {secret}");
        }
        check_whole(&copy).unwrap();
        let (before, after) = (
            read_meta_bytes(&bytes).unwrap(),
            read_meta_bytes(&copy).unwrap(),
        );
        assert!(before.has_gps && !after.has_gps, "{name}");
        assert_eq!(after.gps_time, None, "{name}");
        assert_eq!(after.camera.serial, None, "{name}");
        assert_eq!(
            (after.taken, after.orientation),
            (before.taken, before.orientation),
            "{name}"
        );
        assert_eq!(after.camera.model, before.camera.model, "{name}");
        assert_eq!(after.warnings, [] as [String; 0], "{name}");
        // image does not decode JPEG in this build; there the picture data are compared below.
        if name != "jpeg" {
            assert_eq!(pixels(&copy), pixels(&bytes), "{name}");
        }
    }
}

#[test]
fn the_picture_data_of_a_jpeg_are_copied_byte_for_byte() {
    let bytes = secret_jpeg();
    let copy = strip(&bytes, LeaveOut::ALL).unwrap();
    // Everything from the first quantisation table to the end marker.
    let picture = |file: &[u8]| {
        let start = file.windows(2).position(|w| w == [0xFF, 0xDB]).unwrap();
        let end = file.windows(2).rposition(|w| w == [0xFF, 0xD9]).unwrap();
        file[start..end + 2].to_vec()
    };
    assert_eq!(picture(&copy), picture(&bytes));
    assert!(contains(&copy, "a profile that stays"));
}

#[test]
fn the_position_stays_where_it_is_asked_for() {
    for bytes in [
        secret_jpeg(),
        secret_png(),
        secret_webp(),
        support::heic(64, 48, 3, &full_fields()),
    ] {
        let copy = read_meta_bytes(&strip(&bytes, LeaveOut::ALL_BUT_LOCATION).unwrap()).unwrap();
        assert!(copy.has_gps);
        assert_eq!(copy.camera.serial, None);
        assert!(copy.gps_time.is_some());
    }
}

#[test]
fn heic_files_are_overwritten_in_place() {
    for file in ["tiny.heic", "turned.heic"] {
        let path = format!("{}/tests/files/{file}", env!("CARGO_MANIFEST_DIR"));
        let bytes = std::fs::read(path).unwrap();
        let before = read_meta_bytes(&bytes).unwrap();
        assert!(before.has_gps && before.camera.serial.is_some());
        let copy = strip(&bytes, LeaveOut::ALL).unwrap();
        assert_eq!(copy.len(), bytes.len());
        assert!(!contains(&copy, "B0042") && !contains(&copy, "Bench A"));
        let after = read_meta_bytes(&copy).unwrap();
        assert!(!after.has_gps && after.camera.serial.is_none());
        assert_eq!(
            (after.taken, after.dimensions),
            (before.taken, before.dimensions)
        );
        assert_eq!(after.orientation, before.orientation);
    }
}

#[test]
fn what_covers_is_upright_and_nothing_shows_through() {
    // 64 by 48, stored a quarter to the left: 48 by 64 upright.
    let bytes = support::jpeg(64, 48, &full_fields());
    let plate: Rectangle = "8,40,24,16".parse().unwrap();
    let copy = cover(&bytes, &[plate], LeaveOut::ALL).unwrap();
    assert_eq!((copy.width, copy.height), (48, 64));
    let mut decoder = jpeg_decoder::Decoder::new(copy.jpeg.as_slice());
    let rgb = decoder.decode().unwrap();
    let plain = encode_again(&bytes, LeaveOut::ALL).unwrap();
    let uncovered = jpeg_decoder::Decoder::new(plain.jpeg.as_slice())
        .decode()
        .unwrap();
    for (index, (covered, was)) in rgb.chunks(3).zip(uncovered.chunks(3)).enumerate() {
        let (x, y) = (index % 48, index / 48);
        let inside = (8..32).contains(&x) && (40..56).contains(&y);
        // Encoding again blurs a few pixels around the edge.
        let near = (0..40).contains(&x) && (32..64).contains(&y);
        let close = |a: u8, b: u8| a.abs_diff(b) <= 12;
        if inside {
            assert!(
                covered.iter().all(|v| close(*v, 40)),
                "{x},{y}: {covered:?}"
            );
        } else if !near {
            assert!(
                covered.iter().zip(was).all(|(a, b)| close(*a, *b)),
                "{x},{y}"
            );
        }
    }
    let meta = read_meta_bytes(&copy.jpeg).unwrap();
    assert_eq!(meta.upright_size(), Dimensions::new(48, 64));
    assert!(!meta.has_gps && meta.camera.serial.is_none());
    assert_eq!(meta.taken, read_meta_bytes(&bytes).unwrap().taken);
}

#[test]
fn rectangles_are_cut_at_the_edge_or_refused_beyond_it() {
    let bytes = support::png(48, 32, &Default::default());
    let at = |text: &str| cover(&bytes, &[text.parse().unwrap()], LeaveOut::ALL);
    assert!(at("40,30,4000000000,4000000000").is_ok());
    assert!(matches!(at("48,0,1,1"), Err(CoverError::Outside { .. })));
    assert!(matches!(
        cover(&bytes, &[], LeaveOut::ALL),
        Err(CoverError::Count { count: 0 })
    ));
    let video = support::movie(b"mp42", 640, 480, 0);
    let one: Rectangle = "1,1,1,1".parse().unwrap();
    assert!(matches!(
        cover(&video, &[one], LeaveOut::ALL),
        Err(CoverError::Pixels(_))
    ));
}
