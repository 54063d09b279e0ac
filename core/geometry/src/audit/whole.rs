//! All figures of the sheet against each other, by the network adjustment with the rounding of the
//! print as uncertainty.
//!
//! A sheet of distances prints one figure for both sides. It is adjusted folded: one unknown point
//! stands for a station's right side and, mirrored in y = 0, for its left; a width is its span, a
//! distance between the sides a diagonal. Diagonals carry one rounding more (see
//! [`super::fours`]). A sheet with positions is adjusted as it stands, every coordinate a figure.
//!
//! Where the sheet does not say what its distances are, every meaning is tried on the whole sheet.
//! Its score is the chi-square of the figures kept plus the squared critical value for each one
//! left out: what a meaning cannot explain, it pays for.
//!
//! Stations joined to no other are left aside; groups of stations are adjusted one by one.

use super::finding::{Doubt, Kind, Meaning, Reading};
use super::fours::{crosses, distance_kinds};
use super::sheet::{End, Figure, Printed, Sheet};
use crate::frame::{Axis, Side};
use crate::network::{
    Network, NetworkError, Observation, Options, Point, Quantity, Solution, State, rounding_u,
};

/// What the comparison of all with all found.
pub(super) struct Whole {
    pub doubts: Vec<Doubt>,
    pub readings: Vec<Reading>,
    pub clear: bool,
    pub unchecked: Vec<usize>,
    pub remarks: Vec<String>,
}

/// A likelihood of 19 to 1.
const CLEAR: f64 = 5.9;

pub(super) fn compare(sheet: &Sheet, alpha: f64) -> Whole {
    let mut tried: Vec<Trial> = meanings(sheet)
        .into_iter()
        .map(|meaning| Trial::of(sheet, meaning, alpha))
        .collect();
    tried.sort_by(|a, b| a.score.total_cmp(&b.score));
    let Some(best) = tried.first() else {
        return Whole {
            doubts: Vec::new(),
            readings: Vec::new(),
            clear: true,
            unchecked: Vec::new(),
            remarks: Vec::new(),
        };
    };
    let near = tried
        .iter()
        .take_while(|t| t.score - best.score < CLEAR)
        .count();
    // What every likely meaning doubts is doubtful; the rest is only a matter of meaning.
    let doubts = (best.doubts.iter())
        .filter(|(place, _)| {
            tried[..near]
                .iter()
                .all(|t| t.doubts.iter().any(|(other, _)| other == place))
        })
        .map(|(_, doubt)| doubt.clone())
        .collect();
    let labelled = best.meaning.same_side.is_none() && best.meaning.diagonal.is_none();
    let reading = |t: &Trial| Reading {
        meaning: t.meaning,
        score: t.score,
        left_out: t.doubts.len(),
    };
    Whole {
        doubts,
        readings: if labelled {
            Vec::new()
        } else {
            tried.iter().map(reading).collect()
        },
        clear: near == 1,
        unchecked: best.unchecked.clone(),
        remarks: best.remarks.clone(),
    }
}

fn meanings(sheet: &Sheet) -> Vec<Meaning> {
    let kinds = |what: Printed| -> Vec<Option<Printed>> {
        let figure = sheet.figures.iter().find(|f| f.what == what);
        match figure.and_then(distance_kinds) {
            Some(kinds) => kinds.iter().map(|k| Some(*k)).collect(),
            None => vec![None],
        }
    };
    let mut all = Vec::new();
    for same_side in kinds(Printed::SameSide) {
        for diagonal in kinds(Printed::Diagonal) {
            all.push(Meaning {
                same_side,
                diagonal,
            });
        }
    }
    all
}

/// Where an observation of the network comes from.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Source {
    Figure(usize),
    Coordinate(End, Axis),
    /// A point on the centre line lies on it.
    Centre,
}

struct Trial {
    meaning: Meaning,
    score: f64,
    doubts: Vec<(Source, Doubt)>,
    unchecked: Vec<usize>,
    remarks: Vec<String>,
}

impl Trial {
    fn of(sheet: &Sheet, meaning: Meaning, alpha: f64) -> Trial {
        let mut trial = Trial {
            meaning,
            score: 0.0,
            doubts: Vec::new(),
            unchecked: Vec::new(),
            remarks: Vec::new(),
        };
        let layout = Layout::of(sheet, meaning);
        let total = layout.observations.len().max(1);
        for group in layout.groups() {
            let (points, observations, sources) = layout.part(&group);
            if sources.len() < 2 {
                continue;
            }
            let options = Options {
                // each group its share of the false alarms
                alpha: alpha * observations.len() as f64 / total as f64,
                ..Options::default()
            };
            let adjusted: Result<Solution, NetworkError> =
                Network::new(points, observations).and_then(|n| n.adjust(&options));
            match adjusted {
                Ok(solution) => trial.take(sheet, &solution, &sources),
                Err(error) => {
                    trial.score = f64::INFINITY;
                    trial.remarks.push(error.to_string());
                }
            }
        }
        trial
    }

    fn take(&mut self, sheet: &Sheet, solution: &Solution, sources: &[Source]) {
        self.score += solution.fit.chi2;
        for contradiction in &solution.contradictions {
            let rivals = contradiction.figures.len();
            self.score += solution.critical_w.powi(2) * rivals as f64;
            for &i in &contradiction.figures {
                let doubt = self.doubt(sheet, solution, sources, i, rivals);
                self.doubts.extend(doubt.map(|d| (sources[i], d)));
            }
        }
        let unchecked = (solution.figures.iter().zip(sources)).filter_map(|(f, s)| match s {
            Source::Figure(place) if f.state == State::Unchecked => Some(*place),
            _ => None,
        });
        self.unchecked.extend(unchecked);
    }

    fn doubt(
        &self,
        sheet: &Sheet,
        solution: &Solution,
        sources: &[Source],
        i: usize,
        rivals: usize,
    ) -> Option<Doubt> {
        let figure = &solution.figures[i];
        let expected = figure.expected_mm.unwrap_or(figure.adjusted_mm);
        let printed = figure.value_mm;
        let (kind, points, what, step) = match sources[i] {
            Source::Figure(place) => {
                let f = &sheet.figures[place];
                (Kind::Figure, sheet.labels(f), f.what.words(), f.step_mm)
            }
            Source::Coordinate(end, axis) => {
                let station = &sheet.stations[end.station];
                let label = vec![station.label(end.side)];
                (Kind::Position, label, axis.word(), station.step_mm)
            }
            Source::Centre => return None,
        };
        let named = points.join(" to ");
        let words = if rivals == 1 {
            format!(
                "the {what} {named} is printed as {printed}, but the rest makes it {expected:.1}"
            )
        } else {
            let others = match rivals {
                2 => "one other figure".to_owned(),
                more => format!("one of {} other figures", more - 1),
            };
            format!(
                "the {what} {named}, printed as {printed}, or {others} contradicts the rest; for \
                 it alone {expected:.1} would be due"
            )
        };
        let tolerance = 2.0 * figure.u_mm / figure.redundancy.max(0.05).sqrt();
        let slip = super::digits::explain(printed, expected, tolerance, step);
        Some(Doubt {
            kind,
            points,
            printed_mm: printed,
            expected_mm: expected,
            w: figure.w.unwrap_or(0.0),
            words,
            explanations: (slip.into_iter())
                .map(|s| {
                    format!(
                        "{} instead of {printed} would be {}",
                        s.corrected_mm,
                        s.slip.words()
                    )
                })
                .collect(),
        })
    }
}

/// The network that a sheet makes, before it is cut into groups.
struct Layout {
    points: Vec<Point>,
    observations: Vec<Observation>,
    sources: Vec<Source>,
}

impl Layout {
    fn of(sheet: &Sheet, meaning: Meaning) -> Layout {
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
            let u = rounding_u(sheet.stations[point].step_mm.max(f64::MIN_POSITIVE));
            layout.push(Quantity::Coordinate { point, axis }, 0.0, u, Source::Centre);
        }
        layout
    }

    /// One point for every printed position, its coordinates figures like the others.
    fn as_it_stands(sheet: &Sheet, meaning: Meaning) -> Layout {
        let mut layout = Layout::empty();
        let mut place_of = std::collections::HashMap::new();
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

    /// The points that figures join, group by group; points with nothing but figures of their own
    /// are left aside.
    fn groups(&self) -> Vec<Vec<usize>> {
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

    fn part(&self, group: &[usize]) -> (Vec<Point>, Vec<Observation>, Vec<Source>) {
        let place = |p: usize| group.binary_search(&p).ok();
        let points = group.iter().map(|&p| self.points[p].clone()).collect();
        let (observations, sources) = (self.observations.iter().zip(&self.sources))
            .filter_map(|(o, source)| {
                let quantity = moved(o.quantity, place)?;
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

/// The same quantity between points under their new places.
fn moved(quantity: Quantity, place: impl Fn(usize) -> Option<usize>) -> Option<Quantity> {
    Some(match quantity {
        Quantity::TrueDistance { from, to } => Quantity::TrueDistance {
            from: place(from)?,
            to: place(to)?,
        },
        Quantity::LevelDistance { from, to } => Quantity::LevelDistance {
            from: place(from)?,
            to: place(to)?,
        },
        Quantity::Length { from, to } => Quantity::Length {
            from: place(from)?,
            to: place(to)?,
        },
        Quantity::Width { left, right } => Quantity::Width {
            left: place(left)?,
            right: place(right)?,
        },
        Quantity::HeightDifference { from, to } => Quantity::HeightDifference {
            from: place(from)?,
            to: place(to)?,
        },
        Quantity::TrueDiagonal { from, to } => Quantity::TrueDiagonal {
            from: place(from)?,
            to: place(to)?,
        },
        Quantity::LevelDiagonal { from, to } => Quantity::LevelDiagonal {
            from: place(from)?,
            to: place(to)?,
        },
        Quantity::Coordinate { point, axis } => Quantity::Coordinate {
            point: place(point)?,
            axis,
        },
        Quantity::Span { point } => Quantity::Span {
            point: place(point)?,
        },
    })
}
