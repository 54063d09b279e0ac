//! A small upright picture of a photograph, as a JPEG without any of its metadata.
//!
//! Speed comes from the JPEG decoder's inverse cosine transform, which makes a half,
//! quarter or eighth size directly; the rest is a convolution over few pixels. Everything
//! runs on the calling thread but the decoder's own helpers: to use all cores, make
//! several previews at once.
//!
//! The colour profile is carried over, so wide-gamut phones' colours stay right. Pictures
//! with transparency are laid on white.
//!
//! Memory is bounded: a header that promises more pixels than [`MAX_PIXELS`], or than the
//! file's bytes could hold, is refused before anything is allocated for them.

use fast_image_resize::images::{TypedImage, TypedImageRef};
use fast_image_resize::pixels::{U8, U8x3};
use fast_image_resize::{FilterType, PixelTrait, ResizeAlg, ResizeOptions, Resizer};
use jpeg_encoder::{ColorType, Encoder};
use thiserror::Error;

use crate::kind::{HEAD_LEN, Kind};
use crate::meta::{Dimensions, MetaError, read_meta_bytes, recognise};
use crate::orientation::Orientation;

mod decode;

/// Long side of the previews that Datumtrail keeps, in pixels.
pub const PREVIEW_LONG_SIDE: u32 = 512;

/// The largest picture that is decoded. The largest phone sensors have 200 megapixels.
pub const MAX_PIXELS: u64 = 250_000_000;

/// JPEG quality of a preview.
const QUALITY: u8 = 80;

/// Larger colour profiles than any camera's are left out.
const MAX_PROFILE: usize = 16 << 10;

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

/// Why there is no preview.
#[derive(Debug, Error)]
pub enum PreviewError {
    /// The file is no picture, or cut off in its header.
    #[error(transparent)]
    Meta(#[from] MetaError),
    /// This build has no decoder for such files; the photograph is kept all the same.
    #[error("no preview: {kind} pictures cannot be decoded here; the file itself is kept")]
    NoDecoder {
        /// What sort of file it is.
        kind: Kind,
    },
    /// A rare coding of an otherwise known format.
    #[error(
        "no preview: this {kind} file is coded in a rare way ({detail}); the file itself is kept"
    )]
    Unsupported {
        /// What sort of file it is.
        kind: Kind,
        /// What the decoder said.
        detail: String,
    },
    /// More pixels than [`MAX_PIXELS`].
    #[error(
        "no preview: {width} by {height} pixels are more than are decoded here; the file itself is kept"
    )]
    TooLarge {
        /// Pixels across.
        width: u32,
        /// Pixels down.
        height: u32,
    },
    /// The picture data are cut off or wrong.
    #[error(
        "no preview: the {kind} picture data are damaged or cut off ({detail}); copy it again from the camera"
    )]
    Damaged {
        /// What sort of file it is.
        kind: Kind,
        /// What the decoder said.
        detail: String,
    },
    /// A side of no pixels was asked for, or the encoder refused.
    #[error("no preview could be made: {0}")]
    Internal(String),
}

/// Decoded pixels, 8 bits a channel, one channel (grey) or three (red, green, blue).
struct Pixels {
    data: Vec<u8>,
    /// Of `data`.
    size: Dimensions,
    /// Of the picture at full size; `data` may be smaller.
    full: Dimensions,
    channels: usize,
    profile: Option<Vec<u8>>,
}

/// Makes a preview whose longer side has at most `long_side` pixels, upright. A smaller
/// picture keeps its size; nothing is enlarged.
///
/// # Errors
/// [`PreviewError::NoDecoder`] for HEIC, AVIF, HEIF and videos; otherwise why the picture
/// could not be decoded.
pub fn preview(bytes: &[u8], long_side: u32) -> Result<Preview, PreviewError> {
    let kind = recognise(bytes.get(..HEAD_LEN.min(bytes.len())).unwrap_or_default())?;
    if kind.is_boxed() {
        return Err(PreviewError::NoDecoder { kind });
    }
    let meta = read_meta_bytes(bytes)?;
    preview_as(bytes, kind, meta.orientation, long_side)
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
    if long_side == 0 {
        return Err(PreviewError::Internal(
            "the long side must not be zero".to_owned(),
        ));
    }
    let pixels = match kind {
        Kind::Jpeg => decode::jpeg(bytes, long_side)?,
        Kind::Png | Kind::WebP | Kind::Tiff => decode::other(bytes, kind)?,
        _ => return Err(PreviewError::NoDecoder { kind }),
    };
    let size = fitted(pixels.full, long_side);
    let channels = pixels.channels;
    let small = shrink(pixels.data, pixels.size, size, channels)?;
    let upright = orientation.apply(small, size.width as usize, size.height as usize, channels);
    let (width, height) = orientation.upright_size(size.width, size.height);
    let jpeg = encode(&upright, width, height, channels, pixels.profile.as_deref())?;
    Ok(Preview {
        jpeg,
        width,
        height,
    })
}

/// The size with `long_side` as its longer side, to the nearest pixel; never larger.
fn fitted(full: Dimensions, long_side: u32) -> Dimensions {
    let longer = full.width.max(full.height);
    if longer <= long_side {
        return full;
    }
    let scaled = |side: u32| {
        let (side, longer) = (u64::from(side), u64::from(longer));
        let rounded = (side * u64::from(long_side) + longer / 2) / longer;
        // Not above long_side, so it fits.
        (rounded as u32).max(1)
    };
    Dimensions {
        width: scaled(full.width),
        height: scaled(full.height),
    }
}

fn shrink(
    data: Vec<u8>,
    from: Dimensions,
    to: Dimensions,
    channels: usize,
) -> Result<Vec<u8>, PreviewError> {
    if from == to {
        return Ok(data);
    }
    // The two pixel types by name: choosing at run time would compile all thirteen.
    let mut small = vec![0; to.width as usize * to.height as usize * channels];
    if channels == 1 {
        resample::<U8>(&data, from, &mut small, to)?;
    } else {
        resample::<U8x3>(&data, from, &mut small, to)?;
    }
    Ok(small)
}

fn resample<P: PixelTrait>(
    data: &[u8],
    from: Dimensions,
    small: &mut [u8],
    to: Dimensions,
) -> Result<(), PreviewError> {
    let source = TypedImageRef::<P>::from_buffer(from.width, from.height, data)
        .map_err(|e| PreviewError::Internal(e.to_string()))?;
    let mut target = TypedImage::<P>::from_buffer(to.width, to.height, small)
        .map_err(|e| PreviewError::Internal(e.to_string()))?;
    let filter = ResizeAlg::Convolution(FilterType::CatmullRom);
    Resizer::new()
        .resize_typed(
            &source,
            &mut target,
            &ResizeOptions::new().resize_alg(filter),
        )
        .map_err(|e| PreviewError::Internal(e.to_string()))
}

fn encode(
    data: &[u8],
    width: u32,
    height: u32,
    channels: usize,
    profile: Option<&[u8]>,
) -> Result<Vec<u8>, PreviewError> {
    let internal = |e: &dyn std::fmt::Display| PreviewError::Internal(e.to_string());
    let side = |n: u32| u16::try_from(n).map_err(|e| internal(&e));
    let mut jpeg = Vec::new();
    let mut encoder = Encoder::new(&mut jpeg, QUALITY);
    if let Some(profile) = profile {
        encoder.add_icc_profile(profile).map_err(|e| internal(&e))?;
    }
    let color = if channels == 1 {
        ColorType::Luma
    } else {
        ColorType::Rgb
    };
    encoder
        .encode(data, side(width)?, side(height)?, color)
        .map_err(|e| internal(&e))?;
    Ok(jpeg)
}
