//! JPEG, decoded at a reduced size.

use std::io::Cursor;

use jpeg_decoder::{CodingProcess, Decoder, Error as JpegError, PixelFormat};

use super::{MAX_PROFILE, Pixels, PixelsError, refuse_too_large};
use crate::kind::Kind;
use crate::meta::Dimensions;

/// The fewest bits that code one 8 by 8 block of a JPEG: one for its mean in a progressive
/// file, whose other scans may skip it; a sequential file needs another for its end.
const MIN_BITS_PER_BLOCK: u64 = 1;

/// Decodes a JPEG at the smallest of 1/8, 1/4, 1/2 or full size whose longer side has at
/// least `long_side` pixels.
pub(super) fn decode(bytes: &[u8], long_side: u32) -> Result<Pixels, PixelsError> {
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
        is_upright: false,
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

fn damaged(detail: impl Into<String>) -> PixelsError {
    PixelsError::Damaged {
        kind: Kind::Jpeg,
        detail: detail.into(),
    }
}

fn unsupported(detail: impl Into<String>) -> PixelsError {
    PixelsError::Unsupported {
        kind: Kind::Jpeg,
        detail: detail.into(),
    }
}

fn jpeg_error(error: JpegError) -> PixelsError {
    match error {
        JpegError::Unsupported(feature) => unsupported(format!("{feature:?}")),
        JpegError::Format(detail) => damaged(detail),
        other => damaged(other.to_string()),
    }
}
