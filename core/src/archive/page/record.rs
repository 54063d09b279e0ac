//! What stands behind the story: hold points, clocks, struck records, people, and the archive.

use maud::{Markup, html};

use super::{seals, section, sheet, struck};
use crate::archive::names::as_link;
use crate::archive::report::WRITTEN;
use crate::archive::story::{HoldStory, Story};
use crate::archive::words::capital;
use crate::archive::{file, words};

pub fn draw(story: &Story) -> Markup {
    html! {
        @if !story.holds.is_empty() {
            (section("holds", "Hold points", html! {
                p.lead {
                    "Where the plan stops until its evidence is there. What is found is said as it "
                    "stands in this archive."
                }
                @for hold in &story.holds { (self::hold(hold)) }
            }))
        }
        (sheet::draw(story))
        @if !story.clocks.is_empty() { (clocks(story)) }
        (struck::draw(story))
        (seals::draw(story))
        @if !story.conflicts.is_empty() || !story.unreadable.is_empty() { (unsettled(story)) }
        (section("people", "People and devices", people(story)))
        (section("archive", "This archive", archive(story)))
    }
}

fn hold(hold: &HoldStory) -> Markup {
    html! {
        div.slip.hatched[!hold.releases.is_empty()] id=(format!("h-{}", hold.key)) {
            h3 { (hold.title) }
            p { (hold.words) }
            @if let Some(changed) = &hold.changed { p { strong { "But " (changed) } } }
            ul.needs {
                @for need in &hold.needs {
                    li.unmet[!need.met] {
                        (need.text) ": " (need.found)
                        @if !need.met { " (missing)" }
                    }
                }
            }
            @for release in &hold.releases {
                p {
                    strong { (release.name) }
                    " answered for it on " (words::moment(&release.at)) ": “" (release.reason) "” "
                    span.sub { "(recorded by " (release.author) ")" }
                }
                @if !release.missing.is_empty() {
                    p.sub { "Missing at that moment: " (release.missing.join("; ")) }
                }
            }
        }
    }
}

fn clocks(story: &Story) -> Markup {
    section(
        "clocks",
        "Cameras' clocks",
        html! {
            ul.plain {
                @for clock in &story.clocks {
                    li {
                        strong { (clock.camera) } ": " (clock.words) ", good to "
                        (words::duration(clock.u_s.max(1.0))) ". It showed "
                        (words::moment(&clock.showed)) " when it was " (words::moment(&clock.was))
                        " (" (clock.how) "; " (clock.author) ")."
                    }
                }
            }
        },
    )
}

fn unsettled(story: &Story) -> Markup {
    section(
        "unsettled",
        "Not settled",
        html! {
            ul.plain {
                @for conflict in &story.conflicts {
                    li {
                        "The job's " (conflict.what) ", set by two devices at once: "
                        @for (index, value) in conflict.values.iter().enumerate() {
                            @if index > 0 { "; or " }
                            strong { (value.value) } " (" (value.author) ", " (words::moment(&value.at)) ")"
                        }
                        "."
                    }
                }
                @for one in &story.unreadable {
                    li { "A record in " (one.map) " (" (one.id) "): " (one.why) }
                }
            }
        },
    )
}

fn people(story: &Story) -> Markup {
    html! {
        @if !story.people.is_empty() { p { (words::list(&story.people)) "." } }
        ul.plain {
            @for device in &story.devices {
                li {
                    @match &device.name {
                        Some(name) => strong { (name) },
                        None => "A device without a name",
                    }
                    ", " (words::count(device.records, "record", "records")) ", key "
                    code { (device.key) }
                }
            }
        }
    }
}

fn archive(story: &Story) -> Markup {
    let report = (file::REPORT, "the story on paper, for an insurer's file");
    let files = [
        (
            file::MEASUREMENTS,
            "every deviation with its uncertainty, limit and verdict",
        ),
        (file::READINGS, "the readings as observed"),
        (
            file::TRAMS,
            "the tram readings as observed, and each against the sheet",
        ),
        (file::ESTIMATE, "what supports the lines of the estimate"),
        (file::PLAN, "the stages and hold points"),
        (file::JOB_JSON, "all of this for programs"),
        (file::SCHEMA, "what each of its fields is"),
        (file::DOCUMENT, "the document with its whole history"),
        (
            file::README,
            "what each file is, and how to check the archive",
        ),
    ];
    html! {
        p {
            "This page is one file of an archive that carries its own proof of being whole: a "
            "SHA-512 for every file, in manifest-sha512.txt. Beside this page lie:"
        }
        ul.files {
            @for (name, what) in Some(report).filter(|_| WRITTEN).into_iter().chain(files) {
                li { a href=(as_link(name)) { (name) } ": " (what) }
            }
            @for sheet in story.sheet.iter().flat_map(|s| &s.files) {
                li {
                    a href=(as_link(&sheet.archived)) { (sheet.archived) }
                    ": the dimension sheet as it was loaded (" (sheet.file) ")"
                }
            }
            li {
                "seals/: what was signed of stages, the signatures, and whose keys they are; "
                "HOW-TO-CHECK.txt, in the folder above, says how to check them"
            }
            @let copies = story.photos.iter().filter(|p| p.copy.is_some()).count();
            li {
                "photos/: the originals, byte for byte, in stage order"
                @if copies > 0 {
                    "; " (copies) " of them as copies that leave something out, as each one's small \
                     print says, while the original stays in the shop"
                }
            }
        }
        (left_out(story))
        dl.facts.ids {
            div { dt { "Job" } dd { code { (story.head.job) } } }
            @if !story.head.document.is_empty() {
                div { dt { "Document" } dd { code { (story.head.document) } } }
            }
            div { dt { "Written" } dd { (words::moment(&story.head.told)) " by " (story.head.program) } }
        }
    }
}

/// Whom the archive is for, and what was left out of it.
fn left_out(story: &Story) -> Markup {
    let lines = story.copy.lines();
    html! {
        div.slip id="left-out" {
            h3 { "What was left out" }
            p { (story.copy.words) }
            @if lines.is_empty() {
                p { "Nothing was left out of it." }
            } @else {
                ul { @for line in &lines { li { (capital(line)) "." } } }
            }
        }
    }
}

pub fn foot(story: &Story) -> Markup {
    html! {
        footer.foot {
            p {
                (story.head.name) ". Written " (words::moment(&story.head.told)) " ("
                (story.head.zone) ") by " (story.head.program) "."
            }
        }
    }
}
