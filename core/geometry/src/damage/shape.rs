//! The ways in which a part of the structure can have moved, as linear models.

use nalgebra::{DMatrix, Matrix3xX};
use serde::{Deserialize, Serialize};

use crate::frame::{Axis, Side, Vec3};

/// How it moved.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Shape {
    /// All by the same amount: pushed as one, without turning.
    Push,
    /// Each side pushed as one, by an amount of its own.
    PushEach,
    /// Pushed and turned as one rigid block.
    Block,
    /// Growing in proportion to the distance from where it begins, the same on both sides.
    Bend,
    /// Growing likewise, but the two sides go opposite ways.
    Warp,
    /// A bend and a warp together.
    BendAndWarp,
    /// A push, equal or opposite, with a bend and a warp on top of it.
    Ramp,
}

impl Shape {
    /// From simple to rich.
    pub const ALL: [Shape; 7] = [
        Shape::Push,
        Shape::PushEach,
        Shape::Block,
        Shape::Bend,
        Shape::Warp,
        Shape::BendAndWarp,
        Shape::Ramp,
    ];

    /// Whether it takes two sides.
    pub fn needs_both_sides(self) -> bool {
        matches!(self, Shape::PushEach | Shape::Warp | Shape::BendAndWarp)
    }
}

/// Which side of the vehicle moved.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Scope {
    Both,
    Left,
    Right,
}

impl Scope {
    pub const ALL: [Scope; 3] = [Scope::Both, Scope::Left, Scope::Right];

    /// Whether a point of that side is meant. Points on the centre line belong to both sides only.
    pub fn holds(self, side: Side) -> bool {
        match self {
            Scope::Both => true,
            Scope::Left => side == Side::Left,
            Scope::Right => side == Side::Right,
        }
    }

    /// The side, if it is one.
    pub fn side(self) -> Option<Side> {
        match self {
            Scope::Both => None,
            Scope::Left => Some(Side::Left),
            Scope::Right => Some(Side::Right),
        }
    }
}

/// A shape laid onto a place: what one unit of each of its parameters does to a point.
///
/// With s = +1 on the right, -1 on the left, 0 on the centre line, and r growing from 0 at the
/// hinge to 1 at the outermost point, a point of a shape that covers both sides moves by
///
/// * push: m; each side for itself: m + s h
/// * block: m + turn x arm
/// * bend: r m; warp: r s h; both: r (m + s h)
/// * ramp: m + s h + r (m' + s h')
///
/// where m is what the two sides share (mash, sidesway, sag) and h half of what tells them apart
/// (diamond, spread, twist). Fitting all points at once with their joint covariance is the same as
/// fitting the means and half differences of left-right pairs, but needs no pairs. A shape that
/// covers one side has no h.
#[derive(Clone, Debug)]
pub(super) struct Laid {
    pub shape: Shape,
    pub scope: Scope,
    /// +1 towards the rear, -1 towards the front.
    pub outward: f64,
    /// Where a bend begins and where it is one, along the length (mm).
    pub hinge: f64,
    pub end: f64,
    /// The middle and the radius of the points (mm), for the block.
    pub middle: Vec3,
    pub radius: f64,
    /// Columns that turn the determined parameters into all of them.
    pub basis: DMatrix<f64>,
}

impl Laid {
    /// The number of determined parameters.
    pub fn parameters(&self) -> usize {
        self.basis.ncols()
    }

    /// What each determined parameter does to a point that the shape holds (3 by p).
    pub fn effect(&self, x: Vec3, side: Side) -> Matrix3xX<f64> {
        self.full_effect(x, side) * &self.basis
    }

    /// What each parameter does, determined or not.
    pub fn full_effect(&self, x: Vec3, side: Side) -> Matrix3xX<f64> {
        let unit = Axis::ALL.map(Axis::unit);
        let r = (x.x - self.hinge) / (self.end - self.hinge);
        let s = match side {
            Side::Left => -1.0,
            Side::Right => 1.0,
            Side::Centre => 0.0,
        };
        let factors: &[f64] = match (self.shape, self.scope) {
            (Shape::Push, _) => &[1.0],
            (Shape::PushEach, _) => &[1.0, s],
            (Shape::Block, _) => {
                let arm = (x - self.middle) / self.radius;
                let turns = unit.map(|axis| axis.cross(&arm));
                let [a, b, c] = unit;
                let [d, e, f] = turns;
                return Matrix3xX::from_columns(&[a, b, c, d, e, f]);
            }
            (Shape::Bend, _) => &[r],
            (Shape::Warp, _) => &[s * r],
            (Shape::BendAndWarp, _) => &[r, s * r],
            (Shape::Ramp, Scope::Both) => &[1.0, s, r, s * r],
            (Shape::Ramp, _) => &[1.0, r],
        };
        let columns: Vec<Vec3> = factors.iter().flat_map(|f| unit.map(|u| u * *f)).collect();
        Matrix3xX::from_columns(&columns)
    }

    /// Keeps only the parameters that the points determine: those of which one unit moves the
    /// points by at least `least`, root mean square.
    pub fn determined_by(mut self, points: &[(Vec3, Side)], least: f64) -> Self {
        let columns = self.full_effect(self.middle, Side::Centre).ncols();
        let mut normal = DMatrix::zeros(columns, columns);
        for (x, side) in points {
            let effect = self.full_effect(*x, *side);
            normal += effect.transpose() * effect;
        }
        let eigen = normal.symmetric_eigen();
        let least = least * least * points.len() as f64;
        let kept: Vec<usize> = (0..columns)
            .filter(|&k| eigen.eigenvalues[k] >= least)
            .collect();
        self.basis = eigen.eigenvectors.select_columns(&kept);
        self
    }
}
