//! MP4 and QuickTime: when it was made and how large its picture is.
//! Source: ISO/IEC 14496-12, 8.2.2 (movie header) and 8.3.2 (track header).

use std::io::{Read, Seek};

use jiff::Timestamp;

use super::boxes::{be_uint, child, children, full_box, next_box};
use super::{Facts, Scan};
use crate::meta::{Dimensions, MetaError};

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
    let mut facts = Facts {
        created: child(&movie, b"mvhd").and_then(creation_time),
        dimensions: tracks
            .filter_map(|(_, track)| track_size(child(track, b"tkhd")?))
            .next(),
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
    Timestamp::from_second(seconds - EPOCH_1904_S).ok()
}

/// The last two words of a track header, 16.16 fixed point; zero for sound.
fn track_size(mut content: &[u8]) -> Option<Dimensions> {
    full_box(&mut content)?;
    let mut tail = content.get(content.len().checked_sub(8)?..)?;
    let width = be_uint(&mut tail, 4)? >> 16;
    let height = be_uint(&mut tail, 4)? >> 16;
    Dimensions::new(width as u32, height as u32)
}
