//! The table of deviations, before and after.

use datumtrail_geometry::frame::Axis;
use maud::{Markup, html};

use super::section;
use super::shapes::gauge;
use crate::archive::story::{Story, SurveyStory};
use crate::archive::words::{self, capital};
use crate::job::measure::{AxisReport, CheckReport, PointReport};

pub fn draw(story: &Story) -> Markup {
    let Some(after) = story.newest().and_then(|s| Some((s, s.report()?))) else {
        return html! {};
    };
    let before = story
        .comparison
        .as_ref()
        .and_then(|c| story.survey(&c.before))
        .and_then(|s| Some((s, s.report()?)));
    let part = story
        .head
        .part
        .as_ref()
        .map_or(&[][..], |p| p.points.as_slice());
    let groups = groups(&after.1, part);
    section(
        "numbers",
        "The numbers",
        html! {
            p.lead {
                "Deviation is reading minus sheet, in the vehicle's own directions; "
                span.nb { "u is its standard uncertainty." }
                @if let Some(sheet) = &story.sheet { " Sheet: " (sheet.source) "." }
            }
            (set_up(after.0, &after.1))
            table.numbers role="table" {
                caption { (caption(before.as_ref().map(|(s, _)| *s), after.0)) }
                thead role="rowgroup" {
                    tr role="row" {
                        th role="columnheader" scope="col" { "Control point" }
                        @for axis in Axis::ALL {
                            th role="columnheader" scope="col" { (capital(axis.word())) }
                        }
                    }
                }
                @for (heading, points) in &groups {
                    tbody role="rowgroup" {
                        tr.group role="row" {
                            th role="rowheader" colspan="4" scope="rowgroup" { (heading) }
                        }
                        @for point in points {
                            (row(point, before.as_ref().map(|(_, r)| r)))
                        }
                    }
                }
            }
            @if !after.1.not_on_sheet.is_empty() {
                p {
                    "Also measured, and not on the sheet: "
                    (words::list(&after.1.not_on_sheet.iter().map(|p| p.point.as_str()).collect::<Vec<_>>()))
                    "."
                }
            }
        },
    )
}

fn caption(before: Option<&SurveyStory>, after: &SurveyStory) -> Markup {
    let line = |s: &SurveyStory| format!("{}, {}", s.name, words::moment(&s.at));
    html! {
        @match before {
            Some(before) => {
                "Upper line: before (" (line(before)) "). Lower line: after (" (line(after)) ")."
            }
            None => { (line(after)) "." }
        }
    }
}

/// What the newest survey's set-up rests on.
fn set_up(survey: &SurveyStory, report: &CheckReport<'_>) -> Markup {
    let set_up = report.setup;
    html! {
        p {
            "Set up on " (words::list(&set_up.used)) ", which fit the sheet to "
            (format!("{:.2}", set_up.rms_mm)) " mm (root mean square"
            @if let (Some(chi2), Some(p)) = (set_up.chi2, set_up.p) {
                "; chi-square " (format!("{chi2:.1}")) " with " (set_up.dof)
                " degrees of freedom, probability " (probability(p))
            }
            "). "
            @if let Some(instrument) = &survey.instrument { (instrument) ", " }
            (survey.uncertainty) "."
            @if let Some(spread) = &survey.build_spread { " Build spread: " (spread) "." }
        }
        @if !survey.gathered.is_empty() || survey.could_be_missed.is_some() {
            p.sub {
                @for line in &survey.gathered { (line) " " }
                @if let Some(missed) = &survey.could_be_missed { (missed) }
            }
        }
    }
}

fn probability(p: f64) -> String {
    if p < 0.001 {
        format!("{p:.0e}")
    } else {
        format!("{p:.2}")
    }
}

/// The new part first, then the others, then what the set-up rests on.
fn groups<'a>(
    report: &'a CheckReport<'a>,
    part: &[String],
) -> Vec<(&'static str, Vec<&'a PointReport<'a>>)> {
    let on_part = |p: &&PointReport<'_>| part.iter().any(|name| name == p.point);
    let of = |keep: &dyn Fn(&&PointReport<'_>) -> bool| report.points.iter().filter(keep).collect();
    let others = if part.is_empty() {
        "Control points"
    } else {
        "Other points"
    };
    let all: [(&str, Vec<&PointReport<'_>>); 3] = [
        ("On the new part", of(&|p| on_part(p))),
        (others, of(&|p| !on_part(p) && !p.is_reference)),
        (
            "Reference points, each judged by the others",
            of(&|p| !on_part(p) && p.is_reference),
        ),
    ];
    all.into_iter()
        .filter(|(_, points)| !points.is_empty())
        .collect()
}

fn row(point: &PointReport<'_>, before: Option<&CheckReport<'_>>) -> Markup {
    let earlier = before.and_then(|r| r.points.iter().find(|p| p.point == point.point));
    let earlier = |k: usize| earlier.and_then(|p| p.axes().get(k).map(|(_, seen)| (p, *seen)));
    html! {
        tr role="row" {
            th role="rowheader" scope="row" {
                span.pt { (point.point) }
                span.sub { (point.what) @if !point.what.is_empty() { ", " } (point.side.word()) }
            }
            @for (axis, seen) in point.axes() {
                td role="cell" {
                    span.ah { (capital(axis.word())) }
                    @if let Some((p, was)) = earlier(axis.index()) {
                        (line(p, axis, was, Some("before")))
                    }
                    (line(point, axis, seen, before.map(|_| "after")))
                    (limit(seen))
                }
            }
        }
    }
}

fn line(point: &PointReport<'_>, axis: Axis, seen: &AxisReport<'_>, when: Option<&str>) -> Markup {
    html! {
        div.ln.past[when == Some("before")] {
            (gauge(seen))
            span {
                @if let Some(when) = when { span.vh { (when) ": " } }
                @if let Some(mm) = seen.deviation_mm {
                    b { (words::deviation(axis, mm, point.side)) } " "
                    @if let Some(u) = seen.u_mm { span.u { "u " (format!("{u:.2}")) } " " }
                }
                span.vd { (seen.verdict.words()) }
            }
        }
    }
}

fn limit(seen: &AxisReport<'_>) -> Markup {
    html! {
        @if let Some(mm) = seen.limit_mm {
            div.lim { "limit " (words::stated(mm)) " mm" }
        }
    }
}
