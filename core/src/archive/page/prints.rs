//! The photos that hang from the time line.

use maud::{Markup, html};

use super::Glimpses;
use crate::archive::names::as_link;
use crate::archive::story::{Certainty, PhotoStory, Story};
use crate::archive::words::{self, capital};

/// One photo with its caption.
pub fn print(story: &Story, photo: &PhotoStory, at: Option<&str>, glimpses: &Glimpses) -> Markup {
    let notes: Vec<_> = photo.notes.iter().filter_map(|id| story.note(id)).collect();
    let texts: Vec<&str> = notes.iter().map(|n| n.text.as_str()).collect();
    let alt = alt(photo, &texts);
    html! {
        figure {
            @match &photo.file {
                Some(file) => a.frame href=(as_link(file)) { (image(photo, &alt, glimpses)) },
                None => span.frame { (image(photo, &alt, glimpses)) },
            }
            figcaption {
                span.no { (photo.number) }
                span.tm { (at.unwrap_or("no time")) }
                @for note in &notes {
                    span.words { (note.text) span.sub { " " (note.author) } }
                }
                @if !photo.shows.is_empty() {
                    span.words { "Shows the reading of " (words::list(&photo.shows)) "." }
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
        _ => format!("{}.", capital(&photo.tie)),
    };
    let camera = match photo.clock.as_str() {
        "" => format!("{}.", photo.camera),
        clock => format!("{}, clock {clock}.", photo.camera),
    };
    let mut print = format!("{tie} {camera}");
    if let Some(doubt) = &photo.gps_doubt {
        print += &format!(" But {doubt}.");
    }
    if let Some(copy) = &photo.copy {
        print += &format!(" A copy: {}.", copy.differs);
    }
    print
}
