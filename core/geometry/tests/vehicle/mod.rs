//! What the tests share: a published sheet, an instrument somewhere in the room, seeded noise.
#![allow(dead_code)] // each test file uses its own part

use datumtrail_geometry::check::{Reading, Target};
use datumtrail_geometry::frame::{Mat3, Side, Vec3};
use nalgebra::Rotation3;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

/// Renault, workshop repair manual for the Mégane Scénic (from 1995), section 40, "Sub-frame
/// dimensions": see `tests/published/README.md`.
const SHEET: &str = include_str!("../published/megane-scenic-1995-underbody.csv");

/// The published sheet, printed to whole millimetres, with one limit for all.
pub fn published_sheet(limit_mm: f64) -> Vec<Target> {
    SHEET
        .lines()
        .skip(1)
        .map(|line| {
            let field: Vec<&str> = line.split(',').collect();
            let side = if field[1] == "left" {
                Side::Left
            } else {
                Side::Right
            };
            let number = |k: usize| field[k].parse::<f64>().expect("a number in the sheet");
            Target::new(field[0], side, [number(3), number(4), number(5)], 1.0).with_limit(limit_mm)
        })
        .collect()
}

pub fn names(list: &[&str]) -> Vec<String> {
    list.iter().map(|s| s.to_string()).collect()
}

/// Six reference points in the middle of the vehicle.
pub fn six_references() -> Vec<String> {
    names(&["A", "A'", "B", "B'", "G", "G'"])
}

/// An instrument somewhere in the room: where it sees a point of the vehicle.
#[derive(Clone, Copy)]
pub struct Instrument {
    pub turn: Rotation3<f64>,
    pub at: Vec3,
}

impl Instrument {
    pub fn somewhere() -> Instrument {
        Instrument {
            turn: Rotation3::from_euler_angles(0.4, -1.1, 2.3),
            at: Vec3::new(-1800.0, 2600.0, 900.0),
        }
    }

    pub fn sees(&self, vehicle: Vec3) -> Vec3 {
        self.turn * (vehicle - self.at)
    }

    /// A direction of the vehicle in the instrument's frame.
    pub fn sees_direction(&self, vehicle: Vec3) -> Vec3 {
        self.turn * vehicle
    }
}

/// Seeded normal noise, the same on every machine.
pub struct Noise(ChaCha8Rng);

impl Noise {
    pub fn seeded(seed: u64) -> Noise {
        Noise(ChaCha8Rng::seed_from_u64(seed))
    }

    pub fn normal(&mut self) -> f64 {
        StandardNormal.sample(&mut self.0)
    }

    pub fn vector(&mut self) -> Vec3 {
        Vec3::new(self.normal(), self.normal(), self.normal())
    }

    /// Noise with the given covariance.
    pub fn with(&mut self, covariance: &Mat3) -> Vec3 {
        covariance.cholesky().expect("a covariance").l() * self.vector()
    }
}

/// Readings of every point of a sheet, displaced as told (vehicle frame, mm), without noise.
pub fn readings(
    targets: &[Target],
    instrument: &Instrument,
    u_mm: Option<f64>,
    displaced: impl Fn(&str) -> Vec3,
) -> Vec<Reading> {
    targets
        .iter()
        .map(|t| {
            let seen = instrument.sees(t.position_mm + displaced(&t.point));
            Reading::new(t.point.clone(), seen.into(), u_mm)
        })
        .collect()
}
