//! All figures of the sheet against each other, by the network adjustment with the rounding of the
//! print as uncertainty.
//!
//! Where the sheet does not say what its distances are, every meaning is tried on the whole sheet.
//! Its score is the chi-square of the figures kept plus the squared critical value for each one
//! left out: what a meaning cannot explain, it pays for.
//!
//! Stations joined to no other are left aside; groups of stations are adjusted one by one.

use super::finding::{Doubt, Kind, Meaning, Reading};
use super::fours::distance_kinds;
use super::layout::{Layout, Source};
use super::sheet::{Printed, Sheet};
use crate::network::{Network, Options, Solution, State};

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

/// The meaning that explains the sheet 19 times better than any other.
pub(super) fn best_meaning(sheet: &Sheet, alpha: f64) -> Option<Meaning> {
    let mut tried: Vec<(f64, Meaning)> = meanings(sheet)
        .into_iter()
        .map(|meaning| (Trial::of(sheet, meaning, alpha).score, meaning))
        .collect();
    tried.sort_by(|a, b| a.0.total_cmp(&b.0));
    match tried.as_slice() {
        [(best, _), (next, _), ..] if next - best < CLEAR => None,
        [(_, meaning), ..] => Some(*meaning),
        [] => None,
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
        let total = layout.figures().max(1);
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
            match Network::new(points, observations).and_then(|n| n.adjust(&options)) {
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
