//! Exif's times: what the camera wrote, and why it cannot be used where it cannot.
//!
//! Source: Exif 2.32, DateTime* (0x0132, 0x9003, 0x9004), SubSecTime* (0x9290 to 0x9292),
//! OffsetTime* (0x9010 to 0x9012, since Exif 2.31), GPSDateStamp and GPSTimeStamp.

use exif::{Exif, In, Rational, Tag, Value};
use jiff::Timestamp;
use jiff::civil::{Date, DateTime, Time};
use jiff::tz::Offset;
use serde::{Deserialize, Serialize};

use super::text;
use crate::time::{CameraTime, TimeSource};

/// A time, or a part of one, that is in the file but cannot be used.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct TimeNote {
    /// The Exif field it is about.
    pub field: String,
    /// What is wrong with it.
    pub problem: TimeProblem,
    /// What the file has there.
    pub found: String,
}

impl std::fmt::Display for TimeNote {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let TimeNote { field, found, .. } = self;
        match self.problem {
            TimeProblem::NotSet => write!(f, "{field} was never set"),
            TimeProblem::NotATime => write!(f, "{field} {found:?} is not a time"),
            TimeProblem::OutOfRange => write!(f, "{field} {found:?} is no date that exists"),
        }
    }
}

/// What is wrong with a time.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum TimeProblem {
    /// Blanks or zeros: the camera has no clock, or nobody set it.
    NotSet,
    /// It has not the form of such a field.
    NotATime,
    /// It has the form but does not exist, such as a thirteenth month.
    OutOfRange,
}

struct Fields {
    source: TimeSource,
    time: (Tag, &'static str),
    sub_sec: (Tag, &'static str),
    offset: (Tag, &'static str),
}

/// In the order in which they are believed.
const CANDIDATES: [Fields; 3] = [
    Fields {
        source: TimeSource::Original,
        time: (Tag::DateTimeOriginal, "DateTimeOriginal"),
        sub_sec: (Tag::SubSecTimeOriginal, "SubSecTimeOriginal"),
        offset: (Tag::OffsetTimeOriginal, "OffsetTimeOriginal"),
    },
    Fields {
        source: TimeSource::Digitized,
        time: (Tag::DateTimeDigitized, "DateTimeDigitized"),
        sub_sec: (Tag::SubSecTimeDigitized, "SubSecTimeDigitized"),
        offset: (Tag::OffsetTimeDigitized, "OffsetTimeDigitized"),
    },
    Fields {
        source: TimeSource::Changed,
        time: (Tag::DateTime, "DateTime"),
        sub_sec: (Tag::SubSecTime, "SubSecTime"),
        offset: (Tag::OffsetTime, "OffsetTime"),
    },
];

/// The first usable time, with the sub-seconds and the offset that belong to it.
pub(super) fn taken(exif: &Exif, notes: &mut Vec<TimeNote>) -> Option<CameraTime> {
    CANDIDATES.iter().find_map(|fields| {
        let civil = read(exif, fields.time, notes, date_time)?;
        let (nanos, digits) = read(exif, fields.sub_sec, notes, sub_seconds).unwrap_or((0, 0));
        let offset = read(exif, fields.offset, notes, utc_offset);
        Some(CameraTime {
            civil: civil
                .with()
                .subsec_nanosecond(nanos)
                .build()
                .unwrap_or(civil),
            offset,
            sub_sec_digits: digits,
            source: fields.source,
        })
    })
}

/// The satellites' time; both stamps are needed.
pub(super) fn gps(exif: &Exif, notes: &mut Vec<TimeNote>) -> Option<Timestamp> {
    let day = read(exif, (Tag::GPSDateStamp, "GPSDateStamp"), notes, date)?;
    let Value::Rational(parts) = &exif.get_field(Tag::GPSTimeStamp, In::PRIMARY)?.value else {
        return None;
    };
    let time = time_of_rationals(parts);
    if time.is_none() {
        notes.push(TimeNote {
            field: "GPSTimeStamp".to_owned(),
            problem: TimeProblem::OutOfRange,
            found: parts
                .iter()
                .take(3)
                .map(|r| format!("{}/{}", r.num, r.denom))
                .collect::<Vec<_>>()
                .join(" "),
        });
    }
    Offset::UTC.to_timestamp(day.to_datetime(time?)).ok()
}

/// Reads one text field; a fault becomes a note.
fn read<T>(
    exif: &Exif,
    (tag, name): (Tag, &'static str),
    notes: &mut Vec<TimeNote>,
    parse: impl Fn(&str) -> Result<T, TimeProblem>,
) -> Option<T> {
    let bytes = text::raw(exif, tag)?;
    let shown = text::clean(bytes).unwrap_or_default();
    match parse(&shown) {
        Ok(value) => Some(value),
        Err(problem) => {
            notes.push(TimeNote {
                field: name.to_owned(),
                problem,
                found: shown,
            });
            None
        }
    }
}

/// `YYYY:MM:DD HH:MM:SS`. Hyphens, slashes, points and a `T` are met in the wild and
/// accepted in place of the separators.
fn date_time(text: &str) -> Result<DateTime, TimeProblem> {
    refuse_unset(text)?;
    let (day, time) = text.split_once([' ', 'T']).ok_or(TimeProblem::NotATime)?;
    let [hour, minute, second] = numbers(time.trim(), &[':', '.'], [2, 2, 2])?;
    let time = Time::new(hour as i8, minute as i8, second as i8, 0);
    Ok(date(day)?.to_datetime(time.map_err(|_| TimeProblem::OutOfRange)?))
}

fn date(text: &str) -> Result<Date, TimeProblem> {
    refuse_unset(text)?;
    let [year, month, day] = numbers(text, &[':', '-', '/', '.'], [4, 2, 2])?;
    if year == 0 {
        return Err(TimeProblem::OutOfRange);
    }
    Date::new(year, month as i8, day as i8).map_err(|_| TimeProblem::OutOfRange)
}

/// Exif's "unknown" is blanks between the colons; cameras also write zeros.
fn refuse_unset(text: &str) -> Result<(), TimeProblem> {
    let says_nothing = text
        .chars()
        .all(|c| matches!(c, '0' | ':' | '-' | '/' | '.') || c.is_whitespace());
    if says_nothing {
        Err(TimeProblem::NotSet)
    } else {
        Ok(())
    }
}

/// Three numbers of these digits with a separator between them, and nothing else. Four
/// digits at most, so they fit; two-digit ones fit an i8.
fn numbers(text: &str, separators: &[char], digits: [usize; 3]) -> Result<[i16; 3], TimeProblem> {
    let mut out = [0; 3];
    let mut parts = text.split(separators);
    for (slot, digits) in out.iter_mut().zip(digits) {
        let part = parts.next().ok_or(TimeProblem::NotATime)?;
        if part.len() != digits || !part.bytes().all(|b| b.is_ascii_digit()) {
            return Err(TimeProblem::NotATime);
        }
        *slot = part.parse().map_err(|_| TimeProblem::NotATime)?;
    }
    match parts.next() {
        None => Ok(out),
        Some(_) => Err(TimeProblem::NotATime),
    }
}

/// The decimals of a second: nanoseconds, and how many digits said so.
fn sub_seconds(text: &str) -> Result<(i32, u8), TimeProblem> {
    if text.is_empty() {
        return Err(TimeProblem::NotSet);
    }
    if !text.bytes().all(|b| b.is_ascii_digit()) {
        return Err(TimeProblem::NotATime);
    }
    let kept = &text[..text.len().min(9)];
    let nanos: i32 = format!("{kept:0<9}")
        .parse()
        .map_err(|_| TimeProblem::NotATime)?;
    Ok((nanos, kept.len() as u8))
}

/// `+HH:MM` or `-HH:MM`; `Z` and a missing colon are met in the wild. No place on earth
/// is further than fourteen hours from UTC.
fn utc_offset(text: &str) -> Result<Offset, TimeProblem> {
    if text.chars().all(|c| c == ':' || c.is_whitespace()) {
        return Err(TimeProblem::NotSet);
    }
    if text == "Z" {
        return Ok(Offset::UTC);
    }
    let sign = match text.as_bytes().first() {
        Some(b'+') => 1,
        Some(b'-') => -1,
        _ => return Err(TimeProblem::NotATime),
    };
    let digits: String = text.chars().skip(1).filter(|c| *c != ':').collect();
    let well_formed = digits.len() == 4
        && digits.bytes().all(|b| b.is_ascii_digit())
        && matches!(text.len(), 5 | 6)
        && (text.len() == 5 || text.as_bytes().get(3) == Some(&b':'));
    if !well_formed {
        return Err(TimeProblem::NotATime);
    }
    let number: i32 = digits.parse().map_err(|_| TimeProblem::NotATime)?;
    let (hours, minutes) = (number / 100, number % 100);
    if minutes > 59 || hours * 60 + minutes > 14 * 60 {
        return Err(TimeProblem::OutOfRange);
    }
    Offset::from_seconds(sign * (hours * 3600 + minutes * 60)).map_err(|_| TimeProblem::OutOfRange)
}

/// Hours, minutes and seconds, of which any may be a fraction. Rounded to the nanosecond.
fn time_of_rationals(parts: &[Rational]) -> Option<Time> {
    let [hours, minutes, seconds] = parts.first_chunk::<3>()?;
    let nanos = |r: &Rational, unit_s: i128| {
        (r.denom != 0).then(|| i128::from(r.num) * unit_s * 1_000_000_000 / i128::from(r.denom))
    };
    let total = nanos(hours, 3600)? + nanos(minutes, 60)? + nanos(seconds, 1)?;
    let day = 24 * 3600 * 1_000_000_000;
    if total >= day {
        return None;
    }
    let whole = total / 1_000_000_000;
    Time::new(
        i8::try_from(whole / 3600).ok()?,
        i8::try_from(whole / 60 % 60).ok()?,
        i8::try_from(whole % 60).ok()?,
        i32::try_from(total % 1_000_000_000).ok()?,
    )
    .ok()
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date as day;

    #[test]
    fn good_times_in_the_forms_met() {
        let expected = Ok(day(2026, 3, 4).at(14, 3, 20, 0));
        for text in [
            "2026:03:04 14:03:20",
            "2026-03-04 14:03:20",
            "2026/03/04 14:03:20",
            "2026-03-04T14:03:20",
            "2026.03.04 14.03.20",
        ] {
            assert_eq!(date_time(text), expected, "{text}");
        }
    }

    #[test]
    fn broken_times_say_why() {
        use TimeProblem::*;
        let cases = [
            ("0000:00:00 00:00:00", NotSet),
            ("    :  :     :  :  ", NotSet),
            ("", NotSet),
            ("2026:13:04 14:03:20", OutOfRange),
            ("2026:02:30 14:03:20", OutOfRange),
            ("2026:03:04 24:00:00", OutOfRange),
            ("2026:03:04 14:60:00", OutOfRange),
            ("0000:01:01 10:00:00", OutOfRange),
            ("2026:03:04", NotATime),
            ("2026:3:4 14:03:20", NotATime),
            ("2026:03:04 14:03:20+01:00", NotATime),
            ("yesterday noon", NotATime),
            ("2026:03:04 14:03:2\u{FFFD}", NotATime),
        ];
        for (text, problem) in cases {
            assert_eq!(date_time(text), Err(problem), "{text:?}");
        }
    }

    #[test]
    fn sub_seconds_are_decimals_not_a_count() {
        assert_eq!(sub_seconds("5"), Ok((500_000_000, 1)));
        assert_eq!(sub_seconds("05"), Ok((50_000_000, 2)));
        assert_eq!(sub_seconds("1234567899"), Ok((123_456_789, 9)));
        assert_eq!(sub_seconds(""), Err(TimeProblem::NotSet));
        assert_eq!(sub_seconds("-5"), Err(TimeProblem::NotATime));
    }

    #[test]
    fn offsets() {
        let seconds = |text| utc_offset(text).map(Offset::seconds);
        assert_eq!(seconds("+01:00"), Ok(3600));
        assert_eq!(seconds("-03:30"), Ok(-12600));
        assert_eq!(seconds("+0545"), Ok(20700));
        assert_eq!(seconds("Z"), Ok(0));
        assert_eq!(seconds("-00:00"), Ok(0));
        assert_eq!(seconds("   :  "), Err(TimeProblem::NotSet));
        assert_eq!(seconds("+14:01"), Err(TimeProblem::OutOfRange));
        assert_eq!(seconds("+01:75"), Err(TimeProblem::OutOfRange));
        for text in ["01:00", "+1:00", "+01:0", "+01;00", "+é1:0", "+:0100"] {
            assert_eq!(seconds(text), Err(TimeProblem::NotATime), "{text}");
        }
    }

    #[test]
    fn gps_rationals() {
        let r = |num, denom| Rational { num, denom };
        let time = |h, m, s| time_of_rationals(&[h, m, s]);
        assert_eq!(
            time(r(13, 1), r(3, 1), r(19500, 1000)),
            Time::new(13, 3, 19, 500_000_000).ok()
        );
        // Minutes with decimals and no seconds, as some receivers write.
        assert_eq!(
            time(r(13, 1), r(35, 10), r(0, 1)),
            Time::new(13, 3, 30, 0).ok()
        );
        assert_eq!(time(r(24, 1), r(0, 1), r(0, 1)), None);
        assert_eq!(time(r(u32::MAX, 1), r(u32::MAX, 1), r(0, 0)), None);
        assert_eq!(time_of_rationals(&[r(1, 1)]), None);
    }
}
