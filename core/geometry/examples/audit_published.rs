//! Audits two published distance tables and prints what it found as markdown:
//!
//! ```text
//! cargo run -p datumtrail-geometry --example audit_published
//! ```

#[path = "../tests/audit_tables/mod.rs"]
mod audit_tables;

use datumtrail_geometry::audit::{Audit, Kind, Sheet, audit};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    for (title, table) in [
        ("Saab 9-2X (2005), centre structure", audit_tables::SAAB),
        (
            "Subaru Tribeca (2008), centre structure",
            audit_tables::TRIBECA,
        ),
    ] {
        let sheet = audit_tables::sheet(table);
        let found = audit(&sheet, 0.05)?;
        println!("## {title}\n");
        show(&sheet, &found);
    }
    Ok(())
}

fn show(sheet: &Sheet, found: &Audit) {
    let compared = found.tests.len();
    println!(
        "{} figures about {} stations, printed to 1 mm. {compared} direct comparisons; one fails \
         where |w| exceeds {:.2}.\n",
        sheet.figures.len(),
        sheet.stations.len(),
        found.critical_w
    );
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
        println!("### {what}\n");
        println!("| points | printed | expected | u | w | | what else would explain it |");
        println!("|---|---|---|---|---|---|---|");
        for test in tests {
            println!(
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
            );
        }
        println!();
    }
    if !found.readings.is_empty() {
        println!("### What the unlabelled distances mean\n");
        println!("| meaning | score | figures that contradict the rest |");
        println!("|---|---|---|");
        for reading in &found.readings {
            let meaning = reading.meaning.words();
            println!(
                "| {meaning} | {:.1} | {} |",
                reading.score, reading.left_out
            );
        }
        println!(
            "\nThe first is {}.\n",
            if found.meaning_is_clear {
                "at least 19 times likelier than the next"
            } else {
                "not clearly likelier than the next"
            }
        );
    }
    println!("### Doubts\n");
    if found.doubts.is_empty() {
        println!("None.\n");
    }
    for doubt in &found.doubts {
        println!("- {} (w {:+.1}).", doubt.words, doubt.w);
        for explanation in &doubt.explanations {
            println!("  - {explanation}");
        }
    }
    println!(
        "\n{} of {} figures are checked by nothing.\n",
        found.unchecked.len(),
        sheet.figures.len()
    );
    for remark in &found.remarks {
        println!("{remark}\n");
    }
}
