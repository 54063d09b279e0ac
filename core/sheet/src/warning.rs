//! What is odd in a sheet, though it can be read: for a person to look at before it is used.
//!
//! None of these is an error. A sheet of one end of a vehicle is short, a maker may print two names
//! for one hole, and a point close to the centre plane may well belong to the other side.

use std::collections::HashMap;
use std::fmt;

use datumtrail_geometry::frame::Side;
use serde::Serialize;

use crate::point::ControlPoint;
use crate::problem::{Column, printable, shown};
use crate::sheet::Sheet;
use crate::table::Table;
use crate::units::Units;

/// No vehicle's structure is shorter (common practice): what spans less is in other units.
pub const SHORTEST_MM: f64 = 300.0;
/// What spans more is no road vehicle's structure (common practice).
pub const LONGEST_MM: f64 = 30_000.0;
/// Below this even the longest vehicle is counted in metres, not in inches.
const LONGEST_IN_METRES: f64 = LONGEST_MM / 1000.0;

/// Something a person should look at.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Warning {
    /// A named column that nothing was read from.
    UnknownColumn { number: usize, name: String },
    /// A source for limits was stated and there is no limit.
    NoLimit,
    /// The side of a point contradicts the sign of its width.
    SideAgainstWidth {
        point: String,
        side: Side,
        width_mm: f64,
    },
    /// So does the side of every point that has one.
    SidesReversed { points: usize },
    /// All points are on one side of the zero plane of width, so this may not be the centre plane.
    OneSided { side: Side },
    /// The sheet spans too little or too much for a vehicle in the units it was loaded with.
    Span { span_mm: f64, loaded_as: Units },
    /// Two points have the same position.
    SamePlace { first: String, second: String },
}

impl Warning {
    /// A warning for each column that is not read.
    pub(crate) fn unknown_columns(table: &Table) -> Vec<Warning> {
        let warn = |Column { number, name }| Warning::UnknownColumn { number, name };
        table.unknown().into_iter().map(warn).collect()
    }
}

impl fmt::Display for Warning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Warning::UnknownColumn { number, name } => write!(
                f,
                "column {number} ({}) was not read; if it should have been, check its spelling",
                printable(name)
            ),
            Warning::NoLimit => write!(
                f,
                "a source was given for limits, and neither the file nor the options give a limit"
            ),
            Warning::SideAgainstWidth {
                point,
                side,
                width_mm,
            } => write!(
                f,
                "{} belongs to the {} and lies {} mm {} of the zero plane; check the side and the \
                 sign",
                shown(point),
                side.word(),
                width_mm.abs(),
                if *width_mm > 0.0 { "right" } else { "left" }
            ),
            Warning::SidesReversed { points } => write!(
                f,
                "all {points} points with a side lie on the other side of the zero plane; the \
                 sheet probably counts width the other way, so load it with other axes, like \
                 forward,left,up"
            ),
            Warning::OneSided { side } => write!(
                f,
                "every point lies {} of the zero plane, so this may not be the vehicle's centre \
                 plane, or the signs of one side are missing",
                side.word()
            ),
            Warning::Span { span_mm, loaded_as } => write!(
                f,
                "the points span {span_mm} mm when read in {loaded_as}; {}",
                self.advice()
            ),
            Warning::SamePlace { first, second } => write!(
                f,
                "{} and {} have the same position; check both",
                shown(first),
                shown(second)
            ),
        }
    }
}

impl Warning {
    /// What the span of a sheet hints at.
    fn advice(&self) -> &'static str {
        let Warning::Span { span_mm, loaded_as } = *self else {
            return "";
        };
        match loaded_as {
            Units::In if span_mm > LONGEST_MM => "the file may be in mm",
            Units::Mm if span_mm < LONGEST_IN_METRES => {
                "the file may be in metres; convert it to mm"
            }
            Units::Mm if span_mm < SHORTEST_MM => "the file may be in inches",
            _ => "check the units and the decimal sign",
        }
    }
}

/// Everything odd in a sheet's control points.
pub fn examine(sheet: &Sheet) -> Vec<Warning> {
    let points = sheet.points();
    let mut warnings = sides(points);
    warnings.extend(one_sided(points));
    warnings.extend(span(points, sheet.declared().units));
    warnings.extend(same_places(points));
    warnings
}

fn width(point: &ControlPoint) -> f64 {
    let [_, width, _] = point.position_mm;
    width
}

fn lies(point: &ControlPoint) -> Side {
    if width(point) > 0.0 {
        Side::Right
    } else if width(point) < 0.0 {
        Side::Left
    } else {
        Side::Centre
    }
}

fn sides(points: &[ControlPoint]) -> Vec<Warning> {
    let sided = points
        .iter()
        .filter(|point| point.side != Side::Centre && lies(point) != Side::Centre);
    let against: Vec<&ControlPoint> = sided
        .clone()
        .filter(|point| point.side != lies(point))
        .collect();
    let count = sided.count();
    // A single point says nothing about the whole sheet.
    if count > 1 && against.len() == count {
        return vec![Warning::SidesReversed { points: count }];
    }
    against
        .into_iter()
        .map(|point| Warning::SideAgainstWidth {
            point: point.name.clone(),
            side: point.side,
            width_mm: width(point),
        })
        .collect()
}

fn one_sided(points: &[ControlPoint]) -> Option<Warning> {
    // Fewer than four points may well be those of one corner.
    let [first, _, _, _, ..] = points else {
        return None;
    };
    let side = lies(first);
    let all = side != Side::Centre && points.iter().all(|point| lies(point) == side);
    all.then_some(Warning::OneSided { side })
}

/// The widest of the three spans, so that a sheet of one end counts by its width.
fn span(points: &[ControlPoint], loaded_as: Units) -> Option<Warning> {
    let mut low = [f64::INFINITY; 3];
    let mut high = [f64::NEG_INFINITY; 3];
    for point in points {
        for ((low, high), mm) in low.iter_mut().zip(&mut high).zip(point.position_mm) {
            *low = low.min(mm);
            *high = high.max(mm);
        }
    }
    let span_mm = low
        .iter()
        .zip(high)
        .map(|(low, high)| high - low)
        .fold(0.0, f64::max);
    let odd = !(SHORTEST_MM..=LONGEST_MM).contains(&span_mm);
    (points.len() > 1 && odd).then_some(Warning::Span { span_mm, loaded_as })
}

fn same_places(points: &[ControlPoint]) -> Vec<Warning> {
    let mut seen: HashMap<[u64; 3], &ControlPoint> = HashMap::new();
    let mut warnings = Vec::new();
    for point in points {
        // Equal digits make equal bits; + 0.0 makes the two zeros one.
        let place = point.position_mm.map(|mm| (mm + 0.0).to_bits());
        match seen.get(&place) {
            Some(first) => warnings.push(Warning::SamePlace {
                first: first.name.clone(),
                second: point.name.clone(),
            }),
            None => {
                seen.insert(place, point);
            }
        }
    }
    warnings
}
