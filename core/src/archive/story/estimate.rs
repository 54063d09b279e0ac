//! What supports the estimate: the lines that notes stand behind, and the evidence of each.

use serde::Serialize;

use super::SurveyStory;
use crate::archive::words;
use crate::job::plan::Plan;
use crate::job::record::{RecordId, Support};
use crate::job::view::{Entry, JobView};

/// A line of the estimate that a note supports.
#[derive(Clone, Debug, Serialize)]
pub struct EstimateStory {
    /// The support's identity.
    pub id: RecordId,
    /// When it was written, RFC 3339, and by whom.
    pub at: String,
    pub author: String,
    /// What has to be done.
    pub operation: String,
    /// The part it is done to.
    pub part: String,
    /// Why it is needed.
    pub reason: String,
    /// The note behind it, and what that says.
    pub note: RecordId,
    pub note_text: String,
    pub note_author: String,
    /// The note's stage, and its title.
    pub stage: Option<String>,
    pub stage_title: Option<String>,
    /// Photos that show it.
    pub photos: Vec<RecordId>,
    /// Readings that show it.
    pub readings: Vec<SupportingReading>,
}

/// A reading behind a line of the estimate.
#[derive(Clone, Debug, Serialize)]
pub struct SupportingReading {
    pub id: RecordId,
    pub point: String,
    /// The survey that it belongs to, by name.
    pub survey: String,
    /// What the survey found at that point, in words; where the reading no longer counts, that.
    pub found: String,
}

/// The lines that count and whose notes do, in the order in which they were written.
pub(super) fn tell(view: &JobView, plan: &Plan, surveys: &[SurveyStory]) -> Vec<EstimateStory> {
    let standing = view.supports.iter().filter(|s| s.stands());
    standing
        .filter_map(|support| one(view, plan, surveys, support))
        .collect()
}

fn one(
    view: &JobView,
    plan: &Plan,
    surveys: &[SurveyStory],
    support: &Entry<Support>,
) -> Option<EstimateStory> {
    let body = &support.body;
    let mut notes = view.notes.iter();
    let note = notes.find(|n| n.id == body.note && n.stands())?;
    let readings = body.readings.iter();
    Some(EstimateStory {
        id: support.id.clone(),
        at: support.stamp.at.clone(),
        author: view.author(&support.stamp),
        operation: body.operation.clone(),
        part: body.part.clone(),
        reason: body.reason.clone(),
        note: note.id.clone(),
        note_text: note.body.text.clone(),
        note_author: view.author(&note.stamp),
        stage: note.body.stage.clone(),
        stage_title: (note.body.stage.as_deref()).map(|stage| plan.title_of(stage).to_owned()),
        photos: body.photos.clone(),
        readings: readings.map(|id| reading(view, surveys, id)).collect(),
    })
}

fn reading(view: &JobView, surveys: &[SurveyStory], id: &RecordId) -> SupportingReading {
    let Some(reading) = view.readings.iter().find(|r| r.id == *id) else {
        return SupportingReading {
            id: id.clone(),
            point: String::new(),
            survey: String::new(),
            found: "the reading is not in this record".into(),
        };
    };
    let of = &reading.body.survey;
    let told = |s: &&SurveyStory| s.id == *of || s.set_ups.iter().any(|set_up| set_up.id == *of);
    let survey = surveys.iter().find(told);
    let found = match survey {
        _ if !reading.stands() => "the reading was withdrawn or corrected since".into(),
        Some(survey) => found(survey, &reading.body.point),
        None => "its survey no longer counts".into(),
    };
    SupportingReading {
        id: id.clone(),
        point: reading.body.point.clone(),
        survey: survey.map_or_else(String::new, |s| s.name.clone()),
        found,
    }
}

/// `7.4 mm forward, outside (limit 3 mm); 0.2 mm inboard, inside (limit 3 mm)`.
fn found(survey: &SurveyStory, point: &str) -> String {
    let Some(report) = survey.report() else {
        return "the survey can't be computed".into();
    };
    let Some(point) = report.points.iter().find(|p| p.point == point) else {
        return "the point is not on the sheet".into();
    };
    let axes = point.axes().into_iter().filter_map(|(axis, seen)| {
        let deviation = words::deviation(axis, seen.deviation_mm?, point.side);
        let limit = seen.limit_mm.map(words::stated);
        let limit = limit.map_or_else(String::new, |mm| format!(" (limit {mm} mm)"));
        Some(format!("{deviation}, {}{limit}", seen.verdict.words()))
    });
    let axes: Vec<String> = axes.collect();
    match axes.is_empty() {
        true => "no deviation could be computed".into(),
        false => axes.join("; "),
    }
}
