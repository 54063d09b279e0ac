//! What a figure between named points says about their positions: its predicted value and the
//! derivative by the coordinates.
//!
//! With a = (xa, ya, za), b = (xb, yb, zb) and d = b - a:
//!
//! | quantity | predicted value |
//! |---|---|
//! | true distance | sqrt(dx^2 + dy^2 + dz^2) |
//! | level distance | sqrt(dx^2 + dy^2), the true one projected onto the datum plane |
//! | length | abs(dx), projected along the vehicle |
//! | width | y(right) - y(left) |
//! | height difference | z(to) - z(from) |
//! | coordinate | x, y or z of one point; z is its height above the datum plane |
//! | span | 2 abs(y), the width across a point and its mirror image |
//! | true or level diagonal | the distance from a to the mirror image (xb, -yb, zb) of b |
//!
//! The last two serve sheets, which print one figure for both sides: one unknown point then stands
//! for itself and for its mirror image across the vehicle's centre plane y = 0.
//!
//! Units: millimetres in, millimetres out; the derivative is a pure number. The derivative of a
//! distance by its ends is the unit vector along it; where the ends coincide it has no direction
//! and is returned as zero.

use serde::{Deserialize, Serialize};

use crate::frame::{Axis, Vec3};

/// One kind of figure, with the points it joins by their places in the network's list.
///
/// ```
/// use datumtrail_geometry::frame::Vec3;
/// use datumtrail_geometry::network::Quantity;
///
/// let at = [Vec3::new(0.0, -400.0, 0.0), Vec3::new(300.0, -400.0, 400.0)];
/// let value = |q: Quantity| q.predict(&at);
/// assert_eq!(value(Quantity::TrueDistance { from: 0, to: 1 }), 500.0);
/// assert_eq!(value(Quantity::LevelDistance { from: 0, to: 1 }), 300.0);
/// // 800 mm across to the other side, 300 along: the level diagonal.
/// let diagonal = value(Quantity::LevelDiagonal { from: 0, to: 1 });
/// assert!((diagonal - 730_000f64.sqrt()).abs() < 1e-12);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Quantity {
    /// Point to point.
    TrueDistance { from: usize, to: usize },
    /// Point to point, projected onto the datum plane.
    LevelDistance { from: usize, to: usize },
    /// Projected along the vehicle; printed without a sign.
    Length { from: usize, to: usize },
    /// From the left point to the right one, projected across the vehicle.
    Width { left: usize, right: usize },
    /// How much higher `to` is than `from`; signed.
    HeightDifference { from: usize, to: usize },
    /// One coordinate observed directly, for example a height above the datum plane.
    Coordinate { point: usize, axis: Axis },
    /// Across the vehicle from a point to its own mirror image.
    Span { point: usize },
    /// Point to point, from `from` to the mirror image of `to`.
    TrueDiagonal { from: usize, to: usize },
    /// As the true diagonal, projected onto the datum plane.
    LevelDiagonal { from: usize, to: usize },
}

/// The derivative of a quantity by the coordinates of the one or two points it touches.
#[derive(Clone, Copy, Debug)]
pub struct Gradient {
    /// A point's place and the derivative by its three coordinates.
    pub first: (usize, Vec3),
    /// The same for the second point, where there is one.
    pub second: Option<(usize, Vec3)>,
}

impl Gradient {
    /// Both parts, in order.
    pub fn parts(&self) -> impl Iterator<Item = (usize, Vec3)> + '_ {
        std::iter::once(self.first).chain(self.second)
    }
}

impl Quantity {
    /// The height of a point above the datum plane.
    pub fn height(point: usize) -> Quantity {
        Quantity::Coordinate {
            point,
            axis: Axis::Height,
        }
    }

    /// The one or two points that the figure touches.
    pub fn points(self) -> (usize, Option<usize>) {
        match self {
            Quantity::TrueDistance { from, to }
            | Quantity::LevelDistance { from, to }
            | Quantity::Length { from, to }
            | Quantity::HeightDifference { from, to }
            | Quantity::TrueDiagonal { from, to }
            | Quantity::LevelDiagonal { from, to } => (from, Some(to)),
            Quantity::Width { left, right } => (left, Some(right)),
            Quantity::Coordinate { point, .. } | Quantity::Span { point } => (point, None),
        }
    }

    /// The same quantity between points under other places; None where one of them has none.
    pub fn renumbered(self, place: impl Fn(usize) -> Option<usize>) -> Option<Quantity> {
        let mut renumbered = self;
        let (first, second) = match &mut renumbered {
            Quantity::TrueDistance { from, to }
            | Quantity::LevelDistance { from, to }
            | Quantity::Length { from, to }
            | Quantity::HeightDifference { from, to }
            | Quantity::TrueDiagonal { from, to }
            | Quantity::LevelDiagonal { from, to } => (from, Some(to)),
            Quantity::Width { left, right } => (left, Some(right)),
            Quantity::Coordinate { point, .. } | Quantity::Span { point } => (point, None),
        };
        *first = place(*first)?;
        if let Some(second) = second {
            *second = place(*second)?;
        }
        Some(renumbered)
    }

    /// Whether the figure touches this point.
    pub fn touches(self, point: usize) -> bool {
        let (a, b) = self.points();
        a == point || b == Some(point)
    }

    /// Whether the figure can never be negative.
    pub fn is_unsigned(self) -> bool {
        !matches!(
            self,
            Quantity::Width { .. }
                | Quantity::HeightDifference { .. }
                | Quantity::Coordinate { .. }
        )
    }

    /// Whether the figure stays the same when every point is mirrored along `axis`. Figures for
    /// which this holds can never say which way the axis points.
    pub fn is_blind_to_sign_of(self, axis: Axis) -> bool {
        match self {
            Quantity::Width { .. } => axis != Axis::Width,
            Quantity::HeightDifference { .. } => axis != Axis::Height,
            Quantity::Coordinate { axis: own, .. } => axis != own,
            _ => true,
        }
    }

    /// The words that screens use.
    pub fn words(self) -> &'static str {
        match self {
            Quantity::TrueDistance { .. } => "true distance",
            Quantity::LevelDistance { .. } => "level distance",
            Quantity::Length { .. } => "length",
            Quantity::Width { .. } | Quantity::Span { .. } => "width",
            Quantity::HeightDifference { .. } => "height difference",
            Quantity::Coordinate {
                axis: Axis::Height, ..
            } => "height",
            Quantity::Coordinate {
                axis: Axis::Width, ..
            } => "width coordinate",
            Quantity::Coordinate {
                axis: Axis::Length, ..
            } => "length coordinate",
            Quantity::TrueDiagonal { .. } => "true diagonal",
            Quantity::LevelDiagonal { .. } => "level diagonal",
        }
    }

    /// The vector whose length is the figure, with the part of the mirror on the far end: None for
    /// the signed figures.
    fn arm(self, at: &[Vec3]) -> Option<(Vec3, Vec3)> {
        let ones = Vec3::new(1.0, 1.0, 1.0);
        let mirror = Vec3::new(1.0, -1.0, 1.0);
        let level = Vec3::new(1.0, 1.0, 0.0);
        let along = Vec3::new(1.0, 0.0, 0.0);
        let across = Vec3::new(0.0, 1.0, 0.0);
        // mask: what the projection keeps; sign: the mirror on the far end
        let (from, to, mask, sign) = match self {
            Quantity::TrueDistance { from, to } => (from, to, ones, ones),
            Quantity::LevelDistance { from, to } => (from, to, level, ones),
            Quantity::Length { from, to } => (from, to, along, ones),
            Quantity::TrueDiagonal { from, to } => (from, to, ones, mirror),
            Quantity::LevelDiagonal { from, to } => (from, to, level, mirror),
            Quantity::Span { point } => (point, point, across, mirror),
            _ => return None,
        };
        let arm = (at[to].component_mul(&sign) - at[from]).component_mul(&mask);
        Some((arm, sign))
    }

    /// The value that these positions predict.
    pub fn predict(self, at: &[Vec3]) -> f64 {
        match self {
            Quantity::Width { left, right } => at[right].y - at[left].y,
            Quantity::HeightDifference { from, to } => at[to].z - at[from].z,
            Quantity::Coordinate { point, axis } => at[point][axis.index()],
            _ => self.arm(at).map_or(f64::NAN, |(arm, _)| arm.norm()),
        }
    }

    /// The derivative at these positions.
    pub fn gradient(self, at: &[Vec3]) -> Gradient {
        match self {
            Quantity::Width { left, right } => Gradient {
                first: (left, -Axis::Width.unit()),
                second: Some((right, Axis::Width.unit())),
            },
            Quantity::HeightDifference { from, to } => Gradient {
                first: (from, -Axis::Height.unit()),
                second: Some((to, Axis::Height.unit())),
            },
            Quantity::Coordinate { point, axis } => Gradient {
                first: (point, axis.unit()),
                second: None,
            },
            _ => {
                let (arm, sign) = self.arm(at).unwrap_or((Vec3::zeros(), Vec3::zeros()));
                let unit = arm.try_normalize(1e-12).unwrap_or_else(Vec3::zeros);
                let far = unit.component_mul(&sign);
                match self.points() {
                    (from, Some(to)) => Gradient {
                        first: (from, -unit),
                        second: Some((to, far)),
                    },
                    // A span touches one point at both of its ends.
                    (point, None) => Gradient {
                        first: (point, far - unit),
                        second: None,
                    },
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn all() -> Vec<Quantity> {
        let (from, to) = (0, 1);
        let mut all = vec![
            Quantity::TrueDistance { from, to },
            Quantity::LevelDistance { from, to },
            Quantity::Length { from, to },
            Quantity::Width { left: 0, right: 1 },
            Quantity::HeightDifference { from, to },
            Quantity::Span { point: 1 },
            Quantity::TrueDiagonal { from, to },
            Quantity::LevelDiagonal { from, to },
        ];
        all.extend(Axis::ALL.map(|axis| Quantity::Coordinate { point: 1, axis }));
        all
    }

    #[test]
    fn gradients_agree_with_central_differences() {
        let at = [
            Vec3::new(12.0, -430.0, 71.0),
            Vec3::new(-580.0, 395.0, 236.0),
        ];
        for q in all() {
            let mut analytic = [Vec3::zeros(); 2];
            for (point, g) in q.gradient(&at).parts() {
                analytic[point] += g;
            }
            for (point, gradient) in analytic.iter().enumerate() {
                for axis in 0..3 {
                    let h = 1e-3;
                    let (mut plus, mut minus) = (at, at);
                    plus[point][axis] += h;
                    minus[point][axis] -= h;
                    let numeric = (q.predict(&plus) - q.predict(&minus)) / (2.0 * h);
                    assert!(
                        (gradient[axis] - numeric).abs() < 1e-8,
                        "{q:?} point {point} axis {axis}: {} against {numeric}",
                        gradient[axis]
                    );
                }
            }
        }
    }

    #[test]
    fn a_mirrored_network_gives_the_same_blind_figures() {
        let at = [Vec3::new(1.0, 2.0, 3.0), Vec3::new(-4.0, 7.0, 11.0)];
        for axis in Axis::ALL {
            let mirrored = at.map(|mut p| {
                p[axis.index()] = -p[axis.index()];
                p
            });
            for q in all() {
                let same = (q.predict(&at) - q.predict(&mirrored)).abs() < 1e-12;
                assert_eq!(same, q.is_blind_to_sign_of(axis), "{q:?} along {axis:?}");
            }
        }
    }

    #[test]
    fn coinciding_ends_have_no_direction() {
        let at = [Vec3::zeros(); 2];
        let g = Quantity::TrueDistance { from: 0, to: 1 }.gradient(&at);
        assert!(g.parts().all(|(_, v)| v == Vec3::zeros()));
    }
}
