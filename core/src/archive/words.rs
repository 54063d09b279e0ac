//! Numbers, times and directions as people read them.

use datumtrail_geometry::frame::{Axis, Side, direction};
use jiff::Timestamp;
use jiff::civil::DateTime;
use jiff::tz::TimeZone;

/// A deviation with its direction: `7.4 mm forward`. What rounds to nothing has no direction.
///
/// ```
/// use datumtrail_core::archive::words::deviation;
/// use datumtrail_core::geometry::frame::{Axis, Side};
///
/// assert_eq!(deviation(Axis::Length, -7.44, Side::Left), "7.4 mm forward");
/// assert_eq!(deviation(Axis::Width, 2.0, Side::Left), "2.0 mm inboard");
/// assert_eq!(deviation(Axis::Height, -0.04, Side::Left), "0.0 mm");
/// ```
pub fn deviation(axis: Axis, mm: f64, side: Side) -> String {
    let size = format!("{:.1}", mm.abs());
    if size == "0.0" {
        return "0.0 mm".into();
    }
    format!("{size} mm {}", direction(axis, mm, side))
}

/// A number that someone stated, without the noise of its conversion: `3`, `1.5`, `3.048`.
pub fn stated(value: f64) -> String {
    let text = format!("{value:.3}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    text.to_owned()
}

/// `1 point`, `3 points`.
pub fn count(n: usize, one: &str, many: &str) -> String {
    format!("{n} {}", if n == 1 { one } else { many })
}

/// `A`, `A and B`, `A, B and C`.
pub fn list<S: AsRef<str>>(items: &[S]) -> String {
    match items {
        [] => String::new(),
        [one] => one.as_ref().to_owned(),
        [first @ .., last] => {
            let first: Vec<&str> = first.iter().map(AsRef::as_ref).collect();
            format!("{} and {}", first.join(", "), last.as_ref())
        }
    }
}

/// The same, shortened behind the first few: `A, B, C and 9 more`.
pub fn short_list<S: AsRef<str>>(items: &[S], most: usize) -> String {
    if items.len() <= most + 1 {
        return list(items);
    }
    let first: Vec<&str> = items.iter().take(most).map(AsRef::as_ref).collect();
    format!("{} and {} more", first.join(", "), items.len() - most)
}

/// A length of time, seconds: `30 s`, `14 min`, `1 h 07 min`, `3 days`.
pub fn duration(seconds: f64) -> String {
    let seconds = seconds.abs();
    if seconds < 90.0 {
        return format!("{seconds:.0} s");
    }
    let minutes = (seconds / 60.0).round() as u64;
    match minutes {
        0..90 => format!("{minutes} min"),
        90..2880 => format!("{} h {:02} min", minutes / 60, minutes % 60),
        _ => format!("{} days", (minutes + 720) / 1440),
    }
}

/// How a clock was put right, to the second: `put forward by 1 h 07 min 12 s`.
pub fn correction(seconds: i64) -> String {
    let size = seconds.unsigned_abs();
    let (h, m, s) = (size / 3600, size / 60 % 60, size % 60);
    let mut parts = Vec::new();
    if h > 0 {
        parts.push(format!("{h} h"));
    }
    if m > 0 {
        parts.push(format!("{m} min"));
    }
    if s > 0 || parts.is_empty() {
        parts.push(format!("{s} s"));
    }
    let way = if seconds < 0 { "back" } else { "forward" };
    format!("put {way} by {}", parts.join(" "))
}

/// An instant as documents hold it: RFC 3339 with the zone's offset.
pub fn written(at: Timestamp, zone: &TimeZone) -> String {
    at.display_with_offset(zone.to_offset(at)).to_string()
}

/// What the wall clock showed at a time of the document; `None` if it isn't one.
pub fn wall(at: &str) -> Option<DateTime> {
    at.get(..19)?.parse().ok()
}

/// `12 May 2026`.
pub fn day(at: &str) -> String {
    shown(at, "%-d %B %Y")
}

/// `Tue 12 May 2026, 09:10`.
pub fn moment(at: &str) -> String {
    shown(at, "%a %-d %b %Y, %H:%M")
}

/// `12 May, 09:10`: where the year is plain from what stands around.
pub fn short_moment(at: &str) -> String {
    shown(at, "%-d %b, %H:%M")
}

/// `09:10`.
pub fn time_of_day(at: &str) -> String {
    shown(at, "%H:%M")
}

fn shown(at: &str, format: &str) -> String {
    match wall(at) {
        Some(time) => time.strftime(format).to_string(),
        None => at.to_owned(),
    }
}

/// Text of one line, for lists and file heads: line breaks and the like become spaces.
pub fn one_line(text: &str) -> String {
    let words: Vec<&str> = text
        .split(|c: char| c.is_whitespace() || c.is_control())
        .filter(|w| !w.is_empty())
        .collect();
    words.join(" ")
}

/// Text broken at spaces so that no line is longer than 79 characters, where a word is not; further
/// lines are indented.
pub fn wrapped(text: &str, indent: &str) -> String {
    const WIDTH: usize = 79;
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match lines.last_mut() {
            Some(line) if line.chars().count() + 1 + word.chars().count() <= WIDTH => {
                line.push(' ');
                line.push_str(word);
            }
            Some(_) => lines.push(format!("{indent}{word}")),
            None => lines.push(word.to_owned()),
        }
    }
    lines.join("\n")
}

/// Text cut behind so many characters.
pub fn cut(text: &str, most: usize) -> String {
    let text = one_line(text);
    if text.chars().count() <= most {
        return text;
    }
    let kept: String = text.chars().take(most.saturating_sub(1)).collect();
    format!("{}…", kept.trim_end())
}

/// Text with a capital at its beginning.
pub fn capital(text: &str) -> String {
    let mut letters = text.chars();
    match letters.next() {
        Some(first) => first.to_uppercase().chain(letters).collect(),
        None => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lists_read_as_people_write_them() {
        assert_eq!(list::<&str>(&[]), "");
        assert_eq!(list(&["A", "B", "C"]), "A, B and C");
        assert_eq!(
            short_list(&["A", "B", "C", "D", "E"], 3),
            "A, B, C and 2 more"
        );
        assert_eq!(short_list(&["A", "B", "C", "D"], 3), "A, B, C and D");
    }

    #[test]
    fn times_are_shown_on_the_shop_s_wall_clock() {
        let at = "2026-05-12T09:10:00+01:00";
        assert_eq!(moment(at), "Tue 12 May 2026, 09:10");
        assert_eq!(day(at), "12 May 2026");
        assert_eq!(moment("nonsense"), "nonsense");
        let at: Timestamp = "2026-05-12T08:10:00Z".parse().unwrap();
        let zone = TimeZone::get("Etc/GMT-1").unwrap();
        assert_eq!(written(at, &zone), "2026-05-12T09:10:00+01:00");
    }

    #[test]
    fn lengths_of_time() {
        assert_eq!(duration(30.4), "30 s");
        assert_eq!(duration(-840.0), "14 min");
        assert_eq!(duration(90.0 * 60.0), "1 h 30 min");
        assert_eq!(duration(3.0 * 86_400.0), "3 days");
        assert_eq!(correction(4032), "put forward by 1 h 7 min 12 s");
        assert_eq!(correction(-60), "put back by 1 min");
        assert_eq!(correction(0), "put forward by 0 s");
    }

    #[test]
    fn stated_numbers_lose_the_noise_of_inches() {
        assert_eq!(stated(3.0), "3");
        assert_eq!(stated(0.12 * 25.4), "3.048");
        assert_eq!(cut("one\ntwo  three", 9), "one two…");
    }
}
