//! `datumtrail part`

use std::process::ExitCode;

use datumtrail_core::Result;
use serde_json::json;

use super::Context;
use crate::args::Part;
use crate::output;

pub async fn run(context: &Context, command: Part) -> Result<ExitCode> {
    let job = context.job().await?;
    if let Part::Set { name, points } = command {
        job.set_part(&name, &points).await?;
    }
    let part = job.view()?.part();
    output::either(context.json, &json!({ "part": part }), || match &part {
        Some(part) => format!("New part: {} ({})", part.name, part.points.join(", ")),
        None => "The job does not say which points are on the new part yet.\n\
                 Say so: datumtrail part set NAME --points A,B"
            .into(),
    });
    Ok(ExitCode::SUCCESS)
}
