//! Tram readings: each against the sheet, the diagonals of symmetrical fours, and the positions
//! that all of them together determine.

mod fours;
mod list;
mod solve;

pub use fours::FourReport;
pub use list::{TramList, TramReport, compare};
pub use solve::{Basis, NextReading, SolvedAxis, SolvedFigure, SolvedPoint, TramSolved, solve};

use datumtrail_geometry::frame::Mat3;
use datumtrail_geometry::network::{Observation, Quantity, SheetEnd, TramKind};
use datumtrail_sheet::ControlPoint;

use super::record;
use super::view::{Entry, JobView};

/// What stands in for an uncertainty that nobody stated, millimetres: a guess, and said to be one.
pub const UNSTATED_U_MM: f64 = 1.0;

/// The probability of doubting anything in a faultless network.
pub const ALPHA: f64 = 0.05;

/// The readings that count, of one stage or of all.
pub fn standing<'v>(
    view: &'v JobView,
    stage: Option<&'v str>,
) -> impl Iterator<Item = &'v Entry<record::Tram>> {
    view.trams
        .iter()
        .filter(move |t| t.stands() && stage.is_none_or(|stage| t.body.stage == stage))
}

/// An end of a reading as the sheet has it, with the spread of undamaged vehicles.
fn end(point: &ControlPoint, build: f64) -> SheetEnd {
    let variances = point.rounding_mm2().map(|v| v + build * build);
    SheetEnd {
        position: point.position_mm.into(),
        covariance: Mat3::from_diagonal(&variances.into()),
    }
}

/// A reading as the geometry takes it, its points by the places that `place` gives them; none where
/// one of them has no place.
fn observed(reading: &record::Tram, place: impl Fn(&str) -> Option<usize>) -> Option<Observation> {
    let from = place(&reading.a)?;
    let to = reading.b.as_deref().map(place);
    let quantity = match (reading.kind, to) {
        (record::TramKind::Height, None) => Quantity::height(from),
        (record::TramKind::Level, Some(to)) => TramKind::Level.quantity(from, to?),
        (record::TramKind::True, Some(to)) => TramKind::True.quantity(from, to?),
        _ => return None,
    };
    let u = reading.u_mm.unwrap_or(UNSTATED_U_MM);
    Some(Observation::new(quantity, reading.value_mm, u))
}
