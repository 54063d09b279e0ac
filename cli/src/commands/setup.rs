//! `datumtrail setup`

use std::process::ExitCode;

use datumtrail_core::Result;
use datumtrail_core::geometry::frame::Axis;
use datumtrail_core::geometry::plan::{Plan, PlannedAxis};
use datumtrail_core::shop::SetUpChoice;

use super::Context;
use crate::args::Setup;
use crate::output;
use crate::show::table::Table;
use crate::show::{self, WIDTH, wrap};

pub async fn run(context: &Context, command: Setup) -> Result<ExitCode> {
    let Setup::Plan { refs, instrument } = command;
    let plan = context.job().await?.plan_set_up(&SetUpChoice {
        refs,
        mpe_mm: instrument.mpe,
        mpe_in_space: instrument.in_space,
        u_mm: instrument.u,
        seating_mm: instrument.seating,
        build_spread_mm: instrument.build_spread,
    })?;
    output::either(context.json, &plan, || screen(&plan));
    Ok(ExitCode::SUCCESS)
}

fn screen(plan: &Plan) -> String {
    let mut out = vec![show::heading("Before measuring")];
    let mut say = |line: &str| out.push(wrap(line, WIDTH, "  "));
    if let Some(hidden) = &plan.hidden {
        say(&hidden.to_string());
    }
    plan.warnings
        .iter()
        .for_each(|w| say(&format!("Note: {w}")));
    say("");
    say("What the other reference points would notice of each, four times in five (mm):");
    let mut table = Table::new(&["reference", "length", "width", "height", "worst way"]);
    let mm = |mm: Option<f64>| mm.map_or("nothing".to_owned(), |mm| format!("{mm:.1}"));
    for r in &plan.references {
        let [x, y, z] = r.smallest_detectable_mm.map(mm);
        table.row(vec![r.point.clone(), x, y, z, mm(r.worst_mm)]);
    }
    out.push(table.show());
    let mut table = Table::new(&["point", "length", "width", "height"]);
    for p in plan.points.iter().filter(|p| !p.is_reference) {
        let [x, y, z] = Axis::ALL.map(|axis| cell(p.axis(axis)));
        table.row(vec![p.point.clone(), x, y, z]);
    }
    out.push("The standard uncertainty of each deviation, and whether its limit can be".into());
    out.push("decided (mm; an undecidable one names the uncertainty that could):".into());
    out.push(table.show());
    let instrument = match plan.instrument_u_mm {
        Some(u) => format!(
            "With these reference points an instrument of u = {u:.2} mm or better could call every \
             point inside that is where the sheet says."
        ),
        None => "No limit is stated, or no instrument could decide all of them from these \
                 reference points."
            .into(),
    };
    out.push(wrap(&instrument, WIDTH, "  "));
    out.join("\n")
}

fn cell(axis: &PlannedAxis) -> String {
    let Some(u) = axis.u_mm else {
        return "can't be judged".into();
    };
    match (axis.can_decide, axis.u_needed_mm) {
        (Some(false), Some(needed)) => format!("{u:.2}, needs {needed:.2}"),
        (Some(true), _) => format!("{u:.2} decides"),
        _ => format!("{u:.2} no limit"),
    }
}
