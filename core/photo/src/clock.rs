//! The correction of one camera's clock.
//!
//! A *sync point* says: when this camera's clock showed `camera`, it was truly `truth`,
//! give or take a standard uncertainty. Let o_k = truth_k - camera_k be the correction at
//! sync point k, u_k its uncertainty, and t the camera's reading to be corrected.
//!
//! **Outside** the sync points the nearest one's correction is kept, and the clock may
//! have drifted since: with d = |t - camera_k| and the drift rate r ([`DRIFT_U_PPM`]),
//!
//! ```text
//! o(t) = o_k                      u² = u_k² + (r d)²
//! ```
//!
//! **Between** points 1 and 2, L apart, with f = (t - camera_1) / L, the correction is
//! linear. The rate may have changed on the way. If it changed once, at t, by r, the
//! clock departs from the straight line by r L f (1 - f) there; so
//!
//! ```text
//! o(t) = (1 - f) o_1 + f o_2      u² = ((1 - f) u_1)² + (f u_2)² + (r L f (1 - f))²
//! ```
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
        let before = after.checked_sub(1).and_then(|i| self.points.get(i));
        let (correction_s, u_s) = match (before, self.points.get(after)) {
            (None, None) => {
                return Moment {
                    at: camera,
                    u_s: None,
                };
            }
            (Some(p), None) | (None, Some(p)) => {
                let drifted = DRIFT_U_PPM * 1e-6 * seconds(p.camera, camera).abs();
                (p.correction_s(), p.u_s.hypot(drifted))
            }
            (Some(p1), Some(p2)) => between(p1, p2, camera),
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
    let bend = DRIFT_U_PPM * 1e-6 * length * f * (1.0 - f);
    let ends = ((1.0 - f) * p1.u_s).hypot(f * p2.u_s);
    let step = if is_step(p1, p2) {
        (f * (1.0 - f)).sqrt() * (o2 - o1).abs()
    } else {
        0.0
    };
    ((1.0 - f) * o1 + f * o2, ends.hypot(bend).hypot(step))
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
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn at(text: &str) -> Timestamp {
        text.parse().unwrap()
    }

    fn point(camera: &str, correction_s: i64, u_s: f64) -> SyncPoint {
        SyncPoint::from_offset(at(camera), SignedDuration::from_secs(correction_s), u_s).unwrap()
    }

    fn close(a: f64, b: f64) {
        assert!((a - b).abs() < 1e-6, "{a} is not {b}");
    }

    #[test]
    fn an_unchecked_clock_changes_nothing_and_claims_nothing() {
        let moment = Clock::unchecked().correct(at("2026-03-04T12:00:00Z"));
        assert_eq!(moment.at, at("2026-03-04T12:00:00Z"));
        assert_eq!(moment.u_s, None);
    }

    #[test]
    fn one_point_is_kept_with_growing_uncertainty() {
        let clock = Clock::new(vec![point("2026-03-04T12:00:00Z", -240, 2.0)]).unwrap();
        let there = clock.correct(at("2026-03-04T12:00:00Z"));
        assert_eq!(there.at, at("2026-03-04T11:56:00Z"));
        close(there.u_s.unwrap(), 2.0);
        // Ten days away on either side: 864,000 s at 28.8675 ppm is 24.9415 s.
        for away in ["2026-03-14T12:00:00Z", "2026-02-22T12:00:00Z"] {
            let moment = clock.correct(at(away));
            close(seconds(at(away), moment.at), -240.0);
            close(moment.u_s.unwrap(), 2f64.hypot(24.941_531_628_991_83));
        }
    }

    #[test]
    fn two_points_give_drift() {
        let clock = Clock::new(vec![
            point("2026-03-04T00:00:00Z", 14, 0.3),
            point("2026-03-02T00:00:00Z", 10, 0.4),
        ])
        .unwrap();
        let quarter = clock.correct(at("2026-03-02T12:00:00Z"));
        assert_eq!(quarter.at, at("2026-03-02T12:00:11Z"));
        // ends: hypot(0.75 * 0.4, 0.25 * 0.3); bend: 28.8675e-6 * 172800 * 0.1875.
        let ends = 0.3f64.hypot(0.075);
        close(quarter.u_s.unwrap(), ends.hypot(0.935_307_436_087_193_6));
        let segment = clock.segments().next().unwrap();
        close(segment.losing_ppm, 4.0 / 172_800.0 * 1e6);
        assert!(!segment.was_set);
    }

    #[test]
    fn a_clock_that_was_set_is_uncertain_in_between_only() {
        let clock = Clock::new(vec![
            point("2026-03-02T00:00:00Z", 0, 1.0),
            point("2026-03-04T00:00:00Z", -3600, 1.0),
        ])
        .unwrap();
        assert!(clock.segments().all(|s| s.was_set));
        let middle = clock.correct(at("2026-03-03T00:00:00Z"));
        close(seconds(at("2026-03-03T00:00:00Z"), middle.at), -1800.0);
        assert!((middle.u_s.unwrap() - 1800.0).abs() < 0.01);
        for end in clock.points() {
            let moment = clock.correct(end.camera);
            assert_eq!(moment.at, end.truth);
            close(moment.u_s.unwrap(), 1.0);
        }
    }

    #[test]
    fn two_photographs_of_a_clock_seconds_apart_are_no_step() {
        // Half a second of reading error over one second is 500,000 ppm, and means nothing.
        let mut second = point("2026-03-02T00:00:01Z", 10, 0.5);
        second.truth += SignedDuration::from_millis(500);
        let clock = Clock::new(vec![point("2026-03-02T00:00:00Z", 10, 0.5), second]).unwrap();
        assert!(clock.segments().all(|s| !s.was_set));
    }

    #[test]
    fn points_at_the_same_camera_time_are_averaged_or_refused() {
        let same = "2026-03-02T00:00:00Z";
        let clock = Clock::new(vec![point(same, 10, 1.0), point(same, 12, 1.0)]).unwrap();
        let moment = clock.correct(at(same));
        close(seconds(at(same), moment.at), 11.0);
        close(moment.u_s.unwrap(), 0.5f64.sqrt());

        let apart = Clock::new(vec![point(same, 10, 0.1), point(same, 20, 0.1)]);
        assert_eq!(
            apart,
            Err(ClockError::Contradiction {
                camera: at(same),
                apart_s: 10.0
            })
        );
        let exact = Clock::new(vec![point(same, 10, 0.0), point(same, 10, 0.0)]).unwrap();
        assert_eq!(exact.points().len(), 1);
    }

    #[test]
    fn nonsense_is_refused() {
        for u_s in [-1.0, f64::NAN, f64::INFINITY] {
            let result = Clock::new(vec![SyncPoint {
                camera: at("2026-03-02T00:00:00Z"),
                truth: at("2026-03-02T00:00:00Z"),
                u_s,
            }]);
            assert!(
                matches!(result, Err(ClockError::Uncertainty { .. })),
                "{u_s}"
            );
        }
        let far = SyncPoint::from_offset(Timestamp::MAX, SignedDuration::from_secs(1), 0.0);
        assert!(matches!(far, Err(ClockError::OutOfRange { .. })));
        let clock = Clock::new(vec![point("2026-03-02T00:00:00Z", 60, 1.0)]).unwrap();
        assert_eq!(clock.correct(Timestamp::MAX).at, Timestamp::MAX);
    }

    #[test]
    fn the_reading_adds_its_own_uncertainty() {
        let clock = Clock::new(vec![point("2026-03-02T00:00:00Z", 0, 0.3)]).unwrap();
        let taken = Taken::Exact {
            at: at("2026-03-02T00:00:00Z"),
            offset: jiff::tz::Offset::UTC,
            reading_u_s: 0.4,
        };
        let TrueTime::At(moment) = clock.apply(&taken) else {
            panic!("one time");
        };
        close(moment.u_s.unwrap(), 0.5);
    }

    /// A camera with a random but constant rate within the bound, checked twice without
    /// error: every reading between is corrected exactly, and every reading outside lies
    /// within sqrt(3) stated uncertainties (the bound over its standard uncertainty).
    fn steady_clock(rate_ppm: f64, first_s: i64, length_s: i64, where_: f64) {
        let start = at("2026-03-02T00:00:00Z");
        let truth_of = |camera: Timestamp| {
            let drifted = SignedDuration::from_secs_f64(seconds(start, camera) * rate_ppm * 1e-6);
            camera + drifted + SignedDuration::from_secs(77)
        };
        let sync = |s: i64| {
            let camera = start + SignedDuration::from_secs(s);
            SyncPoint {
                camera,
                truth: truth_of(camera),
                u_s: 0.0,
            }
        };
        let clock = Clock::new(vec![sync(first_s), sync(first_s + length_s)]).unwrap();
        assert!(clock.segments().all(|s| !s.was_set));
        let from_first = where_ * length_s as f64;
        let camera =
            start + SignedDuration::from_secs(first_s) + SignedDuration::from_secs_f64(from_first);
        let moment = clock.correct(camera);
        let error = seconds(truth_of(camera), moment.at).abs();
        if (0.0..=1.0).contains(&where_) {
            assert!(error < 1e-6, "{error}");
        } else {
            assert!(error <= 3f64.sqrt() * moment.u_s.unwrap() + 1e-6, "{error}");
        }
    }

    proptest! {
        #[test]
        fn steady_clocks_are_followed(
            rate_ppm in -DRIFT_BOUND_PPM..DRIFT_BOUND_PPM,
            first_s in -1_000_000i64..1_000_000,
            length_s in 60i64..1_000_000,
            where_ in -3.0f64..4.0,
        ) {
            steady_clock(rate_ppm, first_s, length_s, where_);
        }

        /// The correction has no jumps at sync points, stepped or not.
        #[test]
        fn corrections_are_continuous(
            points in prop::collection::vec((0i64..100_000, -5_000i64..5_000, 0.0f64..10.0), 1..6),
            probe in 0usize..6,
        ) {
            let start = at("2026-03-02T00:00:00Z");
            let mut points: Vec<SyncPoint> = points.into_iter().map(|(s, o, u_s)| SyncPoint {
                camera: start + SignedDuration::from_secs(s * 100),
                truth: start + SignedDuration::from_secs(s * 100 + o),
                u_s,
            }).collect();
            points.sort_by_key(|p| p.camera);
            points.dedup_by_key(|p| p.camera);
            let clock = Clock::new(points.clone()).unwrap();
            let p = points[probe % points.len()];
            let nearly = SignedDuration::from_micros(1);
            for camera in [p.camera - nearly, p.camera, p.camera + nearly] {
                let moment = clock.correct(camera);
                prop_assert!(seconds(p.truth, moment.at).abs() < 1e-3);
                // The step term's root has an infinite slope at its ends: 5000 s over 100 s
                // is sqrt(1e-8) * 10,000 s = 1 s after a microsecond.
                prop_assert!((moment.u_s.unwrap() - p.u_s).abs() < 1.5);
            }
        }
    }
}
