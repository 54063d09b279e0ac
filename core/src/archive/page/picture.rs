//! The centre picture: the line of stations before and after, and its legend.

use datumtrail_geometry::verdict::Verdict;
use maud::{Markup, html};

use super::shapes::emblem;
use super::{section, stations};
use crate::archive::story::{Story, SurveyStory};
use crate::archive::words;

/// Widths of a picture in units of the drawing, which are close to pixels: beside another one, and
/// on a phone or on half a sheet of paper.
const WIDE: f64 = 560.0;
const NARROW: f64 = 360.0;

/// Before and after; or the one survey there is.
pub fn draw(story: &Story) -> Markup {
    let Some(newest) = story.newest().filter(|s| s.tally.is_some()) else {
        return html! {};
    };
    let before = story
        .comparison
        .as_ref()
        .and_then(|c| story.survey(&c.before));
    let per_mm = scale(story);
    section(
        "picture",
        "Where it stands",
        html! {
            p.lead {
                "The vehicle seen along its own length: its centre line with the control points as "
                "stations, front to the left, the right side above and the left side below. Each point's "
                "deviation from the sheet is drawn along length, width and height, larger than the "
                "vehicle; the posts stand at its limits."
            }
            (legend())
            div.pair.alone[before.is_none()] {
                @if let Some(before) = before {
                    (figure(before, "Before", per_mm, "before"))
                }
                (figure(newest, if before.is_some() { "After" } else { "Measured" }, per_mm, "after"))
            }
        },
    )
}

/// One scale for all pictures of the page.
fn scale(story: &Story) -> f64 {
    let reports: Vec<_> = story
        .surveys
        .iter()
        .filter_map(SurveyStory::report)
        .collect();
    stations::common_scale(&reports)
}

fn figure(survey: &SurveyStory, word: &str, per_mm: f64, id: &str) -> Markup {
    let phrase = survey
        .tally
        .as_ref()
        .map(|t| t.phrase())
        .unwrap_or_default();
    html! {
        figure.panel {
            figcaption {
                span.when { (word) }
                strong { (survey.name) }
                span.sub { (words::moment(&survey.at)) ": " (phrase) }
            }
            (both_widths(survey, per_mm, id))
        }
    }
}

/// A survey's picture where it stands in the time line.
pub fn small(story: &Story, survey: &SurveyStory) -> Markup {
    let shown_above = story.newest().is_some_and(|n| n.id == survey.id)
        || story
            .comparison
            .as_ref()
            .is_some_and(|c| c.before == survey.id);
    if shown_above || survey.tally.is_none() {
        return html! {};
    }
    html! {
        figure.panel.small {
            (both_widths(survey, scale(story), survey.id.short()))
        }
    }
}

fn both_widths(survey: &SurveyStory, per_mm: f64, id: &str) -> Markup {
    let Some(report) = survey.report() else {
        return html! {};
    };
    let title = format!("{}, {}", survey.name, words::moment(&survey.at));
    html! {
        div.wide {
            (stations::draw(&report, WIDE, per_mm, &title, &format!("w-{id}")))
        }
        div.narrow {
            (stations::draw(&report, NARROW, per_mm, &title, &format!("n-{id}")))
        }
    }
}

fn legend() -> Markup {
    let entries = [
        (Verdict::Inside, "inside: a dot between the posts"),
        (
            Verdict::Outside,
            "outside: an arrow leaving them, with its size in mm",
        ),
        (
            Verdict::TooCloseToCall,
            "too close to call: whiskers over a post",
        ),
        (Verdict::NoLimitGiven, "no limit given: a hollow dot"),
        (Verdict::Unchecked, "unchecked: struck through"),
        (Verdict::NotMeasured, "not measured: a dash"),
    ];
    html! {
        ul.legend aria-label="Legend" {
            @for (verdict, words) in entries {
                li { (emblem(verdict)) span { (words) } }
            }
            li {
                svg.em viewBox="-8 -8 16 16" aria-hidden="true" { use href="#s-ref" {} }
                span { "reference point: the set-up rests on it, the others judge it" }
            }
        }
    }
}
