//! Moves that were decided, and what the next survey found of them.

use datumtrail_geometry::correct::{AchievedPoint, words as phrases};
use datumtrail_geometry::frame::{Axis, Side, Vec3};
use datumtrail_sheet::Sheet;
use serde::Serialize;

use super::SurveyStory;
use super::survey::Checked;
use crate::job::correct;
use crate::job::record::{self, Expected, RecordId};
use crate::job::view::{Entry, JobView};

/// A move that somebody decided to make.
#[derive(Clone, Debug, Serialize)]
pub struct MoveStory {
    pub id: RecordId,
    pub at: String,
    pub author: String,
    /// The survey it rests on, and the survey's stage.
    pub survey: RecordId,
    pub survey_name: String,
    pub stage: Option<String>,
    /// Which moves were allowed, and the move itself, in words.
    pub allowed: String,
    pub words: String,
    /// Length, width and height of each point: before, moved by, expected afterwards.
    pub points: Vec<Expected>,
    /// The same, a sentence for each point.
    pub expected: Vec<String>,
    /// What the next survey that measured any of the points found.
    pub outcome: Option<OutcomeStory>,
}

/// Predicted against achieved.
#[derive(Clone, Debug, Serialize)]
pub struct OutcomeStory {
    pub survey: RecordId,
    pub survey_name: String,
    pub at: String,
    pub points: Vec<OutcomePoint>,
    /// A sentence for each point.
    pub words: Vec<String>,
    /// Points of the move that the survey did not measure.
    pub not_measured: Vec<String>,
}

/// One point of it. Length, width and height, millimetres.
#[derive(Clone, Debug, Serialize)]
pub struct OutcomePoint {
    pub point: String,
    /// The displacement that the move asked for, and the one that was made, by the two surveys.
    pub asked_mm: [f64; 3],
    pub made_mm: [f64; 3],
    /// The deviation that the move promised, and the one that was found.
    pub predicted_mm: [f64; 3],
    pub achieved_mm: [f64; 3],
    /// The standard uncertainty of achieved minus predicted.
    pub u_mm: Option<[f64; 3]>,
    /// Whether the two agree within two standard uncertainties, for each axis.
    pub as_predicted: [Option<bool>; 3],
}

/// The moves that count, in the order in which they were decided.
pub(super) fn tell(
    view: &JobView,
    surveys: &[SurveyStory],
    sheet: Option<&Sheet>,
) -> Vec<MoveStory> {
    let standing = view.moves.iter().filter(|m| m.stands());
    standing
        .map(|decided| {
            let body = &decided.body;
            let rests_on = view.surveys.iter().find(|s| s.id == body.survey);
            let told = surveys.iter().find(|s| s.id == body.survey);
            MoveStory {
                id: decided.id.clone(),
                at: decided.stamp.at.clone(),
                author: view.author(&decided.stamp),
                survey: body.survey.clone(),
                survey_name: told
                    .map_or_else(|| "a survey that was withdrawn".into(), |s| s.name.clone()),
                stage: rests_on.map(|s| s.body.stage.clone()),
                allowed: body.allowed.clone(),
                words: body.words.clone(),
                expected: body.points.iter().map(|p| expected(p, sheet)).collect(),
                points: body.points.clone(),
                outcome: outcome(view, surveys, decided),
            }
        })
        .collect()
}

/// "E: 20.9 mm rearward; expected afterwards 0.3 mm too far forward (± 0.9 mm)."
fn expected(point: &Expected, sheet: Option<&Sheet>) -> String {
    let on_sheet = sheet.and_then(|s| s.point(&point.point));
    let side = on_sheet.map_or(Side::Centre, |p| p.side);
    let way = phrases::displacement(Vec3::from(point.move_mm), side);
    let left = phrases::deviation(Vec3::from(point.deviation_mm), side);
    let good_to = match point.u_mm {
        Some(u) => format!("± {:.1} mm", 2.0 * Vec3::from(u).amax()),
        None => "uncertainty not stated".into(),
    };
    format!(
        "{}: {}; expected afterwards {} ({good_to}).",
        point.point,
        way.unwrap_or_else(|| "stays where it is".into()),
        left.unwrap_or_else(|| "on its dimension".into()),
    )
}

/// The first survey after the move that measured any of its points. Later ones say nothing more
/// about the move: other work lies between.
fn outcome(
    view: &JobView,
    surveys: &[SurveyStory],
    decided: &Entry<record::Move>,
) -> Option<OutcomeStory> {
    surveys.iter().find_map(|survey| {
        let Checked::Done(measured) = &survey.check else {
            return None;
        };
        let entry = view.surveys.iter().find(|s| s.id == survey.id)?;
        if correct::move_before(view, entry)?.id != decided.id {
            return None;
        }
        let found = correct::achieved(&decided.body, measured);
        if found.is_empty() {
            return None;
        }
        let of_move = decided.body.points.iter().map(|p| &p.point);
        Some(OutcomeStory {
            survey: survey.id.clone(),
            survey_name: survey.name.clone(),
            at: survey.at.clone(),
            words: phrases::achieved(&found),
            not_measured: of_move
                .filter(|name| !found.iter().any(|f| f.name == **name))
                .cloned()
                .collect(),
            points: found.iter().map(outcome_point).collect(),
        })
    })
}

fn outcome_point(point: &AchievedPoint) -> OutcomePoint {
    OutcomePoint {
        point: point.name.clone(),
        asked_mm: point.asked.into(),
        made_mm: point.made.into(),
        predicted_mm: point.predicted.into(),
        achieved_mm: point.achieved.into(),
        u_mm: point.u.map(Into::into),
        as_predicted: Axis::ALL.map(|axis| point.as_predicted(axis)),
    }
}
