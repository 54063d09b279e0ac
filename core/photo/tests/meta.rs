//! What is read from files of every kind, written with known content.

use datumtrail_photo::kind::Kind;
use datumtrail_photo::meta::{
    Dimensions, Meta, MetaError, TimeProblem, read_meta, read_meta_bytes,
};
use datumtrail_photo::orientation::Orientation;
use datumtrail_photo::time::{CameraTime, TimeSource};
use datumtrail_photo::write::{ExifFields, insert_exif};
use exif::{Field, In, Tag, Value};
use jiff::civil::date;
use jiff::tz::Offset;

mod support;
use support::{full_fields, jpeg, jpeg_with_raw, text_field};

const SIZE: Option<Dimensions> = Some(Dimensions {
    width: 64,
    height: 48,
});

fn assert_has_full_fields(meta: &Meta) {
    assert_eq!(meta.camera.make.as_deref(), Some("Bench"));
    assert_eq!(meta.camera.model.as_deref(), Some("Pocket 3"));
    assert_eq!(meta.camera.serial.as_deref(), Some("B0042"));
    assert_eq!(
        meta.taken,
        Some(CameraTime {
            civil: date(2026, 3, 4).at(14, 3, 20, 250_000_000),
            offset: Some(Offset::constant(1)),
            sub_sec_digits: 2,
            source: TimeSource::Original,
        })
    );
    assert_eq!(
        meta.gps_time.map(|t| t.to_string()).as_deref(),
        Some("2026-03-04T13:03:19.5Z")
    );
    assert!(meta.has_gps);
    assert_eq!(meta.orientation, Orientation::TurnRight);
    assert_eq!(meta.time_notes, []);
    assert_eq!(meta.warnings, [] as [String; 0]);
    // 14:03:20.25 +01:00 is three quarters of a second after the fix.
    assert_eq!(meta.ahead_of_gps_s(), Some(0.75));
}

#[test]
fn every_kind_of_picture_gives_the_same_content() {
    let fields = full_fields();
    // Three quarter turns to the left, as HEIF counts, are Exif's orientation 6.
    let files = [
        (Kind::Jpeg, jpeg(64, 48, &fields)),
        (Kind::Png, support::png(64, 48, &fields)),
        (Kind::WebP, support::webp(64, 48, &fields)),
        (Kind::Tiff, support::tiff(64, 48, &fields, true)),
        (Kind::Tiff, support::tiff(64, 48, &fields, false)),
        (Kind::Heic, support::heic(64, 48, 3, &fields)),
    ];
    for (kind, bytes) in files {
        let meta = read_meta_bytes(&bytes).unwrap();
        assert_eq!(meta.kind, kind);
        assert_eq!(meta.dimensions, SIZE, "{kind}");
        let upright = meta.upright_size().unwrap();
        assert_eq!((upright.width, upright.height), (48, 64), "{kind}");
        assert_has_full_fields(&meta);
    }
}

#[test]
fn a_heic_files_own_turn_overrules_its_exif() {
    let bytes = support::heic(64, 48, 0, &full_fields());
    assert_eq!(
        read_meta_bytes(&bytes).unwrap().orientation,
        Orientation::Upright
    );
}

#[test]
fn videos_are_dated_by_their_container() {
    for (brand, kind) in [(b"mp42", Kind::Mp4), (b"qt  ", Kind::Mov)] {
        let meta = read_meta_bytes(&support::movie(brand, 1920, 1080, 1_772_629_400)).unwrap();
        assert_eq!(meta.kind, kind);
        assert_eq!(meta.dimensions, Dimensions::new(1920, 1080));
        let taken = meta.taken.unwrap();
        assert_eq!(taken.source, TimeSource::Container);
        assert_eq!(taken.civil, date(2026, 3, 4).at(13, 3, 20, 0));
    }
    // A camera without a clock writes zero.
    let undated = support::movie(b"mp42", 640, 480, -2_082_844_800);
    assert_eq!(read_meta_bytes(&undated).unwrap().taken, None);
}

#[test]
fn a_file_without_exif_has_size_and_nothing_else() {
    let plain = support::jpeg_of(&support::pixels(64, 48), 64, 48, 90);
    let meta = read_meta_bytes(&plain).unwrap();
    assert_eq!(meta.dimensions, SIZE);
    assert_eq!(meta.taken, None);
    assert!(meta.camera.is_unnamed());
    assert!(!meta.has_gps);
    assert!(meta.time_notes.is_empty() && meta.warnings.is_empty());
}

#[test]
fn the_second_and_third_best_time_are_labelled() {
    let mut fields = full_fields();
    fields.date_time_original = None;
    let taken = read_meta_bytes(&jpeg(64, 48, &fields))
        .unwrap()
        .taken
        .unwrap();
    assert_eq!(taken.source, TimeSource::Digitized);
    assert_eq!(taken.civil, date(2026, 3, 4).at(14, 3, 21, 0));
    // The offset and sub-seconds belong to the original time, which is not there.
    assert_eq!((taken.offset, taken.sub_sec_digits), (None, 0));

    fields.date_time_digitized = None;
    let taken = read_meta_bytes(&jpeg(64, 48, &fields))
        .unwrap()
        .taken
        .unwrap();
    assert_eq!(taken.source, TimeSource::Changed);

    fields.date_time = None;
    assert_eq!(read_meta_bytes(&jpeg(64, 48, &fields)).unwrap().taken, None);
}

#[test]
fn a_broken_time_is_noted_and_the_next_one_taken() {
    let meta = read_meta_bytes(&jpeg_with_raw(&[
        text_field(Tag::DateTimeOriginal, b"2026:13:04 14:03:20"),
        text_field(Tag::DateTime, b"2026:03:04 15:00:00"),
    ]))
    .unwrap();
    assert_eq!(meta.taken.unwrap().source, TimeSource::Changed);
    assert_eq!(meta.time_notes.len(), 1);
    assert_eq!(meta.time_notes[0].problem, TimeProblem::OutOfRange);
    assert_eq!(
        meta.time_notes[0].to_string(),
        r#"DateTimeOriginal "2026:13:04 14:03:20" is no date that exists"#
    );
}

#[test]
fn broken_times_alone_mean_no_time_with_the_reason() {
    let cases: [(&[u8], TimeProblem); 4] = [
        (b"0000:00:00 00:00:00", TimeProblem::NotSet),
        (b"    :  :     :  :  ", TimeProblem::NotSet),
        (b"2026:02:29 10:00:00", TimeProblem::OutOfRange),
        (b"\xFF\xFE??", TimeProblem::NotATime),
    ];
    for (text, problem) in cases {
        let bytes = jpeg_with_raw(&[text_field(Tag::DateTimeOriginal, text)]);
        let meta = read_meta_bytes(&bytes).unwrap();
        assert_eq!(meta.taken, None, "{text:?}");
        assert_eq!(meta.time_notes[0].problem, problem, "{text:?}");
        assert_eq!(meta.time_notes[0].field, "DateTimeOriginal");
    }
}

#[test]
fn a_broken_offset_or_sub_second_does_not_cost_the_time() {
    let meta = read_meta_bytes(&jpeg_with_raw(&[
        text_field(Tag::DateTimeOriginal, b"2026:03:04 14:03:20"),
        text_field(Tag::SubSecTimeOriginal, b"x"),
        text_field(Tag::OffsetTimeOriginal, b"+25:00"),
    ]))
    .unwrap();
    let taken = meta.taken.unwrap();
    assert_eq!(taken.civil, date(2026, 3, 4).at(14, 3, 20, 0));
    assert_eq!(taken.offset, None);
    let noted: Vec<&str> = meta.time_notes.iter().map(|n| n.field.as_str()).collect();
    assert_eq!(noted, ["SubSecTimeOriginal", "OffsetTimeOriginal"]);
}

#[test]
fn a_gps_date_without_a_sane_time_is_noted() {
    let stamp = Field {
        tag: Tag::GPSTimeStamp,
        ifd_num: In::PRIMARY,
        value: Value::Rational(vec![(25, 1).into(), (0, 1).into(), (0, 0).into()]),
    };
    let meta = read_meta_bytes(&jpeg_with_raw(&[
        text_field(Tag::GPSDateStamp, b"2026:03:04"),
        stamp,
    ]))
    .unwrap();
    assert_eq!(meta.gps_time, None);
    assert_eq!(meta.time_notes[0].field, "GPSTimeStamp");
    assert!(!meta.has_gps, "a time is no position");
}

#[test]
fn texts_are_fit_to_print() {
    let meta = read_meta_bytes(&jpeg_with_raw(&[
        text_field(Tag::Make, b"  Be\x1B[2Jnch \0\0rest"),
        text_field(Tag::Model, b"   "),
        text_field(Tag::BodySerialNumber, b"0000000"),
    ]))
    .unwrap();
    assert_eq!(meta.camera.make.as_deref(), Some("Be[2Jnch"));
    assert_eq!(meta.camera.model, None);
    assert_eq!(meta.camera.serial, None);
}

#[test]
fn an_impossible_orientation_is_upright_with_a_warning() {
    let meta = read_meta_bytes(&jpeg_with_raw(&[Field {
        tag: Tag::Orientation,
        ifd_num: In::PRIMARY,
        value: Value::Short(vec![9]),
    }]))
    .unwrap();
    assert_eq!(meta.orientation, Orientation::Upright);
    assert!(
        meta.warnings[0].contains("orientation 9"),
        "{:?}",
        meta.warnings
    );
}

#[test]
fn a_cut_exif_block_gives_what_is_left() {
    let block = datumtrail_photo::write::exif_block(&full_fields()).unwrap();
    // The writer puts directories behind values; cut inside the last directory.
    let cut = &block[..block.len() - 20];
    let plain = support::jpeg_of(&support::pixels(64, 48), 64, 48, 90);
    let meta = read_meta_bytes(&insert_exif(&plain, cut).unwrap()).unwrap();
    assert_eq!(meta.dimensions, SIZE);
    assert!(!meta.warnings.is_empty());
    // Something was still read: the strict reader gives nothing at all here.
    assert!(
        meta.taken.is_some() || !meta.camera.is_unnamed(),
        "{meta:?}"
    );
}

#[test]
fn exif_that_is_no_exif_is_a_warning() {
    let plain = support::jpeg_of(&support::pixels(64, 48), 64, 48, 90);
    let meta = read_meta_bytes(&insert_exif(&plain, b"rubbish, not TIFF").unwrap()).unwrap();
    assert_eq!(meta.dimensions, SIZE);
    assert_eq!(meta.warnings.len(), 1);
}

#[test]
fn files_that_are_no_pictures_are_refused() {
    for bytes in [&b"plain text"[..], b"%PDF-1.7", b"PK\x03\x04", &[0; 100]] {
        let error = read_meta_bytes(bytes).unwrap_err();
        assert!(matches!(error, MetaError::NotAPicture { .. }), "{error}");
    }
    assert!(matches!(read_meta_bytes(b""), Err(MetaError::Empty)));
}

#[test]
fn headers_that_are_cut_or_wrong_are_refused() {
    let jpeg = jpeg(64, 48, &full_fields());
    let cut_in_exif = read_meta_bytes(&jpeg[..100]).unwrap_err();
    assert!(matches!(
        cut_in_exif,
        MetaError::Truncated {
            kind: Kind::Jpeg,
            ..
        }
    ));
    let heic = support::heic(64, 48, 0, &full_fields());
    let cut_in_meta = read_meta_bytes(&heic[..60]).unwrap_err();
    assert!(matches!(
        cut_in_meta,
        MetaError::Truncated {
            kind: Kind::Heic,
            ..
        }
    ));
    // A PNG whose first chunk is another.
    let no_header = b"\x89PNG\r\n\x1A\n\0\0\0\x10tEXt0000000000000000";
    assert!(matches!(
        read_meta_bytes(no_header),
        Err(MetaError::Damaged { .. })
    ));
    // A video of which the index never arrived.
    let movie = support::movie(b"mp42", 640, 480, 0);
    let cut = read_meta_bytes(&movie[..500]).unwrap_err();
    assert!(
        matches!(
            cut,
            MetaError::Truncated {
                kind: Kind::Mp4,
                ..
            }
        ),
        "{cut}"
    );
}

#[test]
fn a_reader_that_fails_is_an_error_with_its_source() {
    struct Unplugged;
    impl std::io::Read for Unplugged {
        fn read(&mut self, _: &mut [u8]) -> std::io::Result<usize> {
            Err(std::io::Error::other("unplugged"))
        }
    }
    impl std::io::Seek for Unplugged {
        fn seek(&mut self, _: std::io::SeekFrom) -> std::io::Result<u64> {
            Ok(0)
        }
    }
    let error = read_meta(Unplugged).unwrap_err();
    let source = std::error::Error::source(&error).map(|e| e.to_string());
    assert_eq!(source.as_deref(), Some("unplugged"));
}

#[test]
fn only_headers_are_read_of_a_jpeg() {
    /// Counts what is read.
    struct Counting<R>(R, std::rc::Rc<std::cell::Cell<usize>>);
    impl<R: std::io::Read> std::io::Read for Counting<R> {
        fn read(&mut self, out: &mut [u8]) -> std::io::Result<usize> {
            let n = self.0.read(out)?;
            self.1.set(self.1.get() + n);
            Ok(n)
        }
    }
    impl<R: std::io::Seek> std::io::Seek for Counting<R> {
        fn seek(&mut self, to: std::io::SeekFrom) -> std::io::Result<u64> {
            self.0.seek(to)
        }
    }
    let big = support::jpeg_of(&support::busy_pixels(1200, 900, 1), 1200, 900, 95);
    let big = datumtrail_photo::write::with_exif(&big, &full_fields()).unwrap();
    assert!(big.len() > 100_000, "{} bytes", big.len());
    let count = std::rc::Rc::new(std::cell::Cell::new(0));
    read_meta(Counting(std::io::Cursor::new(&big), count.clone())).unwrap();
    assert!(count.get() < 20_000, "{} bytes read", count.get());
}

#[test]
fn meta_comes_back_from_json() {
    let meta = read_meta_bytes(&jpeg(64, 48, &full_fields())).unwrap();
    let json = serde_json::to_string(&meta).unwrap();
    assert_eq!(serde_json::from_str::<Meta>(&json).unwrap(), meta);
    let none = read_meta_bytes(&jpeg(64, 48, &ExifFields::default())).unwrap();
    let json = serde_json::to_string(&none).unwrap();
    assert_eq!(serde_json::from_str::<Meta>(&json).unwrap(), none);
}
