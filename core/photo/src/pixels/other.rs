//! PNG, WebP and TIFF, decoded at full size.

use std::io::Cursor;

use image::{DynamicImage, ImageDecoder, ImageError, ImageFormat, ImageReader, Limits};

use super::{MAX_PROFILE, Pixels, PixelsError, refuse_too_large};
use crate::container::tiff;
use crate::kind::Kind;
use crate::meta::Dimensions;

/// The most that decoding one PNG, WebP or TIFF may allocate.
const MAX_MEMORY: u64 = 1 << 30;

/// A plain picture's pixels at up to this many bytes each; and for larger files, how many times
/// their size decoding may allocate. Else a file of a few kilobytes could name buffers of a
/// gigabyte.
const PLAIN_BYTES_PER_PIXEL: u64 = 8;
const MEMORY_PER_BYTE: u64 = 100;

/// Compressed pictures other than JPEGs may be a single colour and have no fewest bits, but
/// no photograph is that plain: larger ones than this many pixels must have one byte for
/// every so many.
const PLAIN_PIXELS: u64 = 4_000_000;
const PLAIN_PIXELS_PER_BYTE: u64 = 1000;

/// Decodes a PNG, WebP or TIFF at full size.
pub(super) fn decode(bytes: &[u8], kind: Kind) -> Result<Pixels, PixelsError> {
    let format = match kind {
        Kind::Png => ImageFormat::Png,
        Kind::WebP => ImageFormat::WebP,
        Kind::Tiff => ImageFormat::Tiff,
        _ => return Err(PixelsError::NoDecoder { kind }),
    };
    if kind == Kind::Tiff && !tiff::values_are_there(bytes) {
        return Err(PixelsError::Damaged {
            kind,
            detail: "its directory promises more than the file holds".to_owned(),
        });
    }
    let mut limits = Limits::default();
    let warranted = MEMORY_PER_BYTE.saturating_mul(bytes.len() as u64);
    let plain = PLAIN_BYTES_PER_PIXEL * PLAIN_PIXELS;
    limits.max_alloc = Some(MAX_MEMORY.min(plain.max(warranted)));
    let mut reader = ImageReader::with_format(Cursor::new(bytes), format);
    reader.limits(limits.clone());
    let mut decoder = reader.into_decoder().map_err(|e| image_error(e, kind))?;
    let (width, height) = decoder.dimensions();
    let full = Dimensions::new(width, height).ok_or_else(|| PixelsError::Damaged {
        kind,
        detail: "a side of no pixels".to_owned(),
    })?;
    refuse_too_large(full)?;
    if full.pixels() > PLAIN_PIXELS.max(PLAIN_PIXELS_PER_BYTE * bytes.len() as u64) {
        return Err(PixelsError::Damaged {
            kind,
            detail: "the header promises more pixels than a photograph of this size has".to_owned(),
        });
    }
    limits
        .reserve(decoder.total_bytes())
        .map_err(|_| PixelsError::TooLarge { width, height })?;
    decoder
        .set_limits(limits)
        .map_err(|e| image_error(e, kind))?;
    let profile = decoder
        .icc_profile()
        .ok()
        .flatten()
        .filter(|p| p.len() <= MAX_PROFILE);
    let picture = DynamicImage::from_decoder(decoder).map_err(|e| image_error(e, kind))?;

    let grey = !picture.color().has_color() && !picture.color().has_alpha();
    // A grey profile does not describe the three channels that a laid-on picture gets.
    let profile = profile.filter(|_| grey || picture.color().has_color());
    let (data, channels) = if grey {
        (picture.into_luma8().into_raw(), 1)
    } else if picture.color().has_alpha() {
        (on_white(&picture.into_rgba8().into_raw()), 3)
    } else {
        (picture.into_rgb8().into_raw(), 3)
    };
    Ok(Pixels {
        data,
        size: full,
        full,
        channels,
        profile,
        is_upright: false,
    })
}

fn on_white(data: &[u8]) -> Vec<u8> {
    let (pixels, _) = data.as_chunks::<4>();
    let mut rgb = Vec::with_capacity(3 * pixels.len());
    for [red, green, blue, alpha] in pixels {
        let alpha = u16::from(*alpha);
        for channel in [red, green, blue] {
            let laid = (u16::from(*channel) * alpha + 255 * (255 - alpha) + 127) / 255;
            // A weighted mean of two bytes.
            rgb.push(laid as u8);
        }
    }
    rgb
}

fn image_error(error: ImageError, kind: Kind) -> PixelsError {
    match error {
        ImageError::Unsupported(e) => PixelsError::Unsupported {
            kind,
            detail: e.to_string(),
        },
        other => PixelsError::Damaged {
            kind,
            detail: other.to_string(),
        },
    }
}
