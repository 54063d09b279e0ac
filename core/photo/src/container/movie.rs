//! MP4 and QuickTime: when it was made, by what, and how large its picture is.
//!
//! Source: ISO/IEC 14496-12, 8.2.2 (movie header) and 8.3.2 (track header). Phones also write
//! texts under names of their own (QuickTime File Format, "Metadata": a `keys` box with the
//! names, an `ilst` box with the values): `com.apple.quicktime.creationdate` has the local time
//! and its offset, survives cutting, and is believed before the header. From memory, compared
//! with ExifTool by the outside check.

use std::io::{Read, Seek};

use jiff::Timestamp;
use jiff::civil::DateTime;

use super::boxes::{be_uint, child, children, full_box, next_box};
use super::{Facts, Scan, in_utc};
use crate::meta::{Camera, Dimensions, MetaError, clean_text};
use crate::time::{CameraTime, OffsetText, TimeSource};

/// The index of a long video takes some megabytes.
const MAX_MOOV: u64 = 64 << 20;

/// From 1904-01-01, where these files start counting, to 1970-01-01.
const EPOCH_1904_S: i64 = 2_082_844_800;

/// Finds the movie box, which may stand behind the pictures.
pub(super) fn read<R: Read + Seek>(scan: &mut Scan<R>) -> Result<Facts, MetaError> {
    let movie = loop {
        let head = next_box(scan)?.ok_or_else(|| scan.truncated("index (moov box)"))?;
        match &head.name {
            b"moov" if head.body > MAX_MOOV => return Err(scan.damaged("index (moov box)")),
            b"moov" => break scan.block(head.body, "index (moov box)")?,
            _ => scan.skip(head.body, "box")?,
        }
    };
    let tracks = children(&movie).filter(|(name, _)| *name == b"trak");
    let texts = texts(&movie);
    let text = |name: &str| {
        let named =
            |(n, _): &&(String, String)| n.strip_prefix("com.apple.quicktime.") == Some(name);
        texts.iter().find(named).map(|(_, text)| text.as_str())
    };
    let header = child(&movie, b"mvhd").and_then(creation_time).map(in_utc);
    let mut facts = Facts {
        created: text("creationdate").and_then(local_time).or(header),
        dimensions: tracks
            .filter_map(|(_, track)| track_size(child(track, b"tkhd")?))
            .next(),
        camera: Camera {
            make: text("make").and_then(|t| clean_text(t.as_bytes())),
            model: text("model").and_then(|t| clean_text(t.as_bytes())),
            serial: None,
        },
        has_gps: text("location.ISO6709").is_some() || has_position_atom(&movie),
        ..Facts::default()
    };
    if facts.dimensions.is_none() {
        facts
            .warnings
            .push("the video does not say the size of its picture".to_owned());
    }
    Ok(facts)
}

/// `None` for the zero that cameras without a clock write.
fn creation_time(mut content: &[u8]) -> Option<Timestamp> {
    let (version, _) = full_box(&mut content)?;
    let since_1904 = be_uint(&mut content, if version == 0 { 4 } else { 8 })?;
    let seconds = i64::try_from(since_1904).ok().filter(|s| *s != 0)?;
    Timestamp::from_second(seconds.checked_sub(EPOCH_1904_S)?).ok()
}

/// The last two words of a track header, 16.16 fixed point; zero for sound.
fn track_size(mut content: &[u8]) -> Option<Dimensions> {
    full_box(&mut content)?;
    let mut tail = content.get(content.len().checked_sub(8)?..)?;
    let width = be_uint(&mut tail, 4)? >> 16;
    let height = be_uint(&mut tail, 4)? >> 16;
    Dimensions::new(width as u32, height as u32)
}

/// The named texts of the movie's metadata.
fn texts(movie: &[u8]) -> Vec<(String, String)> {
    let Some(meta) = child(movie, b"meta") else {
        return Vec::new();
    };
    // QuickTime's box has no version and flags before its children; ISO's has.
    let meta = match child(meta, b"keys") {
        Some(_) => meta,
        None => meta.get(4..).unwrap_or_default(),
    };
    let (Some(keys), Some(values)) = (child(meta, b"keys"), child(meta, b"ilst")) else {
        return Vec::new();
    };
    // Version, flags and count; then the names as boxes, counted from one.
    let names: Vec<&[u8]> = children(keys.get(8..).unwrap_or_default())
        .map(|(_, name)| name)
        .collect();
    let text = |(index, value): (&[u8; 4], &[u8])| {
        let index = usize::try_from(u32::from_be_bytes(*index)).ok()?;
        let name = names.get(index.checked_sub(1)?)?;
        let mut data = child(value, b"data")?;
        let kind = be_uint(&mut data, 4)?;
        let _locale = be_uint(&mut data, 4)?;
        // Type 1 is UTF-8.
        let text = (kind == 1).then(|| String::from_utf8_lossy(data).into_owned())?;
        Some((String::from_utf8_lossy(name).into_owned(), text))
    };
    children(values).filter_map(text).collect()
}

/// The older place of a position: `©xyz` in the movie's user data.
fn has_position_atom(movie: &[u8]) -> bool {
    child(movie, b"udta").is_some_and(|user| child(user, b"\xA9xyz").is_some())
}

/// `2026-03-04T14:03:20+0100`, with or without the colon.
fn local_time(text: &str) -> Option<CameraTime> {
    let (civil, offset) = text.trim().split_at_checked(19)?;
    let offset = match offset.as_bytes() {
        b"Z" => "+00:00".to_owned(),
        [_, _, _, b':', ..] => offset.to_owned(),
        [_, _, _, _, _] => format!("{}:{}", offset.get(..3)?, offset.get(3..)?),
        _ => return None,
    };
    Some(CameraTime {
        civil: civil.parse::<DateTime>().ok()?,
        offset: Some(offset.parse::<OffsetText>().ok()?.0),
        sub_sec_digits: 0,
        source: TimeSource::Container,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn local_times_in_the_forms_met() {
        let read =
            |text| local_time(text).map(|t| (t.civil.to_string(), t.offset.unwrap().seconds()));
        let expected = Some(("2026-03-04T14:03:20".to_owned(), 3600));
        assert_eq!(read("2026-03-04T14:03:20+0100"), expected);
        assert_eq!(read("2026-03-04T14:03:20+01:00"), expected);
        assert_eq!(read("2026-03-04T13:03:20Z").unwrap().1, 0);
        for text in [
            "",
            "2026-03-04",
            "2026-03-04T14:03:20",
            "2026-02-30T14:03:20Z",
            "é".repeat(12).as_str(),
        ] {
            assert_eq!(read(text), None, "{text}");
        }
    }
}
