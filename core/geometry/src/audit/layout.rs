//! The network that a sheet makes.
//!
//! A sheet of distances prints one figure for both sides. It is adjusted folded: one unknown point
//! stands for a station's right side and, mirrored in y = 0, for its left; a width is its span, a
//! distance between the sides a diagonal. Diagonals carry one rounding more (see
//! [`super::fours`]). A sheet with positions is adjusted as it stands, every coordinate a figure.

use std::collections::HashMap;

use super::finding::Meaning;
use super::fours::crosses;
use super::sheet::{End, Figure, Printed, Sheet};
use crate::frame::{Axis, Side};
use crate::network::{Observation, Point, Quantity, rounding_u};

/// Where an observation of the network comes from.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Source {
    Figure(usize),
    Coordinate(End, Axis),
    /// A point on the centre line lies on it.
    Centre,
}

/// The network that a sheet makes, before it is cut into groups.
pub(super) struct Layout {
    points: Vec<Point>,
    observations: Vec<Observation>,
    sources: Vec<Source>,
}

impl Layout {
    pub(super) fn of(sheet: &Sheet, meaning: Meaning) -> Layout {
        if sheet.stations.iter().any(|s| s.has_positions()) {
            Layout::as_it_stands(sheet, meaning)
        } else {
            Layout::folded(sheet, meaning)
        }
    }

    fn empty() -> Layout {
        Layout {
            points: Vec::new(),
            observations: Vec::new(),
            sources: Vec::new(),
        }
    }

    fn push(&mut self, quantity: Quantity, value_mm: f64, u_mm: f64, source: Source) {
        self.observations
            .push(Observation::new(quantity, value_mm, u_mm));
        self.sources.push(source);
    }

    /// One point a station: its right side, or the centre line.
    fn folded(sheet: &Sheet, meaning: Meaning) -> Layout {
        let mut layout = Layout::empty();
        layout.points = sheet
            .stations
            .iter()
            .map(|s| Point::new(s.name.clone()))
            .collect();
        let mut on_centre = vec![false; sheet.stations.len()];
        for (place, f) in sheet.figures.iter().enumerate() {
            for end in std::iter::once(f.a).chain(f.b) {
                on_centre[end.station] |= end.side == Some(Side::Centre);
            }
            if let Some(quantity) = folded_quantity(f, meaning) {
                let rounding = rounding_u(f.step_mm);
                let u = if crosses(f) {
                    2f64.sqrt() * rounding
                } else {
                    rounding
                };
                layout.push(quantity, f.value_mm, u, Source::Figure(place));
            }
        }
        for (point, _) in on_centre.into_iter().enumerate().filter(|(_, on)| *on) {
            let axis = Axis::Width;
            // A station without positions need not state a step.
            let step = sheet.stations[point].step_mm;
            let u = rounding_u(if step > 0.0 { step } else { 1.0 });
            layout.push(Quantity::Coordinate { point, axis }, 0.0, u, Source::Centre);
        }
        layout
    }

    /// One point for every printed position, its coordinates figures like the others.
    fn as_it_stands(sheet: &Sheet, meaning: Meaning) -> Layout {
        let mut layout = Layout::empty();
        let mut place_of = HashMap::new();
        for (station, s) in sheet.stations.iter().enumerate() {
            for side in [Side::Left, Side::Right, Side::Centre] {
                let Some(position) = s.position(side) else {
                    continue;
                };
                let point = layout.points.len();
                place_of.insert((station, side), point);
                let label = s.label(Some(side));
                layout
                    .points
                    .push(Point::new(label).on(side).about(position));
                let end = End {
                    station,
                    side: Some(side),
                };
                for axis in Axis::ALL {
                    let quantity = Quantity::Coordinate { point, axis };
                    let source = Source::Coordinate(end, axis);
                    layout.push(
                        quantity,
                        position[axis.index()],
                        rounding_u(s.step_mm),
                        source,
                    );
                }
            }
        }
        for (place, f) in sheet.figures.iter().enumerate() {
            for quantity in
                standing_quantities(f, meaning, |s, side| place_of.get(&(s, side)).copied())
            {
                layout.push(
                    quantity,
                    f.value_mm,
                    rounding_u(f.step_mm),
                    Source::Figure(place),
                );
            }
        }
        layout
    }

    /// How many figures the network has.
    pub(super) fn figures(&self) -> usize {
        self.observations.len()
    }

    /// The points that figures join, group by group; points with nothing but figures of their own
    /// are left aside.
    pub(super) fn groups(&self) -> Vec<Vec<usize>> {
        let mut label: Vec<usize> = (0..self.points.len()).collect();
        for o in &self.observations {
            if let (a, Some(b)) = o.quantity.points() {
                let (keep, drop) = (label[a].min(label[b]), label[a].max(label[b]));
                label
                    .iter_mut()
                    .filter(|l| **l == drop)
                    .for_each(|l| *l = keep);
            }
        }
        (0..self.points.len())
            .map(|first| {
                (0..label.len())
                    .filter(|&p| label[p] == first)
                    .collect::<Vec<_>>()
            })
            .filter(|group| group.len() > 1)
            .collect()
    }

    pub(super) fn part(&self, group: &[usize]) -> (Vec<Point>, Vec<Observation>, Vec<Source>) {
        let place = |p: usize| group.binary_search(&p).ok();
        let points = group.iter().map(|&p| self.points[p].clone()).collect();
        let (observations, sources) = (self.observations.iter().zip(&self.sources))
            .filter_map(|(o, source)| {
                let quantity = o.quantity.renumbered(place)?;
                Some((Observation { quantity, ..*o }, *source))
            })
            .unzip();
        (points, observations, sources)
    }
}

/// A figure's meaning, its own or the sheet's.
fn meant(figure: &Figure, meaning: Meaning) -> Option<Printed> {
    match figure.what {
        Printed::SameSide => meaning.same_side,
        Printed::Diagonal => meaning.diagonal,
        other => Some(other),
    }
}

fn folded_quantity(figure: &Figure, meaning: Meaning) -> Option<Quantity> {
    let from = figure.a.station;
    if figure.crosses_its_pair() {
        return Some(Quantity::Span { point: from });
    }
    let across = crosses(figure);
    match (meant(figure, meaning)?, figure.b.map(|b| b.station)) {
        (Printed::Height, _) => Some(Quantity::height(from)),
        (Printed::Width, _) => Some(Quantity::Span { point: from }),
        (Printed::Length, Some(to)) => Some(Quantity::Length { from, to }),
        (Printed::TrueDistance, Some(to)) if across => Some(Quantity::TrueDiagonal { from, to }),
        (Printed::LevelDistance, Some(to)) if across => Some(Quantity::LevelDiagonal { from, to }),
        (Printed::TrueDistance, Some(to)) => Some(Quantity::TrueDistance { from, to }),
        (Printed::LevelDistance, Some(to)) => Some(Quantity::LevelDistance { from, to }),
        _ => None,
    }
}

/// The quantities of a figure between printed positions: one, or one for each side that it holds
/// for.
fn standing_quantities(
    figure: &Figure,
    meaning: Meaning,
    place: impl Fn(usize, Side) -> Option<usize>,
) -> Vec<Quantity> {
    let a = figure.a.station;
    let sides = |side: Option<Side>| match side {
        Some(side) => vec![side],
        None => vec![Side::Left, Side::Right, Side::Centre],
    };
    let Some(meant) = meant(figure, meaning) else {
        return Vec::new();
    };
    let pairs: Vec<(Side, Side)> = match figure.b {
        Some(b) if figure.a.side.is_some() || b.side.is_some() => {
            let from = figure.a.side.or(b.side).unwrap_or(Side::Centre);
            vec![(from, b.side.unwrap_or(from))]
        }
        Some(_) if crosses(figure) => vec![(Side::Left, Side::Right), (Side::Right, Side::Left)],
        _ => sides(figure.a.side).into_iter().map(|s| (s, s)).collect(),
    };
    match meant {
        Printed::Width => {
            let ends = place(a, Side::Left).zip(place(a, Side::Right));
            ends.map(|(left, right)| Quantity::Width { left, right })
                .into_iter()
                .collect()
        }
        Printed::Height => pairs
            .iter()
            .filter_map(|(s, _)| place(a, *s))
            .map(Quantity::height)
            .collect(),
        _ => (pairs.into_iter())
            .filter_map(|(s, t)| Some((place(a, s)?, place(figure.b?.station, t)?)))
            .map(|(from, to)| match meant {
                Printed::Length => Quantity::Length { from, to },
                Printed::LevelDistance => Quantity::LevelDistance { from, to },
                _ => Quantity::TrueDistance { from, to },
            })
            .collect(),
    }
}
