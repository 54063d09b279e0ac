//! A perceptual hash: the signs of a picture's coarsest waves.
//!
//! The upright picture is shrunk to 32 by 32 grey pixels and taken apart into cosine waves
//! (DCT-II). Of the 16 by 16 slowest, without the mean, the hash keeps which are above their
//! median. This is "pHash" as described by C. Zauner, *Implementation and Benchmarking of
//! Perceptual Image Hash Functions* (thesis, Hagenberg 2010), section 3.2.1, with 256 signs in
//! place of its 64, since here a burst's shots are to be told from a re-encoded one.
//!
//! The kept crates that do this bring a second resizer and an FFT library for a transform of
//! 32 by 32; the transform is the dozen lines below.

use std::f64::consts::PI;

use serde::{Deserialize, Deserializer, Serialize, Serializer};

use crate::kind::Kind;
use crate::meta::{Dimensions, read_meta_bytes};
use crate::orientation::Orientation;
use crate::pixels::{self, Pixels, PixelsError};

/// Pixels a side of the picture that is taken apart.
const SIDE: usize = 32;

/// Waves kept along each side.
const WAVES: usize = 16;

/// Decoding stops at this many pixels along the longer side; the rest is averaged.
const LONG_SIDE: u32 = 256;

/// 256 signs; what looks alike differs in few.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct PictureHash([u64; 4]);

impl PictureHash {
    /// The hash of a photograph.
    ///
    /// # Errors
    /// Where the picture can't be decoded.
    pub fn of(bytes: &[u8]) -> Result<PictureHash, PixelsError> {
        let meta = read_meta_bytes(bytes)?;
        PictureHash::of_as(bytes, meta.kind, meta.orientation)
    }

    /// [`PictureHash::of`] for a caller who has read the file's [`crate::meta::Meta`] already.
    ///
    /// # Errors
    /// As [`PictureHash::of`].
    pub fn of_as(
        bytes: &[u8],
        kind: Kind,
        orientation: Orientation,
    ) -> Result<PictureHash, PixelsError> {
        let picture = pixels::decode(bytes, kind, LONG_SIDE)?;
        PictureHash::of_upright(picture.shrunk(LONG_SIDE)?.turned(orientation))
    }

    /// The hash of an upright picture.
    pub(crate) fn of_upright(picture: Pixels) -> Result<PictureHash, PixelsError> {
        let side = SIDE as u32;
        let small = picture.grey().resized(Dimensions {
            width: side,
            height: side,
        })?;
        let waves = slow_waves(&small.data);
        let mut sorted = waves.clone();
        sorted.sort_by(f64::total_cmp);
        let median = sorted.get(sorted.len() / 2).copied().unwrap_or_default();
        let mut hash = [0u64; 4];
        for (index, wave) in waves.iter().enumerate() {
            if let Some(word) = hash.get_mut(index / 64) {
                *word |= u64::from(*wave > median) << (index % 64);
            }
        }
        Ok(PictureHash(hash))
    }

    /// In how many of the 256 signs two hashes differ.
    pub fn distance(&self, other: &PictureHash) -> u32 {
        let pairs = self.0.iter().zip(&other.0);
        pairs.map(|(a, b)| (a ^ b).count_ones()).sum()
    }

    /// 64 hexadecimal digits.
    pub fn to_hex(&self) -> String {
        self.0.iter().map(|word| format!("{word:016x}")).collect()
    }

    /// From [`PictureHash::to_hex`]'s digits; `None` if they are others.
    pub fn from_hex(text: &str) -> Option<PictureHash> {
        let plain = text.len() == 64 && text.bytes().all(|b| b.is_ascii_hexdigit());
        let mut words = [0; 4];
        for (index, word) in words.iter_mut().enumerate() {
            let digits = text.get(16 * index..16 * index + 16).filter(|_| plain)?;
            *word = u64::from_str_radix(digits, 16).ok()?;
        }
        Some(PictureHash(words))
    }
}

/// The amplitudes of the slow waves, the mean (wave 0, 0) set to zero: rows of down-waves, in
/// each the across-waves. Up to a common factor per wave, which doesn't change a sign.
fn slow_waves(grey: &[u8]) -> Vec<f64> {
    let wave = |k: usize, i: usize| (PI * (i as f64 + 0.5) * k as f64 / SIDE as f64).cos();
    // Along each row first; then down.
    let across: Vec<f64> = grey
        .chunks_exact(SIDE)
        .flat_map(|row| {
            (0..WAVES).map(move |k| {
                let terms = row
                    .iter()
                    .enumerate()
                    .map(|(i, v)| f64::from(*v) * wave(k, i));
                terms.sum::<f64>()
            })
        })
        .collect();
    let mut out = Vec::with_capacity(WAVES * WAVES);
    for down in 0..WAVES {
        for k in 0..WAVES {
            let column = across.iter().skip(k).step_by(WAVES).enumerate();
            out.push(column.map(|(i, v)| v * wave(down, i)).sum());
        }
    }
    if let Some(mean) = out.first_mut() {
        *mean = 0.0;
    }
    out
}

impl Serialize for PictureHash {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&self.to_hex())
    }
}

impl<'de> Deserialize<'de> for PictureHash {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<PictureHash, D::Error> {
        let text = String::deserialize(deserializer)?;
        PictureHash::from_hex(&text)
            .ok_or_else(|| serde::de::Error::custom("not 64 hexadecimal digits"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The transform against its definition, for a picture that is one wave.
    #[test]
    fn a_pure_wave_is_found_where_it_is() {
        let (down, across) = (3, 7);
        let picture: Vec<u8> = (0..SIDE * SIDE)
            .map(|i| {
                let (x, y) = ((i % SIDE) as f64 + 0.5, (i / SIDE) as f64 + 0.5);
                let step = PI / SIDE as f64;
                let value =
                    (step * y * f64::from(down)).cos() * (step * x * f64::from(across)).cos();
                (128.0 + 100.0 * value).round() as u8
            })
            .collect();
        let waves = slow_waves(&picture);
        let largest = (0..256).max_by(|a, b| waves[*a].abs().total_cmp(&waves[*b].abs()));
        assert_eq!(largest, Some(3 * WAVES + 7));
        // Sum of cos² over 32 points is 16 along each side: 100 * 16 * 16.
        assert!((waves[3 * WAVES + 7] - 25_600.0).abs() < 100.0);
        let rest = waves
            .iter()
            .enumerate()
            .filter(|(i, _)| *i != 3 * WAVES + 7);
        assert!(rest.map(|(_, w)| w.abs()).fold(0.0, f64::max) < 100.0);
    }

    #[test]
    fn hashes_come_back_from_text() {
        let hash = PictureHash([1, u64::MAX, 0, 0xABCD]);
        assert_eq!(PictureHash::from_hex(&hash.to_hex()), Some(hash));
        let json = serde_json::to_string(&hash).unwrap();
        assert_eq!(serde_json::from_str::<PictureHash>(&json).unwrap(), hash);
        for text in ["", "zz", &"é".repeat(32), &"+".repeat(64), &"0".repeat(63)] {
            assert_eq!(PictureHash::from_hex(text), None, "{text}");
        }
        assert_eq!(hash.distance(&PictureHash([0, 0, 0, 0xABCF])), 1 + 64 + 1);
    }
}
