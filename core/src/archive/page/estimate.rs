//! What supports the lines of the estimate.

use maud::{Markup, html};

use super::section;
use crate::archive::names::as_link;
use crate::archive::story::{EstimateStory, Story};
use crate::archive::words::{self, capital};
use crate::job::record::RecordId;

pub fn draw(story: &Story) -> Markup {
    if story.estimate.is_empty() {
        return html! {};
    }
    section(
        "estimate",
        "For the estimate",
        html! {
            p.lead {
                "Lines of the estimate, each with the note, the photos and the readings that stand "
                "behind it."
            }
            @for line in &story.estimate { (self::line(story, line)) }
        },
    )
}

fn line(story: &Story, line: &EstimateStory) -> Markup {
    html! {
        div.slip id=(format!("e-{}", line.id.short())) {
            h3 { (capital(&line.operation)) ": " (line.part) }
            p { (capital(&line.reason)) }
            ul {
                li {
                    "Note: “" (line.note_text) "” "
                    span.sub {
                        "(" (line.note_author)
                        @if let Some(stage) = &line.stage_title { ", " (stage) }
                        ")"
                    }
                }
                @for reading in &line.readings {
                    li {
                        "Reading of " (reading.point)
                        @if !reading.survey.is_empty() { ", " (reading.survey) }
                        ": " (reading.found)
                    }
                }
                @if !line.photos.is_empty() {
                    li {
                        (words::count(line.photos.len(), "Photo", "Photos")) ": "
                        @for (index, id) in line.photos.iter().enumerate() {
                            @if index > 0 { ", " }
                            (photo(story, id))
                        }
                    }
                }
            }
            p.sub { "Written by " (line.author) ", " (words::moment(&line.at)) }
        }
    }
}

fn photo(story: &Story, id: &RecordId) -> Markup {
    let Some(photo) = story.photo(id) else {
        return html! { (id.short()) ", which is not in this record" };
    };
    html! {
        @match &photo.file {
            Some(file) => a href=(as_link(file)) { "photo " (photo.number) },
            None => { "photo " (photo.number) " (not in this archive)" }
        }
        @if photo.withdrawn.is_some() { " (withdrawn)" }
    }
}
