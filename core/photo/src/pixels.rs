//! From file bytes to pixels, no larger than needed, and back to a JPEG.
//!
//! Speed comes from the JPEG decoder's inverse cosine transform, which makes a half, quarter
//! or eighth size directly.
//!
//! Memory is bounded: a header that promises more pixels than [`MAX_PIXELS`], or than the
//! file's bytes could hold, is refused before anything is allocated for them.

use fast_image_resize::images::{TypedImage, TypedImageRef};
use fast_image_resize::pixels::{U8, U8x3};
use fast_image_resize::{FilterType, PixelTrait, ResizeAlg, ResizeOptions, Resizer};
use jpeg_encoder::{ColorType, Encoder};
use thiserror::Error;

use crate::kind::Kind;
use crate::meta::{Dimensions, MetaError};
use crate::orientation::Orientation;

#[cfg(feature = "heic")]
mod heic;
mod jpeg;
mod other;

/// The largest picture that is decoded. The largest phone sensors have 200 megapixels.
pub const MAX_PIXELS: u64 = 250_000_000;

/// Larger colour profiles than any camera's are left out.
const MAX_PROFILE: usize = 16 << 10;

/// Why a picture's pixels can't be had.
#[derive(Debug, Error)]
pub enum PixelsError {
    /// The file is no picture, or cut off in its header.
    #[error(transparent)]
    Meta(#[from] MetaError),
    /// This build has no decoder for such files; the photograph is kept all the same.
    #[error("{kind} pictures cannot be decoded here; the file itself is kept")]
    NoDecoder {
        /// What sort of file it is.
        kind: Kind,
    },
    /// A rare coding of an otherwise known format.
    #[error("this {kind} file is coded in a rare way ({detail}); the file itself is kept")]
    Unsupported {
        /// What sort of file it is.
        kind: Kind,
        /// What the decoder said.
        detail: String,
    },
    /// More pixels than [`MAX_PIXELS`].
    #[error("{width} by {height} pixels are more than are decoded here; the file itself is kept")]
    TooLarge {
        /// Pixels across.
        width: u32,
        /// Pixels down.
        height: u32,
    },
    /// The picture data are cut off or wrong.
    #[error(
        "the {kind} picture data are damaged or cut off ({detail}); copy it again from the camera"
    )]
    Damaged {
        /// What sort of file it is.
        kind: Kind,
        /// What the decoder said.
        detail: String,
    },
    /// A side of no pixels was asked for, or the encoder refused.
    #[error("the picture could not be processed: {0}")]
    Internal(String),
}

/// Decoded pixels, 8 bits a channel, one channel (grey) or three (red, green, blue).
pub(crate) struct Pixels {
    /// Row by row, without padding.
    pub data: Vec<u8>,
    /// Of `data`.
    pub size: Dimensions,
    /// Of the picture at full size; `data` may be smaller.
    pub full: Dimensions,
    /// 1 or 3.
    pub channels: usize,
    /// The colour profile (ICC).
    pub profile: Option<Vec<u8>>,
    /// Whether it has been turned as the file's orientation says.
    pub is_upright: bool,
}

/// Decodes a picture, at a size whose longer side has at
/// least `long_side` pixels (all of them where there are fewer).
///
/// # Errors
/// [`PixelsError::NoDecoder`] for AVIF, HEIF, videos, and HEIC without the feature `heic`;
/// otherwise why the picture could not be decoded.
pub(crate) fn decode(bytes: &[u8], kind: Kind, long_side: u32) -> Result<Pixels, PixelsError> {
    match kind {
        Kind::Jpeg => jpeg::decode(bytes, long_side),
        Kind::Png | Kind::WebP | Kind::Tiff => other::decode(bytes, kind),
        #[cfg(feature = "heic")]
        Kind::Heic => heic::decode(bytes),
        _ => Err(PixelsError::NoDecoder { kind }),
    }
}

fn refuse_too_large(full: Dimensions) -> Result<(), PixelsError> {
    if full.pixels() > MAX_PIXELS {
        let Dimensions { width, height } = full;
        return Err(PixelsError::TooLarge { width, height });
    }
    Ok(())
}

impl Pixels {
    /// The same picture with `long_side` as its longer side at most, to the nearest pixel.
    pub fn shrunk(self, long_side: u32) -> Result<Pixels, PixelsError> {
        let to = fitted(self.full, long_side);
        if self.size == to {
            return Ok(self);
        }
        self.resized(to)
    }

    /// [`Pixels::shrunk`] of a picture that is still needed.
    pub fn smaller(&self, long_side: u32) -> Result<Pixels, PixelsError> {
        self.resized(fitted(self.full, long_side))
    }

    /// The same picture in just this size, whatever its shape.
    pub fn resized(&self, to: Dimensions) -> Result<Pixels, PixelsError> {
        // The two pixel types by name: choosing at run time would compile all thirteen.
        let mut data = vec![0; to.width as usize * to.height as usize * self.channels];
        if self.channels == 1 {
            resample::<U8>(&self.data, self.size, &mut data, to)?;
        } else {
            resample::<U8x3>(&self.data, self.size, &mut data, to)?;
        }
        Ok(Pixels {
            data,
            size: to,
            profile: self.profile.clone(),
            ..*self
        })
    }

    /// The picture, turned only where it is mirrored: which side is up doesn't matter.
    pub fn unmirrored(self, orientation: Orientation) -> Pixels {
        match orientation.is_mirrored() {
            true => self.turned(orientation),
            false => self,
        }
    }

    /// The picture turned as `orientation` says, unless it is upright already.
    pub fn turned(self, orientation: Orientation) -> Pixels {
        if self.is_upright {
            return self;
        }
        let Dimensions { width, height } = self.size;
        let side = |(width, height)| Dimensions { width, height };
        Pixels {
            data: orientation.apply(self.data, width as usize, height as usize, self.channels),
            size: side(orientation.upright_size(width, height)),
            full: side(orientation.upright_size(self.full.width, self.full.height)),
            is_upright: true,
            ..self
        }
    }

    /// A grey picture, each pixel changed by a function of its column, row and value.
    pub fn with_each(&self, change: impl Fn(usize, usize, f64) -> f64) -> Pixels {
        let width = (self.size.width as usize).max(1);
        let changed = self.data.iter().enumerate().map(|(index, value)| {
            let new = change(index % width, index / width, f64::from(*value));
            new.clamp(0.0, 255.0) as u8
        });
        Pixels {
            data: changed.collect(),
            profile: None,
            ..*self
        }
    }

    /// Brightness alone: ITU-R BT.601's weights, as JPEG's own.
    pub fn grey(&self) -> Pixels {
        if self.channels == 1 {
            let data = self.data.clone();
            return Pixels {
                data,
                profile: None,
                ..*self
            };
        }
        let (pixels, _) = self.data.as_chunks::<3>();
        let luma = |[r, g, b]: &[u8; 3]| {
            let sum = 299 * u32::from(*r) + 587 * u32::from(*g) + 114 * u32::from(*b);
            // At most 255 * 1000 before the division.
            ((sum + 500) / 1000) as u8
        };
        Pixels {
            data: pixels.iter().map(luma).collect(),
            channels: 1,
            profile: None,
            ..*self
        }
    }

    /// The picture as a JPEG with its colour profile and no other metadata.
    pub fn to_jpeg(&self, quality: u8) -> Result<Vec<u8>, PixelsError> {
        let internal = |e: &dyn std::fmt::Display| PixelsError::Internal(e.to_string());
        let side = |n: u32| u16::try_from(n).map_err(|e| internal(&e));
        let mut jpeg = Vec::new();
        let mut encoder = Encoder::new(&mut jpeg, quality);
        if let Some(profile) = &self.profile {
            encoder.add_icc_profile(profile).map_err(|e| internal(&e))?;
        }
        let color = match self.channels {
            1 => ColorType::Luma,
            _ => ColorType::Rgb,
        };
        let (width, height) = (side(self.size.width)?, side(self.size.height)?);
        encoder
            .encode(&self.data, width, height, color)
            .map_err(|e| internal(&e))?;
        Ok(jpeg)
    }
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

fn resample<P: PixelTrait>(
    data: &[u8],
    from: Dimensions,
    small: &mut [u8],
    to: Dimensions,
) -> Result<(), PixelsError> {
    let source = TypedImageRef::<P>::from_buffer(from.width, from.height, data)
        .map_err(|e| PixelsError::Internal(e.to_string()))?;
    let mut target = TypedImage::<P>::from_buffer(to.width, to.height, small)
        .map_err(|e| PixelsError::Internal(e.to_string()))?;
    let filter = ResizeAlg::Convolution(FilterType::CatmullRom);
    Resizer::new()
        .resize_typed(
            &source,
            &mut target,
            &ResizeOptions::new().resize_alg(filter),
        )
        .map_err(|e| PixelsError::Internal(e.to_string()))
}
