//! Whether a file is complete, or was cut off: by a full card, a pulled cable, or because
//! it is still being copied.
//!
//! The container is walked from front to back without decoding: JPEG to its end marker,
//! PNG to its last chunk, WebP, HEIF, MP4 and MOV to the lengths they declare, TIFF to the
//! end of its first picture's data. What stands behind that end (a phone's motion picture,
//! further pictures of the same shot) is not looked at. A file that passes may still have
//! wrong bytes inside; only decoding finds those.
//!
//! ```
//! use datumtrail_photo::whole::check_whole;
//!
//! let mut jpeg = Vec::new();
//! jpeg_encoder::Encoder::new(&mut jpeg, 80)
//!     .encode(&[128; 16 * 8], 16, 8, jpeg_encoder::ColorType::Luma)?;
//! assert!(check_whole(&jpeg).is_ok());
//! assert!(check_whole(&jpeg[..jpeg.len() - 4]).is_err());
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use std::io::Cursor;

use crate::container::{Scan, boxes, tiff};
use crate::kind::{HEAD_LEN, Kind};
use crate::meta::{MetaError, parse_exif, recognise};

/// Checks that a file in memory reaches its own end.
///
/// # Errors
/// [`MetaError::Truncated`] where it does not; [`MetaError::NotAPicture`],
/// [`MetaError::Empty`] and [`MetaError::Damaged`] as [`crate::meta::read_meta`].
pub fn check_whole(bytes: &[u8]) -> Result<(), MetaError> {
    let head = bytes.get(..HEAD_LEN.min(bytes.len())).unwrap_or_default();
    let kind = recognise(head)?;
    let end = match kind {
        Kind::Jpeg => jpeg_end(bytes),
        Kind::Png => png_end(bytes),
        Kind::WebP => webp_end(bytes),
        Kind::Tiff => return tiff_is_whole(bytes),
        Kind::Heic | Kind::Avif | Kind::Heif | Kind::Mp4 | Kind::Mov => {
            return boxes_are_whole(bytes, kind);
        }
    };
    match end {
        Some(_) => Ok(()),
        None => Err(truncated(bytes, kind)),
    }
}

fn truncated(bytes: &[u8], kind: Kind) -> MetaError {
    MetaError::Truncated {
        kind,
        part: "picture data",
        bytes: bytes.len() as u64,
    }
}

/// The offset behind the end marker of the first picture.
pub(crate) fn jpeg_end(bytes: &[u8]) -> Option<usize> {
    let mut at = 2;
    loop {
        // The next FF that is no data: a zero behind it means data, and restart markers
        // and TEM stand alone. Where a segment ended, this is the very next byte.
        at += bytes.get(at..)?.iter().position(|b| *b == 0xFF)? + 1;
        match *bytes.get(at)? {
            0xFF => {}
            0x00 | 0x01 | 0xD0..=0xD7 => at += 1,
            0xD9 => return Some(at + 1),
            _ => {
                let len = bytes.get(at + 1..)?.first_chunk::<2>()?;
                at += 1 + usize::from(u16::from_be_bytes(*len)).max(2);
            }
        }
    }
}

/// The offset behind the last chunk.
fn png_end(bytes: &[u8]) -> Option<usize> {
    let mut at = 8usize;
    loop {
        let head = bytes.get(at..)?.first_chunk::<8>()?;
        let [l3, l2, l1, l0, name @ ..] = *head;
        let len = usize::try_from(u32::from_be_bytes([l3, l2, l1, l0])).ok()?;
        // Length, name, data, checksum.
        at = at.checked_add(len)?.checked_add(12)?;
        if at > bytes.len() {
            return None;
        }
        if &name == b"IEND" {
            return Some(at);
        }
    }
}

/// The end that the RIFF header declares.
fn webp_end(bytes: &[u8]) -> Option<usize> {
    let declared = bytes.get(4..)?.first_chunk::<4>()?;
    let end = usize::try_from(u32::from_le_bytes(*declared)).ok()?;
    let end = end.checked_add(8)?;
    (end <= bytes.len()).then_some(end)
}

fn tiff_is_whole(bytes: &[u8]) -> Result<(), MetaError> {
    let exif = parse_exif(bytes.to_vec(), &mut Vec::new());
    let end = exif.as_ref().and_then(tiff::data_end);
    match end {
        Some(end) if end <= bytes.len() as u64 => Ok(()),
        _ => Err(truncated(bytes, Kind::Tiff)),
    }
}

/// Every box must end within the file, and both the description and the data must be there:
/// a file cut exactly between two boxes looks whole otherwise.
fn boxes_are_whole(bytes: &[u8], kind: Kind) -> Result<(), MetaError> {
    let mut scan = Scan::new(Cursor::new(bytes), kind)?;
    let description: &[u8; 4] = if kind.is_video() { b"moov" } else { b"meta" };
    let (mut described, mut has_data) = (false, false);
    while let Some(head) = boxes::next_box(&mut scan)? {
        scan.skip(head.body, "picture data")?;
        described |= &head.name == description;
        has_data |= &head.name == b"mdat";
    }
    if described && has_data {
        Ok(())
    } else {
        Err(truncated(bytes, kind))
    }
}
