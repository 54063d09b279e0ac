//! Whether a hold point is open, and what it misses.

use std::collections::HashMap;

use datumtrail_geometry::rule::{Answer, Rule};
use serde::Serialize;

use super::measure::{self, Measured};
use super::plan::{Hold, Need, Plan, PointSet, Points};
use super::record::{self, RecordId};
use super::tie::Ties;
use super::view::{Entry, JobView};
use crate::error::Result;

/// A hold point as it stands now.
#[derive(Clone, Debug, Serialize)]
pub struct HoldState {
    pub name: String,
    pub title: String,
    pub before: String,
    pub state: State,
    pub needs: Vec<NeedState>,
    /// Everyone who ever released it without its evidence. Stays for ever.
    pub releases: Vec<Entry<record::Release>>,
}

/// How a hold point stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum State {
    /// Something is missing.
    Closed,
    /// The evidence is complete.
    OpenByEvidence,
    /// Something is missing, and a named person answers for it.
    OpenByRelease,
}

/// One need as it stands now.
#[derive(Clone, Debug, Serialize)]
pub struct NeedState {
    /// What is asked, a sentence without a full stop.
    pub text: String,
    pub met: bool,
    /// What is there, or exactly what is missing.
    pub found: String,
    /// What a survey need rests on.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub survey: Option<RecordId>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub answer: Option<Answer>,
}

impl HoldState {
    /// Whether stages behind it may be opened.
    pub fn is_open(&self) -> bool {
        self.state != State::Closed
    }

    /// What it misses, one line each.
    pub fn missing(&self) -> Vec<String> {
        self.needs
            .iter()
            .filter(|n| !n.met)
            .map(|n| format!("{}: {}", n.text, n.found))
            .collect()
    }
}

/// Looks at the evidence for hold points. Surveys are computed once each.
pub struct Evidence<'a> {
    view: &'a JobView,
    plan: &'a Plan,
    ties: &'a Ties,
    measured: HashMap<RecordId, std::result::Result<Measured, String>>,
}

impl<'a> Evidence<'a> {
    /// The evidence in a job.
    pub fn new(view: &'a JobView, plan: &'a Plan, ties: &'a Ties) -> Self {
        Self {
            view,
            plan,
            ties,
            measured: HashMap::new(),
        }
    }

    /// All hold points of the plan.
    pub fn all(&mut self) -> Vec<HoldState> {
        self.plan
            .holds
            .iter()
            .map(|hold| self.state(hold))
            .collect()
    }

    /// One hold point.
    pub fn state(&mut self, hold: &Hold) -> HoldState {
        let needs: Vec<NeedState> = hold.needs.iter().map(|need| self.need(need)).collect();
        let releases: Vec<_> = self
            .view
            .releases
            .iter()
            .filter(|r| r.body.hold == hold.key)
            .cloned()
            .collect();
        let state = if needs.iter().all(|n| n.met) {
            State::OpenByEvidence
        } else if releases.iter().any(Entry::stands) {
            State::OpenByRelease
        } else {
            State::Closed
        };
        HoldState {
            name: hold.key.clone(),
            title: hold.title.clone(),
            before: hold.before.clone(),
            state,
            needs,
            releases,
        }
    }

    fn need(&mut self, need: &Need) -> NeedState {
        match need {
            Need::Survey {
                stage,
                rule,
                points,
                text,
            } => self.survey(stage, *rule, points, text.as_deref()),
            Need::Photos { stage, count, text } => {
                let there = self.ties.certain_in(stage).count();
                let doubtful = self.ties.offered_in(stage).count();
                let mut found = match there {
                    1 => "1 photo is there".to_owned(),
                    n => format!("{n} photos are there"),
                };
                if there < *count && doubtful > 0 {
                    found += &format!(
                        ", and {doubtful} more may belong to it: say so with datumtrail photo tie"
                    );
                }
                NeedState {
                    text: format!(
                        "{} (at least {count} in {})",
                        text.as_deref().unwrap_or("photos"),
                        self.plan.title_of(stage),
                    ),
                    met: there >= *count,
                    found,
                    survey: None,
                    answer: None,
                }
            }
            Need::Note { stage, about, text } => {
                let note = self.view.notes.iter().find(|n| {
                    n.stands()
                        && (about.is_some() && n.body.about == *about
                            || stage.is_some() && n.body.stage == *stage)
                });
                let how = match (about, stage) {
                    (Some(about), _) => format!(
                        "no note about {about} yet: datumtrail note add TEXT --about {about}"
                    ),
                    (None, Some(stage)) => format!("no note in {stage} yet"),
                    (None, None) => "no note yet".into(),
                };
                NeedState {
                    text: text.clone().unwrap_or_else(|| "a note".into()),
                    met: note.is_some(),
                    found: note.map_or(how, |n| format!("«{}»", shorten(&n.body.text))),
                    survey: None,
                    answer: None,
                }
            }
            Need::Check { key, text } => {
                let tick = self
                    .view
                    .ticks
                    .iter()
                    .find(|t| t.stands() && t.body.check == *key);
                NeedState {
                    text: text.clone().unwrap_or_else(|| key.clone()),
                    met: tick.is_some(),
                    found: match tick {
                        Some(t) => format!("ticked by {}", self.view.author(&t.stamp)),
                        None => format!("not ticked yet: datumtrail hold tick {key}"),
                    },
                    survey: None,
                    answer: None,
                }
            }
        }
    }

    fn survey(
        &mut self,
        stage: &str,
        rule: Rule,
        points: &Points,
        text: Option<&str>,
    ) -> NeedState {
        let title = self.plan.title_of(stage);
        let which = match points {
            Points::Set(PointSet::Part) => "the new part".to_owned(),
            Points::Set(PointSet::Measured) => "every point measured".to_owned(),
            Points::Named(names) => names.join(", "),
        };
        let asked = match text {
            Some(text) => text.to_owned(),
            None => format!("{title} with {which} in place ({})", rule_words(rule)),
        };
        let unmet = |found: String| NeedState {
            text: asked.clone(),
            met: false,
            found,
            survey: None,
            answer: None,
        };
        let newest = self
            .view
            .standing_surveys()
            .rev()
            .find(|s| s.body.stage == stage);
        let Some(survey) = newest else {
            return unmet(format!("no survey in {stage} yet"));
        };
        let chosen = match points {
            Points::Named(names) => names.clone(),
            Points::Set(set) => match (self.view.part(), set) {
                (Some(part), PointSet::Part) => part.points,
                (None, _) => {
                    return unmet(
                        "the job does not say which points are on the new part: \
                         datumtrail part set NAME --points A,B"
                            .into(),
                    );
                }
                (Some(part), PointSet::Measured) => match self.measured(survey) {
                    Ok(measured) => {
                        let mut all = measured.measured_points();
                        all.extend(
                            part.points
                                .into_iter()
                                .filter(|p| !all.contains(p))
                                .collect::<Vec<_>>(),
                        );
                        all
                    }
                    Err(why) => return unmet(why),
                },
            },
        };
        match self.measured(survey) {
            Err(why) => unmet(why),
            Ok(measured) => {
                let answer = measured.meets(rule, &chosen);
                let found = answer_words(&answer, chosen.len());
                NeedState {
                    text: asked,
                    met: answer.met,
                    found: format!("survey {}: {found}", survey.id.short()),
                    survey: Some(survey.id.clone()),
                    answer: Some(answer),
                }
            }
        }
    }

    fn measured(
        &mut self,
        survey: &Entry<record::Survey>,
    ) -> std::result::Result<&Measured, String> {
        self.measured
            .entry(survey.id.clone())
            .or_insert_with(|| {
                let outcome: Result<Measured> = measure::measure(self.view, survey);
                outcome.map_err(|e| e.to_string())
            })
            .as_ref()
            .map_err(Clone::clone)
    }
}

/// What a rule asks, in words.
pub fn rule_words(rule: Rule) -> &'static str {
    match rule {
        Rule::Simple => {
            "simple rule: every deviation within its limit, every uncertainty within a third of it"
        }
        Rule::Guarded => "guarded rule: every axis inside with 95 %",
    }
}

fn answer_words(answer: &Answer, points: usize) -> String {
    if answer.met {
        let mut words = match points {
            1 => "the point meets the rule".to_owned(),
            n => format!("all {n} points meet the rule"),
        };
        if !answer.too_close_to_call.is_empty() {
            let list: Vec<String> = answer
                .too_close_to_call
                .iter()
                .map(|p| format!("{} in {}", p.point, p.axis.word()))
                .collect();
            words += &format!("; too close to call: {}", list.join(", "));
        }
        return words;
    }
    const SHOWN: usize = 6;
    let mut lines: Vec<String> = answer
        .failures
        .iter()
        .take(SHOWN)
        .map(|f| f.to_string().trim_end_matches('.').to_owned())
        .collect();
    if answer.failures.len() > SHOWN {
        lines.push(format!("and {} more", answer.failures.len() - SHOWN));
    }
    lines.join("; ")
}

fn shorten(text: &str) -> String {
    const MOST: usize = 60;
    if text.chars().count() <= MOST {
        return text.to_owned();
    }
    let cut: String = text.chars().take(MOST - 1).collect();
    format!("{}…", cut.trim_end())
}
