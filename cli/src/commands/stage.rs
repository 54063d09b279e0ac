//! `datumtrail stage`

use std::process::ExitCode;

use datumtrail_core::Result;
use datumtrail_core::job::stage::State;
use serde_json::json;

use super::Context;
use crate::args::Stage;
use crate::show::table::Table;
use crate::{output, show};

pub async fn run(context: &Context, command: Stage) -> Result<ExitCode> {
    let job = context.job().await?;
    match command {
        Stage::Open { stage, at } => {
            let id = job.open_stage(&stage, at.as_deref()).await?;
            output::either(context.json, &json!({ "id": id, "stage": stage }), || {
                show::wrap(
                    &format!("Opened {stage}.\n{}", show::CAUTION),
                    show::WIDTH,
                    "",
                )
            });
        }
        Stage::Close { stage, at } => {
            let id = job.close_stage(&stage, at.as_deref()).await?;
            output::either(context.json, &json!({ "id": id, "stage": stage }), || {
                format!("Closed {stage}.")
            });
        }
        Stage::List => {
            let stages = job.stages()?;
            let seals = job.seals()?;
            let value = json!({ "stages": stages, "seals": seals });
            output::either(context.json, &value, || {
                let mut table = Table::new(&["stage", "", "opened", "closed", "seal, since"]);
                for stage in &stages {
                    let state = match stage.state {
                        State::NotYet => "not yet",
                        State::Open => "open",
                        State::Closed => "closed",
                    };
                    if stage.spans.is_empty() {
                        table.row(vec![stage.name.clone(), state.into()]);
                    }
                    for (index, span) in stage.spans.iter().enumerate() {
                        let last = index + 1 == stage.spans.len();
                        let sealed = super::seal::of_stage(&seals, &stage.name);
                        table.row(vec![
                            stage.name.clone(),
                            state.into(),
                            show::time(&span.opened),
                            span.closed.as_deref().map_or_else(String::new, show::time),
                            sealed.filter(|_| last).unwrap_or_default(),
                        ]);
                    }
                }
                table.show()
            });
        }
    }
    Ok(ExitCode::SUCCESS)
}
