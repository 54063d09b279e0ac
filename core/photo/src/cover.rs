//! A copy with parts of the picture covered: faces, number plates, papers on a bench.
//!
//! The picture is decoded, turned upright, painted over, and encoded again, so that nothing of
//! what was there is left in the file: no thumbnail, no further picture, no trailer. Its Exif is
//! that of a stripped copy ([`crate::strip`]). The original stays in the shop; whoever exports
//! says that the copy was covered.
//!
//! ```
//! use datumtrail_photo::cover::{Rectangle, cover};
//! use datumtrail_photo::strip::LeaveOut;
//!
//! let mut jpeg = Vec::new();
//! jpeg_encoder::Encoder::new(&mut jpeg, 90)
//!     .encode(&[200; 64 * 48], 64, 48, jpeg_encoder::ColorType::Luma)?;
//! let plate: Rectangle = "10,20,30,8".parse()?;
//! let copy = cover(&jpeg, &[plate], LeaveOut::ALL)?;
//! assert_eq!((copy.width, copy.height), (64, 48));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use serde::{Deserialize, Serialize};
use thiserror::Error;

use crate::meta::{Dimensions, read_meta_bytes};
use crate::pixels::{self, Pixels, PixelsError};
use crate::strip::{LeaveOut, Shape, kept_exif};
use crate::write::{WriteError, insert_exif};

/// JPEG quality of a covered copy: high, since it stands for the original.
const QUALITY: u8 = 92;

/// The brightness of what covers, of 255: a dark grey that no one takes for a part of the car.
const SHADE: u8 = 40;

/// More rectangles than anyone draws.
pub const MAX_RECTANGLES: usize = 200;

/// A part of the upright picture, in pixels from its top left corner.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Rectangle {
    /// Pixels from the left.
    pub x: u32,
    /// Pixels from the top.
    pub y: u32,
    /// Pixels across, at least one.
    pub width: u32,
    /// Pixels down, at least one.
    pub height: u32,
}

impl std::str::FromStr for Rectangle {
    type Err = CoverError;

    /// `x,y,width,height`.
    fn from_str(text: &str) -> Result<Rectangle, CoverError> {
        let wrong = || CoverError::NoRectangle {
            text: text.chars().take(100).collect(),
        };
        let numbers: Result<Vec<u32>, _> = text.split(',').map(|n| n.trim().parse()).collect();
        match numbers.map_err(|_| wrong())?.as_slice() {
            [x, y, width, height] if *width > 0 && *height > 0 => Ok(Rectangle {
                x: *x,
                y: *y,
                width: *width,
                height: *height,
            }),
            _ => Err(wrong()),
        }
    }
}

impl std::fmt::Display for Rectangle {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{},{},{},{}", self.x, self.y, self.width, self.height)
    }
}

/// Why no covered copy could be made.
#[derive(Debug, Error)]
pub enum CoverError {
    /// The picture can't be decoded.
    #[error(transparent)]
    Pixels(#[from] PixelsError),
    /// A text that says no rectangle.
    #[error(
        "{text:?} is no rectangle; give x,y,width,height in pixels of the upright picture, \
         such as 120,840,300,90"
    )]
    NoRectangle {
        /// What was given.
        text: String,
    },
    /// It covers nothing of the picture.
    #[error("{rectangle} lies outside the picture, which has {width} by {height} pixels")]
    Outside {
        /// What was given.
        rectangle: Rectangle,
        /// Pixels across, upright.
        width: u32,
        /// Pixels down, upright.
        height: u32,
    },
    /// None, or more than [`MAX_RECTANGLES`].
    #[error("{count} rectangles were given; give 1 to 200")]
    Count {
        /// How many were given.
        count: usize,
    },
    /// The Exif block can't be put into the copy.
    #[error(transparent)]
    Write(#[from] WriteError),
}

/// A covered copy.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Covered {
    /// The upright picture as a JPEG.
    pub jpeg: Vec<u8>,
    /// Pixels across.
    pub width: u32,
    /// Pixels down.
    pub height: u32,
}

/// Makes a covered copy of a photograph of any kind that can be decoded. A rectangle that
/// reaches over the edge is cut at it.
///
/// # Errors
/// [`CoverError::Count`], [`CoverError::Outside`]; [`CoverError::Pixels`] where the picture
/// can't be decoded.
pub fn cover(
    bytes: &[u8],
    rectangles: &[Rectangle],
    leave_out: LeaveOut,
) -> Result<Covered, CoverError> {
    if rectangles.is_empty() || rectangles.len() > MAX_RECTANGLES {
        let count = rectangles.len();
        return Err(CoverError::Count { count });
    }
    again(bytes, rectangles, leave_out)
}

/// A copy of a photograph that is encoded again and has no metadata but that of a stripped
/// copy: for the kinds that [`crate::strip::strip`] refuses.
///
/// # Errors
/// [`CoverError::Pixels`] where the picture can't be decoded.
pub fn encode_again(bytes: &[u8], leave_out: LeaveOut) -> Result<Covered, CoverError> {
    again(bytes, &[], leave_out)
}

fn again(
    bytes: &[u8],
    rectangles: &[Rectangle],
    leave_out: LeaveOut,
) -> Result<Covered, CoverError> {
    let meta = read_meta_bytes(bytes).map_err(PixelsError::from)?;
    let mut picture = pixels::decode(bytes, meta.kind, u32::MAX)?.turned(meta.orientation);
    for rectangle in rectangles {
        paint(&mut picture, *rectangle)?;
    }
    let Dimensions { width, height } = picture.size;
    let mut jpeg = picture.to_jpeg(QUALITY)?;
    let block = kept_exif(bytes, meta.kind, leave_out, Shape::Changed);
    if let Some(block) = block.map_err(PixelsError::from)? {
        jpeg = insert_exif(&jpeg, &block)?;
    }
    Ok(Covered {
        jpeg,
        width,
        height,
    })
}

fn paint(picture: &mut Pixels, rectangle: Rectangle) -> Result<(), CoverError> {
    let Dimensions { width, height } = picture.size;
    if rectangle.x >= width || rectangle.y >= height {
        return Err(CoverError::Outside {
            rectangle,
            width,
            height,
        });
    }
    let channels = picture.channels;
    let right = rectangle.x.saturating_add(rectangle.width).min(width) as usize;
    let rows = picture.data.chunks_mut(width as usize * channels);
    let rows = rows
        .skip(rectangle.y as usize)
        .take(rectangle.height as usize);
    for row in rows {
        let covered = row.get_mut(rectangle.x as usize * channels..right * channels);
        covered.unwrap_or_default().fill(SHADE);
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rectangles_as_text() {
        let plate: Rectangle = " 10, 20,30,8".parse().unwrap();
        assert_eq!(plate.to_string(), "10,20,30,8");
        for text in [
            "",
            "1,2,3",
            "1,2,3,4,5",
            "1,2,0,4",
            "-1,2,3,4",
            "1,2,3,99999999999",
        ] {
            let error = text.parse::<Rectangle>().unwrap_err();
            assert!(
                matches!(error, CoverError::NoRectangle { .. }),
                "{text}: {error}"
            );
        }
    }
}
