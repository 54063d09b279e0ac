//! Writing an Exif block into a JPEG: for the demo's drawn photographs and for tests.
//!
//! Datumtrail never changes a photograph that someone took. This module exists because the
//! demo invents its pictures and every test needs files whose Exif content is known.
//!
//! Source: Exif 2.32 (CIPA DC-008-2019), tags from memory and compared with ExifTool by
//! the outside check `tests/outside/exif.py`.
//!
//! ```
//! use datumtrail_photo::write::{ExifFields, with_exif};
//! use jiff::civil::date;
//!
//! // The smallest thing with the shape of a JPEG: start, a comment, end.
//! let jpeg = [0xFF, 0xD8, 0xFF, 0xFE, 0x00, 0x04, b'h', b'i', 0xFF, 0xD9];
//! let fields = ExifFields {
//!     date_time_original: Some(date(2026, 3, 4).at(14, 3, 20, 0)),
//!     make: Some("Bench".into()),
//!     ..Default::default()
//! };
//! let dated = with_exif(&jpeg, &fields)?;
//! assert!(dated.windows(19).any(|w| w == b"2026:03:04 14:03:20"));
//! # Ok::<(), datumtrail_photo::write::WriteError>(())
//! ```

use exif::experimental::Writer;
use exif::{Field, In, Rational, Tag, Value};
use jiff::civil::DateTime;
use jiff::tz::Offset;
use thiserror::Error;

/// What to write. Every field is optional; a field left out is not written.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ExifFields {
    /// DateTimeOriginal: when the shutter was pressed, by the camera's clock. Fractions of
    /// a second are not taken from here: see `sub_sec`.
    pub date_time_original: Option<DateTime>,
    /// DateTimeDigitized.
    pub date_time_digitized: Option<DateTime>,
    /// DateTime: when the file was last changed.
    pub date_time: Option<DateTime>,
    /// SubSecTimeOriginal: the decimals of the second, digits only (`"25"` is 0.25 s).
    pub sub_sec: Option<String>,
    /// OffsetTimeOriginal: the camera's offset from UTC, in whole minutes.
    pub offset: Option<Offset>,
    /// Make.
    pub make: Option<String>,
    /// Model.
    pub model: Option<String>,
    /// BodySerialNumber.
    pub body_serial: Option<String>,
    /// Orientation, 1 to 8.
    pub orientation: Option<u16>,
    /// Latitude and longitude in degrees, north and east positive.
    pub gps: Option<(f64, f64)>,
    /// GPSDateStamp and GPSTimeStamp: the satellites' time, in UTC, to the millisecond.
    pub gps_time: Option<jiff::Timestamp>,
}

/// Why an Exif block could not be written.
#[derive(Debug, Error)]
pub enum WriteError {
    /// The bytes are no JPEG, or end inside its header.
    #[error("cannot add Exif: the bytes are not a whole JPEG header; pass an encoded JPEG")]
    NotJpeg,
    /// A value that Exif cannot carry.
    #[error("cannot write Exif {field}: {value:?} is not allowed; use {expected}")]
    Value {
        /// The Exif name of the field.
        field: &'static str,
        /// What was asked for.
        value: String,
        /// What would be accepted.
        expected: &'static str,
    },
    /// A JPEG segment holds at most 65,533 bytes.
    #[error("the Exif block has {bytes} bytes, more than a JPEG segment holds; shorten the texts")]
    TooLarge {
        /// Size of the block.
        bytes: usize,
    },
    /// The encoder refused.
    #[error("the Exif block could not be encoded")]
    Encode(#[from] exif::Error),
}

/// Returns the JPEG with an Exif block made from `fields`, in place of any it had. The
/// picture data are copied unchanged.
///
/// # Errors
/// [`WriteError::NotJpeg`] where the bytes have no JPEG header; [`WriteError::Value`]
/// where a field is out of Exif's range.
pub fn with_exif(jpeg: &[u8], fields: &ExifFields) -> Result<Vec<u8>, WriteError> {
    insert_exif(jpeg, &exif_block(fields)?)
}

/// The Exif block alone: a little TIFF file that starts with its byte order mark.
///
/// # Errors
/// [`WriteError::Value`] where a field is out of Exif's range.
pub fn exif_block(fields: &ExifFields) -> Result<Vec<u8>, WriteError> {
    encode_block(&fields.to_fields()?)
}

/// Encodes any Exif fields as a big-endian TIFF block.
///
/// # Errors
/// [`WriteError::Encode`] where a value cannot be encoded.
pub fn encode_block(tags: &[Field]) -> Result<Vec<u8>, WriteError> {
    let mut writer = Writer::new();
    for tag in tags {
        writer.push_field(tag);
    }
    let mut block = std::io::Cursor::new(Vec::new());
    writer.write(&mut block, false)?;
    Ok(block.into_inner())
}

/// Returns the JPEG with `block` as its Exif segment, in place of any it had.
///
/// # Errors
/// [`WriteError::NotJpeg`], [`WriteError::TooLarge`].
pub fn insert_exif(jpeg: &[u8], block: &[u8]) -> Result<Vec<u8>, WriteError> {
    const EXIF: &[u8] = b"Exif\0\0";
    let body_len = 2 + EXIF.len() + block.len();
    let declared =
        u16::try_from(body_len).map_err(|_| WriteError::TooLarge { bytes: block.len() })?;

    let mut rest = jpeg
        .strip_prefix(&[0xFF, 0xD8])
        .ok_or(WriteError::NotJpeg)?;
    let mut out = Vec::with_capacity(jpeg.len() + body_len + 2);
    out.extend_from_slice(&[0xFF, 0xD8]);

    // A JFIF segment stays first, as JFIF asks; readers accept Exif right after it.
    if let Some((segment, after)) = app_segment(rest, 0xE0) {
        out.extend_from_slice(segment);
        rest = after;
    }
    out.extend_from_slice(&[0xFF, 0xE1]);
    out.extend_from_slice(&declared.to_be_bytes());
    out.extend_from_slice(EXIF);
    out.extend_from_slice(block);

    while let Some((segment, after)) = app_segment(rest, 0xE1) {
        if segment.get(4..10) != Some(EXIF) {
            out.extend_from_slice(segment);
        }
        rest = after;
    }
    // What follows must be a whole marker, and no application segment that was cut short.
    match rest {
        [0xFF, 0xE0 | 0xE1, ..] => return Err(WriteError::NotJpeg),
        [0xFF, _, ..] => {}
        _ => return Err(WriteError::NotJpeg),
    }
    out.extend_from_slice(rest);
    Ok(out)
}

/// Splits a leading segment with this marker, marker bytes included, from what follows.
fn app_segment(bytes: &[u8], marker: u8) -> Option<(&[u8], &[u8])> {
    match bytes {
        [0xFF, found, high, low, ..] if *found == marker => {
            bytes.split_at_checked(2 + usize::from(u16::from_be_bytes([*high, *low])))
        }
        _ => None,
    }
}

impl ExifFields {
    /// The Exif fields that these become, for [`encode_block`].
    ///
    /// # Errors
    /// [`WriteError::Value`] where a value is out of Exif's range.
    pub fn to_fields(&self) -> Result<Vec<Field>, WriteError> {
        let mut tags = Vec::new();
        let mut push = |tag, value| {
            tags.push(Field {
                tag,
                ifd_num: In::PRIMARY,
                value,
            });
        };

        push(Tag::ExifVersion, Value::Undefined(b"0232".to_vec(), 0));
        for (tag, name, text) in [
            (Tag::Make, "Make", &self.make),
            (Tag::Model, "Model", &self.model),
            (Tag::BodySerialNumber, "BodySerialNumber", &self.body_serial),
        ] {
            if let Some(text) = text {
                push(tag, ascii(checked_text(name, text)?));
            }
        }
        for (tag, name, when) in [
            (
                Tag::DateTimeOriginal,
                "DateTimeOriginal",
                self.date_time_original,
            ),
            (
                Tag::DateTimeDigitized,
                "DateTimeDigitized",
                self.date_time_digitized,
            ),
            (Tag::DateTime, "DateTime", self.date_time),
        ] {
            if let Some(when) = when {
                push(tag, ascii(&exif_date_time(name, when)?));
            }
        }
        if let Some(digits) = &self.sub_sec {
            push(Tag::SubSecTimeOriginal, ascii(checked_digits(digits)?));
        }
        if let Some(offset) = self.offset {
            push(Tag::OffsetTimeOriginal, ascii(&exif_offset(offset)?));
        }
        if let Some(orientation) = self.orientation {
            if !(1..=8).contains(&orientation) {
                return Err(refused("Orientation", orientation, "1 to 8"));
            }
            push(Tag::Orientation, Value::Short(vec![orientation]));
        }
        if self.gps.is_some() || self.gps_time.is_some() {
            push(Tag::GPSVersionID, Value::Byte(vec![2, 3, 0, 0]));
        }
        if let Some((lat, lon)) = self.gps {
            let north_south = if lat < 0.0 { "S" } else { "N" };
            let east_west = if lon < 0.0 { "W" } else { "E" };
            push(Tag::GPSLatitudeRef, ascii(north_south));
            push(Tag::GPSLatitude, degrees("GPSLatitude", lat, 90.0)?);
            push(Tag::GPSLongitudeRef, ascii(east_west));
            push(Tag::GPSLongitude, degrees("GPSLongitude", lon, 180.0)?);
        }
        if let Some(instant) = self.gps_time {
            let utc = Offset::UTC.to_datetime(instant);
            let stamp = exif_date_time("GPSDateStamp", utc)?;
            let millis = u32::from(utc.second().unsigned_abs()) * 1000
                + utc.subsec_nanosecond().unsigned_abs() / 1_000_000;
            push(
                Tag::GPSDateStamp,
                ascii(stamp.split(' ').next().unwrap_or_default()),
            );
            push(
                Tag::GPSTimeStamp,
                Value::Rational(vec![
                    Rational::from((u32::from(utc.hour().unsigned_abs()), 1)),
                    Rational::from((u32::from(utc.minute().unsigned_abs()), 1)),
                    Rational::from((millis, 1000)),
                ]),
            );
        }
        Ok(tags)
    }
}

fn ascii(text: &str) -> Value {
    Value::Ascii(vec![text.as_bytes().to_vec()])
}

fn refused(
    field: &'static str,
    value: impl std::fmt::Display,
    expected: &'static str,
) -> WriteError {
    WriteError::Value {
        field,
        value: value.to_string(),
        expected,
    }
}

fn checked_text<'a>(field: &'static str, text: &'a str) -> Result<&'a str, WriteError> {
    let printable = !text.is_empty() && text.bytes().all(|b| (0x20..0x7F).contains(&b));
    printable
        .then_some(text)
        .ok_or_else(|| refused(field, text, "printable ASCII, at least one character"))
}

fn checked_digits(text: &str) -> Result<&str, WriteError> {
    let digits = (1..=9).contains(&text.len()) && text.bytes().all(|b| b.is_ascii_digit());
    digits
        .then_some(text)
        .ok_or_else(|| refused("SubSecTimeOriginal", text, "one to nine digits"))
}

fn exif_date_time(field: &'static str, when: DateTime) -> Result<String, WriteError> {
    if when.year() < 1 {
        return Err(refused(field, when, "a year from 1 to 9999"));
    }
    Ok(format!(
        "{:04}:{:02}:{:02} {:02}:{:02}:{:02}",
        when.year(),
        when.month(),
        when.day(),
        when.hour(),
        when.minute(),
        when.second()
    ))
}

fn exif_offset(offset: Offset) -> Result<String, WriteError> {
    let seconds = offset.seconds();
    if seconds % 60 != 0 || seconds.abs() >= 24 * 3600 {
        return Err(refused(
            "OffsetTimeOriginal",
            offset,
            "whole minutes, less than a day",
        ));
    }
    let sign = if seconds < 0 { '-' } else { '+' };
    let minutes = seconds.abs() / 60;
    Ok(format!("{sign}{:02}:{:02}", minutes / 60, minutes % 60))
}

/// Degrees, minutes and seconds, the seconds to a ten-thousandth (3 mm on the ground).
fn degrees(field: &'static str, value: f64, bound: f64) -> Result<Value, WriteError> {
    const PARTS: f64 = 10_000.0;
    if !value.is_finite() || value.abs() > bound {
        return Err(refused(
            field,
            value,
            "degrees within 90 (latitude) or 180 (longitude)",
        ));
    }
    // At most 180 * 3600 * 10^4 = 6.5e9 parts: exact in f64, so too large only for u32.
    let parts = (value.abs() * 3600.0 * PARTS).round() as u64;
    let per_minute = 60 * PARTS as u64;
    let minutes = parts / per_minute;
    Ok(Value::Rational(vec![
        Rational::from(((minutes / 60) as u32, 1)),
        Rational::from(((minutes % 60) as u32, 1)),
        Rational::from(((parts % per_minute) as u32, PARTS as u32)),
    ]))
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

    const TINY: &[u8] = &[0xFF, 0xD8, 0xFF, 0xFE, 0x00, 0x04, b'h', b'i', 0xFF, 0xD9];

    fn all_fields() -> ExifFields {
        ExifFields {
            date_time_original: Some(date(2026, 3, 4).at(14, 3, 20, 0)),
            sub_sec: Some("25".into()),
            offset: Some(Offset::constant(1)),
            make: Some("Bench".into()),
            model: Some("Pocket 3".into()),
            body_serial: Some("0042".into()),
            orientation: Some(6),
            gps: Some((-12.5, 170.25)),
            gps_time: Some("2026-03-04T13:03:19.5Z".parse().unwrap()),
            ..Default::default()
        }
    }

    #[test]
    fn a_second_block_replaces_the_first() {
        let first = with_exif(TINY, &all_fields()).unwrap();
        let other = ExifFields {
            make: Some("Other".into()),
            ..Default::default()
        };
        let second = with_exif(&first, &other).unwrap();
        assert_eq!(second, with_exif(TINY, &other).unwrap());
        assert_eq!(second.windows(6).filter(|w| w == b"Exif\0\0").count(), 1);
        assert!(second.ends_with(&TINY[2..]));
    }

    #[test]
    fn jfif_stays_first_and_other_app1_segments_stay() {
        let jfif = [0xFF, 0xE0, 0x00, 0x04, b'J', b'F'];
        let xmp = [
            0xFF, 0xE1, 0x00, 0x09, b'h', b't', b't', b'p', b':', b'/', b'/',
        ];
        let jpeg = [&TINY[..2], &jfif, &xmp, &TINY[2..]].concat();
        let out = with_exif(&jpeg, &all_fields()).unwrap();
        assert!(out[2..].starts_with(&jfif));
        assert_eq!(out[8..10], [0xFF, 0xE1]);
        assert!(out.ends_with(&[&xmp[..], &TINY[2..]].concat()));
    }

    #[test]
    fn values_that_exif_cannot_carry_are_refused() {
        type Spoil = fn(&mut ExifFields);
        let spoilers: [(&str, Spoil); 7] = [
            ("Orientation", |f| f.orientation = Some(9)),
            ("SubSecTimeOriginal", |f| f.sub_sec = Some("2.5".into())),
            ("Make", |f| f.make = Some("tab\there".into())),
            ("Model", |f| f.model = Some(String::new())),
            ("GPSLatitude", |f| f.gps = Some((90.1, 0.0))),
            ("GPSLongitude", |f| f.gps = Some((0.0, f64::NAN))),
            ("OffsetTimeOriginal", |f| {
                f.offset = Some(Offset::from_seconds(3601).unwrap())
            }),
        ];
        for (name, spoil) in spoilers {
            let mut fields = all_fields();
            spoil(&mut fields);
            match with_exif(TINY, &fields) {
                Err(WriteError::Value { field, .. }) => assert_eq!(field, name),
                other => panic!("{name}: {other:?}"),
            }
        }
    }

    #[test]
    fn what_is_no_jpeg_is_refused() {
        for bytes in [
            &b""[..],
            b"\xFF\xD8",
            b"\xFF\xD8\xFF\xE0\x00",
            b"\x89PNG\r\n",
        ] {
            let result = insert_exif(bytes, b"block");
            assert!(matches!(result, Err(WriteError::NotJpeg)), "{bytes:?}");
        }
        let huge = vec![0; 65_530];
        assert!(matches!(
            insert_exif(TINY, &huge),
            Err(WriteError::TooLarge { .. })
        ));
    }

    #[test]
    fn degrees_round_without_sixty_seconds() {
        // 59.99999999 seconds must carry into the minute, not be written as 60.
        let Value::Rational(parts) = degrees("GPSLatitude", 10.0 - 1e-10, 90.0).unwrap() else {
            panic!("not rational");
        };
        let nums: Vec<u32> = parts.iter().map(|r| r.num).collect();
        assert_eq!(nums, [10, 0, 0]);
    }
}
