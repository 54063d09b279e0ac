//! From file bytes to pixels, no larger than needed.

use std::io::Cursor;

use image::{DynamicImage, ImageDecoder, ImageError, ImageFormat, ImageReader, Limits};
use jpeg_decoder::{CodingProcess, Decoder, Error as JpegError, PixelFormat};

use super::{MAX_PIXELS, MAX_PROFILE, Pixels, PreviewError};
use crate::kind::Kind;
use crate::meta::Dimensions;

/// What decoding one PNG, WebP or TIFF may allocate.
const MAX_MEMORY: u64 = 1 << 30;

/// Compressed pictures other than JPEGs may be a single colour and have no fewest bits, but
/// no photograph is that plain: larger ones than this many pixels must have one byte for
/// every so many.
const PLAIN_PIXELS: u64 = 4_000_000;
const PLAIN_PIXELS_PER_BYTE: u64 = 1000;

/// The fewest bits that code one 8 by 8 block of a JPEG: one for its mean in a progressive
/// file, whose other scans may skip it; a sequential file needs another for its end.
const MIN_BITS_PER_BLOCK: u64 = 1;

/// Decodes a JPEG at the smallest of 1/8, 1/4, 1/2 or full size whose longer side has at
/// least `long_side` pixels.
pub(super) fn jpeg(bytes: &[u8], long_side: u32) -> Result<Pixels, PreviewError> {
    let mut decoder = Decoder::new(Cursor::new(bytes));
    decoder.read_info().map_err(jpeg_error)?;
    let info = decoder.info().ok_or_else(|| damaged("no frame header"))?;
    let full = Dimensions::new(info.width.into(), info.height.into())
        .ok_or_else(|| damaged("a side of no pixels"))?;
    refuse_too_large(full)?;
    if info.coding_process == CodingProcess::Lossless {
        return Err(unsupported("lossless"));
    }
    let blocks = full.pixels() / 64;
    if blocks * MIN_BITS_PER_BLOCK > 8 * bytes.len() as u64 {
        return Err(damaged(
            "the header promises more pixels than the file can hold",
        ));
    }

    // The decoder stops at the first scale at which one side reaches what is asked for:
    // with the same figure for both, that is the longer one.
    let wanted = u16::try_from(long_side).unwrap_or(u16::MAX);
    let (width, height) = decoder.scale(wanted, wanted).map_err(jpeg_error)?;
    let data = decoder.decode().map_err(jpeg_error)?;
    let profile = decoder
        .icc_profile()
        .filter(|p| p.len() <= MAX_PROFILE && info.pixel_format != PixelFormat::CMYK32);
    let (data, channels) = match info.pixel_format {
        PixelFormat::L8 => (data, 1),
        PixelFormat::RGB24 => (data, 3),
        PixelFormat::CMYK32 => (rgb_from_cmyk(&data), 3),
        PixelFormat::L16 => return Err(unsupported("16 bits a pixel")),
    };
    let size = Dimensions::new(width.into(), height.into())
        .filter(|size| size.pixels() * channels as u64 == data.len() as u64)
        .ok_or_else(|| damaged("fewer pixels than the header promises"))?;
    Ok(Pixels {
        data,
        size,
        full,
        channels,
        profile,
    })
}

/// Inks on white paper, 0 meaning none, as the decoder gives them.
fn rgb_from_cmyk(data: &[u8]) -> Vec<u8> {
    let (pixels, _) = data.as_chunks::<4>();
    let mut rgb = Vec::with_capacity(3 * pixels.len());
    for [cyan, magenta, yellow, black] in pixels {
        let light = 255 - u16::from(*black);
        for ink in [cyan, magenta, yellow] {
            let shade = ((255 - u16::from(*ink)) * light + 127) / 255;
            // At most 255 * 255 / 255.
            rgb.push(shade as u8);
        }
    }
    rgb
}

/// Decodes a PNG, WebP or TIFF at full size.
pub(super) fn other(bytes: &[u8], kind: Kind) -> Result<Pixels, PreviewError> {
    let format = match kind {
        Kind::Png => ImageFormat::Png,
        Kind::WebP => ImageFormat::WebP,
        Kind::Tiff => ImageFormat::Tiff,
        _ => return Err(PreviewError::NoDecoder { kind }),
    };
    let mut limits = Limits::default();
    limits.max_alloc = Some(MAX_MEMORY);
    let mut reader = ImageReader::with_format(Cursor::new(bytes), format);
    reader.limits(limits.clone());
    let mut decoder = reader.into_decoder().map_err(|e| image_error(e, kind))?;
    let (width, height) = decoder.dimensions();
    let full = Dimensions::new(width, height).ok_or_else(|| PreviewError::Damaged {
        kind,
        detail: "a side of no pixels".to_owned(),
    })?;
    refuse_too_large(full)?;
    if full.pixels() > PLAIN_PIXELS.max(PLAIN_PIXELS_PER_BYTE * bytes.len() as u64) {
        return Err(PreviewError::Damaged {
            kind,
            detail: "the header promises more pixels than a photograph of this size has".to_owned(),
        });
    }
    limits
        .reserve(decoder.total_bytes())
        .map_err(|_| PreviewError::TooLarge { width, height })?;
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

fn refuse_too_large(full: Dimensions) -> Result<(), PreviewError> {
    if full.pixels() > MAX_PIXELS {
        let Dimensions { width, height } = full;
        return Err(PreviewError::TooLarge { width, height });
    }
    Ok(())
}

fn damaged(detail: impl Into<String>) -> PreviewError {
    PreviewError::Damaged {
        kind: Kind::Jpeg,
        detail: detail.into(),
    }
}

fn unsupported(detail: impl Into<String>) -> PreviewError {
    PreviewError::Unsupported {
        kind: Kind::Jpeg,
        detail: detail.into(),
    }
}

fn jpeg_error(error: JpegError) -> PreviewError {
    match error {
        JpegError::Unsupported(feature) => unsupported(format!("{feature:?}")),
        JpegError::Format(detail) => damaged(detail),
        other => damaged(other.to_string()),
    }
}

fn image_error(error: ImageError, kind: Kind) -> PreviewError {
    match error {
        ImageError::Unsupported(e) => PreviewError::Unsupported {
            kind,
            detail: e.to_string(),
        },
        other => PreviewError::Damaged {
            kind,
            detail: other.to_string(),
        },
    }
}
