//! What stands across the time line: surveys, tram readings, and moves that were decided.

use maud::{Markup, html};

use super::picture::{self, Shown};
use super::shapes::emblem;
use crate::archive::story::{
    Checked, Deviation, Event, EventKind, MoveStory, OutcomeStory, SetUpStory, Story, SurveyStory,
    TramRow, TramStory,
};
use crate::archive::words::{self, capital};

/// How many points a list in the time line names.
const NAMED: usize = 8;

/// One of them, by the record that its event names.
pub fn draw(story: &Story, shown: &Shown, event: &Event) -> Markup {
    let id = &event.record;
    match event.kind {
        EventKind::Survey => story.survey(id).map(|s| survey(story, s, shown)),
        EventKind::Trams => story.trams.iter().find(|t| t.id == *id).map(trams),
        EventKind::Move => story.moves.iter().find(|m| m.id == *id).map(decided),
        EventKind::Photo | EventKind::Note | EventKind::Tick => None,
    }
    .unwrap_or_default()
}

/// An event with its time beside the line.
fn across(id: &str, at: &str, content: Markup) -> Markup {
    html! {
        div.ev.survey id=(id) {
            p.at { (words::time_of_day(at)) }
            div { (content) }
        }
    }
}

fn survey(story: &Story, survey: &SurveyStory, shown: &Shown) -> Markup {
    let content = html! {
        h4 {
            @if let Some(tally) = &survey.tally { (emblem(tally.verdict())) }
            (survey.name) ": "
            @match &survey.tally {
                Some(tally) => (tally.phrase()),
                None => "can't be computed",
            }
        }
        @if let Checked::Impossible(why) = &survey.check { p { (why) "." } }
        @if let Some(tally) = &survey.tally {
            (list("Outside", &tally.beyond))
            (list("Too close to call", &tally.close))
        }
        @if let Some((decided, outcome)) = story.outcome_in(&survey.id) {
            (achieved(decided, outcome))
        }
        (picture::small(story, survey, shown))
        p.sub {
            (words::count(survey.readings, "reading", "readings")) ", " (survey.author)
            @if let Some(instrument) = &survey.instrument { ", with " (instrument) }
            ": " (survey.uncertainty) ". Reference points "
            (words::list(&survey.references)) "."
        }
        @for set_up in &survey.set_ups { p.sub { (further(set_up)) } }
        @if !survey.gathered.is_empty() { p.sub { (survey.gathered.join(" ")) } }
    };
    across(&format!("s-{}", survey.id.short()), &survey.at, content)
}

/// A further set-up that was joined to a survey.
fn further(set_up: &SetUpStory) -> String {
    let instrument = set_up.instrument.as_deref();
    format!(
        "Further set-up {} at {}: {}, {}{}: {}.",
        set_up.id.short(),
        words::time_of_day(&set_up.at),
        words::count(set_up.readings, "reading", "readings"),
        set_up.author,
        instrument.map_or_else(String::new, |i| format!(", with {i}")),
        set_up.uncertainty
    )
}

/// What a survey found of the move before it.
fn achieved(decided: &MoveStory, outcome: &OutcomeStory) -> Markup {
    html! {
        p.tight {
            "Against the "
            a href=(format!("#m-{}", decided.id.short())) { "move decided " (words::short_moment(&decided.at)) }
            ", point by point:"
        }
        ul.facts-list {
            @for line in &outcome.words { li { (line) } }
            @if !outcome.not_measured.is_empty() {
                li { "Not measured since: " (words::list(&outcome.not_measured)) "." }
            }
        }
    }
}

fn decided(decided: &MoveStory) -> Markup {
    let content = html! {
        h4 { "Move decided: " (decided.words) }
        p.tight {
            "By " (decided.survey_name) "; allowed was " (decided.allowed) ". Point by point:"
        }
        ul.facts-list { @for line in &decided.expected { li { (line) } } }
        p.sub {
            (decided.author) ". "
            @match &decided.outcome {
                Some(outcome) => {
                    "What came of it: "
                    a href=(format!("#s-{}", outcome.survey.short())) { (outcome.survey_name) } "."
                }
                None => "No survey has shown what came of it.",
            }
        }
    };
    across(&format!("m-{}", decided.id.short()), &decided.at, content)
}

fn trams(trams: &TramStory) -> Markup {
    let content = html! {
        h4 { (emblem(trams.verdict())) "Tram readings: " (trams.phrase()) }
        table.trams role="table" {
            caption.vh { "Tram readings, " (trams.title) }
            thead role="rowgroup" {
                tr role="row" {
                    @for head in ["From", "To", "Kind", "Reading", "Sheet", "Difference", "Verdict"] {
                        th role="columnheader" scope="col" { (head) }
                    }
                }
            }
            tbody role="rowgroup" { @for row in &trams.readings { (tram(row)) } }
        }
        @for four in &trams.fours { p { (four.words) } }
        p.sub {
            (words::count(trams.readings.len(), "reading", "readings")) ", "
            (words::list(&trams.authors))
            @if !trams.instruments.is_empty() { ", with " (words::list(&trams.instruments)) }
            ". "
            "Millimetres; true is from point to point, level is projected onto the datum plane. u is              the standard uncertainty of the difference."
        }
    };
    across(&format!("t-{}", trams.id.short()), &trams.at, content)
}

fn tram(row: &TramRow) -> Markup {
    let reading = &row.reading;
    let seen = row.against.as_ref();
    let sheet = seen.map(|s| format!("{:.1}", s.sheet_mm));
    html! {
        tr role="row" {
            th role="rowheader" scope="row" { (reading.a) }
            td role="cell" {
                @if let Some(b) = &reading.b { span.ah { "to " } (b) }
            }
            td.how role="cell" { (reading.kind.words()) }
            td role="cell" {
                span.ah { "Reading" }
                span { (words::stated(reading.value_mm)) }
            }
            td role="cell" {
                span.ah { "Sheet" }
                @match sheet {
                    Some(sheet) => span {
                        (sheet)
                        @if seen.is_some_and(|s| s.printed) { span.u { " printed" } }
                    },
                    None => span { "not on the sheet" },
                }
            }
            td role="cell" {
                span.ah { "Difference" }
                span {
                    @if let Some(difference) = &row.difference { b { (difference) } }
                    @if let Some(u) = seen.and_then(|s| s.u_mm) {
                        " " span.u { "u " (format!("{u:.2}")) }
                    }
                }
            }
            td role="cell" {
                span.ah { "Verdict" }
                @if let Some(seen) = seen {
                    span {
                        (emblem(seen.verdict)) (capital(seen.verdict.words()))
                        @if let Some(mm) = seen.limit_mm {
                            " " span.u { "limit " (words::stated(mm)) }
                        }
                    }
                }
            }
        }
        @if let Some(question) = seen.and_then(|s| s.question.as_deref()) {
            tr.question role="row" { td role="cell" colspan="7" { (question) } }
        }
    }
}

/// Deviations in words; the limit once where all have the same.
fn list(what: &str, deviations: &[Deviation]) -> Markup {
    let Some(first) = deviations.first() else {
        return html! {};
    };
    let stated = |d: &Deviation| d.limit_mm.map(words::stated);
    let common = stated(first).filter(|l| deviations.iter().all(|d| stated(d).as_ref() == Some(l)));
    let lines: Vec<String> = deviations
        .iter()
        .map(|d| match stated(d).filter(|_| common.is_none()) {
            Some(limit) => format!("{} {} (limit {limit} mm)", d.point, d.words),
            None => format!("{} {}", d.point, d.words),
        })
        .collect();
    html! {
        p {
            (what)
            @if let Some(limit) = &common { " (limit " (limit) " mm)" }
            ": " (words::short_list(&lines, NAMED)) "."
        }
    }
}
