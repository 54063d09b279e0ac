//! HEIC, by a decoder that is young.
//!
//! hpvcd (BSD-3-Clause or Apache-2.0) is pure Rust without dependencies, and has been on few
//! people's files. So it gets limits of its own, one thread, and a panic in it is an error
//! like any other. The size is read and judged before anything is decoded.
//!
//! Its pictures come out upright: the turn is part of the picture in this format.

use std::panic::{AssertUnwindSafe, catch_unwind};

use hpvcd::{DecodeError, HeicSettings, ParseLimits};

use super::{MAX_PROFILE, Pixels, PixelsError, refuse_too_large};
use crate::kind::Kind;
use crate::meta::Dimensions;

/// The largest picture that is decoded: phones' HEIC files have 12 to 50 megapixels. Decoding
/// one takes some six bytes a pixel.
const MAX_HEIC_PIXELS: u64 = 64_000_000;

/// A still picture is not worth less than this many bits for a block of 64 by 64: a file that
/// promises more is no photograph.
const PIXELS_PER_BYTE: u64 = 2_000;

/// A plain picture of up to this size may be as small as it likes.
const PLAIN_PIXELS: u64 = 4_000_000;

pub(super) fn decode(bytes: &[u8]) -> Result<Pixels, PixelsError> {
    let limits = ParseLimits {
        max_pixels: MAX_HEIC_PIXELS,
        max_items: 2_048,
        max_tiles: 1_024,
        ..ParseLimits::new()
    };
    let settings = HeicSettings::new()
        .primary_only()
        .with_limits(limits)
        .with_threads(1);
    guarded(|| {
        let info = hpvcd::read_heic_info_with_limits(bytes, &limits).map_err(|e| explain(&e))?;
        let size = Dimensions::new(info.width, info.height).ok_or_else(|| damaged("no pixels"))?;
        refuse_too_large(size)?;
        if size.pixels() > PLAIN_PIXELS.max(PIXELS_PER_BYTE * bytes.len() as u64) {
            return Err(damaged(
                "the header promises more pixels than a photograph of this size has",
            ));
        }
        let picture =
            hpvcd::decode_heic_rgb8_with_settings(bytes, &settings).map_err(|e| explain(&e))?;
        let size = Dimensions::new(picture.width, picture.height)
            .filter(|size| 3 * size.pixels() == picture.pixels.len() as u64)
            .ok_or_else(|| damaged("fewer pixels than the header promises"))?;
        Ok(Pixels {
            data: picture.pixels,
            size,
            full: size,
            channels: 3,
            profile: info.color.icc.filter(|p| p.len() <= MAX_PROFILE),
            is_upright: true,
        })
    })
}

/// A panic in the decoder becomes an error.
fn guarded(decode: impl FnOnce() -> Result<Pixels, PixelsError>) -> Result<Pixels, PixelsError> {
    catch_unwind(AssertUnwindSafe(decode))
        .unwrap_or_else(|_| Err(damaged("the decoder gave up on it")))
}

fn explain(error: &DecodeError) -> PixelsError {
    match error {
        DecodeError::Unsupported(_)
        | DecodeError::UnsupportedItemType(_)
        | DecodeError::UnsupportedChroma(_)
        | DecodeError::UnsupportedBitDepth(_) => PixelsError::Unsupported {
            kind: Kind::Heic,
            detail: error.to_string(),
        },
        other => damaged(other.to_string()),
    }
}

fn damaged(detail: impl Into<String>) -> PixelsError {
    PixelsError::Damaged {
        kind: Kind::Heic,
        detail: detail.into(),
    }
}
