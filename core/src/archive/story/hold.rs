//! The hold points: what they ask, how they stand now, and how they were passed.

use serde::Serialize;

use crate::archive::words;
use crate::job::hold::{HoldState, NeedState, State};
use crate::job::plan::Plan;
use crate::job::record::RecordId;
use crate::job::view::JobView;

/// A hold point.
#[derive(Clone, Debug, Serialize)]
pub struct HoldStory {
    pub key: String,
    pub title: String,
    /// The stage it stands before.
    pub before: String,
    pub before_title: String,
    /// How it stands by what is there now.
    pub state: State,
    /// What it asks, and what is there now.
    pub needs: Vec<NeedState>,
    /// Everyone who answered for its missing evidence.
    pub releases: Vec<ReleaseStory>,
    /// The first time it was passed in each way.
    pub passed: Vec<Passing>,
    /// How it was passed or stands, one sentence.
    pub words: String,
    /// Where what is there now would no longer open it as it was opened then.
    pub changed: Option<String>,
}

/// A release without evidence.
#[derive(Clone, Debug, Serialize)]
pub struct ReleaseStory {
    pub id: RecordId,
    pub name: String,
    pub reason: String,
    /// What was missing at that moment.
    pub missing: Vec<String>,
    pub at: String,
    pub author: String,
}

/// A stage behind the hold point was opened.
#[derive(Clone, Debug, Serialize)]
pub struct Passing {
    /// The opening of the stage.
    pub opening: RecordId,
    pub stage: String,
    pub title: String,
    pub at: String,
    pub by: String,
    pub by_evidence: bool,
    /// The release that opened the hold point, where its evidence did not.
    pub release: Option<RecordId>,
}

pub(super) fn tell(view: &JobView, plan: &Plan, states: Vec<HoldState>) -> Vec<HoldStory> {
    states
        .into_iter()
        .map(|state| {
            let releases: Vec<ReleaseStory> = state
                .releases
                .iter()
                .map(|r| ReleaseStory {
                    id: r.id.clone(),
                    name: r.body.name.clone(),
                    reason: r.body.reason.clone(),
                    missing: r.body.missing.clone(),
                    at: r.stamp.at.clone(),
                    author: view.author(&r.stamp),
                })
                .collect();
            let passed = passings(view, plan, &state.name);
            HoldStory {
                words: sentence(&state, &passed, &releases),
                changed: changed(&state, &passed),
                before_title: plan.title_of(&state.before).to_owned(),
                key: state.name,
                title: state.title,
                before: state.before,
                state: state.state,
                needs: state.needs,
                releases,
                passed,
            }
        })
        .collect()
}

/// The first passing by evidence, and the first by each release.
fn passings(view: &JobView, plan: &Plan, hold: &str) -> Vec<Passing> {
    let mut all: Vec<Passing> = Vec::new();
    for opening in view.openings.iter().filter(|o| o.stands()) {
        for passed in opening.body.passed.iter().filter(|p| p.hold == hold) {
            let by_evidence = passed.how == "evidence";
            let told = |p: &Passing| p.by_evidence == by_evidence && p.release == passed.release;
            if all.iter().any(told) {
                continue;
            }
            all.push(Passing {
                opening: opening.id.clone(),
                stage: opening.body.stage.clone(),
                title: plan.title_of(&opening.body.stage).to_owned(),
                at: opening.body.opened.clone(),
                by: view.author(&opening.stamp),
                by_evidence,
                release: passed.release.clone(),
            });
        }
    }
    all
}

fn sentence(state: &HoldState, passed: &[Passing], releases: &[ReleaseStory]) -> String {
    let Some(first) = passed.first() else {
        return match state.state {
            State::Closed => "Closed.".into(),
            State::OpenByEvidence => "Open by its evidence; nothing behind it has begun.".into(),
            State::OpenByRelease => {
                "Released without its evidence; nothing behind it has begun.".into()
            }
        };
    };
    let when = format!("{} began, {}", first.title, words::moment(&first.at));
    if first.by_evidence {
        return format!("Opened by its evidence; {when}.");
    }
    let release = releases
        .iter()
        .find(|r| first.release.as_ref() == Some(&r.id));
    let name = release.map_or("A release", |r| r.name.as_str());
    format!("Passed without its evidence; {when}. {name} answers for it.")
}

fn changed(state: &HoldState, passed: &[Passing]) -> Option<String> {
    let by_evidence = passed.iter().any(|p| p.by_evidence);
    let missing = state.missing();
    (by_evidence && !missing.is_empty()).then(|| {
        format!(
            "it was passed by its evidence, and what is there now would not open it ({}).",
            missing.join("; ")
        )
    })
}
