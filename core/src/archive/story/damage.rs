//! What moved, by the survey that comes first in the plan.

use serde::Serialize;

use super::SurveyStory;
use super::survey::{self, Checked};
use crate::job::damage::{self, Damage};
use crate::job::plan::Plan;
use crate::job::record::RecordId;
use crate::job::view::JobView;

/// The damage reading of the job.
#[derive(Clone, Debug, Serialize)]
pub struct DamageStory {
    /// The survey that it comes from.
    pub survey: RecordId,
    pub name: String,
    pub at: String,
    /// Kinds, causes and extent, with their sentences.
    pub reading: Damage,
    /// What to know before relying on it, each a sentence.
    pub cautions: Vec<String>,
}

/// Reads the damage from the first survey in the plan that could be computed. None where that
/// states no uncertainty: movement and error can't be told apart then.
pub(super) fn tell(view: &JobView, surveys: &[SurveyStory], plan: &Plan) -> Option<DamageStory> {
    let first = survey::first_in_plan(surveys, plan)?;
    let Checked::Done(measured) = &first.check else {
        return None;
    };
    let reading = damage::read(view, measured).ok()?;
    Some(DamageStory {
        survey: first.id.clone(),
        name: first.name.clone(),
        at: first.at.clone(),
        cautions: cautions(&reading),
        reading,
    })
}

fn cautions(reading: &Damage) -> Vec<String> {
    let all = [
        (
            reading.doubtful,
            "The reference points disagree and nothing explains it: none of this can be relied on.",
        ),
        (
            reading.build_spread_mm.is_none(),
            "Build spread not stated: what reads as a small movement may be as built.",
        ),
        (
            reading.layout_proposed,
            "Which points belong to which end and member was proposed from their positions; nobody \
             has confirmed it.",
        ),
    ];
    let said = all.into_iter().filter(|(so, _)| *so);
    said.map(|(_, words)| words.to_owned()).collect()
}
