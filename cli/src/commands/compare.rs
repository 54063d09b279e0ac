//! `datumtrail compare`

use std::process::ExitCode;

use datumtrail_core::Result;
use datumtrail_core::geometry::compare::{Moved, Movement};
use datumtrail_core::geometry::correct::words::displacement;
use datumtrail_core::job::compare::CompareReport;

use super::Context;
use crate::output;
use crate::show::{self, CAUTION, WIDTH, wrap};

pub async fn run(
    context: &Context,
    before: &str,
    after: &str,
    refs: &[String],
) -> Result<ExitCode> {
    let compared = context.job().await?.compare(before, after, refs)?;
    let report = compared.report();
    output::either(context.json, &report, || screen(&report));
    Ok(ExitCode::SUCCESS)
}

fn screen(report: &CompareReport<'_>) -> String {
    let mut out = vec![show::heading(&format!(
        "From {} ({}) to {} ({})",
        report.before_stage,
        report.before.short(),
        report.after_stage,
        report.after.short()
    ))];
    let mut say = |line: &str| out.push(wrap(line, WIDTH, "  "));
    say(&format!(
        "What moved between the two surveys, whatever the sheet says. Set up on {}, which are \
         taken to have stayed; they agree within {:.2} mm (root mean square).",
        report.setup.used.join(", "),
        report.setup.rms_mm
    ));
    for warning in &report.setup.warnings {
        say(&format!("Note: {warning}"));
    }
    say("");
    let of = |movement: Movement| -> Vec<&Moved> {
        report
            .points
            .iter()
            .filter(|p| p.movement == movement)
            .collect()
    };
    for point in of(Movement::Moved) {
        say(&format!("{}: {}.", point.point, way(point)));
    }
    if of(Movement::Moved).is_empty() {
        say("No point is seen to have moved.");
    }
    let names = |points: Vec<&Moved>| -> Vec<String> {
        let name = |p: &Moved| match p.u_mm {
            Some(u) => {
                let widest = u.into_iter().fold(0.0, f64::max);
                format!("{} (±{:.1})", p.point, 2.0 * widest)
            }
            None => p.point.clone(),
        };
        points.into_iter().map(name).collect()
    };
    let lists = [
        (Movement::NotSeenToMove, "Not seen to move (within, mm)"),
        (Movement::Undecided, "Undecided"),
        (
            Movement::NotMeasuredTwice,
            "Measured in one of the two only",
        ),
    ];
    for (movement, words) in lists {
        let points = of(movement);
        if !points.is_empty() {
            say(&format!("{words}: {}.", names(points).join(", ")));
        }
    }
    out.push(wrap(CAUTION, WIDTH, ""));
    out.join("\n")
}

/// "16.2 mm rearward and 4.8 mm up (±0.9 mm)".
fn way(point: &Moved) -> String {
    let moved = point.moved_mm.unwrap_or_default();
    let way = displacement(moved.into(), point.side).unwrap_or_else(|| "less than 0.05 mm".into());
    match point.u_mm {
        Some(u) => {
            let widest = u.into_iter().fold(0.0, f64::max);
            format!("{way} (±{:.1} mm)", 2.0 * widest)
        }
        None => way,
    }
}
