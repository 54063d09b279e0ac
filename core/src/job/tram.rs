//! Tram readings: each against the sheet, the diagonals of symmetrical fours, and the positions
//! that all of them together determine.

use datumtrail_geometry::fit::Belief;
use datumtrail_geometry::frame::{Axis, Mat3, Side, Vec3};
use datumtrail_geometry::network::{
    self, DiagonalCheck, Diagonals, Extra, Fit, Observation, Quantity, SheetEnd, Standing, State,
    SurveyedPoint, TramCheck, TramKind, TramPoint, TramSurvey, Wanted,
};
use datumtrail_geometry::verdict::{self, Verdict};
use datumtrail_sheet::{ControlPoint, DistanceKind, Sheet};
use serde::Serialize;

use super::record::{self, RecordId};
use super::view::{Entry, JobView};
use crate::error::{Error, Result};

/// What stands in for an uncertainty that nobody stated, millimetres: a guess, and said to be one.
pub const UNSTATED_U_MM: f64 = 1.0;

/// The probability of doubting anything in a faultless network.
pub const ALPHA: f64 = 0.05;

/// One reading against the sheet.
#[derive(Clone, Debug, Serialize)]
pub struct TramReport {
    pub reading: RecordId,
    pub words: String,
    pub kind: record::TramKind,
    pub a: String,
    pub b: Option<String>,
    pub value_mm: f64,
    /// What the sheet gives in the same kind, and whether it prints it or its positions give it.
    pub sheet_mm: f64,
    pub printed: bool,
    /// Reading minus sheet.
    pub deviation_mm: f64,
    pub u_mm: Option<f64>,
    pub limit_mm: Option<f64>,
    pub limit_source: Option<String>,
    pub p_inside: Option<f64>,
    pub verdict: Verdict,
    /// What to ask, where the other kind fits better.
    pub question: Option<String>,
}

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

/// The interface of `tram list --json`.
#[derive(Clone, Debug, Serialize)]
pub struct TramList {
    pub stage: Option<String>,
    pub readings: Vec<TramReport>,
    pub fours: Vec<FourReport>,
}

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

/// The readings that count, of one stage or of all.
pub fn standing<'v>(
    view: &'v JobView,
    stage: Option<&'v str>,
) -> impl Iterator<Item = &'v Entry<record::Tram>> {
    view.trams
        .iter()
        .filter(move |t| t.stands() && stage.is_none_or(|stage| t.body.stage == stage))
}

/// Every reading against the sheet, and the fours.
///
/// # Errors
/// None for a reading that the sheet can't judge: it is left out of the comparison.
pub fn compare(
    view: &JobView,
    sheet: &Sheet,
    stage: Option<&str>,
    build_spread_mm: Option<f64>,
) -> TramList {
    let readings: Vec<_> = standing(view, stage).collect();
    TramList {
        stage: stage.map(str::to_owned),
        readings: readings
            .iter()
            .filter_map(|entry| one(sheet, entry, build_spread_mm))
            .collect(),
        fours: fours(sheet, &readings),
    }
}

fn one(
    sheet: &Sheet,
    entry: &Entry<record::Tram>,
    build_spread_mm: Option<f64>,
) -> Option<TramReport> {
    let body = &entry.body;
    let a = sheet.point(&body.a)?;
    let u = body.u_mm.unwrap_or(UNSTATED_U_MM);
    let build = build_spread_mm.unwrap_or(0.0);
    let (mut sheet_mm, mut u_mm, question) = match (&body.b, body.kind) {
        (Some(b), kind) => {
            let b = sheet.point(b)?;
            let kind = match kind {
                record::TramKind::Level => TramKind::Level,
                _ => TramKind::True,
            };
            let check: TramCheck =
                network::compare(body.value_mm, u, kind, end(a, build), end(b, build))?;
            let question = check.question(&a.name, &b.name);
            (check.sheet_mm, check.u_mm, question)
        }
        (None, _) => {
            let [.., rounding] = a.rounding_mm2();
            let [.., z] = a.position_mm;
            (z, (u * u + rounding + build * build).sqrt(), None)
        }
    };
    let printed = printed(sheet, body);
    let mut limit = None;
    if let Some(distance) = printed {
        sheet_mm = distance.value_mm;
        u_mm = (u * u + distance.step_mm * distance.step_mm / 12.0 + build * build).sqrt();
        limit = distance.limit.as_ref();
    } else if body.b.is_none() {
        limit = a.limit(Axis::Height);
    }
    let deviation_mm = body.value_mm - sheet_mm;
    let u_mm = body.u_mm.map(|_| u_mm);
    let judged = verdict::judge(deviation_mm, u_mm, limit.map(|l| l.mm), Belief::Normal);
    Some(TramReport {
        reading: entry.id.clone(),
        words: body.words(),
        kind: body.kind,
        a: body.a.clone(),
        b: body.b.clone(),
        value_mm: body.value_mm,
        sheet_mm,
        printed: printed.is_some(),
        deviation_mm,
        u_mm,
        limit_mm: limit.map(|l| l.mm),
        limit_source: limit.map(|l| l.source.clone()),
        p_inside: judged.p_inside,
        verdict: judged.verdict,
        question,
    })
}

fn end(point: &ControlPoint, build: f64) -> SheetEnd {
    SheetEnd {
        position: point.position_mm.into(),
        covariance: spread(point, build),
    }
}

fn spread(point: &ControlPoint, build: f64) -> Mat3 {
    let variances = point.rounding_mm2().map(|v| v + build * build);
    Mat3::from_diagonal(&variances.into())
}

/// The figure that the sheet prints for just this distance.
fn printed<'s>(sheet: &'s Sheet, body: &record::Tram) -> Option<&'s datumtrail_sheet::Distance> {
    let kind = match body.kind {
        record::TramKind::True => DistanceKind::True,
        record::TramKind::Level => DistanceKind::Level,
        record::TramKind::Height => DistanceKind::Height,
    };
    sheet.distances().iter().find(|d| {
        let (a, b) = (&d.a.point, d.b.as_ref().map(|b| &b.point));
        let there = *a == body.a && b == body.b.as_ref();
        let back = b == Some(&body.a) && body.b.as_ref() == Some(a);
        d.kind == kind && (there || back)
    })
}

/// The symmetrical fours of which both diagonals were measured in one kind.
fn fours(sheet: &Sheet, readings: &[&Entry<record::Tram>]) -> Vec<FourReport> {
    let mut pairs: Vec<_> = sheet.pairs().collect();
    pairs.sort_by(|a, b| a.0.position_mm[0].total_cmp(&b.0.position_mm[0]));
    let newest = |kind: record::TramKind, p: &str, q: &str| {
        readings.iter().rev().find(|r| {
            let (a, b) = (r.body.a.as_str(), r.body.b.as_deref());
            r.body.kind == kind && ((a == p && b == Some(q)) || (a == q && b == Some(p)))
        })
    };
    let mut found = Vec::new();
    for (n, front) in pairs.iter().enumerate() {
        for rear in pairs.iter().skip(n + 1) {
            for kind in [record::TramKind::True, record::TramKind::Level] {
                let one = newest(kind, &front.0.name, &rear.1.name);
                let other = newest(kind, &front.1.name, &rear.0.name);
                if let (Some(one), Some(other)) = (one, other)
                    && let Some((check, four)) = four(*front, *rear, &one.body, &other.body)
                {
                    found.push((check, four, kind));
                }
            }
        }
    }
    let critical = datumtrail_geometry::stats::phi_inverse(1.0 - 0.025 / found.len().max(1) as f64);
    found
        .into_iter()
        .map(|(check, points, kind)| FourReport {
            kind,
            difference_mm: check.difference_mm,
            u_mm: check.u_mm,
            stands_out: check.w.abs() > critical,
            words: four_words(&check, &points, check.w.abs() > critical),
            points,
        })
        .collect()
}

type Pair<'s> = (&'s ControlPoint, &'s ControlPoint);

fn four(
    front: Pair<'_>,
    rear: Pair<'_>,
    left_to_right: &record::Tram,
    right_to_left: &record::Tram,
) -> Option<(DiagonalCheck, [String; 4])> {
    let level = left_to_right.kind == record::TramKind::Level;
    let apart = |p: &ControlPoint, q: &ControlPoint| {
        let mut d = Vec3::from(q.position_mm) - Vec3::from(p.position_mm);
        if level {
            d.z = 0.0;
        }
        d.norm()
    };
    let with_u = |t: &record::Tram| (t.value_mm, t.u_mm.unwrap_or(UNSTATED_U_MM));
    let width = |pair: Pair<'_>| pair.1.position_mm[1] - pair.0.position_mm[1];
    let check = network::diagonals(&Diagonals {
        left_to_right: with_u(left_to_right),
        right_to_left: with_u(right_to_left),
        sheet_difference_mm: apart(front.0, rear.1) - apart(front.1, rear.0),
        widths: (width(front), width(rear)),
        length_mm: rear.0.position_mm[0] - front.0.position_mm[0],
    })?;
    let points = [front.0, front.1, rear.0, rear.1].map(|p| p.name.clone());
    Some((check, points))
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
        .filter_map(|r| {
            let from = place(&r.body.a)?;
            let to = r.body.b.as_deref().and_then(place);
            let quantity = match (r.body.kind, to) {
                (record::TramKind::Height, _) => Quantity::height(from),
                (record::TramKind::Level, Some(to)) => Quantity::LevelDistance { from, to },
                (record::TramKind::True, Some(to)) => Quantity::TrueDistance { from, to },
                _ => return None,
            };
            let u = r.body.u_mm.unwrap_or(UNSTATED_U_MM);
            Some(Observation::new(quantity, r.body.value_mm, u))
        })
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
