//! The positions that tram readings determine.

use datumtrail_geometry::fit::Belief;
use datumtrail_geometry::frame::{Axis, Side};
use datumtrail_geometry::network::{
    self, Extra, Fit, Observation, Quantity, Standing, State, SurveyedPoint, TramPoint, TramSurvey,
    Wanted,
};
use datumtrail_geometry::verdict::{self, Verdict};
use datumtrail_sheet::{ControlPoint, Sheet};
use serde::Serialize;

use super::{ALPHA, UNSTATED_U_MM, end, observed, standing};
use crate::error::{Error, Result};
use crate::job::record::{self, RecordId};
use crate::job::view::{Entry, JobView};

/// The interface of `tram solve --json`.
#[derive(Clone, Debug, Serialize)]
pub struct TramSolved {
    pub stage: Option<String>,
    pub refs: Vec<String>,
    pub chi2: f64,
    pub dof: usize,
    pub p: Option<f64>,
    /// Nothing contradicts that is not explained: without it nothing is called inside.
    pub sound: bool,
    pub points: Vec<SolvedPoint>,
    pub figures: Vec<SolvedFigure>,
    pub notes: Vec<String>,
    /// The readings that would help most.
    pub next: Vec<NextReading>,
}

/// A point that the distances located.
#[derive(Clone, Debug, Serialize)]
pub struct SolvedPoint {
    pub point: String,
    pub side: Side,
    pub is_reference: bool,
    pub position_mm: Option<[f64; 3]>,
    pub spec_mm: [f64; 3],
    pub length: SolvedAxis,
    pub width: SolvedAxis,
    pub height: SolvedAxis,
}

impl SolvedPoint {
    /// The three axes in order.
    pub fn axes(&self) -> [(Axis, &SolvedAxis); 3] {
        [
            (Axis::Length, &self.length),
            (Axis::Width, &self.width),
            (Axis::Height, &self.height),
        ]
    }
}

/// One axis of a located point; without a deviation where the distances leave it open.
#[derive(Clone, Copy, Debug, Serialize)]
pub struct SolvedAxis {
    pub deviation_mm: Option<f64>,
    pub u_mm: Option<f64>,
    pub limit_mm: Option<f64>,
    pub p_inside: Option<f64>,
    pub verdict: Verdict,
}

/// A reading as the others judge it.
#[derive(Clone, Debug, Serialize)]
pub struct SolvedFigure {
    pub reading: RecordId,
    pub words: String,
    pub value_mm: f64,
    pub adjusted_mm: f64,
    /// r: the share of an error in this reading that shows.
    pub redundancy: f64,
    /// Deviation from what the others say, in standard uncertainties.
    pub w: Option<f64>,
    pub expected_mm: Option<f64>,
    pub smallest_blunder_mm: Option<f64>,
    /// `agrees`, `contradicts` or `unchecked`.
    pub state: &'static str,
}

/// A reading worth taking next.
#[derive(Clone, Debug, Serialize)]
pub struct NextReading {
    pub kind: record::TramKind,
    pub a: String,
    pub b: Option<String>,
    pub expected_mm: f64,
    /// Root mean square standard uncertainty of the open coordinates, before and after.
    pub before_mm: f64,
    pub after_mm: f64,
}

/// What a solution rests on.
#[derive(Clone, Debug, Default)]
pub struct Basis<'a> {
    pub stage: Option<&'a str>,
    /// Points trusted as undamaged: they hold the network.
    pub refs: &'a [String],
    pub build_spread_mm: Option<f64>,
    /// The longest distance that the gauge reaches, for the reading proposed next.
    pub reach_mm: Option<f64>,
}

/// Solves for positions.
///
/// # Errors
/// [`Error::Measurement`] where the readings don't hang together, or nothing holds them.
pub fn solve(view: &JobView, sheet: &Sheet, basis: &Basis<'_>) -> Result<TramSolved> {
    let readings: Vec<_> = standing(view, basis.stage).collect();
    let refused = |what: String| {
        Error::Measurement(
            what,
            "measure further distances, or name other --refs".into(),
        )
    };
    let mut names: Vec<&str> = Vec::new();
    let ends = readings
        .iter()
        .flat_map(|r| std::iter::once(&r.body.a).chain(&r.body.b));
    for name in ends {
        if !names.contains(&name.as_str()) {
            names.push(name);
        }
    }
    let on_sheet: Vec<&ControlPoint> = names
        .iter()
        .map(|name| {
            sheet
                .point(name)
                .ok_or_else(|| refused(format!("the sheet has no point {name}")))
        })
        .collect::<Result<_>>()?;
    let points: Vec<TramPoint> = on_sheet
        .iter()
        .map(|point| {
            let is_reference = basis.refs.contains(&point.name);
            // A limit is about the distance to the sheet, so the build spread loosens only what
            // holds the network.
            let build = basis.build_spread_mm.filter(|_| is_reference);
            let at = end(point, build.unwrap_or(0.0));
            let there = TramPoint::on_sheet(point.name.clone(), at).on(point.side);
            if is_reference {
                there.reference()
            } else {
                there
            }
        })
        .collect();
    let place = |name: &str| names.iter().position(|n| *n == name);
    let figures: Vec<Observation> = readings
        .iter()
        .filter_map(|r| observed(&r.body, place))
        .collect();
    let found = network::survey(&points, &figures, ALPHA)
        .map_err(|e| refused(format!("the tram readings can't be solved: {e}")))?;
    Ok(told(&found, basis, &on_sheet, &readings))
}

fn told(
    found: &TramSurvey,
    basis: &Basis<'_>,
    on_sheet: &[&ControlPoint],
    readings: &[&Entry<record::Tram>],
) -> TramSolved {
    let solution = &found.solution;
    let points = found
        .points
        .iter()
        .zip(on_sheet)
        .filter(|(seen, _)| seen.standing != Standing::NotMeasured)
        .map(|(seen, point)| solved_point(seen, point, found.doubtful))
        .collect();
    let figures = solution
        .figures
        .iter()
        .zip(readings)
        .map(|(figure, entry)| SolvedFigure {
            reading: entry.id.clone(),
            words: entry.body.words(),
            value_mm: figure.value_mm,
            adjusted_mm: figure.adjusted_mm,
            redundancy: figure.redundancy,
            w: figure.w,
            expected_mm: figure.expected_mm,
            smallest_blunder_mm: figure.smallest_blunder_mm,
            state: match figure.state {
                State::Agrees => "agrees",
                State::Contradicts => "contradicts",
                State::Unchecked => "unchecked",
            },
        })
        .collect();
    let Fit { chi2, dof, p } = solution.fit;
    let mut notes = found.notes();
    if readings.iter().any(|r| r.body.u_mm.is_none()) {
        notes.push(format!(
            "Uncertainty not stated for some readings: {UNSTATED_U_MM} mm stands in, a guess."
        ));
    }
    TramSolved {
        stage: basis.stage.map(str::to_owned),
        refs: basis.refs.to_vec(),
        chi2,
        dof,
        p,
        sound: !found.doubtful,
        points,
        figures,
        notes,
        next: next(found, basis, readings),
    }
}

fn solved_point(seen: &SurveyedPoint, point: &ControlPoint, doubtful: bool) -> SolvedPoint {
    let axis = |axis: Axis| {
        let limit_mm = point.limit(axis).map(|l| l.mm);
        let Some((deviation, u)) = seen.axis(axis) else {
            return SolvedAxis {
                deviation_mm: None,
                u_mm: None,
                limit_mm,
                p_inside: None,
                verdict: Verdict::Unchecked,
            };
        };
        let judged = verdict::judge(deviation, Some(u), limit_mm, Belief::Normal);
        SolvedAxis {
            deviation_mm: Some(deviation),
            u_mm: Some(u),
            limit_mm,
            p_inside: judged.p_inside,
            verdict: match judged.verdict {
                Verdict::Inside if doubtful => Verdict::TooCloseToCall,
                other => other,
            },
        }
    };
    SolvedPoint {
        point: point.name.clone(),
        side: point.side,
        is_reference: seen.standing == Standing::Reference,
        position_mm: seen.position.map(|(at, _)| at.into()),
        spec_mm: point.position_mm,
        length: axis(Axis::Length),
        width: axis(Axis::Width),
        height: axis(Axis::Height),
    }
}

/// The three readings that would help most: the points that are open, or all.
fn next(
    found: &TramSurvey,
    basis: &Basis<'_>,
    readings: &[&Entry<record::Tram>],
) -> Vec<NextReading> {
    const SHOWN: usize = 3;
    let solution = &found.solution;
    let measured = |p: &&SurveyedPoint| p.standing == Standing::Measured;
    let open = |p: &&SurveyedPoint| p.determined.contains(&false);
    let places = found.points.iter().filter(measured).filter(open);
    let wanted = Wanted {
        points: places.filter_map(|p| p.place).collect(),
        u_mm: (readings.iter())
            .filter_map(|r| r.body.u_mm)
            .reduce(f64::max)
            .unwrap_or(UNSTATED_U_MM),
        reach_mm: basis.reach_mm,
        ..Wanted::default()
    };
    let name = |i: usize| {
        let located = solution.points.get(i);
        located.map_or_else(String::new, |p| p.name.clone())
    };
    let told = |extra: &Extra| {
        let (kind, a, b) = match extra.quantity {
            Quantity::TrueDistance { from, to } => (record::TramKind::True, from, Some(to)),
            Quantity::LevelDistance { from, to } => (record::TramKind::Level, from, Some(to)),
            Quantity::Coordinate { point, .. } => (record::TramKind::Height, point, None),
            _ => return None,
        };
        Some(NextReading {
            kind,
            a: name(a),
            b: b.map(name),
            expected_mm: extra.expected_mm,
            before_mm: extra.before_mm,
            after_mm: extra.after_mm,
        })
    };
    let best = solution.best_extra(&wanted, SHOWN);
    best.iter().filter_map(told).collect()
}
