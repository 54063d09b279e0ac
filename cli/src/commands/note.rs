//! `datumtrail note`

use std::process::ExitCode;

use datumtrail_core::Result;
use datumtrail_core::shop::NewNote;
use serde_json::json;

use super::Context;
use crate::args::Note;
use crate::output;
use crate::show::{self, WIDTH, wrap};

pub async fn run(context: &Context, command: Note) -> Result<ExitCode> {
    let job = context.job().await?;
    match command {
        Note::Add {
            text,
            stage,
            photo,
            about,
            internal,
        } => {
            let id = job
                .add_note(NewNote {
                    text,
                    stage,
                    photo,
                    about,
                    internal,
                })
                .await?;
            output::either(context.json, &json!({ "id": id }), || {
                format!("Noted ({}).", id.short())
            });
        }
        Note::List => {
            let view = job.view()?;
            output::either(context.json, &json!({ "notes": view.notes }), || {
                if view.notes.is_empty() {
                    return "No notes yet.".into();
                }
                let mut out = Vec::new();
                for note in &view.notes {
                    let stage = note.body.stage.as_deref().unwrap_or("no stage");
                    out.push(wrap(
                        &format!(
                            "{}  {}  {stage}  {}{}",
                            note.id.short(),
                            show::time(&note.stamp.at),
                            view.author(&note.stamp),
                            note.withdrawn
                                .as_ref()
                                .map_or_else(String::new, |w| format!("  withdrawn: {}", w.reason)),
                        ),
                        WIDTH,
                        "  ",
                    ));
                    out.push(wrap(&format!("  {}", note.body.text), WIDTH, "  "));
                }
                out.join("\n")
            });
        }
    }
    Ok(ExitCode::SUCCESS)
}
