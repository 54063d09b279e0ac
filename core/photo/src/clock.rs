//! The correction of one camera's clock.
//!
//! A *sync point* says: when this camera's clock showed `camera`, it was truly `truth`,
//! give or take a standard uncertainty. Let o_k = truth_k - camera_k be the correction at
//! sync point k, u_k its uncertainty, and t the camera's reading to be corrected.
//!
//! **Outside** the sync points the nearest one's correction is carried on. With two points or
//! more the clock's rate was measured, so its drift is carried on too. Let k be the nearest
//! point, d = |t - camera_k|, j another point L away from it, and r what a rate is before
//! anyone measured it ([`DRIFT_U_PPM`]). The measured rate is believed by the share κ: nearly
//! all of it where the points lie days apart, next to nothing where they lie seconds apart
//! and differ by their own errors. Of all points j up to the first step, the one with the
//! largest κ is taken:
//!
//! ```text
//! κ = (rL)² / ((rL)² + u_k² + u_j²)
//! o(t) = o_k + κ (d / L) (o_k - o_j)
//! u² = ((1 + κ d/L) u_k)² + (κ d/L u_j)² + ((1 - κ) r d)² + (w d)²
//! ```
//!
//! The first three terms are the variance of o(t) less the truth, for a rate with the prior
//! N(0, r²); the last is for a rate that has changed since, by the standard uncertainty w
//! ([`WANDER_U_PPM`]). A single point has no rate: o(t) = o_k, u² = u_k² + (r d)². The same
//! holds beyond a step (below), where the rate is unknown.
//!
//! **Between** points 1 and 2, L apart, with f = (t - camera_1) / L, the correction is
//! linear. The rate may have changed on the way. If it changed once, at t, by w, the
//! clock departs from the straight line by w L f (1 - f) there; so
//!
//! ```text
//! o(t) = (1 - f) o_1 + f o_2      u² = ((1 - f) u_1)² + (f u_2)² + (w L f (1 - f))²
//! ```
//!
//! ExifTool's Geosync with several points interpolates by the same line, and extrapolates
//! the line through the two nearest points, whatever they are worth (κ = 1). The outside check
//! compares the two.
//!
//! **A step.** Where o_2 - o_1 is more than any quartz clock drifts over L
//! ([`STEP_PPM`], plus three times its own uncertainty), someone set the clock between the
//! two points, and nobody knows when. If every moment is equally likely, the step had
//! happened by t with probability f: the mean is the same straight line, and the variance
//! of a two-valued quantity is added,
//!
//! ```text
//! u² += f (1 - f) (o_2 - o_1)²
//! ```
//!
//! so a photograph in the middle of an hour's step is uncertain by half an hour, and one
//! right at a sync point is not.
//!
//! Derived here; the propagation is GUM (JCGM 100:2008) 5.1.2 with independent inputs.
//! Nothing is known about a clock without sync points: the correction is zero and the
//! uncertainty is `None`, which [`crate::tie`] makes the caller decide about.
//!
//! Without an offset in its files, a camera's reading is an instant only through the job's
//! time zone ([`crate::time`]). A camera that nobody puts forward in spring then seems to
//! step by an hour there, and needs a sync point after the change.
//!
//! ```
//! use datumtrail_photo::clock::{Clock, SyncPoint};
//!
//! let point = |camera: &str, truth: &str| -> Result<SyncPoint, jiff::Error> {
//!     Ok(SyncPoint { camera: camera.parse()?, truth: truth.parse()?, u_s: 0.5 })
//! };
//! // 10 s slow on Monday, 14 s slow two days later: 23 ppm.
//! let clock = Clock::new(vec![
//!     point("2026-03-02T08:00:00Z", "2026-03-02T08:00:10Z")?,
//!     point("2026-03-04T08:00:00Z", "2026-03-04T08:00:14Z")?,
//! ])?;
//! let tuesday = clock.correct("2026-03-03T08:00:00Z".parse()?);
//! assert_eq!(tuesday.at.to_string(), "2026-03-03T08:00:12Z");
//! assert!(tuesday.u_s.unwrap() < 1.5);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use jiff::{SignedDuration, Timestamp};
use serde::{Deserialize, Serialize};
use thiserror::Error;

use crate::time::{Taken, Why};

/// The furthest a free-running camera clock is taken to drift, in parts per million.
///
/// Common practice, from memory: watch crystals are sold at ±20 ppm at 25 °C; they lose
/// about 0.035 ppm per square kelvin away from it, 22 ppm at 0 °C or 50 °C; the first year's
/// ageing adds some 3 ppm. Together about 45, here rounded up.
pub const DRIFT_BOUND_PPM: f64 = 50.0;

/// The drift rate as a standard uncertainty: the bound over the root of three (GUM 4.3.7),
/// 29 ppm or 2.5 s a day.
pub const DRIFT_U_PPM: f64 = 28.867_513_459_481_287;

/// How much a clock's rate may differ from the one measured between two sync points, as a
/// standard uncertainty in parts per million.
///
/// Common practice, from memory: a camera left in a van at 0 °C or lying in the sun at 50 °C
/// runs 22 ppm slower than on the bench at 25 °C, and ageing adds 3; the bound of 25 over the
/// root of three (GUM 4.3.7).
pub const WANDER_U_PPM: f64 = 14.433_756_729_740_644;

/// A change of correction faster than this is no drift: someone set the clock. Ten times
/// [`DRIFT_BOUND_PPM`], 43 s a day.
pub const STEP_PPM: f64 = 500.0;

/// One known moment of a camera's clock.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct SyncPoint {
    /// What the camera's clock showed, as an instant.
    pub camera: Timestamp,
    /// When that truly was.
    pub truth: Timestamp,
    /// Standard uncertainty of the difference, in seconds; finite and not negative.
    pub u_s: f64,
}

impl SyncPoint {
    /// A plain offset: at camera time `camera` the clock was behind by `behind` (negative
    /// where it was ahead), known to `u_s` seconds.
    ///
    /// # Errors
    /// [`ClockError::OutOfRange`] where that leaves the calendar.
    pub fn from_offset(
        camera: Timestamp,
        behind: SignedDuration,
        u_s: f64,
    ) -> Result<SyncPoint, ClockError> {
        let truth = camera
            .checked_add(behind)
            .map_err(|_| ClockError::OutOfRange { camera })?;
        Ok(SyncPoint { camera, truth, u_s })
    }

    fn correction_s(&self) -> f64 {
        self.truth.duration_since(self.camera).as_secs_f64()
    }
}

/// Why a clock cannot be made of these points.
#[derive(Debug, Error, PartialEq)]
pub enum ClockError {
    /// An uncertainty that is none.
    #[error(
        "the sync point at camera time {camera} has an uncertainty of {u_s} s; give zero or more seconds"
    )]
    Uncertainty {
        /// The point's camera time.
        camera: Timestamp,
        /// What was given.
        u_s: f64,
    },
    /// A correction that leaves the calendar.
    #[error(
        "the correction at camera time {camera} leads outside the calendar; give a smaller one"
    )]
    OutOfRange {
        /// The point's camera time.
        camera: Timestamp,
    },
    /// Two points that contradict each other.
    #[error(
        "two sync points at camera time {camera} differ by {apart_s} s, more than their \
         uncertainties allow; withdraw the wrong one"
    )]
    Contradiction {
        /// Their common camera time.
        camera: Timestamp,
        /// How far apart their true times are, in seconds.
        apart_s: f64,
    },
}

/// What is known about one camera's clock.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Clock {
    /// In the order of camera time, no two at the same.
    points: Vec<SyncPoint>,
}

impl Clock {
    /// A clock that nobody has checked.
    pub fn unchecked() -> Clock {
        Clock::default()
    }

    /// A clock with these sync points, in any order; none is the unchecked clock. Points
    /// at the same camera time that agree are averaged.
    ///
    /// # Errors
    /// [`ClockError::Uncertainty`] for a negative, infinite or undefined uncertainty;
    /// [`ClockError::Contradiction`] where two points at the same camera time lie further
    /// apart than three times their joint uncertainty.
    pub fn new(mut points: Vec<SyncPoint>) -> Result<Clock, ClockError> {
        for SyncPoint { camera, u_s, .. } in &points {
            if !u_s.is_finite() || *u_s < 0.0 {
                return Err(ClockError::Uncertainty {
                    camera: *camera,
                    u_s: *u_s,
                });
            }
        }
        points.sort_by_key(|p| (p.camera, p.truth));
        let mut merged: Vec<SyncPoint> = Vec::with_capacity(points.len());
        for point in points {
            match merged.pop() {
                Some(last) if last.camera == point.camera => merged.push(average(last, point)?),
                Some(last) => merged.extend([last, point]),
                None => merged.push(point),
            }
        }
        Ok(Clock { points: merged })
    }

    /// The sync points in use, in the order of camera time.
    pub fn points(&self) -> &[SyncPoint] {
        &self.points
    }

    /// The true time of a camera reading. The module's page has the formulas.
    pub fn correct(&self, camera: Timestamp) -> Moment {
        let after = self.points.partition_point(|p| p.camera <= camera);
        let (before, behind) = self.points.split_at_checked(after).unwrap_or_default();
        let (correction_s, u_s) = match (before, behind) {
            ([], []) => {
                return Moment {
                    at: camera,
                    u_s: None,
                };
            }
            ([.., p1], [p2, ..]) => between(p1, p2, camera),
            ([inner @ .., nearest], []) => {
                let partner = partner(nearest, inner.iter().rev(), |inner, outer| {
                    is_step(inner, outer)
                });
                beyond(nearest, partner, camera)
            }
            ([], [nearest, inner @ ..]) => {
                let partner = partner(nearest, inner.iter(), |inner, outer| is_step(outer, inner));
                beyond(nearest, partner, camera)
            }
        };
        let correction = SignedDuration::try_from_secs_f64(correction_s).unwrap_or_default();
        Moment {
            // Out of the calendar only for readings at its very end; those stay as they are.
            at: camera.checked_add(correction).unwrap_or(camera),
            u_s: Some(u_s),
        }
    }

    /// The true time of a photograph. The uncertainty of reading the camera's clock is
    /// added to that of the correction.
    pub fn apply(&self, taken: &Taken) -> TrueTime {
        let corrected = |at: &Timestamp, reading_u_s: &f64| {
            let moment = self.correct(*at);
            Moment {
                u_s: moment.u_s.map(|u| u.hypot(*reading_u_s)),
                ..moment
            }
        };
        match taken {
            Taken::Exact {
                at, reading_u_s, ..
            }
            | Taken::Assumed {
                at, reading_u_s, ..
            } => TrueTime::At(corrected(at, reading_u_s)),
            Taken::Ambiguous {
                earlier,
                later,
                why,
                reading_u_s,
                ..
            } => TrueTime::Either {
                earlier: corrected(earlier, reading_u_s),
                later: corrected(later, reading_u_s),
                why: *why,
            },
            Taken::OutOfRange => TrueTime::Unknown,
        }
    }

    /// Between neighbouring sync points: how fast the clock lost time there (parts per
    /// million, negative where it gained), or that it was set.
    pub fn segments(&self) -> impl Iterator<Item = Segment> {
        self.points.windows(2).filter_map(|pair| match pair {
            [p1, p2] => Some(Segment {
                from: p1.camera,
                to: p2.camera,
                losing_ppm: (p2.correction_s() - p1.correction_s()) * 1e6
                    / seconds(p1.camera, p2.camera),
                was_set: is_step(p1, p2),
            }),
            _ => None,
        })
    }
}

/// What happened between two neighbouring sync points.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Segment {
    /// Camera time of the first.
    pub from: Timestamp,
    /// Camera time of the second.
    pub to: Timestamp,
    /// Change of the correction over camera time, in parts per million: positive where
    /// the clock runs slow.
    pub losing_ppm: f64,
    /// Whether that is too much for drift, so that someone set the clock in between.
    pub was_set: bool,
}

/// An instant and how well it is known.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Moment {
    /// The best estimate of the true time.
    pub at: Timestamp,
    /// Its standard uncertainty in seconds; `None` where nobody ever checked the clock.
    pub u_s: Option<f64>,
}

/// When a photograph was truly taken, as far as that is known.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "true_time", rename_all = "snake_case")]
pub enum TrueTime {
    /// The file has no usable time.
    Unknown,
    /// One estimate.
    At(Moment),
    /// One of two, an hour of daylight saving apart.
    Either {
        /// The earlier candidate.
        earlier: Moment,
        /// The later candidate.
        later: Moment,
        /// Whether the hour happens twice or never.
        why: Why,
    },
    /// Between two dated files of the same camera: see [`crate::numbering`].
    Inferred {
        /// The middle, with the uncertainty of anywhere in between.
        moment: Moment,
        /// The dated file before.
        after_file: String,
        /// The dated file behind.
        before_file: String,
    },
}

fn seconds(from: Timestamp, to: Timestamp) -> f64 {
    to.duration_since(from).as_secs_f64()
}

fn between(p1: &SyncPoint, p2: &SyncPoint, camera: Timestamp) -> (f64, f64) {
    let length = seconds(p1.camera, p2.camera);
    let f = seconds(p1.camera, camera) / length;
    let (o1, o2) = (p1.correction_s(), p2.correction_s());
    let bend = WANDER_U_PPM * 1e-6 * length * f * (1.0 - f);
    let ends = ((1.0 - f) * p1.u_s).hypot(f * p2.u_s);
    let step = if is_step(p1, p2) {
        (f * (1.0 - f)).sqrt() * (o2 - o1).abs()
    } else {
        0.0
    };
    ((1.0 - f) * o1 + f * o2, ends.hypot(bend).hypot(step))
}

/// How much of the rate between two points is believed: the module's κ.
fn believed(p1: &SyncPoint, p2: &SyncPoint) -> f64 {
    let drift = DRIFT_U_PPM * 1e-6 * seconds(p1.camera, p2.camera);
    // No two points are at the same camera time, so this is not zero over zero.
    drift.powi(2) / (drift.powi(2) + p1.u_s.powi(2) + p2.u_s.powi(2))
}

/// The point that measures the rate best together with the outermost one, `nearest`. `inner`
/// are the others from there inwards; what lies beyond a step tells nothing.
fn partner<'a>(
    nearest: &SyncPoint,
    inner: impl Iterator<Item = &'a SyncPoint>,
    step: impl Fn(&SyncPoint, &SyncPoint) -> bool,
) -> Option<&'a SyncPoint> {
    let mut outer = *nearest;
    inner
        .take_while(|p| {
            let reached = !step(p, &outer);
            outer = **p;
            reached
        })
        .max_by(|a, b| believed(nearest, a).total_cmp(&believed(nearest, b)))
}

/// Outside all points: the outermost one's correction, and the drift measured with `other`.
fn beyond(nearest: &SyncPoint, other: Option<&SyncPoint>, camera: Timestamp) -> (f64, f64) {
    let rate = DRIFT_U_PPM * 1e-6;
    let away = seconds(nearest.camera, camera).abs();
    let correction = nearest.correction_s();
    let Some(other) = other else {
        return (correction, nearest.u_s.hypot(rate * away));
    };
    let share = believed(nearest, other);
    let reach = share * away / seconds(nearest.camera, other.camera).abs();
    let ends = ((1.0 + reach) * nearest.u_s).hypot(reach * other.u_s);
    let unbelieved = (1.0 - share) * rate * away;
    let changed = WANDER_U_PPM * 1e-6 * away;
    (
        correction + reach * (correction - other.correction_s()),
        ends.hypot(unbelieved).hypot(changed),
    )
}

fn is_step(p1: &SyncPoint, p2: &SyncPoint) -> bool {
    let change = (p2.correction_s() - p1.correction_s()).abs();
    let drift = STEP_PPM * 1e-6 * seconds(p1.camera, p2.camera);
    change > drift + 3.0 * p1.u_s.hypot(p2.u_s)
}

/// Two points at the same camera time, weighted by the inverse of their variances.
fn average(a: SyncPoint, b: SyncPoint) -> Result<SyncPoint, ClockError> {
    let joint = a.u_s.hypot(b.u_s);
    let apart_s = seconds(a.truth, b.truth);
    if apart_s.abs() > 3.0 * joint {
        return Err(ClockError::Contradiction {
            camera: a.camera,
            apart_s,
        });
    }
    if joint == 0.0 {
        return Ok(a);
    }
    let weight_of_b = (a.u_s / joint).powi(2);
    let moved = SignedDuration::try_from_secs_f64(apart_s * weight_of_b).unwrap_or_default();
    Ok(SyncPoint {
        camera: a.camera,
        truth: a.truth.checked_add(moved).unwrap_or(a.truth),
        u_s: a.u_s * b.u_s / joint,
    })
}

#[cfg(test)]
mod tests;
