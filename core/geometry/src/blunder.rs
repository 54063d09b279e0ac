//! Blunders, found by the fit they would explain.
//!
//! A swapped label or a wrong unit is no measuring error, and no uncertainty covers it. Each kind
//! is tried out on the readings, and proposed when it explains what was wrong:
//!
//! - **of the whole survey**: inches taken for millimetres and other factors; left and right
//!   labels exchanged; one axis of the instrument with the wrong sign (which axis, a fit cannot
//!   say: any one of them mirrors the frame); the sheet of another vehicle;
//! - **of one or two readings**: two labels swapped; a decimal point shifted; a sign lost; one
//!   reading in other units.
//!
//! A blunder of reference points is measured by the chi-square of the set-up per degree of
//! freedom, one of other points by their squared distance from the sheet in units of its
//! uncertainty. It is proposed when that falls to a sixteenth or less (distances to a quarter) and
//! by [`LEAST_GAIN`] or more, so that neither noise nor ordinary damage calls for it. Where no
//! uncertainty was stated, one millimetre stands in.
//!
//! A proposal is never applied here. [`corrected`] gives the readings as they would be, for the
//! caller to record as corrections once a person agrees.
//!
//! Units: mm. Cost: one set-up for each pair of reference points and for each reference point,
//! and a few products for each pair of other points that are far out.
//!
//! ```
//! use datumtrail_geometry::blunder::{Blunder, propose};
//! use datumtrail_geometry::check::{Reading, Request, Target};
//! use datumtrail_geometry::frame::Side;
//!
//! let sheet = [
//!     ("a", [200.0, -400.0, 70.0]),
//!     ("b", [200.0, 400.0, 70.0]),
//!     ("c", [1960.0, -630.0, 70.0]),
//!     ("d", [1960.0, 630.0, 70.0]),
//!     ("e", [880.0, -370.0, 10.0]),
//! ];
//! let targets = sheet.map(|(p, at)| Target::new(p, Side::Centre, at, 1.0));
//! let mut readings = sheet.map(|(p, at)| Reading::new(p, at, Some(0.5)));
//! readings[2].position_mm.x = 196.0; // a decimal point too far left
//! let references = ["a", "b", "c", "d", "e"].map(String::from);
//! let found = propose(&Request::new(&readings, &targets, &references), &[])?;
//! assert_eq!(
//!     found[0].blunder,
//!     Blunder::DecimalShifted { point: "c".into(), coordinate: 0, factor: 10.0 }
//! );
//! assert!(found[0].after < 0.1 && found[0].before > 1000.0);
//! # Ok::<(), datumtrail_geometry::check::CheckError>(())
//! ```

mod kinds;
mod misfit;
mod search;

pub use kinds::{Blunder, corrected};

use crate::check::{CheckError, Request, Target};
use serde::Serialize;

/// A blunder is proposed only when it takes at least this much off the sum of squares.
pub const LEAST_GAIN: f64 = 30.0;

/// And only when what is left is at most this part of what was.
pub const LARGEST_REST: f64 = 1.0 / 16.0;

/// A sheet that the survey might belong to instead.
#[derive(Clone, Copy, Debug)]
pub struct OtherSheet<'a> {
    pub name: &'a str,
    pub targets: &'a [Target],
}

/// A blunder with the improvement it explains.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Proposal {
    pub blunder: Blunder,
    /// The points whose readings it changes; empty where it changes all.
    pub points: Vec<String>,
    /// It concerns the set-up, not only the points named.
    pub concerns_set_up: bool,
    /// The mean square misfit before, in units of the uncertainty: 1 is ordinary.
    pub before: f64,
    /// The same afterwards.
    pub after: f64,
    /// Root mean square distance from the sheet before, mm.
    pub rms_before_mm: f64,
    /// The same afterwards.
    pub rms_after_mm: f64,
    /// Root mean square distance of all measured points afterwards, mm, for what changes the whole
    /// survey: on a symmetrical vehicle a mirrored frame and exchanged labels fit the reference
    /// points alike, and only a point without a partner tells them apart.
    pub all_points_after_mm: Option<f64>,
}

impl std::fmt::Display for Proposal {
    fn fmt(&self, f: &mut std::fmt::Formatter) -> std::fmt::Result {
        write!(
            f,
            "{} That would bring the distance from the sheet from {:.1} mm to {:.1} mm.",
            self.blunder, self.rms_before_mm, self.rms_after_mm
        )
    }
}

/// Looks for blunders, the one that explains most first.
///
/// # Errors
/// As [`crate::check::check`], for readings, sheet or reference points that cannot be used at all.
pub fn propose(request: &Request, others: &[OtherSheet]) -> Result<Vec<Proposal>, CheckError> {
    search::search(request, others)
}
