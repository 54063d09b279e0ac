//! Reads the published distance tables in `tests/published/` into sheets to audit.

pub mod report;

use datumtrail_geometry::audit::{End, Figure, Printed, Sheet, Station};
use datumtrail_geometry::frame::Side;

/// Saab, service information for the 9-2X (2005), group 8, datum dimensions, measurement, centre
/// structure. Printed to whole millimetres.
pub const SAAB: &str = include_str!("../published/saab-9-2x-2005-centre.csv");

/// Subaru, repair information for the Tribeca (2008), body structure, datum dimensions,
/// measurement, centre structure. Printed to whole millimetres; lengths are projected.
pub const TRIBECA: &str = include_str!("../published/tribeca-2008-centre.csv");

/// A table `kind,a[,a_side],b[,b_side],value` as a sheet rounded to 1 mm.
pub fn sheet(table: &str) -> Sheet {
    let mut rows = table
        .lines()
        .map(|line| line.split(',').collect::<Vec<_>>());
    let header = rows.next().expect("a header");
    let mut sheet = Sheet::default();
    for row in rows.filter(|row| row.len() == header.len()) {
        let cell = |name: &str| {
            let column = header.iter().position(|h| *h == name);
            column.map(|c| row[c]).filter(|cell| !cell.is_empty())
        };
        let mut end = |name: &str| {
            let station = cell(name)?;
            let known = sheet.stations.iter().position(|s| s.name == station);
            let place = known.unwrap_or_else(|| {
                sheet.stations.push(Station::new(station, 1.0));
                sheet.stations.len() - 1
            });
            let side = match cell(&format!("{name}_side")) {
                Some("left") => Some(Side::Left),
                Some("right") => Some(Side::Right),
                _ => None,
            };
            Some(End {
                station: place,
                side,
            })
        };
        let what = match cell("kind").expect("a kind") {
            "height" => Printed::Height,
            "width" => Printed::Width,
            "projected-length" => Printed::Length,
            "same-side" => Printed::SameSide,
            "diagonal" => Printed::Diagonal,
            other => panic!("unknown kind {other}"),
        };
        let a = end("a").expect("a first point");
        let b = end("b").filter(|b| b.station != a.station);
        sheet.figures.push(Figure {
            what,
            a,
            b,
            value_mm: cell("value")
                .and_then(|v| v.parse().ok())
                .expect("a number"),
            step_mm: 1.0,
        });
    }
    sheet
}
