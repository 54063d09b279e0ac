//! How a stored picture must be turned to stand upright.
//!
//! Source: Exif 2.32, tag Orientation (0x0112), values 1 to 8: where row 0 and column 0 of
//! the stored picture lie in the upright one.
//!
//! ```
//! use datumtrail_photo::orientation::Orientation;
//!
//! // Value 6: row 0 is the right side, so turn a quarter to the right.
//! let six = Orientation::from_exif(6).unwrap();
//! assert_eq!(six, Orientation::TurnRight);
//! assert_eq!(six.upright_size(4000, 3000), (3000, 4000));
//! ```

use serde::{Deserialize, Serialize};

/// What to do to the stored picture to see it upright; the number is Exif's.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
#[serde(into = "u16", try_from = "u16")]
pub enum Orientation {
    /// 1: nothing.
    #[default]
    Upright,
    /// 2: mirror left to right.
    MirrorSideways,
    /// 3: turn by half.
    TurnHalf,
    /// 4: mirror top to bottom.
    MirrorUpDown,
    /// 5: mirror along the diagonal from top left.
    MirrorFallingDiagonal,
    /// 6: turn a quarter to the right (clockwise).
    TurnRight,
    /// 7: mirror along the diagonal from top right.
    MirrorRisingDiagonal,
    /// 8: turn a quarter to the left.
    TurnLeft,
}

impl Orientation {
    /// All eight, in the order of their Exif numbers.
    pub const ALL: [Orientation; 8] = [
        Orientation::Upright,
        Orientation::MirrorSideways,
        Orientation::TurnHalf,
        Orientation::MirrorUpDown,
        Orientation::MirrorFallingDiagonal,
        Orientation::TurnRight,
        Orientation::MirrorRisingDiagonal,
        Orientation::TurnLeft,
    ];

    /// From Exif's number; `None` outside 1 to 8.
    pub fn from_exif(value: u16) -> Option<Orientation> {
        let index = usize::from(value).checked_sub(1)?;
        Orientation::ALL.get(index).copied()
    }

    /// Exif's number, 1 to 8.
    pub fn to_exif(self) -> u16 {
        self as u16 + 1
    }

    /// Whether left and right are exchanged.
    pub fn is_mirrored(self) -> bool {
        matches!(self.to_exif(), 2 | 4 | 5 | 7)
    }

    /// Whether width and height change places.
    pub fn swaps_sides(self) -> bool {
        self.to_exif() >= 5
    }

    /// Width and height of the upright picture, given those of the stored one.
    pub fn upright_size(self, width: u32, height: u32) -> (u32, u32) {
        if self.swaps_sides() {
            (height, width)
        } else {
            (width, height)
        }
    }

    /// The single orientation that does this and then `next`.
    ///
    /// HEIF files carry a turn and a mirror separately.
    pub(crate) fn then(self, next: Orientation) -> Orientation {
        // Follow three corners of a unit picture through both.
        let corners = [(0, 0), (1, 0), (0, 1)];
        let both = |o: Orientation| corners.map(|(x, y)| o.destination(x, y, 2, 2));
        let wanted = corners.map(|(x, y)| {
            let (x, y) = self.destination(x, y, 2, 2);
            next.destination(x, y, 2, 2)
        });
        Orientation::ALL
            .into_iter()
            .find(|o| both(*o) == wanted)
            .unwrap_or_default()
    }

    /// Where the stored pixel (column `x`, row `y`) of a `width` by `height` picture lies
    /// in the upright one.
    fn destination(self, x: usize, y: usize, width: usize, height: usize) -> (usize, usize) {
        let (right, down) = (width - 1 - x, height - 1 - y);
        match self {
            Orientation::Upright => (x, y),
            Orientation::MirrorSideways => (right, y),
            Orientation::TurnHalf => (right, down),
            Orientation::MirrorUpDown => (x, down),
            Orientation::MirrorFallingDiagonal => (y, x),
            Orientation::TurnRight => (down, x),
            Orientation::MirrorRisingDiagonal => (down, right),
            Orientation::TurnLeft => (y, right),
        }
    }

    /// Turns a picture upright.
    ///
    /// `pixels` holds `width * height` pixels of `channels` bytes, row by row, without
    /// padding; a buffer of another size is returned as it is (it cannot be that picture).
    /// The result has [`upright_size`](Self::upright_size).
    pub(crate) fn apply(
        self,
        pixels: Vec<u8>,
        width: usize,
        height: usize,
        channels: usize,
    ) -> Vec<u8> {
        let fits = width
            .checked_mul(height)
            .and_then(|n| n.checked_mul(channels))
            == Some(pixels.len());
        if self == Orientation::Upright || !fits || pixels.is_empty() {
            return pixels;
        }
        let row_len = if self.swaps_sides() { height } else { width };
        let mut upright = vec![0; pixels.len()];
        for (index, pixel) in pixels.chunks_exact(channels).enumerate() {
            let (x, y) = self.destination(index % width, index / width, width, height);
            let at = (y * row_len + x) * channels;
            if let Some(place) = upright.get_mut(at..at + channels) {
                place.copy_from_slice(pixel);
            }
        }
        upright
    }
}

impl From<Orientation> for u16 {
    fn from(orientation: Orientation) -> u16 {
        orientation.to_exif()
    }
}

impl TryFrom<u16> for Orientation {
    type Error = String;

    fn try_from(value: u16) -> Result<Orientation, String> {
        Orientation::from_exif(value)
            .ok_or_else(|| format!("orientation {value} is not one of Exif's 1 to 8"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Exif 2.32, Orientation: "the 0th row is at the visual ..., the 0th column at the
    /// visual ..." for each value (from memory).
    #[test]
    fn rows_and_columns_go_where_the_standard_says() {
        let standard = [
            (1, "top", "left"),
            (2, "top", "right"),
            (3, "bottom", "right"),
            (4, "bottom", "left"),
            (5, "left", "top"),
            (6, "right", "top"),
            (7, "right", "bottom"),
            (8, "left", "bottom"),
        ];
        let (width, height) = (3, 2);
        for (number, row, column) in standard {
            let orientation = Orientation::from_exif(number).unwrap();
            let (up_w, up_h) = orientation.upright_size(width, height);
            let side = |places: Vec<(usize, usize)>| {
                let (right, bottom) = (up_w as usize - 1, up_h as usize - 1);
                let tests = [
                    ("top", (None, Some(0))),
                    ("bottom", (None, Some(bottom))),
                    ("left", (Some(0), None)),
                    ("right", (Some(right), None)),
                ];
                let lies = |(x, y): (Option<usize>, Option<usize>), p: &(usize, usize)| {
                    x.is_none_or(|x| x == p.0) && y.is_none_or(|y| y == p.1)
                };
                let found = tests
                    .iter()
                    .find(|(_, line)| places.iter().all(|p| lies(*line, p)));
                found.map_or("nowhere", |(name, _)| name)
            };
            let row_0 = (0..3)
                .map(|x| orientation.destination(x, 0, 3, 2))
                .collect();
            let column_0 = (0..2)
                .map(|y| orientation.destination(0, y, 3, 2))
                .collect();
            assert_eq!(
                (side(row_0), side(column_0)),
                (row, column),
                "value {number}"
            );
        }
    }

    #[test]
    fn pixels_land_where_their_destination_is() {
        // 3 by 2:  a b c / d e f, a quarter to the right: d a / e b / f c.
        let turned = Orientation::TurnRight.apply(b"abcdef".to_vec(), 3, 2, 1);
        assert_eq!(turned, b"daebfc");
        let turned = Orientation::TurnLeft.apply(b"aabbccddeeff".to_vec(), 3, 2, 2);
        assert_eq!(turned, b"ccffbbeeaadd");
        // A buffer that is not that picture comes back untouched.
        assert_eq!(
            Orientation::TurnLeft.apply(b"abc".to_vec(), 3, 2, 1),
            b"abc"
        );
    }

    #[test]
    fn composing_two_is_applying_one_after_the_other() {
        let picture: Vec<u8> = (0..6).collect();
        for first in Orientation::ALL {
            for second in Orientation::ALL {
                let (w, h) = first.upright_size(3, 2);
                let stepwise = second.apply(
                    first.apply(picture.clone(), 3, 2, 1),
                    w as usize,
                    h as usize,
                    1,
                );
                let at_once = first.then(second).apply(picture.clone(), 3, 2, 1);
                assert_eq!(stepwise, at_once, "{first:?} then {second:?}");
            }
        }
    }

    #[test]
    fn numbers_outside_exif_are_none() {
        assert_eq!(Orientation::from_exif(0), None);
        assert_eq!(Orientation::from_exif(9), None);
        assert!(serde_json::from_str::<Orientation>("9").is_err());
        assert_eq!(
            serde_json::from_str::<Orientation>("8").unwrap(),
            Orientation::TurnLeft
        );
    }
}
