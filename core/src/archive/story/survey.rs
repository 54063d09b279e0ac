//! Each survey with its verdicts, and how many there are of each.

use datumtrail_geometry::frame::{Axis, Side};
use datumtrail_geometry::verdict::Verdict;
use serde::{Serialize, Serializer};

use crate::archive::words;
use crate::job::gather;
use crate::job::measure::{self, CheckReport, Measured};
use crate::job::plan::Plan;
use crate::job::record::{self, RecordId};
use crate::job::view::{Entry, JobView};

/// A survey that counts.
#[derive(Clone, Debug, Serialize)]
pub struct SurveyStory {
    pub id: RecordId,
    pub stage: String,
    /// The stage's title, and a number where the stage has several surveys: `Fit survey 2`.
    pub name: String,
    pub at: String,
    pub author: String,
    pub instrument: Option<String>,
    /// What is known of the instrument's uncertainty, in words.
    pub uncertainty: String,
    /// How far an undamaged vehicle may itself be from the sheet, in words.
    pub build_spread: Option<String>,
    /// The file that the readings came from.
    pub file: Option<String>,
    pub references: Vec<String>,
    /// Readings that count.
    pub readings: usize,
    pub check: Checked,
    /// `None` where the survey can't be computed.
    pub tally: Option<Tally>,
    /// What to know before relying on it, each a sentence.
    pub warnings: Vec<String>,
}

/// What came of computing a survey. In JSON it is the report, as `check --json` gives it, or
/// `{"impossible": "the reason"}`.
#[derive(Clone, Debug)]
pub enum Checked {
    Done(Box<Measured>),
    Impossible(String),
}

impl Serialize for Checked {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        match self {
            Checked::Done(measured) => measured.report().serialize(to),
            Checked::Impossible(why) => to.collect_map([("impossible", why)]),
        }
    }
}

impl SurveyStory {
    /// The report, where the survey could be computed.
    pub fn report(&self) -> Option<CheckReport<'_>> {
        match &self.check {
            Checked::Done(measured) => Some(measured.report()),
            Checked::Impossible(_) => None,
        }
    }
}

/// How many verdicts of each kind a survey has, and those that matter most.
#[derive(Clone, Debug, Default, Serialize)]
pub struct Tally {
    /// Points of the sheet that were measured.
    pub points: usize,
    /// Points of the sheet that were not.
    pub not_measured: Vec<String>,
    /// Axes by verdict.
    pub inside: usize,
    pub outside: usize,
    pub too_close_to_call: usize,
    pub no_limit_given: usize,
    pub unchecked: usize,
    /// The axes outside their limits, the largest deviation first.
    pub beyond: Vec<Deviation>,
    /// The axes too close to call, likewise.
    pub close: Vec<Deviation>,
    /// The largest deviation of all along one axis.
    pub largest: Option<Deviation>,
    /// The reference points don't fit the sheet: nothing is called inside.
    pub set_up_doubtful: bool,
    pub uncertainty_stated: bool,
}

/// One deviation along one axis.
#[derive(Clone, Debug, Serialize)]
pub struct Deviation {
    pub point: String,
    pub side: Side,
    pub axis: Axis,
    pub mm: f64,
    pub u_mm: Option<f64>,
    pub limit_mm: Option<f64>,
    /// `7.4 mm forward`.
    pub words: String,
}

impl Tally {
    /// The points outside along at least one axis, the worst first.
    pub fn points_outside(&self) -> Vec<&str> {
        points_of(&self.beyond)
    }

    /// The points too close to call along at least one axis.
    pub fn points_close(&self) -> Vec<&str> {
        points_of(&self.close)
    }

    /// The survey in one phrase: `3 points outside, up to 7.4 mm (R6)`.
    pub fn phrase(&self) -> String {
        if self.set_up_doubtful {
            return "the reference points don't fit the sheet".into();
        }
        let outside = self.points_outside().len();
        let close = self.points_close().len();
        match (outside, close, self.beyond.first()) {
            (1.., _, Some(worst)) => format!(
                "{} outside, {} {}",
                words::count(outside, "point", "points"),
                worst.point,
                worst.words
            ),
            (0, 1.., _) => format!(
                "{} too close to call",
                words::count(close, "point", "points")
            ),
            _ if self.inside == 0 => "nothing decided: no limits given".into(),
            _ if self.no_limit_given + self.unchecked > 0 => {
                "inside wherever it could be decided".into()
            }
            _ => format!(
                "all {} inside",
                words::count(self.points, "point", "points")
            ),
        }
    }
}

fn points_of(list: &[Deviation]) -> Vec<&str> {
    let mut points: Vec<&str> = Vec::new();
    for deviation in list {
        if !points.contains(&deviation.point.as_str()) {
            points.push(&deviation.point);
        }
    }
    points
}

/// Two surveys to be looked at side by side.
#[derive(Clone, Debug, Serialize)]
pub struct Comparison {
    pub before: RecordId,
    pub after: RecordId,
}

/// The surveys that count, in the order in which they were taken.
pub(super) fn tell(view: &JobView, plan: &Plan) -> Vec<SurveyStory> {
    let standing: Vec<_> = view.standing_surveys().collect();
    standing
        .iter()
        .enumerate()
        .map(|(index, survey)| {
            let stage = &survey.body.stage;
            let before = standing.get(..index).unwrap_or_default();
            let earlier = before.iter().filter(|s| s.body.stage == *stage).count();
            let alone = standing.iter().filter(|s| s.body.stage == *stage).count() == 1;
            let title = plan.title_of(stage);
            let name = if alone {
                title.to_owned()
            } else {
                format!("{title} {}", earlier + 1)
            };
            one(view, survey, name)
        })
        .collect()
}

fn one(view: &JobView, survey: &Entry<record::Survey>, name: String) -> SurveyStory {
    let body = &survey.body;
    let check = match measure::measure(view, survey) {
        Ok(measured) => Checked::Done(Box::new(measured)),
        Err(error) => Checked::Impossible(error.to_string()),
    };
    let (tally, warnings) = match &check {
        Checked::Done(measured) => {
            let report = measured.report();
            let warnings = report.setup.warnings.iter().map(ToString::to_string);
            (Some(tally(&report)), warnings.collect())
        }
        Checked::Impossible(_) => (None, Vec::new()),
    };
    SurveyStory {
        id: survey.id.clone(),
        stage: body.stage.clone(),
        name,
        at: survey.stamp.at.clone(),
        author: view.author(&survey.stamp),
        instrument: body.instrument.clone(),
        uncertainty: uncertainty(view, survey),
        build_spread: body.build_spread_mm.map(|mm| {
            let source = body.build_spread_source.as_deref().unwrap_or("no source");
            format!("{} mm ({source})", words::stated(mm))
        }),
        file: body.file.clone(),
        references: body.refs.clone(),
        readings: view.readings_of(&survey.id).count(),
        check,
        tally,
        warnings,
    }
}

fn uncertainty(view: &JobView, survey: &Entry<record::Survey>) -> String {
    let by_reading = view
        .readings_of(&survey.id)
        .filter(|r| r.body.u.is_some())
        .count();
    let general = match (survey.body.u_mm, survey.body.mpe_mm) {
        (Some(u), _) => Some(format!(
            "standard uncertainty {} mm on each axis, as stated",
            words::stated(u)
        )),
        (None, Some(bound)) => Some(format!(
            "errors of up to {} mm on each axis as stated, hence a standard uncertainty of {:.2} mm",
            words::stated(bound),
            gather::general_u(&survey.body).unwrap_or_default()
        )),
        (None, None) => None,
    };
    match (general, by_reading) {
        (Some(general), 0) => general,
        (Some(general), n) => format!(
            "{general}; {} with their own",
            words::count(n, "reading", "readings")
        ),
        (None, 0) => "uncertainty not stated: deviations are compared plainly".into(),
        (None, _) => "uncertainty as stated with each reading".into(),
    }
}

fn tally(report: &CheckReport<'_>) -> Tally {
    let mut tally = Tally {
        set_up_doubtful: report.setup.doubtful,
        uncertainty_stated: report.setup.uncertainty_stated,
        ..Tally::default()
    };
    for point in &report.points {
        if point.reading_mm.is_none() {
            tally.not_measured.push(point.point.to_owned());
            continue;
        }
        tally.points += 1;
        for (axis, seen) in point.axes() {
            let deviation = seen.deviation_mm.map(|mm| Deviation {
                point: point.point.to_owned(),
                side: point.side,
                axis,
                mm,
                u_mm: seen.u_mm,
                limit_mm: seen.limit_mm,
                words: words::deviation(axis, mm, point.side),
            });
            match seen.verdict {
                Verdict::Inside => tally.inside += 1,
                Verdict::Outside => {
                    tally.outside += 1;
                    tally.beyond.extend(deviation.clone());
                }
                Verdict::TooCloseToCall => {
                    tally.too_close_to_call += 1;
                    tally.close.extend(deviation.clone());
                }
                Verdict::NoLimitGiven => tally.no_limit_given += 1,
                Verdict::Unchecked => tally.unchecked += 1,
                Verdict::NotMeasured => {}
            }
            let size = |d: &Deviation| d.mm.abs();
            if let Some(d) = deviation
                && tally
                    .largest
                    .as_ref()
                    .is_none_or(|most| size(&d) > size(most))
            {
                tally.largest = Some(d);
            }
        }
    }
    for list in [&mut tally.beyond, &mut tally.close] {
        list.sort_by(|a, b| b.mm.abs().total_cmp(&a.mm.abs()));
    }
    tally
}

/// What to show side by side: the survey that comes first in the plan, and the newest.
pub(super) fn compare(surveys: &[SurveyStory], plan: &Plan) -> Option<Comparison> {
    let computed = || surveys.iter().filter(|s| s.tally.is_some());
    let after = computed().next_back()?;
    let place = |s: &&SurveyStory| plan.place(&s.stage).unwrap_or(usize::MAX);
    // The first of those that share the first place.
    let before = computed().min_by_key(place)?;
    (before.id != after.id).then(|| Comparison {
        before: before.id.clone(),
        after: after.id.clone(),
    })
}
