//! What was done, and the answer.

use datumtrail_geometry::verdict::Verdict;
use maud::{Markup, html};

use super::section;
use super::shapes::{emblem, mark};
use crate::archive::story::{Outcome, Story, Tally};
use crate::archive::words;
use crate::job::stage::{State, instant};

pub fn draw(story: &Story) -> Markup {
    let head = &story.head;
    let done = story
        .stages
        .iter()
        .filter(|s| s.state != State::NotYet)
        .count();
    html! {
        header.top {
            p.kind {
                "Record of a structural repair"
                @if let Some(shop) = &head.organization { ", " (shop) }
                @if story.copy.reader.is_reduced() {
                    ". " (story.copy.words) " " a href="#left-out" { "What was left out" }
                }
            }
            h1 { (head.name) }
            @if let Some(vehicle) = &head.vehicle { p.vehicle { (vehicle) } }
            dl.facts {
                div { dt { "Work" } dd { (head.plan) } }
                @if let Some(part) = &head.part {
                    div { dt { "New part" } dd { (part.name) " (" (words::list(&part.points)) ")" } }
                }
                @if let (Some(from), Some(to)) = (&head.from, &head.to) {
                    div { dt { "When" } dd { (days(from, to)) } }
                }
                div { dt { "Stages" } dd { (done) " of " (story.stages.len()) " begun" } }
                div {
                    dt { "Evidence" }
                    dd {
                        (words::count(story.surveys.len(), "survey", "surveys")) ", "
                        @let trams: usize = story.trams.iter().map(|t| t.readings.len()).sum();
                        @if trams > 0 {
                            (words::count(trams, "tram reading", "tram readings")) ", "
                        }
                        (words::count(standing_photos(story), "photo", "photos")) ", "
                        (words::count(story.notes.len(), "note", "notes"))
                    }
                }
                @if !story.people.is_empty() {
                    div { dt { "By" } dd { (words::list(&story.people)) } }
                }
            }
            nav aria-label="Contents" {
                ul {
                    li { a href="#answer" { "Answer" } }
                    @if story.damage.is_some() { li { a href="#moved" { "What moved" } } }
                    @if story.newest().is_some_and(|s| s.tally.is_some()) {
                        li { a href="#picture" { "Picture" } }
                        li { a href="#numbers" { "Numbers" } }
                    }
                    li { a href="#line" { "Time line" } }
                    @if !story.estimate.is_empty() { li { a href="#estimate" { "Estimate" } } }
                    @if !story.holds.is_empty() { li { a href="#holds" { "Hold points" } } }
                    @if story.sheet.is_some() { li { a href="#sheet" { "Sheet" } } }
                    @if !story.seals.is_empty() { li { a href="#seals" { "Seals" } } }
                    li { a href="#archive" { "This archive" } }
                }
            }
        }
    }
}

fn standing_photos(story: &Story) -> usize {
    story
        .photos
        .iter()
        .filter(|p| p.withdrawn.is_none())
        .count()
}

fn days(from: &str, to: &str) -> String {
    let (first, last) = (words::day(from), words::day(to));
    if first == last {
        first
    } else {
        format!("{first} to {last}")
    }
}

/// The answer, how it came about, what was released, what is open, and the cautions.
pub fn answer(story: &Story) -> Markup {
    let answer = &story.answer;
    section(
        "answer",
        "The answer",
        html! {
                div.answer {
                (mark(verdict(answer.outcome)))
                div {
                    p.sentence { (answer.sentence) }
                    @for line in &answer.details { p { (line) } }
                }
            }
            @if !answer.released.is_empty() {
                div.slip.hatched {
                    h3 { "Released without evidence" }
                    ul { @for line in &answer.released { li { (line) } } }
                }
            }
            div.beside {
                div {
                    (trail(story))
                    @if !answer.open.is_empty() {
                        div.slip {
                            h3 { "Not settled" }
                            ul { @for line in &answer.open { li { (line) } } }
                        }
                    }
                }
                div {
                    @if let Some(newest) = story.newest() {
                        @if !newest.warnings.is_empty() {
                            div.slip {
                                h3 { "Good to know about the newest survey" }
                                ul { @for line in &newest.warnings { li { (line) } } }
                            }
                        }
                    }
                    div.caution role="note" aria-label="Cautions" {
                        @for line in story.cautions { (line) " " }
                    }
                }
            }
        },
    )
}

/// One line of how it got there.
struct Step {
    at: String,
    /// None for a move: it has no verdict.
    verdict: Option<Verdict>,
    place: String,
    name: String,
    phrase: String,
}

fn steps(story: &Story) -> Vec<Step> {
    let surveys = story.surveys.iter().map(|survey| Step {
        at: survey.at.clone(),
        verdict: Some(
            survey
                .tally
                .as_ref()
                .map_or(Verdict::Unchecked, Tally::verdict),
        ),
        place: format!("#s-{}", survey.id.short()),
        name: survey.name.clone(),
        phrase: match &survey.tally {
            Some(tally) => tally.phrase(),
            None => "can't be computed".into(),
        },
    });
    let trams = story.trams.iter().map(|trams| Step {
        at: trams.at.clone(),
        verdict: Some(trams.verdict()),
        place: format!("#t-{}", trams.id.short()),
        name: format!("{}, tram", trams.title),
        phrase: trams.phrase(),
    });
    let moves = story.moves.iter().map(|decided| Step {
        at: decided.at.clone(),
        verdict: None,
        place: format!("#m-{}", decided.id.short()),
        name: "Move decided".into(),
        phrase: decided.words.trim_end_matches('.').to_owned(),
    });
    let mut all: Vec<Step> = surveys.chain(trams).chain(moves).collect();
    all.sort_by_key(|step| instant(&step.at));
    all
}

/// Every survey, move and round of tram readings in one line each: how the structure came to where
/// it is.
fn trail(story: &Story) -> Markup {
    let steps = steps(story);
    html! {
        @if steps.len() > 1 {
            h3 { "How it got there" }
            ol.trail {
                @for step in &steps {
                    li {
                        @match step.verdict {
                            Some(verdict) => (emblem(verdict)),
                            None => span {},
                        }
                        span.when { (words::short_moment(&step.at)) }
                        span { a href=(step.place) { (step.name) } ": " (step.phrase) }
                    }
                }
            }
        }
    }
}

fn verdict(outcome: Outcome) -> Verdict {
    match outcome {
        Outcome::Inside => Verdict::Inside,
        Outcome::Outside => Verdict::Outside,
        Outcome::TooCloseToCall => Verdict::TooCloseToCall,
        Outcome::NotDecided => Verdict::Unchecked,
        Outcome::NotMeasured => Verdict::NotMeasured,
    }
}
