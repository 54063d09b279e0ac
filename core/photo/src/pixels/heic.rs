//! HEIC, by a decoder that is young.
//!
//! hpvcd (BSD-3-Clause or Apache-2.0) is pure Rust without dependencies, and has been on few
//! people's files. So it gets limits of its own, one thread, and a panic in it is an error
//! like any other. The size is read and judged before anything is decoded.
//!
//! It turns pictures itself; that is undone, so that one place knows how pictures are turned.

use std::panic::{AssertUnwindSafe, catch_unwind};

use hpvcd::{DecodeError, HeicSettings, ParseLimits};

use super::{MAX_PROFILE, Pixels, PixelsError, refuse_too_large};
use crate::container::heif::Aperture;
use crate::kind::Kind;
use crate::meta::Dimensions;
use crate::orientation::Orientation;

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
        // As it is stored: the decoder turns pictures, but not all mirrored ones as the standard
        // has it.
        let undo = inverse(info.orientation);
        let (width, height) = undo.upright_size(size.width, size.height);
        let stored = Dimensions { width, height };
        let data = undo.apply(picture.pixels, size.width as usize, size.height as usize, 3);
        let shown = info.clean_aperture.and_then(|a| {
            Aperture::new(
                stored,
                (a.width_n, a.width_d),
                (a.height_n, a.height_d),
                (a.horiz_off_n, a.horiz_off_d),
                (a.vert_off_n, a.vert_off_d),
            )
        });
        let (data, size) = match shown {
            Some(part) => cut(&data, stored, part)
                .ok_or_else(|| damaged("it shows a part that is not there"))?,
            None => (data, stored),
        };
        Ok(Pixels {
            data,
            size,
            full: size,
            channels: 3,
            profile: info.color.icc.filter(|p| p.len() <= MAX_PROFILE),
            is_upright: false,
        })
    })
}

/// What undoes a turn of the decoder's.
fn inverse(turned: hpvcd::Orientation) -> Orientation {
    use hpvcd::Orientation as Theirs;
    match turned {
        Theirs::Normal => Orientation::Upright,
        Theirs::FlipH => Orientation::MirrorSideways,
        Theirs::Rotate180 => Orientation::TurnHalf,
        Theirs::FlipV => Orientation::MirrorUpDown,
        Theirs::Transpose => Orientation::MirrorFallingDiagonal,
        Theirs::Rotate90 => Orientation::TurnLeft,
        Theirs::Transverse => Orientation::MirrorRisingDiagonal,
        Theirs::Rotate270 => Orientation::TurnRight,
    }
}

/// A part of a picture of three channels.
fn cut(pixels: &[u8], size: Dimensions, part: Aperture) -> Option<(Vec<u8>, Dimensions)> {
    let line = 3 * size.width as usize;
    let (from, len) = (3 * part.left as usize, 3 * part.size.width as usize);
    let rows = pixels.chunks_exact(line).skip(part.top as usize);
    let mut data = Vec::with_capacity(len * part.size.height as usize);
    for row in rows.take(part.size.height as usize) {
        data.extend_from_slice(row.get(from..from + len)?);
    }
    (3 * part.size.pixels() == data.len() as u64).then_some((data, part.size))
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
