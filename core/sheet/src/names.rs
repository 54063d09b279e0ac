//! Names of control points, sides, and what makes two points partners.
//!
//! Sheets mark the right-hand partner of `A` with a stroke, `A'` (the published sheets in this
//! crate's tests do), or with a side: `A-L` and `A-R`. Spreadsheets turn the stroke into
//! typographic ones; all are read as the plain one, so that a sheet and a survey from two programs
//! still name the same point.

use datumtrail_geometry::frame::Side;

use crate::error::SheetError;
use crate::problem::{Fault, too_long};

/// Longest name of a point, member or zone, in characters.
pub const MOST_NAME: usize = 60;
/// Longest other text, in characters.
pub const MOST_TEXT: usize = 300;

/// Strokes that mean the plain `'`: quotes, primes, accents and modifiers.
const STROKES: [char; 8] = [
    '\u{2019}', '\u{2018}', '\u{2032}', '\u{00B4}', '`', '\u{02B9}', '\u{02BC}', '\u{FF07}',
];

/// A point's name as it is kept: without spaces around, with single spaces inside and plain strokes.
/// Use it on every name that a person types, before looking it up.
///
/// ```
/// assert_eq!(datumtrail_sheet::point_name(" A\u{2019} ")?, "A'");
/// # Ok::<(), datumtrail_sheet::SheetError>(())
/// ```
///
/// # Errors
/// [`SheetError::Record`] for a blank name, one over [`MOST_NAME`] characters, one with an
/// invisible character, or one with a comma (lists of points are separated by commas).
pub fn point_name(text: &str) -> Result<String, SheetError> {
    clean_name(text).map_err(|fault| SheetError::record("the point's name", fault))
}

pub(crate) fn clean_name(text: &str) -> Result<String, Fault> {
    let name = clean_text(text)?.replace(STROKES, "'");
    if name.is_empty() {
        return Err(Fault::Blank);
    }
    if name.contains(',') {
        return Err(Fault::NameComma { text: name });
    }
    match too_long(&name, true) {
        Some(fault) => Err(fault),
        None => Ok(name),
    }
}

/// Text with single spaces between its words and none around; may be empty.
pub(crate) fn clean_text(text: &str) -> Result<String, Fault> {
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    if let Some(c) = text.chars().find(|c| invisible(*c)) {
        return Err(Fault::Invisible {
            text,
            code: c.into(),
        });
    }
    match too_long(&text, false) {
        Some(fault) => Err(fault),
        None => Ok(text),
    }
}

/// Characters that print nothing or turn the text around: two names that look alike would differ,
/// and a page could show what is not there.
fn invisible(c: char) -> bool {
    c.is_control()
        || matches!(c,
            '\u{00AD}'
            | '\u{200B}'..='\u{200F}'
            | '\u{202A}'..='\u{202E}'
            | '\u{2060}'..='\u{206F}'
            | '\u{FEFF}'
            | '\u{FFF9}'..='\u{FFFC}')
}

/// A side from its word or first letter, in any case.
pub(crate) fn parse_side(text: &str) -> Result<Side, Fault> {
    match text.trim().to_lowercase().as_str() {
        "left" | "l" => Ok(Side::Left),
        "right" | "r" => Ok(Side::Right),
        "centre" | "center" | "c" => Ok(Side::Centre),
        _ => Err(Fault::Side {
            text: text.to_owned(),
        }),
    }
}

/// What the names of partners share: the name without one trailing stroke, or without a trailing
/// `-L`, `_R`, ` left` and the like, in any case.
///
/// ```
/// use datumtrail_sheet::stem;
///
/// assert_eq!(stem("A'"), "A");
/// assert_eq!(stem("B1-L"), "B1");
/// assert_eq!(stem("B1 right"), "B1");
/// assert_eq!(stem("RAIL"), "RAIL"); // no separator, no suffix
/// ```
pub fn stem(name: &str) -> &str {
    if let Some(stem) = name.strip_suffix('\'') {
        return if stem.is_empty() { name } else { stem };
    }
    match name.rsplit_once(['-', '_', ' ']) {
        Some((stem, suffix))
            if !stem.is_empty()
                && ["l", "r", "left", "right"]
                    .iter()
                    .any(|side| suffix.eq_ignore_ascii_case(side)) =>
        {
            stem
        }
        _ => name,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_stroke_becomes_the_plain_one() {
        for stroke in STROKES {
            assert_eq!(clean_name(&format!("A{stroke}")).unwrap(), "A'");
        }
    }

    #[test]
    fn cleaning_twice_changes_nothing() {
        let once = clean_name("\u{a0} rail \t end\u{2032} ").unwrap();
        assert_eq!(once, "rail end'");
        assert_eq!(clean_name(&once).unwrap(), once);
    }

    #[test]
    fn names_that_would_deceive_or_break_lists_are_refused() {
        assert_eq!(clean_name("  "), Err(Fault::Blank));
        assert!(matches!(clean_name("A,B"), Err(Fault::NameComma { .. })));
        assert!(matches!(
            clean_name("A\u{200B}"),
            Err(Fault::Invisible { code: 0x200B, .. })
        ));
        assert!(matches!(
            clean_name("\u{1b}[31mA"),
            Err(Fault::Invisible { code: 0x1b, .. })
        ));
        assert_eq!(
            clean_name(&"A".repeat(61)),
            Err(Fault::TextLong {
                found: 61,
                most: 60
            })
        );
        assert_eq!(
            point_name("").unwrap_err().to_string(),
            "the point's name: nothing stands here, and it is needed; fill it in"
        );
    }

    #[test]
    fn sides_are_read_by_word_and_letter() {
        for (text, side) in [
            ("left", Side::Left),
            ("L", Side::Left),
            (" Right ", Side::Right),
            ("r", Side::Right),
            ("centre", Side::Centre),
            ("CENTER", Side::Centre),
            ("c", Side::Centre),
        ] {
            assert_eq!(parse_side(text), Ok(side));
        }
        assert!(parse_side("middle").is_err());
    }

    #[test]
    fn stems() {
        for (name, expected) in [
            ("A", "A"),
            ("'", "'"),
            ("A''", "A'"),
            ("F1_r", "F1"),
            ("F1-Left", "F1"),
            ("-L", "-L"),
            ("A-12", "A-12"),
        ] {
            assert_eq!(stem(name), expected);
        }
    }
}
