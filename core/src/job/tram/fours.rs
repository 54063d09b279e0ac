//! The two diagonals of a symmetrical four: equal on a straight vehicle.

use datumtrail_geometry::network::{self, DiagonalCheck, Observation, SheetEnd, TramKind};
use datumtrail_geometry::stats;
use datumtrail_sheet::Sheet;
use serde::Serialize;

use super::{ALPHA, end, observed};
use crate::job::record;
use crate::job::view::Entry;

/// The two diagonals of a symmetrical four.
#[derive(Clone, Debug, Serialize)]
pub struct FourReport {
    /// Left front, right front, left rear, right rear.
    pub points: [String; 4],
    pub kind: record::TramKind,
    /// Left front to right rear, less right front to left rear, less what the sheet gives.
    pub difference_mm: f64,
    pub u_mm: f64,
    /// More than chance, at 5 % over all fours.
    pub stands_out: bool,
    pub words: String,
}

/// The symmetrical fours of which both diagonals were measured in one kind; of a diagonal that was
/// measured again, the newest counts.
pub(super) fn find(
    sheet: &Sheet,
    readings: &[&Entry<record::Tram>],
    build_spread_mm: Option<f64>,
) -> Vec<FourReport> {
    let points = sheet.points();
    let place = |name: &str| points.iter().position(|p| p.name == name);
    let build = build_spread_mm.unwrap_or(0.0);
    let ends: Vec<Option<SheetEnd>> = points.iter().map(|p| Some(end(p, build))).collect();
    let pairs: Vec<(usize, usize)> = sheet
        .pairs()
        .filter_map(|(left, right)| place(&left.name).zip(place(&right.name)))
        .collect();
    let newest_first: Vec<Observation> = readings
        .iter()
        .rev()
        .filter_map(|r| observed(&r.body, place))
        .collect();
    let found = network::cross_diagonals(&ends, &pairs, &newest_first);
    // Two-sided, shared by all fours.
    let critical = stats::phi_inverse(1.0 - ALPHA / 2.0 / found.len().max(1) as f64);
    let name = |place: usize| {
        points
            .get(place)
            .map_or_else(String::new, |p| p.name.clone())
    };
    found
        .into_iter()
        .map(|four| {
            let level = newest_first
                .get(four.readings.0)
                .and_then(|o| TramKind::of(o.quantity))
                .is_some_and(|(kind, _, _)| kind == TramKind::Level);
            let points = [four.front.0, four.front.1, four.rear.0, four.rear.1].map(name);
            let stands_out = four.check.w.abs() > critical;
            FourReport {
                kind: match level {
                    true => record::TramKind::Level,
                    false => record::TramKind::True,
                },
                difference_mm: four.check.difference_mm,
                u_mm: four.check.u_mm,
                stands_out,
                words: four_words(&four.check, &points, stands_out),
                points,
            }
        })
        .collect()
}

fn four_words(check: &DiagonalCheck, points: &[String; 4], stands_out: bool) -> String {
    let [fl, fr, rl, rr] = points;
    if !stands_out {
        return format!(
            "{fl}, {fr}, {rl}, {rr}: the diagonals agree (difference {:.1} mm, ±{:.1}).",
            check.difference_mm,
            2.0 * check.u_mm
        );
    }
    let (side, which) = match check.side_shift_mm > 0.0 {
        true => ("right", "longer"),
        false => ("left", "shorter"),
    };
    let lies = match check.diamond_mm > 0.0 {
        true => "the right side lies behind the left",
        false => "the left side lies behind the right",
    };
    format!(
        "{fl}, {fr}, {rl}, {rr}: {fl} to {rr} is {:.1} mm {which} than {fr} to {rl} (±{:.1}). Either \
         {rl} and {rr} sit {:.1} mm to the {side}, or {lies} by {:.1} mm (diamond); diagonals alone \
         can't tell which.",
        check.difference_mm.abs(),
        2.0 * check.u_mm,
        check.side_shift_mm.abs(),
        check.diamond_mm.abs()
    )
}
