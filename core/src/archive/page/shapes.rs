//! The verdicts' shapes: shapes before colours.
//!
//! | verdict | shape |
//! |---|---|
//! | inside | a filled dot between two posts |
//! | outside | an arrow that leaves the posts |
//! | too close to call | a dot with whiskers over a post |
//! | no limit given | a hollow dot without posts |
//! | unchecked | a hollow dot, struck through |
//! | not measured | a short dash |
//!
//! Every shape is drawn along a line on which zero is where the sheet has the point, and the posts
//! stand at the limit to either side. Colours are Okabe and Ito's ("Color Universal Design", 2008),
//! darkened a little where they carry text, and never the only sign.

use datumtrail_geometry::verdict::Verdict;
use maud::{Markup, PreEscaped, html};

use crate::job::measure::AxisReport;

/// How deviations are drawn: how many units of the drawing a millimetre takes, and how long an
/// arrow may become before it is cut.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Drawn {
    pub per_mm: f64,
    pub longest: f64,
}

/// The shape of one axis, along the drawing's x, zero at the origin.
pub fn shape(seen: &AxisReport<'_>, drawn: Drawn) -> Markup {
    let at = seen.deviation_mm.unwrap_or(0.0) * drawn.per_mm;
    let tip = at.clamp(-drawn.longest, drawn.longest);
    let cut = tip != at;
    html! {
        @if let Some(limit) = seen.limit_mm {
            (post(-limit * drawn.per_mm, drawn))
            (post(limit * drawn.per_mm, drawn))
        }
        @match seen.verdict {
            Verdict::Inside => {
                (stem(tip, "st"))
                circle.in cx=(n(tip)) cy="0" r="2.8" {}
            }
            Verdict::Outside => (arrow(tip, cut)),
            Verdict::TooCloseToCall => {
                (whiskers(tip, seen.u_mm, drawn))
                circle.cl cx=(n(tip)) cy="0" r="2.8" {}
            }
            Verdict::NoLimitGiven => {
                (stem(tip, "st"))
                circle.nl cx=(n(tip)) cy="0" r="2.6" {}
            }
            Verdict::Unchecked => {
                circle.nl cx="0" cy="0" r="2.6" {}
                path.ql d="M-4 4L4-4" {}
            }
            Verdict::NotMeasured => path.ql d="M-2.5 0H2.5" {}
        }
    }
}

/// The same in a drawing of its own, for tables and lists.
pub fn gauge(seen: &AxisReport<'_>) -> Markup {
    const HALF: f64 = 44.0;
    let limit = seen.limit_mm.filter(|limit| *limit > 0.0);
    let drawn = Drawn {
        per_mm: limit.map_or(4.0, |limit| 16.0 / limit),
        longest: HALF - 3.0,
    };
    html! {
        svg.ga viewBox="-44 -9 88 18" aria-hidden="true" {
            path.ax d="M-44 0H44" {}
            (shape(seen, drawn))
        }
    }
}

/// A verdict's shape as an emblem, without numbers.
pub fn emblem(verdict: Verdict) -> Markup {
    html! {
        svg.em viewBox="-22 -9 44 18" aria-hidden="true" { use href=(symbol(verdict)) {} }
    }
}

/// The same, cut close, for where it stands alone.
pub fn mark(verdict: Verdict) -> Markup {
    html! {
        svg.mark viewBox="-11 -7 33 14" aria-hidden="true" { use href=(symbol(verdict)) {} }
    }
}

fn symbol(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Inside => "#s-in",
        Verdict::Outside => "#s-out",
        Verdict::TooCloseToCall => "#s-close",
        Verdict::NoLimitGiven => "#s-nolimit",
        Verdict::Unchecked => "#s-unchecked",
        Verdict::NotMeasured => "#s-none",
    }
}

/// The emblems, defined once.
pub fn symbols() -> Markup {
    let sample = |verdict, deviation: Option<f64>, u: Option<f64>, limit: Option<f64>| {
        let seen = AxisReport {
            deviation_mm: deviation,
            u_mm: u,
            limit_mm: limit,
            limit_source: None,
            p_inside: None,
            verdict,
        };
        let drawn = Drawn {
            per_mm: 3.0,
            longest: 20.0,
        };
        shape(&seen, drawn)
    };
    html! {
        svg.defs width="0" height="0" aria-hidden="true" focusable="false" {
            defs {
                g #s-in { (sample(Verdict::Inside, Some(0.4), Some(0.3), Some(3.0))) }
                g #s-out { (sample(Verdict::Outside, Some(6.4), Some(0.3), Some(3.0))) }
                g #s-close { (sample(Verdict::TooCloseToCall, Some(2.6), Some(1.3), Some(3.0))) }
                g #s-nolimit { (sample(Verdict::NoLimitGiven, Some(2.0), Some(0.3), None)) }
                g #s-unchecked { (sample(Verdict::Unchecked, None, None, Some(3.0))) }
                g #s-none { (sample(Verdict::NotMeasured, None, None, Some(3.0))) }
                g #s-ref { path.ref d="M0-3.2L3.6 3H-3.6Z" {} }
            }
        }
    }
}

fn post(at: f64, drawn: Drawn) -> Markup {
    // A limit wider than the drawing has no post to show.
    html! {
        @if at.abs() <= drawn.longest {
            path.po d=(format!("M{} -5.5V5.5", n(at))) {}
        }
    }
}

fn stem(tip: f64, class: &str) -> Markup {
    html! {
        @if tip.abs() > 3.0 { path class=(class) d=(format!("M0 0H{}", n(tip))) {} }
    }
}

/// From zero to the deviation; two strokes across the shaft where it is longer than drawn.
fn arrow(tip: f64, cut: bool) -> Markup {
    let way = tip.signum();
    let neck = tip - way * 5.0;
    let middle = tip * 0.55;
    html! {
        path.os d=(format!("M0 0H{}", n(neck))) {}
        path.ou d=(format!("M{} 0L{} -4V4Z", n(tip), n(tip - way * 7.0))) {}
        circle.oz cx="0" cy="0" r="1.5" {}
        @if cut {
            path.gap d=(format!("M{} -5L{} 5L{} 5L{} -5Z",
                n(middle), n(middle - 3.0), n(middle + 0.5), n(middle + 3.5))) {}
            path.os.thin d=(format!("M{} -5L{} 5M{} -5L{} 5",
                n(middle), n(middle - 3.0), n(middle + 3.5), n(middle + 0.5))) {}
        }
    }
}

/// Two standard uncertainties to either side.
fn whiskers(at: f64, u_mm: Option<f64>, drawn: Drawn) -> Markup {
    let Some(u) = u_mm else { return html! {} };
    let reach = (2.0 * u * drawn.per_mm).clamp(4.5, drawn.longest);
    let (from, to) = (n(at - reach), n(at + reach));
    html! {
        path.wh d=(format!("M{from} 0H{to}M{from} -3V3M{to} -3V3")) {}
    }
}

/// A coordinate with one decimal: finer does not show.
pub fn n(value: f64) -> String {
    let text = format!("{value:.1}");
    match text.strip_suffix(".0") {
        Some("-0") => "0".into(),
        Some(whole) => whole.to_owned(),
        None => text,
    }
}

/// A number without decimals, as text in a drawing.
pub fn text_at(x: f64, y: f64, class: &str, text: &str) -> Markup {
    html! { text class=(class) x=(n(x)) y=(n(y)) { (text) } }
}

/// Where a shape is put, and how its line is turned.
pub fn placed(x: f64, y: f64, turned: bool, content: Markup) -> Markup {
    let transform = if turned {
        // Positive points up: to the vehicle's right, seen from above, or really up.
        format!("translate({} {})rotate(-90)", n(x), n(y))
    } else {
        format!("translate({} {})", n(x), n(y))
    };
    html! { g transform=(PreEscaped(transform)) { (content) } }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seen(verdict: Verdict, mm: f64) -> AxisReport<'static> {
        AxisReport {
            deviation_mm: Some(mm),
            u_mm: Some(0.5),
            limit_mm: Some(3.0),
            limit_source: None,
            p_inside: None,
            verdict,
        }
    }

    #[test]
    fn an_arrow_that_is_too_long_is_cut_and_shows_it() {
        let drawn = Drawn {
            per_mm: 2.0,
            longest: 20.0,
        };
        let whole = shape(&seen(Verdict::Outside, 8.0), drawn).into_string();
        assert!(
            whole.contains("M16 0L9 -4V4Z") && !whole.contains("gap"),
            "{whole}"
        );
        let cut = shape(&seen(Verdict::Outside, -80.0), drawn).into_string();
        assert!(
            cut.contains("M-20 0L-13 -4V4Z") && cut.contains("gap"),
            "{cut}"
        );
    }

    #[test]
    fn every_verdict_has_a_shape_of_its_own() {
        use Verdict::*;
        let all = [
            Inside,
            Outside,
            TooCloseToCall,
            NoLimitGiven,
            NotMeasured,
            Unchecked,
        ];
        let drawn = Drawn {
            per_mm: 3.0,
            longest: 20.0,
        };
        let mut shapes: Vec<String> = all
            .iter()
            .map(|v| shape(&seen(*v, 1.0), drawn).into_string())
            .collect();
        shapes.sort();
        shapes.dedup();
        assert_eq!(shapes.len(), all.len());
    }
}
