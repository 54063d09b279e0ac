//! `datumtrail seal`

use std::process::ExitCode;

use datumtrail_core::Result;
use datumtrail_core::archive::sealed::{SealState, Standing};
use serde_json::json;

use super::Context;
use crate::args::{Seal, SealCommand};
use crate::output;
use crate::show::{self, WIDTH, wrap};

pub async fn run(context: &Context, asked: Seal) -> Result<ExitCode> {
    let job = context.job().await?;
    match (asked.command, asked.stage) {
        (None, Some(stage)) => {
            let seal = job.seal_stage(&stage).await?;
            output::either(context.json, &seal, || {
                wrap(
                    &format!(
                        "Sealed {stage} ({}). Whatever is added or changed from now on will show: \
                         datumtrail seal list. A seal says who signed what, not that it is right.",
                        seal.id.short()
                    ),
                    WIDTH,
                    "",
                )
            });
        }
        (Some(SealCommand::List), _) | (None, None) => {
            let seals = job.seals()?;
            output::either(context.json, &json!({ "seals": seals }), || {
                if seals.is_empty() {
                    "No stage is sealed yet. Seal a closed one: datumtrail seal STAGE".into()
                } else {
                    list(&seals)
                }
            });
        }
    }
    Ok(ExitCode::SUCCESS)
}

/// The seals with what was changed since.
fn list(seals: &[SealState]) -> String {
    let mut out = Vec::new();
    for seal in seals {
        let stands = match seal.standing {
            Standing::Unchanged => "holds; nothing was added or changed since",
            Standing::ChangedSince => "holds; added or changed since:",
            Standing::Broken => "DOES NOT HOLD:",
        };
        out.push(wrap(
            &format!(
                "{} ({})  {}  {}",
                seal.title,
                seal.stage,
                show::time(&seal.at),
                seal.author
            ),
            WIDTH,
            "  ",
        ));
        out.push(wrap(
            &format!("  {}  {stands}", seal.id.short()),
            WIDTH,
            "  ",
        ));
        for line in seal.broken.iter().chain(&seal.changes) {
            out.push(wrap(&format!("  - {line}"), WIDTH, "    "));
        }
    }
    out.join("\n")
}

/// The newest seal of a stage in a word or two, for lists of stages; none where it has none.
pub fn of_stage(seals: &[SealState], stage: &str) -> Option<String> {
    let newest = seals.iter().rev().find(|seal| seal.stage == stage)?;
    Some(match (newest.standing, newest.changes.len()) {
        (Standing::Unchanged, _) => "unchanged".into(),
        (Standing::ChangedSince, 1) => "1 change".into(),
        (Standing::ChangedSince, n) => format!("{n} changes"),
        (Standing::Broken, _) => "BROKEN".into(),
    })
}
