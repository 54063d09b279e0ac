//! The centre picture: the line of stations before and after, and its legend.

use datumtrail_geometry::verdict::Verdict;
use maud::{Markup, html};

use super::shapes::emblem;
use super::{places, section, stations};
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
    let shown = Shown::new(story);
    section(
        "picture",
        "Where it stands",
        html! {
            p.lead {
                "The vehicle seen along its own length: its centre line with the control points as "
                "stations, front to the left, the right side above and the left side below. Each "
                "point's deviation from the sheet is drawn along length, width and height, larger than "
                "the vehicle; the posts stand at its limits."
            }
            (legend())
            div.pair.alone[before.is_none()] {
                @if let Some(before) = before {
                    (figure(before, "Before", &shown, "before"))
                }
                (figure(newest, if before.is_some() { "After" } else { "Measured" }, &shown, "after"))
            }
        },
    )
}

/// What all pictures of the page share, so that they can be compared.
pub struct Shown {
    per_mm: f64,
    /// For each of the two widths.
    lanes: [[usize; 2]; 2],
}

impl Shown {
    pub fn new(story: &Story) -> Self {
        let reports: Vec<_> = story
            .surveys
            .iter()
            .filter_map(SurveyStory::report)
            .collect();
        let per_mm = places::common_scale(&reports);
        let lanes = [WIDE, NARROW].map(|width| {
            let each = reports.iter().map(|r| places::lanes(r, width, per_mm));
            each.fold([1, 1], |[a, b], [c, d]| [a.max(c), b.max(d)])
        });
        Self { per_mm, lanes }
    }
}

fn figure(survey: &SurveyStory, word: &str, shown: &Shown, id: &str) -> Markup {
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
            (both_widths(survey, shown, id))
        }
    }
}

/// A survey's picture where it stands in the time line, unless it is shown above.
pub fn small(story: &Story, survey: &SurveyStory, shown: &Shown) -> Markup {
    let shown_above = story.newest().is_some_and(|n| n.id == survey.id)
        || story
            .comparison
            .as_ref()
            .is_some_and(|c| c.before == survey.id);
    html! {
        @if !shown_above && survey.tally.is_some() {
            figure.panel.small { (both_widths(survey, shown, survey.id.short())) }
        }
    }
}

/// On a screen, and on a phone or on paper; the style shows one of them.
fn both_widths(survey: &SurveyStory, shown: &Shown, id: &str) -> Markup {
    let Some(report) = survey.report() else {
        return html! {};
    };
    let title = format!("{}, {}", survey.name, words::moment(&survey.at));
    let [wide, narrow] = shown.lanes;
    let drawn = |width: f64, lanes: [usize; 2], id: &str| {
        let picture = stations::Picture {
            width,
            per_mm: shown.per_mm,
            lanes,
            title: &title,
            id,
        };
        stations::draw(&report, &picture)
    };
    html! {
        div.wide { (drawn(WIDE, wide, &format!("w-{id}"))) }
        div.narrow { (drawn(NARROW, narrow, &format!("n-{id}"))) }
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
