//! The story as one page, `timeline.html`: what the world sees of a shop's work.
//!
//! The page stands alone: no scripts, no network, its style inside. It lies beside the photos in the
//! bag and shows their small copies from there. Opened by itself it still shows every picture,
//! blurred, from a few embedded bytes each.
//!
//! All text goes through maud's escaping; a content security policy in the head forbids whatever
//! could still slip in to load or to run.
//!
//! | file | what it draws |
//! |---|---|
//! | `top` | what was done, and the answer |
//! | `moved` | what moved: the damage in words, and how far it went |
//! | `picture` | the line of stations, before and after, with its legend |
//! | `places` | where everything in that picture goes |
//! | `stations` | one survey drawn there |
//! | `shapes` | the verdicts' shapes |
//! | `numbers` | the table of deviations |
//! | `line` | the time line |
//! | `events` | what stands across it: surveys, tram readings, moves |
//! | `prints` | the photos that hang from it |
//! | `estimate` | what supports the lines of the estimate |
//! | `sheet` | the dimension sheet, and where it contradicts itself |
//! | `struck` | what was withdrawn or corrected |
//! | `seals` | who sealed which stage, and what has changed since |
//! | `record` | hold points, clocks, people, and the archive itself |

mod estimate;
mod events;
mod line;
mod moved;
mod numbers;
mod picture;
pub(super) mod places;
mod prints;
mod record;
mod seals;
mod shapes;
mod sheet;
mod stations;
mod struck;
mod top;

use std::collections::HashMap;

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::story::Story;
use crate::job::record::RecordId;

const STYLE: &str = include_str!("style.css");

/// Pictures from the page's own directory and embedded ones, the page's own style, nothing else.
const POLICY: &str = "default-src 'none'; img-src 'self' data: file:; style-src 'unsafe-inline'; \
                      base-uri 'none'; form-action 'none'";

/// A few bytes of each photo as `data:` addresses, for where the page is opened without its
/// neighbours.
pub type Glimpses = HashMap<RecordId, String>;

/// The whole page.
pub fn render(story: &Story, glimpses: &Glimpses) -> String {
    let title = match &story.head.vehicle {
        Some(vehicle) => format!("{}: {vehicle}", story.head.name),
        None => story.head.name.clone(),
    };
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta http-equiv="Content-Security-Policy" content=(POLICY);
                meta name="generator" content=(story.head.program);
                meta name="color-scheme" content="light";
                title { (title) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                a.skip href="#answer" { "To the answer" }
                (shapes::symbols())
                (top::draw(story))
                main {
                    (top::answer(story))
                    (moved::draw(story))
                    (picture::draw(story))
                    (numbers::draw(story))
                    (line::draw(story, glimpses))
                    (estimate::draw(story))
                    (record::draw(story))
                }
                (record::foot(story))
            }
        }
    };
    page.into_string()
}

/// A section with its heading, which the contents at the top point to.
fn section(id: &str, heading: &str, content: Markup) -> Markup {
    let label = format!("{id}-h");
    html! {
        section id=(id) aria-labelledby=(label) {
            h2 id=(label) { (heading) }
            (content)
        }
    }
}
