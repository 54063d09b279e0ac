//! A survey as people read it.

use datumtrail_core::geometry::frame::{Axis, Side, direction};
use datumtrail_core::geometry::verdict::Verdict;
use datumtrail_core::job::measure::{AxisReport, CheckReport, PointReport};

use super::{CAUTION, WIDTH, heading, wrap};

/// The whole survey.
pub fn survey(report: &CheckReport<'_>) -> String {
    let mut out = vec![heading(&format!(
        "Survey {} in {}",
        report.survey.short(),
        report.stage
    ))];
    out.push(setup(report));
    for side in [Side::Left, Side::Centre, Side::Right] {
        let measured: Vec<_> = report
            .points
            .iter()
            .filter(|p| p.side == side && p.reading_mm.is_some())
            .collect();
        if measured.is_empty() {
            continue;
        }
        let name = match side {
            Side::Left => "Left",
            Side::Centre => "Centre",
            Side::Right => "Right",
        };
        out.push(
            format!("{name:<9}{:<24}{:<24}{}", "length", "width", "height")
                .trim_end()
                .to_owned(),
        );
        out.extend(measured.into_iter().map(point));
        out.push(String::new());
    }
    let missing: Vec<&str> = report
        .points
        .iter()
        .filter(|p| p.reading_mm.is_none())
        .map(|p| p.point)
        .collect();
    if !missing.is_empty() {
        out.push(wrap(
            &format!("Not measured: {}.", missing.join(", ")),
            WIDTH,
            "  ",
        ));
    }
    if !report.not_on_sheet.is_empty() {
        let names: Vec<&str> = report
            .not_on_sheet
            .iter()
            .map(|p| p.point.as_str())
            .collect();
        out.push(wrap(
            &format!("Not on the sheet: {}.", names.join(", ")),
            WIDTH,
            "  ",
        ));
    }
    out.push(answer(report));
    out.push(legend());
    out.push(wrap(CAUTION, WIDTH, ""));
    out.join("\n")
}

fn setup(report: &CheckReport<'_>) -> String {
    let setup = report.setup;
    let mut lines = vec![format!(
        "Set up on {} ({} degrees of freedom); the fit leaves {:.2} mm (root mean square).",
        setup.used.join(", "),
        setup.dof,
        setup.rms_mm
    )];
    if let (Some(chi2), Some(p)) = (setup.chi2, setup.p) {
        lines.push(format!(
            "Chi-square {chi2:.1}: so much or more happens in {} of 100 surveys when nothing is wrong.",
            percent(p)
        ));
    }
    if !setup.moved.is_empty() {
        lines.push(format!(
            "Left out because they moved: {}.",
            setup.moved.join(", ")
        ));
    }
    lines.extend(setup.hidden.iter().map(|h| h.to_string()));
    lines.extend(setup.warnings.iter().map(|w| format!("Note: {w}")));
    let wrapped: Vec<String> = lines.iter().map(|l| wrap(l, WIDTH, "  ")).collect();
    format!("{}\n", wrapped.join("\n"))
}

fn percent(p: f64) -> String {
    let percent = 100.0 * p;
    if percent < 1.0 {
        "less than 1".into()
    } else {
        format!("{percent:.0}")
    }
}

fn point(point: &PointReport<'_>) -> String {
    let mark = if point.is_reference { "*" } else { " " };
    let mut line = format!("{:<7}{mark} ", point.point);
    for (axis, seen) in point.axes() {
        line.push_str(&format!("{:<24}", cell(axis, seen, point.side)));
    }
    line.trim_end().to_owned()
}

fn cell(axis: Axis, seen: &AxisReport<'_>, side: Side) -> String {
    let shape = shape(seen.verdict, seen.deviation_mm.unwrap_or(0.0));
    let Some(mm) = seen.deviation_mm else {
        return format!("{shape} {}", seen.verdict.words());
    };
    let word = if format!("{:.1}", mm.abs()) == "0.0" {
        ""
    } else {
        direction(axis, mm, side)
    };
    // Twice the standard uncertainty: 95 % for a normal distribution.
    let spread = seen
        .u_mm
        .map_or_else(String::new, |u| format!(" ±{:.1}", 2.0 * u));
    format!("{shape} {:.1}{spread} {word}", mm.abs())
}

/// Shapes before colours: a dot between two posts, an arrow leaving them, a dot with whiskers over
/// a post.
pub fn shape(verdict: Verdict, deviation: f64) -> &'static str {
    match (verdict, deviation >= 0.0) {
        (Verdict::Inside, _) => "|●| ",
        (Verdict::Outside, true) => "| |►",
        (Verdict::Outside, false) => "◄| |",
        (Verdict::TooCloseToCall, _) => "-●|-",
        (Verdict::NoLimitGiven, _) => " ●  ",
        (Verdict::Unchecked, _) => " ?  ",
        _ => "    ",
    }
}

fn legend() -> String {
    "|●| inside   | |► outside   -●|- too close to call   ●  no limit given   ?  unchecked\n\
     * reference point, judged by the others      ± is twice the standard uncertainty\n"
        .to_owned()
}

/// One sentence: what the survey says as a whole.
pub fn answer(report: &CheckReport<'_>) -> String {
    let of = |verdict: Verdict| -> Vec<&str> {
        report
            .points
            .iter()
            .filter(|p| p.axes().iter().any(|(_, a)| a.verdict == verdict))
            .map(|p| p.point)
            .collect()
    };
    let outside = of(Verdict::Outside);
    let close = of(Verdict::TooCloseToCall);
    let unlimited = of(Verdict::NoLimitGiven);
    let mut sentences = Vec::new();
    match (outside.is_empty(), close.is_empty(), unlimited.is_empty()) {
        (true, true, true) => {
            sentences.push("Every point measured is inside its limits.".to_owned())
        }
        (true, true, false) => {}
        _ => {}
    }
    if !outside.is_empty() {
        sentences.push(format!("Outside: {}.", outside.join(", ")));
    }
    if !close.is_empty() {
        sentences.push(format!(
            "Too close to call: {}. Repeat the reading, add reference points, or have it released by name.",
            close.join(", ")
        ));
    }
    if !unlimited.is_empty() {
        sentences.push(format!(
            "No limit given for {}: nothing is decided there.",
            unlimited.join(", ")
        ));
    }
    wrap(&format!("{}\n", sentences.join(" ")), WIDTH, "  ")
}
