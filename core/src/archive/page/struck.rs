//! What was withdrawn or corrected, with the reason.

use maud::{Markup, html};

use super::section;
use crate::archive::names::as_link;
use crate::archive::story::{Story, Struck};
use crate::archive::words;

/// The most characters of a record's text.
const MOST: usize = 300;

pub fn draw(story: &Story) -> Markup {
    if story.struck.is_empty() {
        return html! {};
    }
    section(
        "struck",
        "Withdrawn and corrected",
        html! {
            p.lead { "Nothing is overwritten: what no longer counts stays on record, with the reason." }
            ul.plain {
                @for group in together(&story.struck) {
                    @match group {
                        [one] => li { (alone(story, one)) },
                        several => li { (corrected(several)) },
                    }
                }
            }
        },
    )
}

/// Readings that one correction replaced, for one reason, are told together.
fn together(all: &[Struck]) -> Vec<&[Struck]> {
    let same = |a: &Struck, b: &Struck| {
        a.why.is_some() && (&a.why, &a.struck_at, &a.at) == (&b.why, &b.struck_at, &b.at)
    };
    all.chunk_by(same).collect()
}

fn alone(story: &Story, one: &Struck) -> Markup {
    html! {
        (one.kind) " of " (words::moment(&one.at)) ", " (one.author) ": " (change(one))
        @if let Some(why) = &one.why { ", corrected because " (why) }
        @if let Some(reason) = &one.reason { ", withdrawn because: " (reason) }
        span.sub { " (" (one.struck_by) ", " (words::moment(&one.struck_at)) ")" }
        @for photo in story.photos.iter().filter(|p| p.id == one.id) {
            @if let Some(file) = &photo.file {
                " " a href=(as_link(file)) { "the original" }
            }
        }
    }
}

fn corrected(several: &[Struck]) -> Markup {
    let Some(first) = several.first() else {
        return html! {};
    };
    html! {
        (several.len()) " readings of " (words::moment(&first.at)) ", " (first.author)
        @if let Some(why) = &first.why { ", corrected because " (why) }
        span.sub { " (" (first.struck_by) ", " (words::moment(&first.struck_at)) ")" }
        ul.facts-list.sub { @for one in several { li { (change(one)) } } }
    }
}

/// What it said, struck through, and what it says now.
fn change(one: &Struck) -> Markup {
    html! {
        s { (words::cut(&one.what, MOST)) }
        @if let Some(now) = &one.now { " is now " (words::cut(now, MOST)) }
    }
}
