//! The dimension sheet: where it comes from, and where it contradicts itself.

use datumtrail_geometry::audit::Doubt;
use maud::{Markup, html};

use super::section;
use crate::archive::names::as_link;
use crate::archive::story::{SheetStory, Story};
use crate::archive::words::{self, capital};
use crate::job::audit::SheetAudit;

/// How many names a list here holds.
const NAMED: usize = 12;

pub fn draw(story: &Story) -> Markup {
    let Some(sheet) = &story.sheet else {
        return html! {};
    };
    section(
        "sheet",
        "The dimension sheet",
        html! {
            p { (contents(sheet)) }
            ul.plain {
                @for file in &sheet.files {
                    li {
                        a href=(as_link(&file.archived)) { (file.file) } ": " (file.source)
                        span.sub { " (loaded " (words::moment(&file.at)) ", " (file.author) ")" }
                    }
                }
            }
            @if sheet.earlier > 0 {
                p.sub {
                    (words::count(sheet.earlier, "earlier sheet no longer counts", "earlier sheets no longer count"))
                    "; the document keeps them."
                }
            }
            @if let Some(audit) = &sheet.audit { (self::audit(audit)) }
            @if let Some(why) = &sheet.not_audited {
                p.sub { "It was not held against itself: " (why) "." }
            }
        },
    )
}

fn contents(sheet: &SheetStory) -> String {
    let points = words::count(sheet.points, "control point", "control points");
    match sheet.distances {
        0 => format!("{points}."),
        n => format!("{points} and {}.", words::count(n, "distance", "distances")),
    }
}

/// The sheet against itself.
fn audit(audit: &SheetAudit) -> Markup {
    let compared = words::count(audit.compared, "comparison", "comparisons");
    html! {
        @if audit.doubts.is_empty() {
            p { "The sheet agrees with itself: " (compared) " of its figures with each other, none fails." }
        } @else {
            div.slip {
                h3 { "Where the sheet contradicts itself" }
                p.sub {
                    (compared) " of its figures with each other; one fails where printed and expected                      differ by more than " (format!("{:.1}", audit.critical_w))
                    " standard uncertainties of the print's rounding. Nothing was corrected."
                }
                ul { @for doubt in &audit.doubts { (self::doubt(doubt)) } }
            }
        }
        @if let Some(meaning) = &audit.meaning {
            p.sub { "Distances whose kind the sheet does not say are best read as: " (meaning) "." }
        }
        @if !audit.asymmetric.is_empty() {
            @let points: Vec<&str> = audit.asymmetric.iter().map(|p| p.point.as_str()).collect();
            p.sub {
                "Left and right do not mirror each other at " (words::short_list(&points, NAMED))
                ". Many vehicles have such pairs."
            }
        }
        @if !audit.unchecked.is_empty() {
            p.sub {
                "An error in these figures would go unseen, since nothing checks them: "
                (words::short_list(&audit.unchecked, NAMED)) "."
            }
        }
        @for remark in &audit.remarks { p.sub { (remark) } }
    }
}

fn doubt(doubt: &Doubt) -> Markup {
    html! {
        li {
            (capital(&doubt.words)) "."
            @if !doubt.explanations.is_empty() {
                span.sub { " It could be: " (doubt.explanations.join("; ")) "." }
            }
        }
    }
}
