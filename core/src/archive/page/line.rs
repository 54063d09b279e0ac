//! The time line: stages, surveys, notes, and the photos that hang from it.

use maud::{Markup, html};

use super::shapes::emblem;
use super::top::of_tally;
use super::{Glimpses, picture, section};
use crate::archive::names::as_link;
use crate::archive::story::{
    Certainty, Chapter, Checked, Deviation, Event, EventKind, Gate, PhotoStory, Story, SurveyStory,
};
use crate::archive::words;

/// How many points a list in the time line names.
const NAMED: usize = 8;

pub fn draw(story: &Story, glimpses: &Glimpses) -> Markup {
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
                    li.chapter { (self::chapter(story, chapter, glimpses)) }
                }
            }
        },
    )
}

fn chapter(story: &Story, chapter: &Chapter, glimpses: &Glimpses) -> Markup {
    html! {
        @for gate in &chapter.gates { (self::gate(story, gate)) }
        div.stop {
            h3 {
                (chapter.title)
                @if let Some(time) = chapter.time { " (opened " (ordinal(time)) ")" }
            }
            p.sub { (span(chapter)) }
        }
        @for group in groups(&chapter.events) {
            @match group {
                Group::Photos(events) => (strip(story, &events, glimpses)),
                Group::One(event) => (one(story, event)),
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

/// Photos that follow each other hang side by side.
enum Group<'a> {
    Photos(Vec<&'a Event>),
    One(&'a Event),
}

fn groups(events: &[Event]) -> Vec<Group<'_>> {
    let mut all: Vec<Group<'_>> = Vec::new();
    for event in events {
        match (event.kind, all.last_mut()) {
            (EventKind::Photo, Some(Group::Photos(photos))) => photos.push(event),
            (EventKind::Photo, _) => all.push(Group::Photos(vec![event])),
            _ => all.push(Group::One(event)),
        }
    }
    all
}

fn one(story: &Story, event: &Event) -> Markup {
    let at = event.at.as_deref().unwrap_or_default();
    match event.kind {
        EventKind::Note => html! {
            @if let Some(note) = story.note(&event.record) {
                div.ev.note {
                    p.at { (words::time_of_day(at)) }
                    blockquote {
                        p { (note.text) }
                        footer { (note.author) @if let Some(about) = &note.about { ", about " (about) } }
                    }
                }
            }
        },
        EventKind::Survey => html! {
            @if let Some(survey) = story.survey(&event.record) { (self::survey(story, survey)) }
        },
        EventKind::Tick => html! {
            @if let Some(tick) = story.ticks.iter().find(|t| t.id == event.record) {
                div.ev {
                    p.at { (words::time_of_day(at)) }
                    p { "Ticked: " (tick.asked) @if let Some(text) = &tick.text { " (" (text) ")" } ", " (tick.author) }
                }
            }
        },
        EventKind::Photo => html! {},
    }
}

fn survey(story: &Story, survey: &SurveyStory) -> Markup {
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
                @if let Checked::Impossible(why) = &survey.check {
                    p { (why) "." }
                }
                @if let Some(tally) = &survey.tally {
                    @if !tally.beyond.is_empty() {
                        p {
                            "Outside: "
                            (deviations(&tally.beyond))
                            "."
                        }
                    }
                    @if !tally.close.is_empty() {
                        p { "Too close to call: " (deviations(&tally.close)) "." }
                    }
                }
                (picture::small(story, survey))
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

fn deviations(list: &[Deviation]) -> String {
    let lines: Vec<String> = list
        .iter()
        .map(|d| {
            let limit = d
                .limit_mm
                .map_or(String::new(), |l| format!(" (limit {})", words::stated(l)));
            format!("{} {}{limit}", d.point, d.words)
        })
        .collect();
    words::short_list(&lines, NAMED)
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

fn strip(story: &Story, events: &[&Event], glimpses: &Glimpses) -> Markup {
    let photos: Vec<&PhotoStory> = events
        .iter()
        .filter_map(|e| story.photo(&e.record))
        .collect();
    html! {
        ul.strip {
            @for photo in photos { li.print { (print(story, photo, glimpses)) } }
        }
    }
}

/// One photo with its caption.
fn print(story: &Story, photo: &PhotoStory, glimpses: &Glimpses) -> Markup {
    let notes: Vec<_> = photo.notes.iter().filter_map(|id| story.note(id)).collect();
    let alt = alt(
        photo,
        &notes.iter().map(|n| n.text.as_str()).collect::<Vec<_>>(),
    );
    html! {
        figure {
            @match &photo.file {
                Some(file) => a.frame href=(as_link(file)) { (image(photo, &alt, glimpses)) },
                None => span.frame { (image(photo, &alt, glimpses)) },
            }
            figcaption {
                span.no { (photo.number) }
                @match &photo.taken {
                    Some(taken) => span.tm { (words::short_moment(taken)) },
                    None => span.tm { "no time" },
                }
                @for note in &notes {
                    span.nt { (note.text) span.sub { " " (note.author) } }
                }
                @if let Some(why) = &photo.left_out {
                    span.nt { "The original is not in this archive: " (why) }
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
    let mut words = match photo.certainty {
        Certainty::Doubtful => format!("Stage not settled: {}.", photo.tie),
        _ => format!("{}.", upper_first(&photo.tie)),
    };
    let clock = match (photo.taken_u_s, photo.clock.is_empty()) {
        (Some(_), false) => format!(" Clock of {} {}.", photo.camera, photo.clock),
        (None, false) => format!(" {}, clock never checked.", photo.camera),
        (_, true) => format!(" {}.", photo.camera),
    };
    words += &clock;
    words
}

fn upper_first(text: &str) -> String {
    let mut letters = text.chars();
    match letters.next() {
        Some(first) => first.to_uppercase().chain(letters).collect(),
        None => String::new(),
    }
}
