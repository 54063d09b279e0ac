//! `datumtrail plan`

use std::process::ExitCode;

use datumtrail_core::error::{Error, Result};
use datumtrail_core::job::plan::SHIPPED;
use serde_json::json;

use super::{Context, read};
use crate::args::Plan;
use crate::output;

pub async fn run(context: &Context, command: Plan) -> Result<ExitCode> {
    let job = context.job().await?;
    match command {
        Plan::Show => {
            let view = job.view()?;
            if context.json {
                output::either(true, &job.plan(&view)?, String::new);
            } else {
                output::text(view.plan.value.as_deref().unwrap_or(SHIPPED));
            }
        }
        Plan::Load { file } => {
            let plan = job.load_plan(&text(read(&file)?)?).await?;
            let (stages, holds) = (plan.stages.len(), plan.holds.len());
            output::either(
                context.json,
                &json!({ "stages": stages, "holds": holds }),
                || format!("Loaded a plan of {stages} stages and {holds} hold points."),
            );
        }
    }
    Ok(ExitCode::SUCCESS)
}

/// A plan's text.
pub fn text(bytes: Vec<u8>) -> Result<String> {
    String::from_utf8(bytes).map_err(|_| Error::Invalid {
        what: "the plan is not a text".into(),
        todo: "a plan is TOML; `datumtrail plan show` prints one".into(),
    })
}
