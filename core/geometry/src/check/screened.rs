//! The reference points as a check uses them: screened or taken as they come, and what could have
//! been missed.

use super::request::{Request, Survey, Target};
use super::warning::Warning;
use super::{ALPHA, CheckError};
use crate::fit::{self, Reference, SetUp};
use crate::frame::{Axis, Mat3, Vec3, direction};
use crate::screen::{self, Outcome, Screening};
use crate::sensitivity;
use serde::Serialize;

/// What the screening of the reference points found.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ScreeningResult {
    pub outcome: OutcomeName,
    /// Where nothing could be named: the points that cannot be told apart, the most suspect first.
    pub candidates: Vec<String>,
    /// The further reference point that would tell them apart best.
    pub further: Option<FurtherPoint>,
    /// Two groups that each fit the sheet on their own, the larger first.
    pub groups: Vec<GroupResult>,
    /// The first round, the largest statistic first.
    pub statistics: Vec<StatisticResult>,
}

/// The kinds of outcome: see [`crate::screen::Outcome`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum OutcomeName {
    Passed,
    Named,
    TooFewLeft,
    Undecided,
    TwoGroups,
}

/// A point of the sheet to use as a further reference point.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FurtherPoint {
    pub point: String,
    /// It has a reading in this survey already.
    pub measured: bool,
    /// From this size on, a move of one of the undecided points would on average be told from a
    /// move of another, 19 to 1.
    pub tells_apart_mm: f64,
}

/// One of two groups of reference points.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct GroupResult {
    pub points: Vec<String>,
    pub rms_mm: f64,
    /// The probability of so bad a fit or worse, if this group did not move.
    pub p: f64,
}

/// One reference point's outlier statistic.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StatisticResult {
    pub point: String,
    pub t: f64,
    pub critical: f64,
}

/// What the set-up could have missed: [`crate::sensitivity`].
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Hidden {
    /// The reference point whose moves hide best.
    pub weakest_reference: String,
    /// The smallest move of it, in the worst direction, that is found four times in five; `None`
    /// where a move of any size stays unnoticed.
    pub smallest_detectable_mm: Option<f64>,
    /// The measured point farthest from the reference points.
    pub farthest_point: String,
    /// The largest shift there by a reference point's unnoticed move; `None` where it has no bound.
    pub shift_mm: Option<f64>,
    /// The reference point whose move would do it.
    pub shifted_by: String,
    /// That move in words; its opposite shifts as much the other way.
    pub by_move: String,
}

impl std::fmt::Display for Hidden {
    fn fmt(&self, f: &mut std::fmt::Formatter) -> std::fmt::Result {
        match self.smallest_detectable_mm {
            Some(mm) => write!(
                f,
                "A move of one reference point is found four times in five from {mm:.1} mm on \
                 (worst case, at {}); ",
                self.weakest_reference
            )?,
            None => write!(
                f,
                "Reference point {} could have moved by any amount in one direction without being \
                 noticed; ",
                self.weakest_reference
            )?,
        }
        match self.shift_mm {
            Some(mm) => write!(
                f,
                "unnoticed, it could shift the farthest measured point, {}, by {mm:.1} mm.",
                self.farthest_point
            ),
            None => write!(
                f,
                "that could shift the farthest measured point, {}, by any amount.",
                self.farthest_point
            ),
        }
    }
}

/// The set-up and what the tests on it said.
pub(super) struct Screened {
    pub fitted: SetUp,
    /// Places among all references of those the set-up rests on.
    pub kept: Vec<usize>,
    pub moved: Vec<usize>,
    /// Probability of the global test.
    pub p: f64,
    /// The tests failed and nothing has explained why.
    pub doubtful: bool,
    pub screening: Option<Screening>,
}

pub(super) fn screen(
    references: &[Reference],
    request: &Request,
    stated: bool,
) -> Result<Screened, CheckError> {
    let worse = request.options.instrument_worse_than_stated;
    let joint_doubtful = request.common.is_some_and(|c| !c.unsettled().is_empty());
    if stated && request.options.screen && !worse {
        let screening = screen::screen(references)?;
        return Ok(Screened {
            fitted: screening.set_up.clone(),
            kept: screening.kept.clone(),
            moved: screening.moved.clone(),
            p: screening.set_up.chi2_probability(),
            doubtful: !screening.is_settled() || joint_doubtful,
            screening: Some(screening),
        });
    }
    let fitted = fit::set_up(references)?;
    let p = fitted.chi2_probability();
    Ok(Screened {
        fitted: if stated && worse {
            fitted.scaled()
        } else {
            fitted
        },
        kept: (0..references.len()).collect(),
        moved: Vec::new(),
        p,
        doubtful: stated && !worse && p < ALPHA || joint_doubtful,
        screening: None,
    })
}

/// The screening in the points' names, and its warnings.
pub(super) fn report(
    screened: &Screened,
    survey: &Survey,
    request: &Request,
    warnings: &mut Vec<Warning>,
) -> Option<ScreeningResult> {
    let screening = screened.screening.as_ref()?;
    let name = |&i: &usize| match survey.references.get(i) {
        Some(r) => r.target.point.clone(),
        None => String::new(),
    };
    let names = |list: &[usize]| list.iter().map(name).collect::<Vec<String>>();
    if !screening.moved.is_empty() {
        warnings.push(Warning::ReferencesMoved {
            points: names(&screening.moved),
            kept: screening.kept.len(),
        });
    }
    let mut result = ScreeningResult {
        outcome: OutcomeName::Passed,
        candidates: Vec::new(),
        further: None,
        groups: Vec::new(),
        statistics: screening
            .rounds
            .first()
            .into_iter()
            .flat_map(|round| &round.statistics)
            .map(|s| StatisticResult {
                point: name(&s.index),
                t: s.t,
                critical: s.critical,
            })
            .collect(),
    };
    match &screening.outcome {
        Outcome::Passed => {}
        Outcome::Named => result.outcome = OutcomeName::Named,
        Outcome::TooFewLeft { suspect } => {
            result.outcome = OutcomeName::TooFewLeft;
            result.candidates = names(&[*suspect]);
            warnings.push(Warning::ReferenceSuspect {
                point: name(suspect),
                left: screening.kept.len().saturating_sub(1),
            });
        }
        Outcome::Undecided { candidates } => {
            result.outcome = OutcomeName::Undecided;
            result.candidates = names(candidates);
            result.further = further(screening, candidates, survey, request);
            warnings.push(Warning::ReferencesUndecided {
                points: result.candidates.clone(),
                further: result.further.clone(),
            });
        }
        Outcome::TwoGroups(two) => {
            result.outcome = OutcomeName::TwoGroups;
            result.groups = two
                .groups
                .iter()
                .map(|g| GroupResult {
                    points: names(&g.members),
                    rms_mm: g.rms,
                    p: g.p,
                })
                .collect();
            let [first, second] = &two.groups;
            warnings.push(Warning::TwoGroups {
                first: names(&first.members),
                second: names(&second.members),
                shift_mm: two.shift.into(),
            });
        }
    }
    Some(result)
}

/// The control point that would tell undecided reference points apart, if it were one too.
fn further(
    screening: &Screening,
    undecided: &[usize],
    survey: &Survey,
    request: &Request,
) -> Option<FurtherPoint> {
    let places: Vec<usize> = undecided
        .iter()
        .filter_map(|i| screening.kept.iter().position(|k| k == i))
        .collect();
    let typical = survey.references.iter().find_map(|r| r.covariance)?;
    let build = request.build_spread_mm.unwrap_or(0.0);
    let free: Vec<_> = survey
        .points
        .iter()
        .filter(|p| p.reference_index.is_none())
        .collect();
    let candidates: Vec<Reference> = free
        .iter()
        .map(|p| Reference {
            reading: Vec3::zeros(),
            reading_covariance: p.reading.and_then(|r| r.covariance).unwrap_or(typical),
            target: p.target.position_mm,
            target_covariance: p.target.print_covariance_mm2 + Mat3::identity() * (build * build),
        })
        .collect();
    let best = screen::further(&screening.set_up, &places, &candidates)?;
    let point = free.get(best.candidate)?;
    Some(FurtherPoint {
        point: point.target.point.clone(),
        measured: point.reading.is_some(),
        tells_apart_mm: best.tells_apart_mm,
    })
}

/// What the set-up could have missed, at the measured point farthest from its reference points.
pub(super) fn hidden(screened: &Screened, survey: &Survey) -> Option<Hidden> {
    let fitted = &screened.fitted;
    let references: Vec<&Target> = screened
        .kept
        .iter()
        .filter_map(|&k| survey.references.get(k).map(|r| r.target))
        .collect();
    let alpha = ALPHA / 2.0 / references.len() as f64;
    let away = |t: &Target| (t.position_mm - fitted.centroid).norm();
    let farthest = survey
        .points
        .iter()
        .filter(|p| p.reading.is_some())
        .map(|p| p.target)
        .max_by(|a, b| away(a).total_cmp(&away(b)))?;

    let mut weakest: Option<(usize, Option<f64>)> = None;
    for place in 0..references.len() {
        let mm = sensitivity::smallest_detectable(fitted, place, alpha)?.worst_mm;
        let weaker = match (weakest, mm) {
            (None, _) | (Some((_, Some(_))), None) => true,
            (Some((_, Some(before))), Some(now)) => now > before,
            (Some((_, None)), _) => false,
        };
        if weaker {
            weakest = Some((place, mm));
        }
    }
    let (weakest, smallest_detectable_mm) = weakest?;
    let worst = sensitivity::worst_shift(fitted, farthest.position_mm, alpha)?;
    let by = references.get(worst.reference)?;
    Some(Hidden {
        weakest_reference: references.get(weakest)?.point.clone(),
        smallest_detectable_mm,
        farthest_point: farthest.point.clone(),
        shift_mm: worst.shift_mm,
        shifted_by: by.point.clone(),
        by_move: in_words(worst.by_move, by, worst.shift_mm.is_some()),
    })
}

/// A move of a point in words, the largest part first; parts below a tenth of it are left out.
/// Where any size will do, only the directions are named.
fn in_words(by: Vec3, target: &Target, sized: bool) -> String {
    let mut parts: Vec<_> = Axis::ALL
        .into_iter()
        .map(|axis| (axis, by[axis.index()]))
        .filter(|(_, mm)| mm.abs() >= 0.1 * by.amax())
        .collect();
    parts.sort_by(|a, b| b.1.abs().total_cmp(&a.1.abs()));
    let words = |&(axis, mm): &(Axis, f64)| {
        let way = direction(axis, mm, target.side);
        if sized {
            format!("{:.1} mm {way}", mm.abs())
        } else {
            format!("any amount {way}")
        }
    };
    parts.iter().map(words).collect::<Vec<_>>().join(", ")
}
