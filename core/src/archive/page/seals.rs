//! Who sealed which stage, whether the seal holds, and what has changed since.

use maud::{Markup, html};

use super::section;
use crate::archive::sealed::{SealState, Standing};
use crate::archive::story::Story;
use crate::archive::words;

pub fn draw(story: &Story) -> Markup {
    if story.seals.is_empty() {
        return html! {};
    }
    section(
        "seals",
        "Seals",
        html! {
            p.lead {
                "A device signed what a closed stage rested on: its records, and the identity of each \
                 of its photos. What was added or changed afterwards is no fault; it shows. \
                 HOW-TO-CHECK.txt says how to check each signature without any program of ours."
            }
            @for seal in &story.seals { (one(seal)) }
        },
    )
}

fn one(seal: &SealState) -> Markup {
    let broken = seal.standing == Standing::Broken;
    html! {
        div.slip.hatched[broken] id=(format!("z-{}", seal.id.short())) {
            h3 { (shape(seal.standing)) (seal.title) }
            p {
                "Sealed by " (seal.author) ", " (words::moment(&seal.at)) ". "
                @match seal.standing {
                    Standing::Unchanged => "The signature holds, and nothing was added or changed since.",
                    Standing::ChangedSince => "The signature holds. Added or changed since:",
                    Standing::Broken => strong {
                        "The seal does not hold: " (seal.broken.as_deref().unwrap_or_default()) "."
                    },
                }
            }
            @if !seal.changes.is_empty() {
                ul { @for change in &seal.changes { li { (change) } } }
            }
            p.sub { "Signer " (seal.principal) ", SHA-512 of what was signed " code { (seal.sha512) } }
        }
    }
}

/// A ring: with a dot where the seal holds, with a plus beside it where something came since, struck
/// through where it proves nothing.
fn shape(standing: Standing) -> Markup {
    html! {
        svg.em viewBox="0 0 44 18" aria-hidden="true" {
            circle.po fill="none" cx="14" cy="9" r="7" {}
            @match standing {
                Standing::Unchanged => circle.in cx="14" cy="9" r="3.4" {},
                Standing::ChangedSince => {
                    circle.in cx="14" cy="9" r="3.4" {}
                    path.po d="M27 9h9M31.5 4.5v9" {}
                }
                Standing::Broken => path.os d="M5 17 23 1" {},
            }
        }
    }
}

/// A line for the stage's place in the time line.
pub fn in_line(story: &Story, stage: &str) -> Markup {
    html! {
        @for seal in story.seals.iter().filter(|seal| seal.stage == stage) {
            p.sub {
                a href=(format!("#z-{}", seal.id.short())) {
                    @match seal.standing {
                        Standing::Broken => "A seal that does not hold",
                        _ => "Sealed",
                    }
                }
                " " (words::moment(&seal.at)) ", " (seal.author)
                @if !seal.changes.is_empty() {
                    "; " (words::count(seal.changes.len(), "change", "changes")) " since"
                }
            }
        }
    }
}
