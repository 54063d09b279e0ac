//! The directions that a sheet counts in, and their turn into ours.
//!
//! Ours is x rearward, y to the vehicle's right, z up (SAE J182, ISO 4130). Others exist: ISO 8855
//! has x forward and y to the left. A sheet says which it uses when it is loaded, and is turned
//! once; nothing after that knows of any other frame.
//!
//! ```
//! use datumtrail_sheet::Axes;
//!
//! let iso_8855 = Axes::parse("forward,left,up")?;
//! assert_eq!(iso_8855.place([100.0, 20.0, 3.0]), [-100.0, -20.0, 3.0]);
//! # Ok::<(), datumtrail_sheet::SheetError>(())
//! ```

use std::fmt;

use datumtrail_geometry::frame::Axis;
use serde::{Deserialize, Serialize};

use crate::error::SheetError;

/// The word that confirms a left-handed declaration.
const LEFT_HANDED: &str = "left-handed";

/// Where a coordinate grows to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
enum Direction {
    Forward,
    Rearward,
    Left,
    Right,
    Up,
    Down,
}

impl Direction {
    const ALL: [Direction; 6] = [
        Direction::Forward,
        Direction::Rearward,
        Direction::Left,
        Direction::Right,
        Direction::Up,
        Direction::Down,
    ];

    fn word(self) -> &'static str {
        match self {
            Direction::Forward => "forward",
            Direction::Rearward => "rearward",
            Direction::Left => "left",
            Direction::Right => "right",
            Direction::Up => "up",
            Direction::Down => "down",
        }
    }

    /// Our axis, and +1 or -1 for growing as it does or against it.
    fn in_ours(self) -> (Axis, f64) {
        match self {
            Direction::Rearward => (Axis::Length, 1.0),
            Direction::Forward => (Axis::Length, -1.0),
            Direction::Right => (Axis::Width, 1.0),
            Direction::Left => (Axis::Width, -1.0),
            Direction::Up => (Axis::Height, 1.0),
            Direction::Down => (Axis::Height, -1.0),
        }
    }
}

/// The directions in which a sheet's own x, y and z grow: a signed permutation of ours.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Axes([Direction; 3]);

impl Axes {
    /// Our own: rearward, right, up.
    pub const OURS: Axes = Axes([Direction::Rearward, Direction::Right, Direction::Up]);

    /// Reads three words, for the sheet's x, y and z in this order, such as `forward,left,up`.
    ///
    /// Three words that make a left-handed frame are more often a slip than a fact, so they are
    /// refused unless a fourth word confirms them: `rearward,left,up,left-handed`. Nothing is
    /// mirrored by that: every coordinate still goes where its word says.
    ///
    /// # Errors
    /// [`SheetError::Axes`] when the words are not three, or not one of forward/rearward, one of
    /// left/right and one of up/down; [`SheetError::LeftHanded`].
    pub fn parse(text: &str) -> Result<Axes, SheetError> {
        let unreadable = || SheetError::Axes {
            text: text.to_owned(),
        };
        let lower = text.to_lowercase();
        let words: Vec<&str> = lower.split(',').map(str::trim).collect();
        let (words, confirmed) = match words.as_slice() {
            [words @ .., LEFT_HANDED] => (words, true),
            words => (words, false),
        };
        let directions: Vec<Direction> = words
            .iter()
            .map(|word| Direction::ALL.into_iter().find(|d| d.word() == *word))
            .collect::<Option<_>>()
            .ok_or_else(unreadable)?;
        let axes = Axes(directions.try_into().map_err(|_| unreadable())?);

        let taken = axes.0.map(|d| d.in_ours().0);
        if !Axis::ALL.iter().all(|axis| taken.contains(axis)) {
            return Err(unreadable());
        }
        if !axes.right_handed() && !confirmed {
            return Err(SheetError::LeftHanded {
                text: axes.words().to_owned(),
            });
        }
        Ok(axes)
    }

    /// Whether x, y, z in this order make a right-handed frame: the determinant of the signed
    /// permutation is +1.
    pub fn right_handed(&self) -> bool {
        let [(x, sx), (y, sy), (z, sz)] = self.0.map(Direction::in_ours);
        let order = [x.index(), y.index(), z.index()];
        let even = matches!(order, [0, 1, 2] | [1, 2, 0] | [2, 0, 1]);
        sx * sy * sz * if even { 1.0 } else { -1.0 } > 0.0
    }

    /// A position in the sheet's own directions, in ours.
    pub fn place(&self, own: [f64; 3]) -> [f64; 3] {
        let mut ours = [0.0; 3];
        for (direction, value) in self.0.into_iter().zip(own) {
            let (axis, sign) = direction.in_ours();
            ours[axis.index()] = sign * value + 0.0; // + 0.0 turns a negative zero into zero
        }
        ours
    }

    /// Something that belongs to each coordinate and has no sign, such as a limit, in the order of
    /// our axes.
    pub fn carry<T: Default>(&self, own: [T; 3]) -> [T; 3] {
        let mut ours = [T::default(), T::default(), T::default()];
        for (direction, value) in self.0.into_iter().zip(own) {
            ours[direction.in_ours().0.index()] = value;
        }
        ours
    }

    fn words(&self) -> String {
        self.0.map(Direction::word).join(",")
    }
}

impl Default for Axes {
    fn default() -> Axes {
        Axes::OURS
    }
}

/// As [`Axes::parse`] reads it.
impl fmt::Display for Axes {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.words())?;
        if !self.right_handed() {
            write!(f, ",{LEFT_HANDED}")?;
        }
        Ok(())
    }
}

impl TryFrom<String> for Axes {
    type Error = SheetError;
    fn try_from(text: String) -> Result<Axes, SheetError> {
        Axes::parse(&text)
    }
}

impl From<Axes> for String {
    fn from(axes: Axes) -> String {
        axes.to_string()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ours_changes_nothing() {
        assert_eq!(Axes::parse(" Rearward, right ,UP").unwrap(), Axes::OURS);
        assert_eq!(Axes::OURS.place([1.0, -2.0, 3.0]), [1.0, -2.0, 3.0]);
        assert!(Axes::OURS.right_handed());
    }

    #[test]
    fn a_permutation_moves_coordinates_and_what_belongs_to_them() {
        let axes = Axes::parse("right,up,rearward").unwrap();
        assert_eq!(axes.place([1.0, 2.0, 3.0]), [3.0, 1.0, 2.0]);
        assert_eq!(
            axes.carry([Some("x"), None, Some("z")]),
            [Some("z"), Some("x"), None]
        );
    }

    #[test]
    fn a_turned_zero_stays_a_plain_zero() {
        let [x, ..] = Axes::parse("forward,left,up").unwrap().place([0.0; 3]);
        assert!(x.is_sign_positive());
    }

    /// Of the 48 signed permutations 24 are rotations: the rotation group of the cube.
    #[test]
    fn half_of_all_declarations_are_right_handed_and_all_survive_printing() {
        let mut right = 0;
        let mut all = 0;
        for x in Direction::ALL {
            for y in Direction::ALL {
                for z in Direction::ALL {
                    let axes = Axes([x, y, z]);
                    let Ok(read) = Axes::parse(&axes.to_string()) else {
                        continue;
                    };
                    assert_eq!(read, axes);
                    all += 1;
                    let plain = Axes::parse(&axes.words());
                    assert_eq!(plain.is_ok(), axes.right_handed());
                    right += usize::from(axes.right_handed());
                }
            }
        }
        assert_eq!((all, right), (48, 24));
    }

    #[test]
    fn a_left_handed_set_needs_its_word() {
        assert_eq!(
            Axes::parse("rearward,left,up").unwrap_err().to_string(),
            "rearward,left,up is a left-handed set of directions, so one of the words may be \
             wrong; where the sheet really counts so, write rearward,left,up,left-handed"
        );
        let axes = Axes::parse("rearward,left,up,left-handed").unwrap();
        assert_eq!(axes.place([1.0, 2.0, 3.0]), [1.0, -2.0, 3.0]);
    }

    #[test]
    fn other_words_are_refused() {
        for text in [
            "",
            "x,y,z",
            "forward,left",
            "forward,rearward,up",
            "forward,left,up,down",
            "forward,left,left",
        ] {
            let message = Axes::parse(text).unwrap_err().to_string();
            assert!(
                message.starts_with(&format!("{text:?} does not say where x, y and z grow")),
                "{message}"
            );
        }
    }
}
