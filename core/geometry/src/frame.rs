//! The vehicle's frame: axes, sides, and directions in words.
//!
//! Millimetres, right-handed: x (length) positive rearward, y (width) positive to the vehicle's
//! right, z (height) positive up, with the zero planes of the sheet (SAE J182, ISO 4130).
//!
//! A person never sees a bare sign. [`direction`] turns a signed component into a word:
//!
//! ```
//! use datumtrail_geometry::frame::{Axis, Side, direction};
//!
//! assert_eq!(direction(Axis::Length, -7.4, Side::Left), "forward");
//! assert_eq!(direction(Axis::Width, 2.0, Side::Left), "inboard");
//! assert_eq!(direction(Axis::Width, 2.0, Side::Centre), "right");
//! assert_eq!(direction(Axis::Height, 3.1, Side::Right), "up");
//! ```

use serde::{Deserialize, Serialize};

/// A position or displacement in millimetres: length, width, height.
pub type Vec3 = nalgebra::Vector3<f64>;
/// A 3 by 3 matrix, mostly a covariance in square millimetres.
pub type Mat3 = nalgebra::Matrix3<f64>;

/// One of the vehicle's three axes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Axis {
    /// x, positive rearward.
    Length,
    /// y, positive to the vehicle's right.
    Width,
    /// z, positive up.
    Height,
}

impl Axis {
    /// The three axes in the order of the coordinates.
    pub const ALL: [Axis; 3] = [Axis::Length, Axis::Width, Axis::Height];

    /// 0, 1 or 2: the coordinate's place in a [`Vec3`].
    pub fn index(self) -> usize {
        self as usize
    }

    /// The unit vector along the axis, positive as the frame is.
    pub fn unit(self) -> Vec3 {
        let mut v = Vec3::zeros();
        v[self.index()] = 1.0;
        v
    }

    /// The word that screens use.
    pub fn word(self) -> &'static str {
        match self {
            Axis::Length => "length",
            Axis::Width => "width",
            Axis::Height => "height",
        }
    }
}

/// Which side of the vehicle a point belongs to, seen in driving direction.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Side {
    Left,
    Right,
    Centre,
}

impl Side {
    /// The word that screens use.
    pub fn word(self) -> &'static str {
        match self {
            Side::Left => "left",
            Side::Right => "right",
            Side::Centre => "centre",
        }
    }

    /// The other side; the centre is its own.
    pub fn opposite(self) -> Side {
        match self {
            Side::Left => Side::Right,
            Side::Right => Side::Left,
            Side::Centre => Side::Centre,
        }
    }
}

/// The word for a signed component: forward or rearward, inboard or outboard (left or right for a
/// point on the centre line), up or down. Zero takes the positive word: callers that may show an
/// exact zero say "in place" themselves.
pub fn direction(axis: Axis, component_mm: f64, side: Side) -> &'static str {
    let positive = component_mm >= 0.0;
    match (axis, side, positive) {
        (Axis::Length, _, true) => "rearward",
        (Axis::Length, _, false) => "forward",
        (Axis::Width, Side::Centre, true) => "right",
        (Axis::Width, Side::Centre, false) => "left",
        (Axis::Width, Side::Right, true) | (Axis::Width, Side::Left, false) => "outboard",
        (Axis::Width, Side::Right, false) | (Axis::Width, Side::Left, true) => "inboard",
        (Axis::Height, _, true) => "up",
        (Axis::Height, _, false) => "down",
    }
}
