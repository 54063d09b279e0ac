//! The time line: stages in order, and what happened in each.

use maud::{Markup, html};

use super::picture::Shown;
use super::prints::print;
use super::{Glimpses, events, seals, section};
use crate::archive::story::{Chapter, Event, EventKind, Gate, Story};
use crate::archive::words;

/// A note with more characters than this gets twice the room.
const LONG: usize = 240;

/// What everything in the time line may need.
struct Told<'a> {
    story: &'a Story,
    glimpses: &'a Glimpses,
    shown: Shown,
}

pub fn draw(story: &Story, glimpses: &Glimpses) -> Markup {
    let told = Told {
        story,
        glimpses,
        shown: Shown::new(story),
    };
    section(
        "line",
        "The time line",
        html! {
            p.lead {
                "Times are those of " (story.head.zone)
                ". A photo hangs where its own time puts it, after its camera's clock was put right; "
                "the small print says how surely. Choose a photo to open the original."
            }
            ol.line {
                @for chapter in &story.chapters {
                    li.chapter { (self::chapter(&told, chapter)) }
                }
            }
        },
    )
}

fn chapter(told: &Told<'_>, chapter: &Chapter) -> Markup {
    let day = chapter
        .opened
        .as_deref()
        .map(words::day)
        .unwrap_or_default();
    html! {
        @for gate in &chapter.gates { (self::gate(told.story, gate)) }
        div.stop {
            h3 {
                (chapter.title)
                @if let Some(time) = chapter.time { " (opened " (ordinal(time)) ")" }
            }
            p.sub { (span(chapter)) }
            @if let Some(stage) = chapter.stage.as_deref().filter(|_| told.story.last_of(chapter)) {
                (seals::in_line(told.story, stage))
            }
        }
        @for group in groups(&chapter.events) {
            @match group {
                Group::Hanging(events) => {
                    ul.strip {
                        @for event in events { (hanging(told, event, &day)) }
                    }
                }
                Group::Across(event) => (events::draw(told.story, &told.shown, event)),
            }
        }
    }
}

fn span(chapter: &Chapter) -> String {
    let Some(opened) = &chapter.opened else {
        return match &chapter.stage {
            Some(_) => "never opened".into(),
            None => "what no stage can claim for certain".into(),
        };
    };
    let by = chapter.opened_by.as_deref().unwrap_or("unknown");
    match &chapter.closed {
        None => format!("from {}, {by}; still open", words::moment(opened)),
        Some(closed) => {
            let same_day = words::day(opened) == words::day(closed);
            let end = if same_day {
                words::time_of_day(closed)
            } else {
                words::moment(closed)
            };
            let closer = chapter.closed_by.as_deref().filter(|c| *c != by);
            match closer {
                None => format!("{} to {end}, {by}", words::moment(opened)),
                Some(closer) => format!(
                    "{} to {end}, {by}; closed by {closer}",
                    words::moment(opened)
                ),
            }
        }
    }
}

fn ordinal(n: usize) -> String {
    match n {
        1 => "first".into(),
        2 => "again".into(),
        n => format!("for the {n}th time"),
    }
}

/// Photos and notes that follow each other hang side by side; what was measured or decided stands
/// across the line.
enum Group<'a> {
    Hanging(Vec<&'a Event>),
    Across(&'a Event),
}

fn groups(events: &[Event]) -> Vec<Group<'_>> {
    let mut all: Vec<Group<'_>> = Vec::new();
    for event in events {
        match (event.kind, all.last_mut()) {
            (EventKind::Survey | EventKind::Trams | EventKind::Move, _) => {
                all.push(Group::Across(event));
            }
            (_, Some(Group::Hanging(events))) => events.push(event),
            _ => all.push(Group::Hanging(vec![event])),
        }
    }
    all
}

fn hanging(told: &Told<'_>, event: &Event, day: &str) -> Markup {
    let story = told.story;
    let at = event.at.as_deref().map(|at| time(at, day));
    html! {
        @match event.kind {
            EventKind::Photo => {
                @if let Some(photo) = story.photo(&event.record) {
                    li.print { (print(story, photo, at.as_deref(), told.glimpses)) }
                }
            }
            EventKind::Note => {
                @if let Some(note) = story.note(&event.record) {
                    li.print.long[note.text.chars().count() > LONG] {
                        div.leaf {
                            p.words { (note.text) }
                            p.sub {
                                (at.as_deref().unwrap_or_default()) ", " (note.author)
                                @if let Some(about) = &note.about { ", about " (about) }
                            }
                        }
                    }
                }
            }
            EventKind::Tick => {
                @if let Some(tick) = story.ticks.iter().find(|t| t.id == event.record) {
                    li.print {
                        div.leaf {
                            p.words {
                                "Ticked: " (tick.asked)
                                @if let Some(text) = &tick.text { " (" (text) ")" }
                            }
                            p.sub { (at.as_deref().unwrap_or_default()) ", " (tick.author) }
                        }
                    }
                }
            }
            EventKind::Survey | EventKind::Trams | EventKind::Move => {}
        }
    }
}

/// The time of day, and the day where it is not the chapter's.
fn time(at: &str, day: &str) -> String {
    if words::day(at) == day {
        words::time_of_day(at)
    } else {
        words::short_moment(at)
    }
}

/// A hold point that stands across the line.
fn gate(story: &Story, gate: &Gate) -> Markup {
    let Some(hold) = story.holds.iter().find(|h| h.key == gate.hold) else {
        return html! {
            div.gate { p { "Hold point " (gate.hold) ", which the plan no longer has" } }
        };
    };
    let release = hold
        .releases
        .iter()
        .find(|r| gate.release.as_ref() == Some(&r.id));
    html! {
        div.gate.hatched[!gate.by_evidence] {
            h3 {
                a href=(format!("#h-{}", hold.key)) { "Hold point: " (hold.title) }
            }
            @if gate.by_evidence {
                p { "Opened by its evidence." }
                ul.needs {
                    @for need in &hold.needs {
                        li.unmet[!need.met] { (need.text) ": " (need.found) }
                    }
                }
            } @else {
                @match release {
                    Some(release) => {
                        p {
                            strong { "Released without its evidence by " (release.name) }
                            ", " (words::moment(&release.at)) ": “" (release.reason) "”"
                        }
                        @if !release.missing.is_empty() {
                            p.sub { "What was missing: " (release.missing.join("; ")) }
                        }
                    }
                    None => p { strong { "Released without its evidence." } },
                }
            }
        }
    }
}
