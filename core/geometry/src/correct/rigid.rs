//! A rigid move: a turn about a pivot, then a push.

use nalgebra::Rotation3;

use crate::frame::{Mat3, Vec3};

/// Takes the point x to pivot + R (x - pivot) + translation. Millimetres, vehicle frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RigidMove {
    /// The point that the turn leaves in place.
    pub pivot: Vec3,
    /// How far the pivot itself goes.
    pub translation: Vec3,
    /// The rotation vector: its direction is the axis (right-handed), its length the angle in
    /// radians.
    pub rotation: Vec3,
}

impl RigidMove {
    /// The move that leaves everything in place, stated at a pivot.
    pub fn none(pivot: Vec3) -> Self {
        RigidMove {
            pivot,
            translation: Vec3::zeros(),
            rotation: Vec3::zeros(),
        }
    }

    /// Where the move takes a point.
    pub fn apply(&self, x: Vec3) -> Vec3 {
        self.pivot + self.arm(x) + self.translation
    }

    /// How far the move takes a point.
    pub fn displacement(&self, x: Vec3) -> Vec3 {
        self.apply(x) - x
    }

    /// The angle of the turn in radians, from 0 to pi.
    pub fn angle(&self) -> f64 {
        self.rotation.norm()
    }

    /// The same move, stated at another pivot.
    pub fn about(&self, pivot: Vec3) -> Self {
        RigidMove {
            pivot,
            translation: self.displacement(pivot),
            rotation: self.rotation,
        }
    }

    /// From the pivot to the point, turned.
    pub(super) fn arm(&self, x: Vec3) -> Vec3 {
        Rotation3::new(self.rotation) * (x - self.pivot)
    }

    /// This move with a further small push and turn, the pivot (where it is then) turning in place.
    pub(super) fn and(&self, push: Vec3, turn: Vec3) -> Self {
        let rotation = Rotation3::new(turn) * Rotation3::new(self.rotation);
        RigidMove {
            pivot: self.pivot,
            translation: self.translation + push,
            rotation: rotation.scaled_axis(),
        }
    }
}

/// The matrix with cross(v) w = v x w.
pub(super) fn cross(v: Vec3) -> Mat3 {
    v.cross_matrix()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quarter_turn_about_the_height_takes_rearward_to_the_right() {
        let turn = RigidMove {
            pivot: Vec3::new(100.0, 0.0, 0.0),
            translation: Vec3::new(0.0, 0.0, 5.0),
            rotation: Vec3::new(0.0, 0.0, std::f64::consts::FRAC_PI_2),
        };
        let to = turn.apply(Vec3::new(110.0, 0.0, 0.0));
        assert!((to - Vec3::new(100.0, 10.0, 5.0)).norm() < 1e-12, "{to}");
        let x = Vec3::new(3.0, -7.0, 11.0);
        let elsewhere = turn.about(Vec3::new(-40.0, 25.0, 3.0));
        assert!((elsewhere.apply(x) - turn.apply(x)).norm() < 1e-12);
    }
}
