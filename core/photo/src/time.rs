//! From the camera's clock face to an instant.
//!
//! A camera writes the time that its clock shows. With an offset from UTC that is an
//! instant. Without one it is an instant only together with a time zone, which is then
//! *assumed*; and in the hour that daylight saving repeats or skips it is two instants, of
//! which this module picks none.
//!
//! ```
//! use datumtrail_photo::time::{CameraTime, Taken, TimeSource};
//! use jiff::{civil::date, tz::TimeZone};
//!
//! let zone = TimeZone::get("Europe/Berlin")?;
//! let shown = |civil| CameraTime { civil, offset: None, sub_sec_digits: 0, source: TimeSource::Original };
//!
//! let march = shown(date(2026, 3, 4).at(14, 3, 20, 0)).resolve(&zone);
//! assert!(matches!(march, Taken::Assumed { at, .. } if at.to_string() == "2026-03-04T13:03:20Z"));
//!
//! // 25 October 2026, 02:30 happens twice there.
//! let repeated = shown(date(2026, 10, 25).at(2, 30, 0, 0)).resolve(&zone);
//! assert!(matches!(repeated, Taken::Ambiguous { .. }));
//! # Ok::<(), jiff::Error>(())
//! ```

use jiff::Timestamp;
use jiff::civil::DateTime;
use jiff::tz::{AmbiguousOffset, Offset, TimeZone};
use serde::{Deserialize, Serialize};

/// Where in the file a time was found, best first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum TimeSource {
    /// DateTimeOriginal: when the shutter was pressed.
    Original,
    /// DateTimeDigitized: when it became a file; for a camera the same moment.
    Digitized,
    /// DateTime: when the file was last changed. Editing moves it.
    Changed,
    /// The container's own date: of a video, or of a PNG without Exif. Both are in UTC by
    /// their standards, though some cameras write local time there, and some the end of the
    /// recording instead of its beginning (common practice).
    Container,
}

impl std::fmt::Display for TimeSource {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            TimeSource::Original => "time of the picture",
            TimeSource::Digitized => "time of digitising",
            TimeSource::Changed => "time of the last change to the file",
            TimeSource::Container => "date in the file's container",
        })
    }
}

/// What the camera's clock showed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct CameraTime {
    /// Date and time as shown, with the sub-seconds where the file has them.
    pub civil: DateTime,
    /// The offset from UTC, where the file has it.
    #[serde(with = "offset_text::optional")]
    pub offset: Option<Offset>,
    /// How many decimals of the second the file gives; 0 means whole seconds.
    pub sub_sec_digits: u8,
    /// Where in the file it was found.
    pub source: TimeSource,
}

impl CameraTime {
    /// Standard uncertainty, in seconds, that comes from the digits alone.
    ///
    /// A clock face is cut off, not rounded: with a last digit worth w, the true reading
    /// lies anywhere in \[shown, shown + w). The root mean square distance from `shown` is
    /// the root of (1/w) times the integral of x² over 0 to w, which is w / sqrt(3).
    pub fn reading_u_s(&self) -> f64 {
        10f64.powi(-i32::from(self.sub_sec_digits)) / 3f64.sqrt()
    }

    /// The instant, or the two it may be. `zone` is used only where the file has no offset.
    pub fn resolve(&self, zone: &TimeZone) -> Taken {
        let reading_u_s = self.reading_u_s();
        if let Some(offset) = self.offset {
            return match offset.to_timestamp(self.civil) {
                Ok(at) => Taken::Exact {
                    at,
                    offset,
                    reading_u_s,
                },
                Err(_) => Taken::OutOfRange,
            };
        }
        let zone_name = zone_name(zone);
        let instant = |offset: Offset| offset.to_timestamp(self.civil);
        match zone.to_ambiguous_timestamp(self.civil).offset() {
            AmbiguousOffset::Unambiguous { offset } => match instant(offset) {
                Ok(at) => Taken::Assumed {
                    at,
                    offset,
                    zone: zone_name,
                    reading_u_s,
                },
                Err(_) => Taken::OutOfRange,
            },
            AmbiguousOffset::Fold { before, after } => {
                self.either(Why::Repeated, before, after, zone_name)
            }
            AmbiguousOffset::Gap { before, after } => {
                self.either(Why::Skipped, before, after, zone_name)
            }
        }
    }

    fn either(&self, why: Why, before: Offset, after: Offset, zone: String) -> Taken {
        let (Ok(one), Ok(other)) = (
            before.to_timestamp(self.civil),
            after.to_timestamp(self.civil),
        ) else {
            return Taken::OutOfRange;
        };
        Taken::Ambiguous {
            earlier: one.min(other),
            later: one.max(other),
            why,
            zone,
            reading_u_s: self.reading_u_s(),
        }
    }
}

/// A time by the camera's clock as an instant, before any correction of that clock.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "taken", rename_all = "snake_case")]
pub enum Taken {
    /// The file says the offset.
    Exact {
        /// The instant.
        at: Timestamp,
        /// The file's offset.
        #[serde(with = "offset_text::plain")]
        offset: Offset,
        /// See [`CameraTime::reading_u_s`].
        reading_u_s: f64,
    },
    /// The file says no offset; the job's time zone was assumed.
    Assumed {
        /// The instant, if the assumption holds.
        at: Timestamp,
        /// The zone's offset at that time.
        #[serde(with = "offset_text::plain")]
        offset: Offset,
        /// The assumed zone.
        zone: String,
        /// See [`CameraTime::reading_u_s`].
        reading_u_s: f64,
    },
    /// No offset, and the hour that daylight saving repeats or skips: one of two instants.
    Ambiguous {
        /// The earlier candidate.
        earlier: Timestamp,
        /// The later candidate.
        later: Timestamp,
        /// Whether the hour happens twice or never.
        why: Why,
        /// The assumed zone.
        zone: String,
        /// See [`CameraTime::reading_u_s`].
        reading_u_s: f64,
    },
    /// A date so far off (years before 1 or after 9999) that it is no instant.
    OutOfRange,
}

/// Why one clock time is two instants.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Why {
    /// Clocks are put back: the hour happens twice.
    Repeated,
    /// Clocks are put forward: the hour never happens, so the camera's clock was not.
    Skipped,
}

/// An offset from UTC as text, always with minutes: `+01:00`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct OffsetText(pub Offset);

impl std::fmt::Display for OffsetText {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let seconds = self.0.seconds();
        let sign = if seconds < 0 { '-' } else { '+' };
        let (minutes, rest) = (seconds.abs() / 60, seconds.abs() % 60);
        write!(f, "{sign}{:02}:{:02}", minutes / 60, minutes % 60)?;
        if rest != 0 {
            write!(f, ":{rest:02}")?;
        }
        Ok(())
    }
}

impl std::str::FromStr for OffsetText {
    type Err = String;

    fn from_str(text: &str) -> Result<OffsetText, String> {
        let wrong = || format!("{text:?} is not an offset from UTC such as +01:00");
        let (sign, digits) = match text.split_at_checked(1) {
            Some(("+", digits)) => (1, digits),
            Some(("-", digits)) => (-1, digits),
            _ => return Err(wrong()),
        };
        let parts: Vec<&str> = digits.split(':').collect();
        if !(2..=3).contains(&parts.len()) {
            return Err(wrong());
        }
        let mut seconds = 0;
        for (part, unit) in parts.iter().zip([3600, 60, 1]) {
            let two_digits = part.len() == 2 && part.bytes().all(|b| b.is_ascii_digit());
            let number: i32 = part.parse().map_err(|_| wrong())?;
            if !two_digits || (unit < 3600 && number > 59) {
                return Err(wrong());
            }
            seconds += number * unit;
        }
        let offset = Offset::from_seconds(sign * seconds).map_err(|_| wrong())?;
        Ok(OffsetText(offset))
    }
}

impl Serialize for OffsetText {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for OffsetText {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = String::deserialize(deserializer)?;
        text.parse().map_err(serde::de::Error::custom)
    }
}

/// Offsets in JSON, as [`OffsetText`] has them.
mod offset_text {
    pub mod plain {
        use crate::time::{Offset, OffsetText};
        use serde::{Deserialize, Deserializer, Serialize, Serializer};

        pub fn serialize<S: Serializer>(offset: &Offset, to: S) -> Result<S::Ok, S::Error> {
            OffsetText(*offset).serialize(to)
        }

        pub fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<Offset, D::Error> {
            Ok(OffsetText::deserialize(from)?.0)
        }
    }

    pub mod optional {
        use crate::time::{Offset, OffsetText};
        use serde::{Deserialize, Deserializer, Serialize, Serializer};

        pub fn serialize<S: Serializer>(offset: &Option<Offset>, to: S) -> Result<S::Ok, S::Error> {
            offset.map(OffsetText).serialize(to)
        }

        pub fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<Option<Offset>, D::Error> {
            Ok(Option::<OffsetText>::deserialize(from)?.map(|text| text.0))
        }
    }
}

/// The zone's name for people; a fixed offset has none but itself.
fn zone_name(zone: &TimeZone) -> String {
    match (zone.iana_name(), zone.to_fixed_offset()) {
        (Some(name), _) => name.to_owned(),
        (None, Ok(offset)) => OffsetText(offset).to_string(),
        (None, Err(_)) => "local time".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

    fn shown(civil: DateTime, offset: Option<Offset>) -> CameraTime {
        CameraTime {
            civil,
            offset,
            sub_sec_digits: 0,
            source: TimeSource::Original,
        }
    }

    fn berlin() -> TimeZone {
        TimeZone::get("Europe/Berlin").unwrap()
    }

    #[test]
    fn an_offset_in_the_file_overrules_the_zone() {
        let civil = date(2026, 3, 4).at(14, 3, 20, 0);
        let taken = shown(civil, Some(Offset::constant(-5))).resolve(&berlin());
        let Taken::Exact { at, offset, .. } = taken else {
            panic!("{taken:?}");
        };
        assert_eq!(at.to_string(), "2026-03-04T19:03:20Z");
        assert_eq!(OffsetText(offset).to_string(), "-05:00");
    }

    /// Europe/Berlin 2026: forward on 29 March at 02:00, back on 25 October at 03:00
    /// (EU directive 2000/84/EC: last Sundays, 01:00 UTC).
    #[test]
    fn the_repeated_and_the_skipped_hour_give_two_instants() {
        let cases = [
            (date(2026, 10, 25).at(2, 0, 0, 0), Some(Why::Repeated)),
            (date(2026, 10, 25).at(2, 59, 59, 0), Some(Why::Repeated)),
            (date(2026, 10, 25).at(3, 0, 0, 0), None),
            (date(2026, 3, 29).at(1, 59, 59, 0), None),
            (date(2026, 3, 29).at(2, 0, 0, 0), Some(Why::Skipped)),
            (date(2026, 3, 29).at(2, 59, 59, 0), Some(Why::Skipped)),
            (date(2026, 3, 29).at(3, 0, 0, 0), None),
        ];
        for (civil, expected) in cases {
            match (shown(civil, None).resolve(&berlin()), expected) {
                (
                    Taken::Ambiguous {
                        earlier,
                        later,
                        why,
                        zone,
                        ..
                    },
                    Some(expected),
                ) => {
                    assert_eq!(why, expected, "{civil}");
                    assert_eq!(later.duration_since(earlier).as_hours(), 1, "{civil}");
                    assert_eq!(zone, "Europe/Berlin");
                }
                (Taken::Assumed { .. }, None) => {}
                (taken, _) => panic!("{civil}: {taken:?}"),
            }
        }
        let skipped = shown(date(2026, 3, 29).at(2, 30, 0, 0), None).resolve(&berlin());
        let Taken::Ambiguous { earlier, later, .. } = skipped else {
            panic!("{skipped:?}");
        };
        assert_eq!(earlier.to_string(), "2026-03-29T00:30:00Z");
        assert_eq!(later.to_string(), "2026-03-29T01:30:00Z");
    }

    #[test]
    fn the_ends_of_the_calendar_do_not_panic() {
        for civil in [DateTime::MIN, DateTime::MAX] {
            for offset in [None, Some(Offset::MIN), Some(Offset::MAX)] {
                // Whatever it says, it must say it.
                let taken = shown(civil, offset).resolve(&berlin());
                assert!(!matches!(taken, Taken::Ambiguous { .. }), "{taken:?}");
            }
        }
    }

    #[test]
    fn reading_uncertainty_shrinks_with_the_digits() {
        let mut time = shown(date(2026, 3, 4).at(14, 3, 20, 0), None);
        assert!((time.reading_u_s() - 0.577_350).abs() < 1e-6);
        time.sub_sec_digits = 2;
        assert!((time.reading_u_s() - 0.005_774).abs() < 1e-6);
    }

    #[test]
    fn everything_comes_back_from_json() {
        let time = CameraTime {
            offset: Some(Offset::from_seconds(-12_600).unwrap()),
            sub_sec_digits: 2,
            ..shown(date(2026, 3, 4).at(14, 3, 20, 250_000_000), None)
        };
        let json = serde_json::to_string(&time).unwrap();
        assert!(json.contains(r#""offset":"-03:30""#), "{json}");
        assert_eq!(serde_json::from_str::<CameraTime>(&json).unwrap(), time);

        let taken = time.resolve(&TimeZone::UTC);
        let json = serde_json::to_string(&taken).unwrap();
        assert_eq!(serde_json::from_str::<Taken>(&json).unwrap(), taken);
    }

    #[test]
    fn offsets_as_text() {
        for text in ["+00:00", "-03:30", "+14:00", "+00:53:28"] {
            assert_eq!(text.parse::<OffsetText>().unwrap().to_string(), text);
        }
        for text in [
            "",
            "+",
            "01:00",
            "+1:00",
            "+01:60",
            "+99:00",
            "+01:00:00:00",
            "é1:00",
            "++1:00",
        ] {
            assert!(text.parse::<OffsetText>().is_err(), "{text}");
        }
    }
}
