//! A survey as people read it.

use datumtrail_core::geometry::frame::{Axis, Side, direction};
use datumtrail_core::geometry::temperature::Material;
use datumtrail_core::geometry::verdict::Verdict;
use datumtrail_core::job::measure::{AxisReport, CheckReport, PointReport};
use datumtrail_core::job::mend::Suspicion;

use super::{WIDTH, heading, wrap};

/// The whole survey, and what may be wrong with it.
pub fn survey(report: &CheckReport<'_>, suspicions: &[Suspicion]) -> String {
    let mut out = vec![heading(&format!(
        "Survey {} in {}",
        report.survey.short(),
        report.stage
    ))];
    out.push(setup(report));
    out.extend(suspected(suspicions));
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
    out.join("\n")
}

/// Blunders that would explain the readings, each with the command that mends it.
pub fn suspected(suspicions: &[Suspicion]) -> Option<String> {
    if suspicions.is_empty() {
        return None;
    }
    let mut lines = vec!["Look at this first:".to_owned()];
    for suspicion in suspicions {
        lines.push(wrap(&format!("  {}", suspicion.words), WIDTH, "  "));
        lines.push(format!("  If so: {}", suspicion.command));
    }
    lines.push(String::new());
    Some(lines.join("\n"))
}

/// How repeats, joints and temperature went in.
fn gathered(report: &CheckReport<'_>) -> Vec<String> {
    let mut lines = Vec::new();
    for at in report.corrected_to_20 {
        let material = match at.temperature.material {
            Material::Steel => "steel (12 millionths a kelvin)",
            Material::Aluminium => "aluminium (23 millionths a kelvin)",
        };
        lines.push(format!(
            "Readings of {} brought from {} to 20 degrees, as stated: {material}.",
            at.survey.short(),
            at.temperature.celsius
        ));
    }
    for joint in report.joints {
        let moved = match joint.moved.as_slice() {
            [] => String::new(),
            moved => format!(
                " Left out because they were in another place the second time: {}.",
                moved.join(", ")
            ),
        };
        lines.push(format!(
            "Joined: {} through {} ({:.2} mm root mean square).{moved}",
            joint.part,
            joint.shared.join(", "),
            joint.rms_mm
        ));
    }
    if !report.repeats.is_empty() {
        let points: Vec<String> = report
            .repeats
            .iter()
            .map(|r| {
                let failed = if r.failed { ", more than stated" } else { "" };
                format!(
                    "{} {} times ({:.2} mm apart at most{failed})",
                    r.point,
                    r.readings,
                    2.0 * r.farthest_mm
                )
            })
            .collect();
        lines.push(format!(
            "Read more than once and averaged: {}.",
            points.join("; ")
        ));
    }
    for r in report.repeats.iter().filter(|r| r.failed) {
        lines.push(format!(
            "Note: the repeats of {} scatter more than the uncertainty allows: the point was not hit \
             alike, or the instrument moved.",
            r.point
        ));
    }
    lines
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
    lines.extend(gathered(report));
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
        line.push_str(&format!("{:<23} ", cell(axis, seen, point.side)));
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
    // Nobody needs the tenths of what is this far out, and the column is narrow.
    let digits = if mm.abs() < 99.95 { 1 } else { 0 };
    // Twice the standard uncertainty: 95 % for a normal distribution.
    let spread = seen
        .u_mm
        .map_or_else(String::new, |u| format!(" ±{:.digits$}", 2.0 * u));
    format!("{shape} {:.digits$}{spread} {word}", mm.abs())
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
