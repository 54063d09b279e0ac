//! What the audit finds in the published distance tables, as markdown: `audit.md`.

use super::{SAAB, TRIBECA, sheet};
use datumtrail_geometry::audit::{Audit, Kind, Sheet, audit};
use std::fmt::Write;

/// The whole report.
pub fn markdown() -> Result<String, Box<dyn std::error::Error>> {
    let mut out = String::new();
    for (title, table) in [
        ("Saab 9-2X (2005), centre structure", SAAB),
        ("Subaru Tribeca (2008), centre structure", TRIBECA),
    ] {
        let sheet = sheet(table);
        let found = audit(&sheet, 0.05)?;
        writeln!(out, "## {title}\n")?;
        show(&mut out, &sheet, &found)?;
    }
    let text = out.trim_end().to_owned();
    Ok(text + "\n")
}

fn show(out: &mut String, sheet: &Sheet, found: &Audit) -> std::fmt::Result {
    let compared = found.tests.len();
    writeln!(
        out,
        "{} figures about {} stations, printed to 1 mm. {compared} direct comparisons; one fails \
         where |w| exceeds {:.2}.\n",
        sheet.figures.len(),
        sheet.stations.len(),
        found.critical_w
    )?;
    for (kind, what) in [
        (Kind::Chain, "Chains of lengths"),
        (
            Kind::Diagonal,
            "Diagonals of symmetrical fours, D^2 = d^2 + a b",
        ),
    ] {
        let tests: Vec<_> = found.tests.iter().filter(|t| t.kind == kind).collect();
        if tests.is_empty() {
            continue;
        }
        writeln!(out, "### {what}\n")?;
        writeln!(
            out,
            "| points | printed | expected | u | w | | what else would explain it |"
        )?;
        writeln!(out, "|---|---|---|---|---|---|---|")?;
        for test in tests {
            writeln!(
                out,
                "| {} | {} | {:.1} | {:.2} | {:+.1} | {} | {} |",
                test.points.join(", "),
                test.printed_mm,
                test.expected_mm,
                test.u_mm,
                test.w(),
                if found.passed(test) {
                    "agrees"
                } else {
                    "contradicts"
                },
                if found.passed(test) {
                    String::new()
                } else {
                    test.explanations.join("; ")
                }
            )?;
        }
        writeln!(out)?;
    }
    if !found.readings.is_empty() {
        writeln!(out, "### What the unlabelled distances mean\n")?;
        writeln!(
            out,
            "| meaning | score | figures that contradict the rest |"
        )?;
        writeln!(out, "|---|---|---|")?;
        for reading in &found.readings {
            let meaning = reading.meaning.words();
            let score = match reading.score {
                score if score < 1000.0 => format!("{score:.1}"),
                _ => "above 1000".to_owned(),
            };
            writeln!(out, "| {meaning} | {score} | {} |", reading.left_out)?;
        }
        writeln!(
            out,
            "\nThe first is {}.\n",
            if found.meaning_is_clear {
                "at least 19 times likelier than the next"
            } else {
                "not clearly likelier than the next"
            }
        )?;
    }
    writeln!(out, "### Doubts\n")?;
    if found.doubts.is_empty() {
        writeln!(out, "None.\n")?;
    }
    for doubt in &found.doubts {
        writeln!(out, "- {} (w {:+.1}).", doubt.words, doubt.w)?;
        for explanation in &doubt.explanations {
            writeln!(out, "  - {explanation}")?;
        }
    }
    writeln!(
        out,
        "\n{} of {} figures are checked by nothing.\n",
        found.unchecked.len(),
        sheet.figures.len()
    )?;
    for remark in &found.remarks {
        writeln!(out, "{remark}\n")?;
    }
    Ok(())
}
