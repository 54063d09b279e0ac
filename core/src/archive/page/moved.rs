//! What moved: the damage in words, and how far it went.

use datumtrail_geometry::extent::Direction;
use maud::{Markup, html};

use super::section;
use crate::archive::story::{DamageStory, Story};
use crate::archive::words;
use crate::job::damage::{ExtentReport, ZoneReport};

pub fn draw(story: &Story) -> Markup {
    let Some(damage) = &story.damage else {
        return html! {};
    };
    section(
        "moved",
        "What moved",
        html! {
            p.lead {
                (damage.name) ", " (words::moment(&damage.at))
                ": where the structure stood against the sheet, read for its causes. A kind of damage                  is named where it exceeds 2.86 standard uncertainties."
            }
            div.beside.moved {
                div {
                    @let (found, quiet) = zones(damage);
                    @for zone in found { (self::zone(zone)) }
                    @for line in quiet.iter().flat_map(|z| &z.words) { p { (line) } }
                }
                div { (extent(damage)) }
            }
            @if !damage.cautions.is_empty() {
                ul.plain.sub { @for line in &damage.cautions { li { (line) } } }
            }
        },
    )
}

/// The ends where something moved, and those where nothing did or nothing was measured.
fn zones(damage: &DamageStory) -> (Vec<&ZoneReport>, Vec<&ZoneReport>) {
    let found = |zone: &&ZoneReport| !["nothing_moved", "not_measured"].contains(&zone.finding);
    damage.reading.zones.iter().partition(found)
}

/// The finding, and what it rests on.
fn zone(zone: &ZoneReport) -> Markup {
    let Some((finding, rest)) = zone.words.split_first() else {
        return html! {};
    };
    html! {
        h3 { (finding) }
        @if !rest.is_empty() { ul.facts-list { @for line in rest { li { (line) } } } }
    }
}

/// Along each member: first what moved, then the others in one sentence for each direction.
fn extent(damage: &DamageStory) -> Markup {
    let extents = &damage.reading.extent;
    let (still, told): (Vec<_>, Vec<_>) = extents.iter().partition(|e| all_still(e));
    html! {
        @if !extents.is_empty() {
            h3 { "How far it went" }
            p.sub { "Along each member, from the reference points outwards." }
            ul.facts-list {
                @for one in told { li { (one.words) } }
                @for direction in [Direction::Forward, Direction::Rearward] {
                    @let members = members(&still, direction);
                    @if !members.is_empty() {
                        li {
                            "No movement, and every point inside its limits, " (way(direction))
                            " along " (words::list(&members)) "."
                        }
                    }
                }
            }
        }
    }
}

/// Every point of it stayed and is inside: nothing to tell but that.
fn all_still(extent: &ExtentReport) -> bool {
    let moved = |movement: &str| movement != "reference" && movement != "stayed";
    extent.behind_is_inside
        && extent.not_measured.is_empty()
        && !extent.points.iter().any(|p| moved(p.movement))
}

fn members<'e>(extents: &[&'e ExtentReport], direction: Direction) -> Vec<&'e str> {
    let there = extents.iter().filter(|e| e.direction == direction);
    there.map(|e| e.member.as_str()).collect()
}

fn way(direction: Direction) -> &'static str {
    match direction {
        Direction::Forward => "forward",
        Direction::Rearward => "rearward",
    }
}
