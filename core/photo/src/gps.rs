//! The satellites' time in a file, as a cross-check of the camera's.
//!
//! A phone writes the time of its last fix (GPSDateStamp, GPSTimeStamp, both UTC). That is
//! never the time of the picture: indoors, where cars are repaired, the last fix may be
//! hours old. But it can't be from the future. So the two are compared, and nothing is
//! corrected by it:
//!
//! - the picture **before** its fix, by more than the uncertainty allows: the clock is
//!   wrong, at least by that much;
//! - the two within the uncertainty of each other: the clock is **confirmed**;
//! - the picture **after** its fix: an old fix, or a clock that is ahead. One picture can't
//!   tell which. Of many, the smallest distance bounds how far the clock can be ahead
//!   ([`most_ahead_s`]).
//!
//! Where the file has no offset and the difference is a whole number of quarter hours, the
//! assumed time zone is the likelier culprit, and the offset that fits is named
//! ([`fitting_offset`]). It is an offer to a person, never applied.
//!
//! ```
//! use datumtrail_photo::clock::Moment;
//! use datumtrail_photo::gps::{GpsCheck, check};
//!
//! let taken = Moment { at: "2026-03-04T13:03:20Z".parse()?, u_s: Some(0.6) };
//! assert_eq!(
//!     check(&taken, "2026-03-04T14:03:19Z".parse()?, 120.0),
//!     GpsCheck::BeforeFix { by_s: 3599.0 },
//! );
//! # Ok::<(), jiff::Error>(())
//! ```

use jiff::Timestamp;
use jiff::civil::DateTime;
use jiff::tz::Offset;
use serde::{Deserialize, Serialize};

use crate::clock::Moment;
use crate::tie::COVERAGE;

/// How much, in seconds, a receiver's own stamp may differ from the truth.
///
/// Common practice, no source: stamps are cut to the second, and some receivers don't count
/// the leap seconds (18 since 2017) until they have heard the almanac. The latter is a fault
/// and not allowed for; two seconds cover the former and the delay of writing.
pub const FIX_LEEWAY_S: f64 = 2.0;

/// What the satellites' time says about the time of a picture.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(tag = "gps_check", rename_all = "snake_case")]
pub enum GpsCheck {
    /// Both say the same, within the uncertainty.
    Confirmed {
        /// Picture minus fix, in seconds.
        apart_s: f64,
    },
    /// The picture seems older than a fix that it contains: the clock is behind, at least
    /// by this.
    BeforeFix {
        /// Fix minus picture, in seconds; positive.
        by_s: f64,
    },
    /// The fix is older than the picture: normal indoors, unless the clock is ahead.
    AfterFix {
        /// Picture minus fix, in seconds; positive.
        by_s: f64,
    },
}

/// Compares the corrected time of a picture with the fix in the same file.
///
/// `unchecked_u_s` is the standard uncertainty to assume, in seconds, where nobody checked
/// the clock, as in [`crate::tie::tie`].
pub fn check(taken: &Moment, fix: Timestamp, unchecked_u_s: f64) -> GpsCheck {
    let apart_s = taken.at.duration_since(fix).as_secs_f64();
    let allowed = COVERAGE * taken.u_s.unwrap_or(unchecked_u_s) + FIX_LEEWAY_S;
    if apart_s < -allowed {
        GpsCheck::BeforeFix { by_s: -apart_s }
    } else if apart_s > allowed {
        GpsCheck::AfterFix { by_s: apart_s }
    } else {
        GpsCheck::Confirmed { apart_s }
    }
}

/// The most, in seconds, by which one camera's clock can be ahead, from its pictures and
/// their fixes; negative where it is behind. `None` without any.
///
/// A fix is as old as it is: picture minus fix is the clock's error plus the fix's age, and
/// no age is negative. The smallest of them all is the closest bound.
pub fn most_ahead_s(pictures: impl IntoIterator<Item = (Timestamp, Timestamp)>) -> Option<f64> {
    pictures
        .into_iter()
        .map(|(taken, fix)| taken.duration_since(fix).as_secs_f64())
        .reduce(f64::min)
}

/// The offset from UTC, in whole quarter hours, that would make a clock face agree with the
/// fix to `within_s` seconds. `None` where none from -12:00 to +14:00 does.
///
/// ```
/// use datumtrail_photo::gps::fitting_offset;
/// use jiff::{civil::date, tz::Offset};
///
/// let shown = date(2026, 3, 4).at(18, 48, 22, 0);
/// let offset = fitting_offset(shown, "2026-03-04T13:03:19Z".parse()?, 60.0);
/// assert_eq!(offset, Offset::from_seconds(5 * 3600 + 45 * 60).ok());
/// # Ok::<(), jiff::Error>(())
/// ```
pub fn fitting_offset(shown: DateTime, fix: Timestamp, within_s: f64) -> Option<Offset> {
    const QUARTER_S: f64 = 900.0;
    let as_utc = Offset::UTC.to_timestamp(shown).ok()?;
    let apart_s = as_utc.duration_since(fix).as_secs_f64();
    let quarters = (apart_s / QUARTER_S).round();
    let fits = (apart_s - quarters * QUARTER_S).abs() <= within_s;
    let exists = (-48.0..=56.0).contains(&quarters);
    // Within 14 hours, so it fits an i32.
    (fits && exists)
        .then(|| Offset::from_seconds((quarters * QUARTER_S) as i32).ok())
        .flatten()
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

    fn at(text: &str) -> Timestamp {
        text.parse().unwrap()
    }

    #[test]
    fn only_the_direction_that_proves_something_is_called_wrong() {
        let fix = at("2026-03-04T12:00:00Z");
        let taken = |text, u_s| Moment { at: at(text), u_s };
        // Two uncertainties of 5 s and the leeway: 12 s.
        let cases = [
            ("2026-03-04T11:59:47Z", GpsCheck::BeforeFix { by_s: 13.0 }),
            (
                "2026-03-04T11:59:49Z",
                GpsCheck::Confirmed { apart_s: -11.0 },
            ),
            (
                "2026-03-04T12:00:11Z",
                GpsCheck::Confirmed { apart_s: 11.0 },
            ),
            ("2026-03-04T14:00:00Z", GpsCheck::AfterFix { by_s: 7200.0 }),
        ];
        for (text, expected) in cases {
            assert_eq!(
                check(&taken(text, Some(5.0)), fix, 120.0),
                expected,
                "{text}"
            );
        }
        // An unchecked clock is allowed four minutes.
        let loose = check(&taken("2026-03-04T11:56:10Z", None), fix, 120.0);
        assert_eq!(loose, GpsCheck::Confirmed { apart_s: -230.0 });
    }

    #[test]
    fn the_freshest_fix_bounds_the_clock() {
        let pairs = [
            ("2026-03-04T12:10:00Z", "2026-03-04T11:00:00Z"),
            ("2026-03-04T12:20:00Z", "2026-03-04T12:15:30Z"),
            ("2026-03-04T15:00:00Z", "2026-03-04T12:15:30Z"),
        ];
        let pairs = pairs.map(|(taken, fix)| (at(taken), at(fix)));
        assert_eq!(most_ahead_s(pairs), Some(270.0));
        assert_eq!(most_ahead_s([]), None);
    }

    #[test]
    fn offsets_that_do_not_exist_are_not_offered() {
        let fix = at("2026-03-04T12:00:00Z");
        let hour = |h, m| date(2026, 3, 4).at(h, m, 0, 0);
        let offset = |shown, within| fitting_offset(shown, fix, within).map(Offset::seconds);
        assert_eq!(offset(hour(13, 0), 1.0), Some(3600));
        assert_eq!(offset(hour(8, 30), 1.0), Some(-12_600));
        assert_eq!(offset(hour(13, 4), 60.0), None);
        assert_eq!(offset(hour(13, 4), 240.0), Some(3600));
        assert_eq!(
            fitting_offset(date(2026, 3, 5).at(3, 0, 0, 0), fix, 1.0),
            None
        );
        assert_eq!(fitting_offset(date(1, 1, 1).at(0, 0, 0, 0), fix, 1.0), None);
    }
}
