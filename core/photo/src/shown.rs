//! What a photograph shows, from one decoding of it: its preview, its perceptual hash and a time
//! code in it.
//!
//! Decoding is most of the work of taking a photograph in, so it is done once, to a size in which
//! most time codes are seen; only where something looks like a part of one, again.

use crate::alike::PictureHash;
use crate::kind::Kind;
use crate::orientation::Orientation;
use crate::pixels::{self, PixelsError};
use crate::preview::{self, Preview};
use crate::timecode::{self, Found};

/// What a photograph shows.
#[derive(Debug, Clone)]
pub struct Shown {
    /// A small upright picture.
    pub preview: Preview,
    /// The hash of that.
    pub hash: PictureHash,
    /// A time code that is seen at a glance; [`timecode::find`] looks longer.
    pub time_code: Option<Found>,
}

/// What a photograph of this kind and orientation shows. The preview's longer side becomes
/// `long_side` pixels, or stays as short as it is.
///
/// # Errors
/// Where the picture can't be decoded.
pub fn shown(
    bytes: &[u8],
    kind: Kind,
    orientation: Orientation,
    long_side: u32,
) -> Result<Shown, PixelsError> {
    let picture = pixels::decode(bytes, kind, long_side.max(timecode::GLANCE))?;
    let (preview, small) = preview::small(&picture, orientation, long_side)?;
    // A code that can't be looked for costs no more than the code.
    let time_code = timecode::glance(bytes, kind, orientation, &picture);
    Ok(Shown {
        preview,
        hash: PictureHash::of_upright(small)?,
        time_code: time_code.ok().flatten(),
    })
}
