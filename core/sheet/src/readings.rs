//! Files of readings: where an instrument saw the control points, in its own frame.
//!
//! Columns `point` `x` `y` `z`, and `u` or `u_x` `u_y` `u_z` for the standard uncertainty of each
//! coordinate, and `time`. Unlike in a sheet a point may stand more than once: repeating a reading
//! is good practice, and each is a record of its own.
//!
//! ```
//! use datumtrail_sheet::{Units, readings};
//!
//! let file = b"point,x,y,z,u\nA,1203.42,-88.10,402.77,0.3\nA,1203.51,-88.06,402.70,0.3\n";
//! let loaded = readings::load(file, Units::Mm, None)?;
//! assert_eq!(loaded.value.len(), 2);
//! assert_eq!(loaded.value[0].u_mm, Some([0.3; 3]));
//! # Ok::<(), datumtrail_sheet::SheetError>(())
//! ```

use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use crate::error::SheetError;
use crate::header::Field;
use crate::load::{Loaded, on_sheet, read_rows};
use crate::point::checked_coordinate;
use crate::problem::{Collector, Fault, Problem};
use crate::sheet::Sheet;
use crate::table::Row;
use crate::units::Units;

/// An instrument that is no better than this measures nothing on a vehicle.
pub const MOST_UNCERTAINTY_MM: f64 = 100.0;

static READINGS: [Field; 9] = [
    Field::text("point"),
    Field::number("x"),
    Field::number("y"),
    Field::number("z"),
    Field::number("u").optional(),
    Field::number("u_x").optional(),
    Field::number("u_y").optional(),
    Field::number("u_z").optional(),
    Field::text("time").optional(),
];

/// One observed position of one control point.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Reading {
    /// The control point's name.
    pub point: String,
    /// In millimetres, in the instrument's own frame.
    pub position_mm: [f64; 3],
    /// The standard uncertainty of each coordinate in millimetres, where the file states it.
    pub u_mm: Option<[f64; 3]>,
    /// When it was taken, where the file says so: RFC 3339, as it stands in the file.
    pub time: Option<String>,
}

/// Reads a file of readings, all of it or nothing. With a `sheet`, a point that it does not have is
/// an error like any other.
///
/// # Errors
/// [`SheetError::Faulty`] with everything that is wrong in the file, or why it is no table.
pub fn load(
    bytes: &[u8],
    units: Units,
    sheet: Option<&Sheet>,
) -> Result<Loaded<Vec<Reading>>, SheetError> {
    read_rows(bytes, &READINGS, |row, problems| {
        read_reading(row, units, sheet, problems)
    })
}

/// Checks a time that a person typed.
///
/// # Errors
/// [`SheetError::Record`] for what is not a complete RFC 3339 time with its offset from UTC.
pub fn check_time(text: &str) -> Result<(), SheetError> {
    parse_time(text)
        .map(|_| ())
        .map_err(|fault| SheetError::record("the time", fault))
}

/// Reads every cell of the row before giving up on it, so that all of its problems are reported.
fn read_reading(
    row: &Row<'_>,
    units: Units,
    sheet: Option<&Sheet>,
    problems: &mut Collector,
) -> Option<Reading> {
    let point = problems.note(read_point(row, sheet));
    let position = ["x", "y", "z"].map(|column| problems.note(read_coordinate(row, column, units)));
    let u_mm = problems.note(read_uncertainty(row, units));
    let time = problems.note(row.cell("time", parse_time));
    let [x, y, z] = position;
    Some(Reading {
        point: point?,
        position_mm: [x?, y?, z?],
        u_mm: u_mm?,
        time: time?,
    })
}

fn read_point(row: &Row<'_>, sheet: Option<&Sheet>) -> Result<String, Problem> {
    let name = row.needed("point", row.name("point"))?;
    on_sheet(row, "point", name, sheet)
}

fn read_coordinate(row: &Row<'_>, column: &str, units: Units) -> Result<f64, Problem> {
    let number = row.needed(column, row.number(column))?;
    checked_coordinate(number.in_mm(units)).map_err(|fault| row.problem(column, fault))
}

/// The axis's own column counts before `u`; with any of the three there must be all.
fn read_uncertainty(row: &Row<'_>, units: Units) -> Result<Option<[f64; 3]>, Problem> {
    let for_all = read_u(row, "u", units)?;
    let [x, y, z] = ["u_x", "u_y", "u_z"].map(|column| read_u(row, column, units));
    match (x?.or(for_all), y?.or(for_all), z?.or(for_all)) {
        (Some(x), Some(y), Some(z)) => Ok(Some([x, y, z])),
        (None, None, None) => Ok(None),
        (x, y, _) => {
            let blank = match (x, y) {
                (None, _) => "u_x",
                (_, None) => "u_y",
                _ => "u_z",
            };
            Err(row.problem(blank, Fault::UncertaintyPartial))
        }
    }
}

pub(crate) fn read_u(row: &Row<'_>, column: &str, units: Units) -> Result<Option<f64>, Problem> {
    let Some(number) = row.number(column)? else {
        return Ok(None);
    };
    let mm = number.in_mm(units);
    if mm > 0.0 && mm <= MOST_UNCERTAINTY_MM {
        return Ok(Some(mm));
    }
    let most = MOST_UNCERTAINTY_MM;
    Err(row.problem(column, Fault::Uncertainty { mm, most }))
}

/// The shape is checked here, for `jiff` reads more than RFC 3339 (times without seconds, zone
/// names); whether the day and hour exist is its question.
pub(crate) fn parse_time(text: &str) -> Result<String, Fault> {
    let exists = || text.parse::<Timestamp>().is_ok();
    if has_rfc_3339_shape(text) && exists() {
        Ok(text.to_owned())
    } else {
        Err(Fault::Time {
            text: text.to_owned(),
        })
    }
}

/// `2026-03-02T14:05:00`, a fraction of a second or none, `Z` or `+01:00`. The RFC allows a small
/// `t` and `z`, and a space instead of the `T`.
fn has_rfc_3339_shape(text: &str) -> bool {
    let Some((start, rest)) = text.split_at_checked(19) else {
        return false;
    };
    let rest = match rest.strip_prefix('.') {
        Some(fraction) => {
            let zone = fraction.trim_start_matches(|c: char| c.is_ascii_digit());
            if zone.len() == fraction.len() {
                return false;
            }
            zone
        }
        None => rest,
    };
    let zone =
        matches!(rest, "Z" | "z") || matches_shape(rest, "+00:00") || matches_shape(rest, "-00:00");
    matches_shape(start, "0000-00-00T00:00:00") && zone
}

/// Whether `text` has a digit where `shape` has one, and the same sign elsewhere.
fn matches_shape(text: &str, shape: &str) -> bool {
    text.len() == shape.len()
        && text.bytes().zip(shape.bytes()).all(|(t, s)| match s {
            b'0' => t.is_ascii_digit(),
            b'T' => matches!(t, b'T' | b't' | b' '),
            _ => t == s,
        })
}
