//! `datumtrail hold`

use std::process::ExitCode;

use datumtrail_core::Result;
use datumtrail_core::job::hold::{HoldState, State};
use serde_json::json;

use super::Context;
use crate::args::Hold;
use crate::output;
use crate::show::{self, WIDTH, wrap};

pub async fn run(context: &Context, command: Hold) -> Result<ExitCode> {
    let job = context.job().await?;
    match command {
        Hold::List => {
            let holds = job.holds()?;
            output::either(context.json, &json!({ "holds": holds }), || {
                if holds.is_empty() {
                    "The plan has no hold points.".into()
                } else {
                    list(&holds)
                }
            });
        }
        Hold::Tick { check, note } => {
            let id = job.tick(&check, note.as_deref()).await?;
            output::either(context.json, &json!({ "id": id, "check": check }), || {
                format!("Ticked {check}.")
            });
        }
        Hold::Release { hold, name, reason } => {
            let id = job.release(&hold, &name, &reason).await?;
            output::either(context.json, &json!({ "id": id, "hold": hold }), || {
                wrap(
                    &format!(
                        "Released {hold} without its evidence. {name} answers for it, and should \
                         be qualified to; this stays in the record and in every archive.\n{}",
                        show::CAUTION
                    ),
                    WIDTH,
                    "",
                )
            });
        }
    }
    Ok(ExitCode::SUCCESS)
}

/// The hold points with what they need.
pub fn list(holds: &[HoldState]) -> String {
    let mut out = Vec::new();
    for hold in holds {
        let state = match hold.state {
            State::Closed => "closed",
            State::OpenByEvidence => "open: the evidence is there",
            State::OpenByRelease => "open: released without its evidence",
        };
        out.push(format!("{} ({}): {state}", hold.title, hold.name));
        for need in &hold.needs {
            let mark = if need.met { "■" } else { "□" };
            out.push(wrap(&format!("  {mark} {}", need.text), WIDTH, "    "));
            out.push(wrap(&format!("    {}", need.found), WIDTH, "    "));
        }
        for release in &hold.releases {
            out.push(wrap(
                &format!(
                    "  ! released by {} on {}: «{}»",
                    release.body.name,
                    show::time(&release.stamp.at),
                    release.body.reason
                ),
                WIDTH,
                "    ",
            ));
        }
    }
    out.join("\n")
}
