//! Photographs that look alike: the same shot sent through a messenger, or a burst.
//!
//! The same bytes are one photograph ([`crate::identity`]). The same *shot* may come twice:
//! as the camera wrote it, and made smaller by a messenger that also drops the metadata. And
//! a burst is many shots of one thing within moments. Both look alike; what they mean differs,
//! so what can tell them apart is used: first the cameras' own times, then the picture.
//!
//! [`PictureHash`] is a perceptual hash: 256 signs of the picture's coarsest waves
//! (`hash`). Re-encoding and resizing leave nearly all of them as they are; a step
//! to the side changes many. The thresholds were set by measurement; `cargo run --release
//! --example alike_rate` prints how often they are right, on scenes that were not used for it.
//!
//! Nothing is ever deleted by what is said here: a duplicate is an offer, and the original is
//! kept in any case.
//!
//! ```
//! use datumtrail_photo::alike::{Resemblance, Shot, compare};
//! # use datumtrail_photo::alike::PictureHash;
//! # let mut jpeg = Vec::new();
//! # let rgb: Vec<u8> = (0..640 * 480u32).map(|i| ((i % 640) / 40 * 37 + (i / 640) / 60 * 91) as u8).collect();
//! # jpeg_encoder::Encoder::new(&mut jpeg, 90).encode(&rgb, 640, 480, jpeg_encoder::ColorType::Luma)?;
//! # let mut again = Vec::new();
//! # jpeg_encoder::Encoder::new(&mut again, 40).encode(&rgb, 640, 480, jpeg_encoder::ColorType::Luma)?;
//! let hash = PictureHash::of(&jpeg)?;
//! let sent = PictureHash::of(&again)?; // the same, encoded again at a lower quality
//! let shot = |hash| Shot { hash, pixels: 307_200, bytes: 100_000, camera: None, taken: None, burst: None };
//! assert!(matches!(compare(&shot(hash), &shot(sent)), Resemblance::SameShot { .. }));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use serde::{Deserialize, Serialize};

use crate::time::CameraTime;

mod group;
mod hash;

pub use group::{BURST_GAP_S, Copies, bursts, copies};
pub use hash::PictureHash;

/// Up to this many differing signs of 256, two pictures are the same shot.
pub const SAME_SHOT: u32 = 20;

/// Up to this many differing signs of 256, two pictures show the same thing.
pub const ALIKE: u32 = 80;

/// What is known about one photograph, for comparing it with others.
#[derive(Debug, Clone, PartialEq)]
pub struct Shot<'a> {
    /// Of the upright picture.
    pub hash: PictureHash,
    /// Width times height.
    pub pixels: u64,
    /// Size of the file.
    pub bytes: u64,
    /// The camera's name ([`crate::camera::CameraKey::name`]), where the file says anything
    /// about it.
    pub camera: Option<&'a str>,
    /// The camera's own time, where the file has one.
    pub taken: Option<CameraTime>,
    /// The burst that the file says it belongs to ([`crate::meta::Meta::burst`]).
    pub burst: Option<&'a str>,
}

/// How two photographs resemble each other.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "resemblance", rename_all = "snake_case")]
pub enum Resemblance {
    /// One shot, encoded twice.
    SameShot {
        /// How many of 256 signs differ.
        distance: u32,
    },
    /// Two shots of the same thing, or one that was cropped or written on.
    Alike {
        /// How many of 256 signs differ.
        distance: u32,
    },
    /// Different pictures.
    Different,
}

/// Compares two photographs.
///
/// Two files that both say when and by what they were taken, and say different things, are
/// two shots, however alike. What is left is decided by the pictures.
pub fn compare(a: &Shot<'_>, b: &Shot<'_>) -> Resemblance {
    let distance = a.hash.distance(&b.hash);
    if distance > ALIKE {
        return Resemblance::Different;
    }
    if distance <= SAME_SHOT && !are_two_shots(a, b) {
        return Resemblance::SameShot { distance };
    }
    Resemblance::Alike { distance }
}

/// Whether what the files say about camera and time rules out that they are one shot.
fn are_two_shots(a: &Shot<'_>, b: &Shot<'_>) -> bool {
    let cameras_differ = matches!((a.camera, b.camera), (Some(a), Some(b)) if a != b);
    let times_differ = match (&a.taken, &b.taken) {
        (Some(a), Some(b)) if a.source == b.source => {
            // A program that encodes again may drop the sub-seconds, but not change the second.
            let digits = u32::from(a.sub_sec_digits.min(b.sub_sec_digits));
            let cut = |t: &CameraTime| {
                let part = 10i32.pow(9 - digits.min(9));
                (
                    t.civil.with().subsec_nanosecond(0).build().ok(),
                    t.civil.subsec_nanosecond() / part,
                )
            };
            cut(a) != cut(b)
        }
        _ => false,
    };
    cameras_differ || times_differ
}

/// Which of two encodings of one shot is the original: the one with more pixels, then the one
/// that still has its time, then the one that names its camera, then the larger file.
/// [`Greater`](std::cmp::Ordering::Greater) means `a`.
pub fn nearer_original(a: &Shot<'_>, b: &Shot<'_>) -> std::cmp::Ordering {
    let rank = |s: &Shot<'_>| (s.pixels, s.taken.is_some(), s.camera.is_some(), s.bytes);
    rank(a).cmp(&rank(b))
}

#[cfg(test)]
mod tests;
