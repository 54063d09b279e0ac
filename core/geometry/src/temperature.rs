//! Readings of a warm or cold vehicle, brought to the temperature that dimensions are meant at.
//!
//! Dimensions hold at 20 degrees Celsius (ISO 1). A structure at another temperature is larger by
//! the factor `1 + a (t - 20)`, with the coefficients of linear expansion that design codes give:
//! steel 12e-6 per kelvin (EN 1993-1-1:2005, 3.2.6), aluminium 23e-6 per kelvin (EN 1999-1-1:2007,
//! 3.2.5); both are cited from memory. Five metres of aluminium ten kelvin too warm are 1.15 mm
//! too long.
//!
//! Nothing is corrected unless someone states the material and the temperature of the structure.
//! The instrument is taken to read true lengths: its own correction is its maker's business.
//!
//! Scaling is about the instrument's origin; the set-up takes up the shift that this causes.
//!
//! ```
//! use datumtrail_geometry::check::Reading;
//! use datumtrail_geometry::temperature::{Material, to_20_degrees};
//!
//! let warm = [Reading::new("end", [5001.15, 0.0, 0.0], Some(0.3))];
//! let at_20 = to_20_degrees(&warm, Material::Aluminium, 30.0).ok_or("not a temperature")?;
//! assert!((at_20[0].position_mm.x - 5000.0).abs() < 1e-3);
//! # Ok::<(), &str>(())
//! ```

use crate::check::Reading;
use serde::{Deserialize, Serialize};

/// The temperature that dimensions are meant at, degrees Celsius (ISO 1).
pub const REFERENCE_CELSIUS: f64 = 20.0;

/// What a structure is made of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Material {
    Steel,
    Aluminium,
}

impl Material {
    /// The coefficient of linear expansion, per kelvin.
    pub fn expansion(self) -> f64 {
        match self {
            Material::Steel => 12e-6,
            Material::Aluminium => 23e-6,
        }
    }
}

/// What a length at the given temperature (degrees Celsius) is multiplied with to be the length at
/// 20; `None` outside -60 to 100 degrees, where no vehicle is measured.
pub fn factor_to_20_degrees(material: Material, celsius: f64) -> Option<f64> {
    (-60.0..=100.0)
        .contains(&celsius)
        .then(|| 1.0 / (1.0 + material.expansion() * (celsius - REFERENCE_CELSIUS)))
}

/// The readings of a structure at the given temperature (degrees Celsius) as they would be at 20.
/// Covariances scale by parts per ten thousand at most and are kept. `None` as for
/// [`factor_to_20_degrees`].
pub fn to_20_degrees(
    readings: &[Reading],
    material: Material,
    celsius: f64,
) -> Option<Vec<Reading>> {
    let factor = factor_to_20_degrees(material, celsius)?;
    let corrected = |r: &Reading| Reading {
        position_mm: r.position_mm * factor,
        ..r.clone()
    };
    Some(readings.iter().map(corrected).collect())
}
