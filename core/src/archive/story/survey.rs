//! Each survey: how it was taken, what it found, and what to know before relying on it.

use serde::{Serialize, Serializer};

use super::basis::{self, SetUpStory};
use super::tally::{self, Tally};
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
    /// What is known of the uncertainty of its readings, in words.
    pub uncertainty: String,
    /// How far an undamaged vehicle may itself be from the sheet, in words.
    pub build_spread: Option<String>,
    /// The file that the readings came from.
    pub file: Option<String>,
    pub references: Vec<String>,
    /// Readings that count, without those of further set-ups.
    pub readings: usize,
    /// The further set-ups that joined it.
    pub set_ups: Vec<SetUpStory>,
    /// What was done with the readings before the set-up was found, each a sentence: brought to
    /// 20 degrees, averaged, joined.
    pub gathered: Vec<String>,
    /// What could have moved unseen among the reference points, a sentence.
    pub could_be_missed: Option<String>,
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
    let mut story = SurveyStory {
        id: survey.id.clone(),
        stage: body.stage.clone(),
        name,
        at: survey.stamp.at.clone(),
        author: view.author(&survey.stamp),
        instrument: body.instrument.clone(),
        uncertainty: basis::uncertainty(view, survey),
        build_spread: basis::build_spread(body),
        file: body.file.clone(),
        references: body.refs.clone(),
        readings: view.readings_of(&survey.id).count(),
        set_ups: basis::set_ups(view, survey),
        gathered: Vec::new(),
        could_be_missed: None,
        check: Checked::Impossible(String::new()),
        tally: None,
        warnings: Vec::new(),
    };
    match measure::measure(view, survey) {
        Ok(measured) => {
            let report = measured.report();
            let set_up = report.setup;
            story.gathered = basis::gathered(&measured.gathered, !story.set_ups.is_empty());
            story.could_be_missed = set_up.hidden.as_ref().map(ToString::to_string);
            story.warnings = set_up.warnings.iter().map(ToString::to_string).collect();
            story.tally = Some(tally::tally(&report));
            story.check = Checked::Done(Box::new(measured));
        }
        Err(error) => story.check = Checked::Impossible(error.to_string()),
    }
    story
}

/// What to show side by side: the survey that comes first in the plan, and the newest.
pub(super) fn compare(surveys: &[SurveyStory], plan: &Plan) -> Option<Comparison> {
    let after = surveys.iter().rfind(|s| s.tally.is_some())?;
    let before = first_in_plan(surveys, plan)?;
    (before.id != after.id).then(|| Comparison {
        before: before.id.clone(),
        after: after.id.clone(),
    })
}

/// Of the surveys that could be computed, the one whose stage comes first in the plan.
pub(super) fn first_in_plan<'s>(
    surveys: &'s [SurveyStory],
    plan: &Plan,
) -> Option<&'s SurveyStory> {
    let place = |s: &&SurveyStory| plan.place(&s.stage).unwrap_or(usize::MAX);
    // The first of those that share the first place.
    let computed = surveys.iter().filter(|s| s.tally.is_some());
    computed.min_by_key(place)
}
