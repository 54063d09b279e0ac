//! A small upright picture of a photograph, as a JPEG without any of its metadata.
//!
//! Speed comes from the JPEG decoder, which makes a half, quarter or eighth size directly;
//! the rest is a convolution over few pixels. Everything runs on the calling thread but the
//! decoder's own helpers: to use all cores, make several previews at once.
//!
//! The colour profile is carried over, so wide-gamut phones' colours stay right. Pictures
//! with transparency are laid on white.
//!
//! Memory is bounded: a header that promises more pixels than [`MAX_PIXELS`], or than the
//! file's bytes could hold, is refused before anything is allocated for them.

use std::io::Cursor;

use crate::container::{self, Scan};
use crate::kind::Kind;
use crate::meta::{Dimensions, Meta, parse_exif, read_meta_bytes};
use crate::orientation::Orientation;
use crate::pixels::{self, Pixels};

pub use crate::pixels::{MAX_PIXELS, PixelsError as PreviewError};

/// Long side of the previews that Datumtrail keeps, in pixels.
pub const PREVIEW_LONG_SIDE: u32 = 512;

/// JPEG quality of a preview.
const QUALITY: u8 = 80;

/// A small upright picture.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Preview {
    /// An encoded JPEG, grey or colour.
    pub jpeg: Vec<u8>,
    /// Pixels across.
    pub width: u32,
    /// Pixels down.
    pub height: u32,
}

/// What can be shown of a file, best first.
#[derive(Debug)]
pub enum Likeness {
    /// The picture itself, made smaller.
    Picture(Preview),
    /// The picture can't be decoded here; this is the small one that the camera put into the
    /// file.
    Embedded {
        /// The camera's small picture, upright.
        preview: Preview,
        /// Why the picture itself can't be shown.
        why: PreviewError,
    },
    /// Nothing can be shown: a front end draws a grey picture that says so.
    Placeholder {
        /// What sort of file it is.
        kind: Kind,
        /// Size of the upright picture, where the file says it.
        size: Option<Dimensions>,
        /// Why, in words for a person.
        why: PreviewError,
    },
}

impl Likeness {
    /// The picture to show, if there is one.
    pub fn preview(&self) -> Option<&Preview> {
        match self {
            Likeness::Picture(preview) | Likeness::Embedded { preview, .. } => Some(preview),
            Likeness::Placeholder { .. } => None,
        }
    }
}

/// The best that can be shown of a file, never an error: [`preview`], else the small picture
/// in its Exif, else a placeholder with the reason.
pub fn likeness(bytes: &[u8], meta: &Meta, long_side: u32) -> Likeness {
    let why = match preview_as(bytes, meta.kind, meta.orientation, long_side) {
        Ok(preview) => return Likeness::Picture(preview),
        Err(why) => why,
    };
    let small = embedded_jpeg(bytes, meta.kind);
    // The small picture is turned as the large one is stored.
    let preview =
        small.and_then(|jpeg| preview_as(&jpeg, Kind::Jpeg, meta.orientation, long_side).ok());
    match preview {
        Some(preview) => Likeness::Embedded { preview, why },
        None => Likeness::Placeholder {
            kind: meta.kind,
            size: meta.upright_size(),
            why,
        },
    }
}

/// The JPEG in the second directory of a file's Exif: Exif 2.32, JPEGInterchangeFormat.
fn embedded_jpeg(bytes: &[u8], kind: Kind) -> Option<Vec<u8>> {
    let mut scan = Scan::new(Cursor::new(bytes), kind).ok()?;
    let block = container::read(kind, &mut scan).ok()?.exif?;
    let exif = parse_exif(block, &mut Vec::new())?;
    let number = |tag| {
        let value = exif
            .get_field(tag, exif::In::THUMBNAIL)?
            .value
            .get_uint(0)?;
        usize::try_from(value).ok()
    };
    let from = number(exif::Tag::JPEGInterchangeFormat)?;
    let len = number(exif::Tag::JPEGInterchangeFormatLength)?;
    Some(exif.buf().get(from..)?.get(..len)?.to_vec())
}

/// Makes a preview whose longer side has at most `long_side` pixels, upright. A smaller
/// picture keeps its size; nothing is enlarged.
///
/// # Errors
/// [`PreviewError::NoDecoder`] for AVIF, HEIF, videos, and HEIC without the feature `heic`;
/// otherwise why the picture could not be decoded. [`likeness`] has something to show for
/// those too.
pub fn preview(bytes: &[u8], long_side: u32) -> Result<Preview, PreviewError> {
    let meta = read_meta_bytes(bytes)?;
    preview_as(bytes, meta.kind, meta.orientation, long_side)
}

/// [`preview`] for a caller who has read the file's [`crate::meta::Meta`] already.
///
/// # Errors
/// As [`preview`].
pub fn preview_as(
    bytes: &[u8],
    kind: Kind,
    orientation: Orientation,
    long_side: u32,
) -> Result<Preview, PreviewError> {
    let pixels = pixels::decode(bytes, kind, long_side)?;
    Ok(small(&pixels, orientation, long_side)?.0)
}

/// The preview of a decoded picture, and its pixels.
pub(crate) fn small(
    pixels: &Pixels,
    orientation: Orientation,
    long_side: u32,
) -> Result<(Preview, Pixels), PreviewError> {
    if long_side == 0 {
        return Err(PreviewError::Internal(
            "the long side must not be zero".to_owned(),
        ));
    }
    let upright = pixels.smaller(long_side)?.turned(orientation);
    let preview = Preview {
        jpeg: upright.to_jpeg(QUALITY)?,
        width: upright.size.width,
        height: upright.size.height,
    };
    Ok((preview, upright))
}
