//! Files of tram readings: observed distances between control points, and heights.
//!
//! Columns `kind` (`true`, `level` or `height`), `a`, `b` (empty for a height), `value`, and
//! optional `u` (standard uncertainty) and `time`. A pair may stand more than once: measuring a
//! distance again is good practice.
//!
//! ```
//! use datumtrail_sheet::{Units, trams};
//!
//! let file = b"kind,a,b,value,u\ntrue,A,B',1422.5,0.5\nheight,H,,236.0,1\n";
//! let loaded = trams::load(file, Units::Mm, None)?;
//! assert_eq!(loaded.value[0].b.as_deref(), Some("B'"));
//! assert_eq!(loaded.value[1].value_mm, 236.0);
//! # Ok::<(), datumtrail_sheet::SheetError>(())
//! ```

use serde::{Deserialize, Serialize};

use crate::distance::DistanceKind;
use crate::error::SheetError;
use crate::header::Field;
use crate::load::{Loaded, on_sheet, read_rows};
use crate::point::{MOST_COORDINATE_MM, checked_coordinate};
use crate::problem::{Collector, Fault, Problem};
use crate::readings::{parse_time, read_u};
use crate::sheet::Sheet;
use crate::table::Row;
use crate::units::Units;

static TRAMS: [Field; 6] = [
    Field::text("kind"),
    Field::text("a"),
    Field::text("b").optional(),
    Field::number("value"),
    Field::number("u").optional(),
    Field::text("time").optional(),
];

/// One observed distance, or the height of one point above the datum plane.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct TramReading {
    /// [`DistanceKind::True`], [`DistanceKind::Level`] or [`DistanceKind::Height`].
    pub kind: DistanceKind,
    /// From here.
    pub a: String,
    /// To here; none for a height.
    pub b: Option<String>,
    /// In millimetres.
    pub value_mm: f64,
    /// The standard uncertainty in millimetres, where the file states it.
    pub u_mm: Option<f64>,
    /// When it was taken, where the file says so: RFC 3339, as it stands in the file.
    pub time: Option<String>,
}

/// Reads a file of tram readings, all of it or nothing. With a `sheet`, a point that it does not
/// have is an error like any other.
///
/// # Errors
/// [`SheetError::Faulty`] with everything that is wrong in the file, or why it is no table.
pub fn load(
    bytes: &[u8],
    units: Units,
    sheet: Option<&Sheet>,
) -> Result<Loaded<Vec<TramReading>>, SheetError> {
    read_rows(bytes, &TRAMS, |row, problems| {
        read_row(row, units, sheet, problems)
    })
}

/// Reads every cell of the row before giving up on it, so that all of its problems are reported.
fn read_row(
    row: &Row<'_>,
    units: Units,
    sheet: Option<&Sheet>,
    problems: &mut Collector,
) -> Option<TramReading> {
    let kind = problems.note(row.needed("kind", row.cell("kind", parse_kind)));
    let a = problems.note(
        row.needed("a", row.name("a"))
            .and_then(|a| on_sheet(row, "a", a, sheet)),
    );
    let b = problems.note(read_b(row, kind, sheet));
    let value_mm = problems.note(read_value(row, kind, units));
    let u_mm = problems.note(read_u(row, "u", units));
    let time = problems.note(row.cell("time", parse_time));
    let (a, b) = (a?, b?);
    if b.as_ref() == Some(&a) {
        let fault = Fault::EndsSame {
            kind: "distance",
            name: a,
        };
        problems.push(row.problem("b", fault));
        return None;
    }
    Some(TramReading {
        kind: kind?,
        a,
        b,
        value_mm: value_mm?,
        u_mm: u_mm?,
        time: time?,
    })
}

fn parse_kind(text: &str) -> Result<DistanceKind, Fault> {
    let observed = [
        DistanceKind::True,
        DistanceKind::Level,
        DistanceKind::Height,
    ];
    match DistanceKind::parse(text) {
        Ok(kind) if observed.contains(&kind) => Ok(kind),
        _ => Err(Fault::TramKind {
            text: text.to_owned(),
        }),
    }
}

fn read_b(
    row: &Row<'_>,
    kind: Option<DistanceKind>,
    sheet: Option<&Sheet>,
) -> Result<Option<String>, Problem> {
    match (kind, row.name("b")?) {
        (Some(DistanceKind::Height), None) | (None, None) => Ok(None),
        (Some(DistanceKind::Height), Some(_)) => Err(row.problem("b", Fault::EndSurplus)),
        (Some(_), None) => Err(row.problem("b", Fault::EndMissing { kind: "distance" })),
        (_, Some(b)) => on_sheet(row, "b", b, sheet).map(Some),
    }
}

fn read_value(row: &Row<'_>, kind: Option<DistanceKind>, units: Units) -> Result<f64, Problem> {
    let mm = row.needed("value", row.number("value"))?.in_mm(units);
    checked_value(kind.unwrap_or(DistanceKind::Height), mm)
        .map_err(|fault| row.problem("value", fault))
}

/// A value that a tram gauge can have shown.
///
/// # Errors
/// [`SheetError::Record`] for a distance that is not above zero, or what no vehicle has.
pub fn check_value(kind: DistanceKind, mm: f64) -> Result<f64, SheetError> {
    checked_value(kind, mm).map_err(|fault| SheetError::record("the value", fault))
}

fn checked_value(kind: DistanceKind, mm: f64) -> Result<f64, Fault> {
    if kind == DistanceKind::Height {
        return checked_coordinate(mm);
    }
    if mm > 0.0 && mm <= MOST_COORDINATE_MM {
        return Ok(mm);
    }
    Err(Fault::DistanceSize {
        kind: "distance",
        mm,
        zero: false,
        most: MOST_COORDINATE_MM,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn everything_wrong_is_said_by_line_and_column() {
        let file = b"kind,a,b,value\ntrue,A,,900\nheight,A,B,20\ndiagonal,A,B,900\ntrue,A,A,900\n\
                     level,A,B,-4\ntrue,A,B,900\n";
        let refused = load(file, Units::Mm, None).unwrap_err();
        let places: Vec<String> = refused
            .problems()
            .iter()
            .map(|p| {
                p.to_string()
                    .split(':')
                    .next()
                    .unwrap_or_default()
                    .to_owned()
            })
            .collect();
        assert_eq!(
            places,
            [
                "line 2, column 3 (b)",
                "line 3, column 3 (b)",
                "line 4, column 1 (kind)",
                "line 5, column 3 (b)",
                "line 6, column 4 (value)",
            ]
        );
    }

    #[test]
    fn inches_are_converted_exactly() {
        let loaded = load(b"kind;a;b;value\ntrue;A;B;10,5\n", Units::In, None).unwrap();
        assert_eq!(loaded.value[0].value_mm, 266.7);
    }
}
