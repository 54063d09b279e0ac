//! The time line: stages, surveys, notes, and the photos that hang from it.

use maud::{Markup, html};

use super::picture::{self, Shown};
use super::shapes::emblem;
use super::top::of_tally;
use super::{Glimpses, section};
use crate::archive::names::as_link;
use crate::archive::story::{
    Certainty, Chapter, Checked, Deviation, Event, EventKind, Gate, PhotoStory, Story, SurveyStory,
};
use crate::archive::words;

/// How many points a list in the time line names.
const NAMED: usize = 8;
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
        }
        @for group in groups(&chapter.events) {
            @match group {
                Group::Hanging(events) => {
                    ul.strip {
                        @for event in events { (hanging(told, event, &day)) }
                    }
                }
                Group::Survey(event) => {
                    @if let Some(survey) = told.story.survey(&event.record) {
                        (self::survey(told, survey))
                    }
                }
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

/// Photos and notes that follow each other hang side by side; a survey stands across the line.
enum Group<'a> {
    Hanging(Vec<&'a Event>),
    Survey(&'a Event),
}

fn groups(events: &[Event]) -> Vec<Group<'_>> {
    let mut all: Vec<Group<'_>> = Vec::new();
    for event in events {
        match (event.kind, all.last_mut()) {
            (EventKind::Survey, _) => all.push(Group::Survey(event)),
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
                    li.print { (print(told, photo, at.as_deref())) }
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
            EventKind::Survey => {}
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

fn survey(told: &Told<'_>, survey: &SurveyStory) -> Markup {
    html! {
        div.ev.survey id=(format!("s-{}", survey.id.short())) {
            p.at { (words::time_of_day(&survey.at)) }
            div {
                h4 {
                    @if let Some(tally) = &survey.tally { (emblem(of_tally(tally))) }
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
                (picture::small(told.story, survey, &told.shown))
                p.sub {
                    (words::count(survey.readings, "reading", "readings")) ", " (survey.author) ". "
                    @if let Some(instrument) = &survey.instrument { (instrument) "; " }
                    (survey.uncertainty) ". Reference points "
                    (words::list(&survey.references)) "."
                }
            }
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

/// One photo with its caption.
fn print(told: &Told<'_>, photo: &PhotoStory, at: Option<&str>) -> Markup {
    let notes: Vec<_> = photo
        .notes
        .iter()
        .filter_map(|id| told.story.note(id))
        .collect();
    let texts: Vec<&str> = notes.iter().map(|n| n.text.as_str()).collect();
    let alt = alt(photo, &texts);
    html! {
        figure {
            @match &photo.file {
                Some(file) => a.frame href=(as_link(file)) { (image(photo, &alt, told.glimpses)) },
                None => span.frame { (image(photo, &alt, told.glimpses)) },
            }
            figcaption {
                span.no { (photo.number) }
                span.tm { (at.unwrap_or("no time")) }
                @for note in &notes {
                    span.words { (note.text) span.sub { " " (note.author) } }
                }
                @if let Some(why) = &photo.left_out {
                    span.words { "The original is not in this archive: " (why) }
                }
                span.tie.doubt[photo.certainty == Certainty::Doubtful] { (small_print(photo)) }
            }
        }
    }
}

fn alt(photo: &PhotoStory, notes: &[&str]) -> String {
    let place = photo.stage_title.as_deref().unwrap_or("no settled stage");
    let mut alt = format!("Photo {}, {place}", photo.number);
    if let Some(taken) = &photo.taken {
        alt += &format!(", {}", words::moment(taken));
    }
    for note in notes {
        alt += &format!(": {}", words::cut(note, 120));
    }
    alt
}

fn image(photo: &PhotoStory, alt: &str, glimpses: &Glimpses) -> Markup {
    let glimpse = glimpses.get(&photo.id);
    let [width, height] = photo.preview_size.unwrap_or([4, 3]);
    html! {
        @match &photo.preview {
            Some(preview) => img src=(as_link(preview)) alt=(alt) width=(width) height=(height)
                loading="lazy" decoding="async"
                style=[glimpse.map(|g| format!("background-image:url({g})"))];,
            None => span.blank {
                (alt)
                @if let Some(why) = &photo.no_preview { span.sub { " No small copy: " (why) } }
            }
        }
    }
}

/// How the photo's time and place are known.
fn small_print(photo: &PhotoStory) -> String {
    let tie = match photo.certainty {
        Certainty::Doubtful => format!("Stage not settled: {}.", photo.tie),
        _ => format!("{}.", upper_first(&photo.tie)),
    };
    if photo.clock.is_empty() {
        return format!("{tie} {}.", photo.camera);
    }
    format!("{tie} {}, clock {}.", photo.camera, photo.clock)
}

fn upper_first(text: &str) -> String {
    let mut letters = text.chars();
    match letters.next() {
        Some(first) => first.to_uppercase().chain(letters).collect(),
        None => String::new(),
    }
}
