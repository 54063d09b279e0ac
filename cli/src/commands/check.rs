//! `datumtrail check`

use std::process::ExitCode;

use datumtrail_core::Result;
use datumtrail_core::geometry::check::Options;
use datumtrail_core::job::measure::CheckReport;
use datumtrail_core::job::mend::Suspicion;
use serde::Serialize;

use super::{Context, movement};
use crate::args::Check;
use crate::{output, show};

/// The report with what may be wrong with it.
#[derive(Serialize)]
struct Checked<'a> {
    #[serde(flatten)]
    report: &'a CheckReport<'a>,
    suspicions: &'a [Suspicion],
}

pub async fn run(context: &Context, asked: Check) -> Result<ExitCode> {
    let job = context.job().await?;
    let options = Options {
        screen: !asked.no_screen,
        instrument_worse_than_stated: asked.instrument_worse,
    };
    let measured = job.check_with(asked.survey.as_deref(), options).await?;
    let suspicions = job.suspicions(&measured).await?;
    let outcome = job.move_outcome(&measured)?;
    let report = measured.report();
    let value = Checked {
        report: &report,
        suspicions: &suspicions,
    };
    output::either(context.json, &value, || {
        let mut out = vec![show::check::survey(&report, &suspicions)];
        out.extend(outcome.iter().map(movement::outcome));
        out.push(show::wrap(show::CAUTION, show::WIDTH, ""));
        out.join("\n")
    });
    Ok(ExitCode::SUCCESS)
}
