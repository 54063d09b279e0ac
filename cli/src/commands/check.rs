//! `datumtrail check`

use std::process::ExitCode;

use datumtrail_core::Result;

use super::Context;
use crate::{output, show};

pub async fn run(context: &Context, survey: Option<&str>) -> Result<ExitCode> {
    let measured = context.job().await?.check(survey).await?;
    let report = measured.report();
    output::either(context.json, &report, || show::check::survey(&report));
    Ok(ExitCode::SUCCESS)
}
