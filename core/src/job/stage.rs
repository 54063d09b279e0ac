//! When each stage was open, from the records of its openings and closings.

use datumtrail_photo::tie::StageSpan;
use jiff::Timestamp;
use serde::Serialize;

use super::plan::Plan;
use super::record::{Passed, RecordId, Stamp};
use super::view::JobView;

/// One stage of the plan, as it stands.
#[derive(Clone, Debug, Serialize)]
pub struct StageState {
    pub name: String,
    pub title: String,
    pub state: State,
    pub spans: Vec<Span>,
}

/// Whether a stage is open.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum State {
    NotYet,
    Open,
    Closed,
}

/// One time that a stage was open. A stage that was opened again has several.
#[derive(Clone, Debug, Serialize)]
pub struct Span {
    pub opening: RecordId,
    pub opened: String,
    pub opened_by: Stamp,
    pub passed: Vec<Passed>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub closed: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub closed_by: Option<Stamp>,
}

/// All stages of the plan in its order, and behind them any that the plan no longer has.
pub fn stages(view: &JobView, plan: &Plan) -> Vec<StageState> {
    let mut all: Vec<(String, String)> = plan
        .stages
        .iter()
        .map(|s| (s.key.clone(), s.title.clone()))
        .collect();
    for opening in &view.openings {
        let key = &opening.body.stage;
        if !all.iter().any(|(k, _)| k == key) {
            all.push((key.clone(), key.clone()));
        }
    }
    all.into_iter()
        .map(|(name, title)| {
            let spans = spans_of(view, &name);
            let state = if spans.is_empty() {
                State::NotYet
            } else if spans.iter().any(|s| s.closed.is_none()) {
                State::Open
            } else {
                State::Closed
            };
            StageState {
                name,
                title,
                state,
                spans,
            }
        })
        .collect()
}

fn spans_of(view: &JobView, stage: &str) -> Vec<Span> {
    let mut spans: Vec<Span> = view
        .openings
        .iter()
        .filter(|o| o.stands() && o.body.stage == stage)
        .map(|o| {
            // Two people may close the same opening: the earlier end counts.
            let closing = view
                .closings
                .iter()
                .filter(|c| c.stands() && c.body.opening == o.id)
                .min_by_key(|c| (instant(&c.body.closed), c.id.clone()));
            Span {
                opening: o.id.clone(),
                opened: o.body.opened.clone(),
                opened_by: o.stamp.clone(),
                passed: o.body.passed.clone(),
                closed: closing.map(|c| c.body.closed.clone()),
                closed_by: closing.map(|c| c.stamp.clone()),
            }
        })
        .collect();
    spans.sort_by_key(|s| instant(&s.opened));
    spans
}

/// The same for the tie of photos.
pub(crate) fn for_ties(stages: &[StageState]) -> Vec<StageSpan> {
    stages
        .iter()
        .flat_map(|stage| {
            stage.spans.iter().filter_map(|span| {
                let closed = match &span.closed {
                    Some(text) => Some(instant(text)?),
                    None => None,
                };
                Some(StageSpan::new(
                    stage.name.clone(),
                    instant(&span.opened)?,
                    closed,
                ))
            })
        })
        .collect()
}

/// A time of the document as an instant; `None` if it isn't one.
pub(crate) fn instant(text: &str) -> Option<Timestamp> {
    text.parse().ok()
}
