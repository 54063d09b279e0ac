//! A copy for others: without position, names of people, and serial numbers.
//!
//! The original stays in the shop as it came. What leaves the shop is a copy of which the
//! picture is the same, bit for bit, and the metadata is made anew: what is on a list of
//! things that describe the taking of the picture is kept, everything else is left out. So a
//! field that nobody thought of is left out too.
//!
//! - **Exif** is written again from the kept fields (`strip::exif` has the list). Makers'
//!   notes, free texts and thumbnails never come along.
//! - **JPEG**: application segments other than JFIF, Exif, the colour profile and Adobe's
//!   colour transform go; so do comments, and whatever stands behind the picture: further
//!   pictures and a motion photo's video have metadata of their own.
//! - **PNG, WebP**: texts, XMP and unknown extra chunks go.
//! - **HEIC, AVIF, HEIF**: the Exif item is overwritten in place, XMP items are blanked. The
//!   file keeps its length, because everything in it is found by its place.
//! - **TIFF, MP4, MOV**: refused. A TIFF may hold anything anywhere, and a video positions in
//!   a track of their own. The export leaves them out, or encodes the picture again
//!   ([`crate::cover`]).
//!
//! The outside check reads every copy with ExifTool and looks for what must not be there.
//!
//! ```
//! use datumtrail_photo::meta::read_meta_bytes;
//! use datumtrail_photo::strip::{LeaveOut, strip};
//! use datumtrail_photo::write::{ExifFields, with_exif};
//!
//! let mut jpeg = Vec::new();
//! jpeg_encoder::Encoder::new(&mut jpeg, 80)
//!     .encode(&[128; 16 * 8], 16, 8, jpeg_encoder::ColorType::Luma)?;
//! let file = with_exif(&jpeg, &ExifFields {
//!     make: Some("Bench".into()),
//!     body_serial: Some("0042".into()),
//!     gps: Some((12.5, 17.25)),
//!     ..Default::default()
//! })?;
//! let copy = read_meta_bytes(&strip(&file, LeaveOut::ALL)?)?;
//! assert!(!copy.has_gps);
//! assert_eq!(copy.camera.serial, None);
//! assert_eq!(copy.camera.make.as_deref(), Some("Bench"));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use std::io::Cursor;

use serde::{Deserialize, Serialize};
use thiserror::Error;

use crate::container::{self, Scan};
use crate::kind::{HEAD_LEN, Kind};
use crate::meta::{MetaError, parse_exif, recognise};
use crate::whole::check_whole;

mod exif;
mod heif;
mod jpeg;
mod png;
mod webp;

/// What to leave out of a copy.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct LeaveOut {
    /// The position, and everything else of the satellite receiver.
    pub location: bool,
    /// Names of people: artist, owner, copyright.
    pub names: bool,
    /// Serial numbers of body and lens, and the number that names the picture.
    pub serials: bool,
}

impl LeaveOut {
    /// All of it: what an export does unless it is asked otherwise.
    pub const ALL: LeaveOut = LeaveOut {
        location: true,
        names: true,
        serials: true,
    };

    /// All but the position.
    pub const ALL_BUT_LOCATION: LeaveOut = LeaveOut {
        location: false,
        ..LeaveOut::ALL
    };
}

/// Why no copy could be made.
#[derive(Debug, Error)]
pub enum StripError {
    /// The file is no picture, damaged, or cut off.
    #[error(transparent)]
    Meta(#[from] MetaError),
    /// A kind of file of which nobody can say that everything was found.
    #[error(
        "a {kind} file can't be freed of its position and names for certain; \
         leave it out, or export a covered copy, which is encoded anew"
    )]
    Kind {
        /// What sort of file it is.
        kind: Kind,
    },
    /// A file of a kind that could be, but not this one.
    #[error(
        "this {kind} file can't be freed of its position and names for certain ({why}); \
         leave it out, or export a covered copy, which is encoded anew"
    )]
    File {
        /// What sort of file it is.
        kind: Kind,
        /// What stands in the way.
        why: &'static str,
    },
}

/// A copy of a photograph without what is to be left out, the picture itself unchanged.
///
/// # Errors
/// [`StripError::Kind`] and [`StripError::File`] where it can't be done for certain;
/// [`StripError::Meta`] where the file is damaged.
pub fn strip(bytes: &[u8], leave_out: LeaveOut) -> Result<Vec<u8>, StripError> {
    let kind = recognise(bytes.get(..HEAD_LEN.min(bytes.len())).unwrap_or_default())?;
    if matches!(kind, Kind::Tiff | Kind::Mp4 | Kind::Mov) {
        return Err(StripError::Kind { kind });
    }
    check_whole(bytes)?;
    let block = kept_exif(bytes, kind, leave_out, Shape::AsIs)?;
    let odd = |why| StripError::File { kind, why };
    match kind {
        Kind::Jpeg => jpeg::rewrite(bytes, block.as_deref()),
        Kind::Png => png::rewrite(bytes, block.as_deref()),
        Kind::WebP => webp::rewrite(bytes, block.as_deref()),
        _ => heif::rewrite(bytes, block.as_deref()),
    }
    .map_err(odd)
}

/// Whether the copy's pixels are those of the original.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Shape {
    /// They are.
    AsIs,
    /// They were turned upright, so what Exif says about turn and size is wrong.
    Changed,
}

/// The file's Exif with the kept fields only; `None` where it has none that can be kept.
pub(crate) fn kept_exif(
    bytes: &[u8],
    kind: Kind,
    leave_out: LeaveOut,
    shape: Shape,
) -> Result<Option<Vec<u8>>, MetaError> {
    let facts = container::read(kind, &mut Scan::new(Cursor::new(bytes), kind)?)?;
    let parsed = facts.exif.and_then(|b| parse_exif(b, &mut Vec::new()));
    Ok(parsed.and_then(|exif| exif::kept(&exif, leave_out, shape)))
}

#[cfg(test)]
mod tests;
