//! Repeated readings of a point, averaged, with a test of repeatability.
//!
//! # What averages and what does not
//! Of a reading's covariance S only the random part D changes from one reading to the next; the
//! rest (an adapter, a calibration, the temperature) is shared by all of them and stays. With n
//! readings
//!
//! ```text
//! mean       q = sum q_i / n
//! covariance S - D + D / n
//! ```
//!
//! Who states no random part gets the mean with the uncertainty of one reading: honest, and no
//! worse than not repeating.
//!
//! # The test
//! `sum (q_i - q)' D^-1 (q_i - q)` follows chi-square with `3 (n - 1)` degrees of freedom. Without
//! a stated random part S stands in for it: then the test only finds repeats that scatter more
//! than even the whole uncertainty allows. A failure at [`ALPHA`] over the number of points
//! repeated says that the point was not hit alike, or that the instrument moved. Which of the
//! readings is right is then not known, so their scatter does not average: the sample covariance
//! `sum (q_i - q) (q_i - q)' / (n - 1)` is added whole, and a limit is hardly called inside there.
//!
//! Units: mm. Cost: linear.
//!
//! ```
//! use datumtrail_geometry::check::Reading;
//! use datumtrail_geometry::frame::Mat3;
//! use datumtrail_geometry::repeat::average;
//!
//! let readings = [
//!     Reading::new("H", [10.0, 20.0, 30.0], Some(0.5)),
//!     Reading::new("H", [10.4, 20.0, 30.0], Some(0.5)),
//!     Reading::new("C", [0.0, 0.0, 0.0], Some(0.5)),
//! ];
//! let averaged = average(&readings, Some(Mat3::identity() * 0.16))?; // 0.4 mm of the 0.5 is random
//! assert_eq!(averaged.readings.len(), 2);
//! assert!((averaged.readings[0].position_mm.x - 10.2).abs() < 1e-12);
//! // 0.25 - 0.16 + 0.16 / 2
//! let covariance = averaged.readings[0].covariance_mm2.ok_or("stated")?;
//! assert!((covariance[(0, 0)] - 0.17).abs() < 1e-12);
//! assert!(!averaged.repeats[0].failed);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use crate::check::{ALPHA, Reading};
use crate::frame::{Mat3, Vec3};
use crate::stats;
use serde::Serialize;
use std::collections::HashMap;

/// Readings with one for each point, and what the repeats showed.
#[derive(Clone, Debug, PartialEq)]
pub struct Averaged {
    /// In the order in which each point was first read.
    pub readings: Vec<Reading>,
    /// The points read more than once, in the same order.
    pub repeats: Vec<Repeat>,
}

/// What the repeats of one point showed.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Repeat {
    pub point: String,
    pub readings: usize,
    /// The largest distance of a reading from the mean, mm.
    pub farthest_mm: f64,
    /// The standard deviation along each axis of the instrument's frame, mm.
    pub deviation_mm: [f64; 3],
    /// The probability of so large a scatter or larger; `None` where no uncertainty was stated.
    pub p: Option<f64>,
    /// The repeats scatter more than stated.
    pub failed: bool,
}

/// Why readings could not be averaged.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum RepeatError {
    #[error(
        "the readings of point {point} state different uncertainties: average only readings of \
         one instrument, and join others as set-ups of their own"
    )]
    DifferentUncertainties { point: String },
    #[error(
        "the random part of the uncertainty is larger than the uncertainty of point {point}, or \
         not above zero: state it again"
    )]
    BadRandomPart { point: String },
    #[error("a reading of point {point} holds a number that is not finite: enter it again")]
    NotFinite { point: String },
}

/// Averages the repeats of each point. `random` is the random part of each reading's covariance,
/// mm^2, in the instrument's frame.
///
/// # Errors
/// See [`RepeatError`].
pub fn average(readings: &[Reading], random: Option<Mat3>) -> Result<Averaged, RepeatError> {
    let mut order: Vec<&str> = Vec::new();
    let mut of_point: HashMap<&str, Vec<&Reading>> = HashMap::new();
    for r in readings {
        if !r.position_mm.iter().all(|v| v.is_finite()) {
            let point = r.point.clone();
            return Err(RepeatError::NotFinite { point });
        }
        let list = of_point.entry(&r.point).or_default();
        if list.is_empty() {
            order.push(&r.point);
        }
        list.push(r);
    }
    let repeated = of_point.values().filter(|list| list.len() > 1).count();
    let level = ALPHA / repeated.max(1) as f64;

    let mut averaged = Averaged {
        readings: Vec::with_capacity(order.len()),
        repeats: Vec::new(),
    };
    for point in order {
        match of_point.get(point).map(Vec::as_slice) {
            Some([one]) => averaged.readings.push((*one).clone()),
            Some([first, rest @ ..]) => {
                let (mean, repeat) = mean(first, rest, random, level)?;
                averaged.readings.push(mean);
                averaged.repeats.push(repeat);
            }
            _ => {}
        }
    }
    Ok(averaged)
}

fn mean(
    first: &Reading,
    rest: &[&Reading],
    random: Option<Mat3>,
    level: f64,
) -> Result<(Reading, Repeat), RepeatError> {
    let point = || first.point.clone();
    if rest
        .iter()
        .any(|r| r.covariance_mm2 != first.covariance_mm2)
    {
        return Err(RepeatError::DifferentUncertainties { point: point() });
    }
    let n = 1 + rest.len();
    let positions = || std::iter::once(first).chain(rest.iter().copied());
    let centre = positions().map(|r| r.position_mm).sum::<Vec3>() / n as f64;
    let off: Vec<Vec3> = positions().map(|r| r.position_mm - centre).collect();

    let stated = first.covariance_mm2;
    let random = random.filter(|_| stated.is_some());
    let covariance_mm2 = match (stated, random) {
        (Some(all), Some(random)) => {
            let shared = all - random;
            let part_of_it = shared.symmetric_eigenvalues().min() >= -1e-9 * all.amax();
            if !(part_of_it && random.cholesky().is_some()) {
                return Err(RepeatError::BadRandomPart { point: point() });
            }
            Some(shared + random / n as f64)
        }
        (stated, _) => stated,
    };
    let p = random.or(stated).and_then(|d| {
        let d = d.cholesky()?;
        let sum: f64 = off.iter().map(|v| v.dot(&d.solve(v))).sum();
        Some(stats::chi2_exceeds(sum, 3 * (n - 1)))
    });
    let squares = off.iter().map(|v| v.component_mul(v)).sum::<Vec3>();
    let failed = p.is_some_and(|p| p < level);
    let scatter = || off.iter().map(|v| v * v.transpose()).sum::<Mat3>() / (n - 1) as f64;
    let covariance_mm2 = covariance_mm2.map(|c| if failed { c + scatter() } else { c });
    let repeat = Repeat {
        point: point(),
        readings: n,
        farthest_mm: off.iter().map(Vec3::norm).fold(0.0, f64::max),
        deviation_mm: squares.map(|s| (s / (n - 1) as f64).sqrt()).into(),
        p,
        failed,
    };
    let reading = Reading {
        point: point(),
        position_mm: centre,
        covariance_mm2,
    };
    Ok((reading, repeat))
}
