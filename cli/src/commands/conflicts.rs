//! `datumtrail job conflicts` and `job settle`

use datumtrail_core::Result;
use datumtrail_core::job::conflict::Conflict;
use datumtrail_core::job::view::JobView;
use datumtrail_core::shop::Job;
use serde_json::json;

use super::Context;
use crate::output;
use crate::show::{self, WIDTH, wrap};

pub fn list(context: &Context, job: &Job<'_>) -> Result<()> {
    let view = job.view()?;
    let conflicts = job.conflicts()?;
    let value = json!({ "conflicts": conflicts, "set_aside": view.set_aside });
    output::either(context.json, &value, || {
        let mut out = Vec::new();
        for conflict in &conflicts {
            out.extend(lines(&view, conflict));
        }
        if conflicts.is_empty() {
            out.push("Nobody has done anything at once that clashes.".into());
        }
        if !view.set_aside.is_empty() {
            out.push(String::new());
            out.push(wrap(
                "Set aside, because the device had been removed from the crew when it wrote them:",
                WIDTH,
                "",
            ));
            for aside in &view.set_aside {
                let line = format!(
                    "  {} in {}, by {}, {}",
                    aside.id.short(),
                    aside.map,
                    view.author(&aside.stamp),
                    aside.stamp.at
                );
                out.push(wrap(&line, WIDTH, "    "));
            }
        }
        out.join("\n")
    });
    Ok(())
}

fn lines(view: &JobView, conflict: &Conflict) -> Vec<String> {
    let mut out = vec![show::heading(&format!(
        "{}: {}",
        conflict.kind.words(),
        conflict.about
    ))];
    for side in &conflict.sides {
        let id = side.id.as_ref().map_or("", |id| id.short());
        let line = format!(
            "  {id} {}, by {}, {}",
            brief(&side.says),
            view.author(&side.stamp),
            side.stamp.at
        );
        out.push(wrap(&line, WIDTH, "           "));
    }
    let end = match &conflict.settled {
        Some(settled) => format!(
            "  All stand, says {}: {}",
            view.author(&settled.stamp),
            settled.reason
        ),
        None => format!("  Open. To end it: {}.", conflict.kind.todo()),
    };
    out.push(wrap(&end, WIDTH, "  "));
    out
}

/// The first line of a value, which may be a whole plan.
fn brief(text: &str) -> String {
    let line = text.lines().next().unwrap_or_default();
    let cut: String = line.chars().take(60).collect();
    if cut.len() < text.len() {
        format!("{cut} …")
    } else {
        cut
    }
}

pub async fn settle(
    context: &Context,
    job: &Job<'_>,
    records: &[String],
    reason: &str,
) -> Result<()> {
    let id = job.settle(records, reason).await?;
    output::either(context.json, &json!({ "id": id }), || {
        format!("Recorded that all of them stand ({}).", id.short())
    });
    Ok(())
}
