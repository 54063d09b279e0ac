//! `datumtrail note`

use std::process::ExitCode;

use datumtrail_core::Result;
use datumtrail_core::job::view::JobView;
use datumtrail_core::shop::{Job, NewNote, NewSupport};
use serde_json::json;

use super::Context;
use crate::args::{Note, Support};
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
        Note::Support(asked) => return support(context, &job, asked).await,
        Note::Supports => {
            let view = job.view()?;
            output::either(context.json, &json!({ "supports": view.supports }), || {
                supports(&view)
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

async fn support(context: &Context, job: &Job<'_>, asked: Support) -> Result<ExitCode> {
    let new = NewSupport {
        note: asked.note,
        operation: asked.operation,
        part: asked.part,
        reason: asked.reason,
        photos: asked.photos,
        readings: asked.readings,
        replaces: asked.replaces,
    };
    let id = job.support_estimate(new).await?;
    let view = job.view()?;
    let support = view.supports.iter().find(|s| s.id == id);
    let note = support.and_then(|s| view.notes.iter().find(|n| n.id == s.body.note));
    let internal = note.is_some_and(|n| n.body.internal);
    output::either(
        context.json,
        &json!({ "id": id, "internal": internal }),
        || {
            let mut said = format!(
                "Written down for the estimate ({}); it goes into estimate-notes.csv.",
                id.short()
            );
            if internal {
                said += " Its note is for the shop alone, so copies for others have neither.";
            }
            wrap(&said, WIDTH, "")
        },
    );
    Ok(ExitCode::SUCCESS)
}

/// The lines of the estimate, with what stands behind each.
fn supports(view: &JobView) -> String {
    if view.supports.is_empty() {
        return wrap(
            "No note supports the estimate yet: datumtrail note support NOTE --operation TEXT \
             --part TEXT --reason TEXT",
            WIDTH,
            "",
        );
    }
    let mut out = Vec::new();
    for support in &view.supports {
        let body = &support.body;
        let gone = match (&support.withdrawn, &support.replaced_by) {
            (Some(withdrawn), _) => format!("  withdrawn: {}", withdrawn.reason),
            (None, Some(by)) => format!("  corrected by {}", by.short()),
            (None, None) => String::new(),
        };
        out.push(wrap(
            &format!(
                "{}  {}: {}{gone}",
                support.id.short(),
                body.operation,
                body.part
            ),
            WIDTH,
            "  ",
        ));
        out.push(wrap(&format!("  {}", body.reason), WIDTH, "  "));
        let note = view.notes.iter().find(|n| n.id == body.note);
        let note = note.map_or("(not here)", |n| n.body.text.as_str());
        out.push(wrap(
            &format!(
                "  note {}: {note}; {} photos, {} readings",
                body.note.short(),
                body.photos.len(),
                body.readings.len()
            ),
            WIDTH,
            "  ",
        ));
    }
    out.join("\n")
}
