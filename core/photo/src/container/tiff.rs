//! TIFF: the file is one Exif block. Source: TIFF 6.0, sections 2, 3 and 15.

use std::io::{Read, Seek};

use exif::{Exif, In, Tag};

use super::{Facts, MAX_TIFF, Scan};
use crate::meta::{Dimensions, MetaError};

/// The file itself, to be read as Exif; the size comes from its fields by [`size`].
pub(super) fn read<R: Read + Seek>(scan: &mut Scan<R>) -> Result<Facts, MetaError> {
    if scan.file_len() > MAX_TIFF {
        return Err(MetaError::TooLarge {
            bytes: scan.file_len(),
            limit: MAX_TIFF,
        });
    }
    Ok(Facts {
        exif: Some(scan.block(scan.file_len(), "file")?),
        ..Facts::default()
    })
}

/// Width and height of the first picture.
pub(crate) fn size(exif: &Exif) -> Option<Dimensions> {
    let side = |tag| exif.get_field(tag, In::PRIMARY)?.value.get_uint(0);
    Dimensions::new(side(Tag::ImageWidth)?, side(Tag::ImageLength)?)
}

/// Whether every value that the first directory promises lies within the file (TIFF 6.0, section
/// 2). A decoder makes room for a value's count before it reads the first, and can't be told to
/// look first. Only the tags that a decoder asks for count: makers' own may be as they like.
pub(crate) fn values_are_there(bytes: &[u8]) -> bool {
    const LAST_BASELINE: u32 = 700;
    let little_endian = bytes.starts_with(b"II");
    let uint = |at: usize, len: usize| -> Option<u32> {
        let part = bytes.get(at..at.checked_add(len)?)?;
        let add = |sum: u32, byte: &u8| sum << 8 | u32::from(*byte);
        Some(match little_endian {
            true => part.iter().rev().fold(0, add),
            false => part.iter().fold(0, add),
        })
    };
    let entry_is_there = |at: usize| -> Option<bool> {
        let size: u64 = match uint(at + 2, 2)? {
            3 | 8 => 2,
            4 | 9 | 11 | 13 => 4,
            5 | 10 | 12 | 16..=18 => 8,
            _ => 1,
        };
        let len = size * u64::from(uint(at + 4, 4)?);
        let fits = len <= 4 || u64::from(uint(at + 8, 4)?) + len <= bytes.len() as u64;
        Some(fits || uint(at, 2)? > LAST_BASELINE)
    };
    let checked = || {
        let first = usize::try_from(uint(4, 4)?).ok()?;
        let count = uint(first, 2)? as usize;
        for entry in 0..count {
            if !entry_is_there(first.checked_add(2 + 12 * entry)?)? {
                return Some(false);
            }
        }
        Some(true)
    };
    checked().unwrap_or(false)
}

/// Where the first picture's data end, as a file offset: `None` if it does not say.
pub(crate) fn data_end(exif: &Exif) -> Option<u64> {
    let furthest = |offsets, counts| {
        let offsets = exif.get_field(offsets, In::PRIMARY)?.value.iter_uint()?;
        let counts = exif.get_field(counts, In::PRIMARY)?.value.iter_uint()?;
        let ends = offsets
            .zip(counts)
            .map(|(o, n)| u64::from(o) + u64::from(n));
        ends.max()
    };
    furthest(Tag::StripOffsets, Tag::StripByteCounts)
        .or_else(|| furthest(Tag::TileOffsets, Tag::TileByteCounts))
}
