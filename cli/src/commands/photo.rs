//! `datumtrail photo`

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use datumtrail_core::error::{Error, Result};
use datumtrail_core::job::record;
use datumtrail_core::job::stage;
use datumtrail_core::job::tie::{PhotoTie, Ties, zone_of};
use datumtrail_core::job::view::{self, Entry, JobView};
use datumtrail_core::photo::tie::Tie;
use datumtrail_core::shop::{ClockNote, Job, PhotoResult};
use indicatif::{ProgressBar, ProgressStyle};
use serde_json::{Value, json};

use super::Context;
use crate::args::Photo;
use crate::output;
use crate::show::table::Table;
use crate::show::{WIDTH, wrap};

pub async fn run(context: &Context, command: Photo) -> Result<ExitCode> {
    let job = context.job().await?;
    match command {
        Photo::Add { paths, stage } => return add(context, &job, &paths, stage.as_deref()).await,
        Photo::List { stage } => list(context, &job, stage.as_deref())?,
        Photo::Clock {
            camera,
            offset,
            photo,
            was,
            u,
        } => {
            let note = match (offset, photo, was) {
                (Some(offset), _, _) => ClockNote::Offset(duration(&offset)?),
                (None, Some(photo), Some(was)) => ClockNote::PhotoWas { photo, was },
                _ => {
                    return Err(Error::Invalid {
                        what: "nothing is said about that clock".into(),
                        todo: "give --offset, or --photo and --was".into(),
                    });
                }
            };
            let id = job.set_clock(&camera, note, u).await?;
            output::either(context.json, &json!({ "id": id }), || {
                "Noted. The photos of that camera are tied by its corrected time from now on."
                    .into()
            });
        }
        Photo::Tie { photo, stage } => {
            let id = job.tie_photo(&photo, &stage).await?;
            output::either(context.json, &json!({ "id": id, "stage": stage }), || {
                format!("The photo belongs to {stage}.")
            });
        }
        Photo::Save { photo, file } => {
            let all = job.view()?;
            let photo = view::find(&all.photos, &photo)?;
            let bytes = job.photo_bytes(&photo.body.blob).await?;
            super::save(&file, &bytes)?;
            output::either(context.json, &json!({ "bytes": bytes.len() }), || {
                format!("Wrote {} ({} bytes).", file.display(), bytes.len())
            });
        }
    }
    Ok(ExitCode::SUCCESS)
}

async fn add(
    context: &Context,
    job: &Job<'_>,
    paths: &[PathBuf],
    stage: Option<&str>,
) -> Result<ExitCode> {
    let files = files_in(paths)?;
    let bar = if context.json {
        ProgressBar::hidden()
    } else {
        ProgressBar::new(files.len() as u64)
    };
    if let Ok(style) = ProgressStyle::with_template("{bar:30} {pos} of {len} photos  {eta}") {
        bar.set_style(style);
    }
    let outcomes = job.add_photos(files, stage, |_| bar.inc(1)).await?;
    bar.finish_and_clear();

    let ties = ties_of(job)?;
    let mut lines = Vec::new();
    let mut values = Vec::new();
    let (mut added, mut refused) = (0, 0);
    for outcome in &outcomes {
        let path = outcome.path.display().to_string();
        match &outcome.result {
            PhotoResult::Added { id, remarks } => {
                added += 1;
                let tie = ties.of(id).map(|t| tie_words(&t.tie)).unwrap_or_default();
                lines.push(format!("{}: {tie}", super::file_name(&outcome.path)));
                lines.extend(remarks.iter().map(|r| format!("  {r}")));
                values.push(json!({ "file": path, "id": id, "result": "added", "tie": ties.of(id).map(|t| &t.tie), "remarks": remarks }));
            }
            PhotoResult::Already { id } => {
                lines.push(format!(
                    "{}: already in ({}), nothing to do",
                    super::file_name(&outcome.path),
                    id.short()
                ));
                values.push(json!({ "file": path, "id": id, "result": "already" }));
            }
            PhotoResult::Refused(error) => {
                refused += 1;
                lines.push(format!("not taken in: {error}"));
                values.push(json!({ "file": path, "result": "refused", "why": error.to_string() }));
            }
        }
    }
    output::either(context.json, &json!({ "photos": values }), || {
        lines.push(format!(
            "{added} taken in and on the disk, {} already there, {refused} refused.",
            outcomes.len() - added - refused
        ));
        lines
            .iter()
            .map(|l| wrap(l, WIDTH, "  "))
            .collect::<Vec<_>>()
            .join("\n")
    });
    // The rest went in; a script should still notice.
    Ok(if refused > 0 {
        ExitCode::from(1)
    } else {
        ExitCode::SUCCESS
    })
}

fn list(context: &Context, job: &Job<'_>, stage: Option<&str>) -> Result<()> {
    let all = job.view()?;
    let plan = job.plan(&all)?;
    if let Some(stage) = stage {
        plan.stage(stage)?;
    }
    let ties = ties_of(job)?;
    let mut photos: Vec<(&Entry<record::Photo>, &PhotoTie)> = all
        .photos
        .iter()
        .filter_map(|p| Some((p, ties.of(&p.id)?)))
        .filter(|(_, t)| stage.is_none() || t.tie.offered() == stage)
        .collect();
    photos.sort_by_key(|(p, t)| (t.moment().map(|m| m.at), p.id.clone()));
    let values: Vec<Value> = photos.iter().map(|(p, t)| value(&all, p, t)).collect();
    output::either(context.json, &json!({ "photos": values }), || {
        if photos.is_empty() {
            return "No photos.".into();
        }
        let zone = zone_of(&all);
        let mut table = Table::new(&["identity", "taken", "name", "belongs to"]);
        for (photo, tie) in &photos {
            let taken = tie.moment().map_or_else(
                || "no time".to_owned(),
                |m| {
                    zone.to_datetime(m.at)
                        .strftime("%m-%d %H:%M:%S")
                        .to_string()
                },
            );
            table.row(vec![
                photo.id.short().into(),
                taken,
                photo.body.name.clone(),
                tie_words(&tie.tie),
            ]);
        }
        table.show()
    });
    Ok(())
}

/// A photo for programs.
fn value(view: &JobView, photo: &Entry<record::Photo>, tie: &PhotoTie) -> Value {
    let zone = zone_of(view);
    json!({
        "id": photo.id,
        "name": photo.body.name,
        "blake3": photo.body.blob,
        "bytes": photo.body.bytes,
        "camera": photo.body.camera,
        "taken_exif": photo.body.taken.as_ref().map(|t| t.civil.to_string()),
        "taken": tie.moment().map(|m| {
            m.at.display_with_offset(zone.to_offset(m.at)).to_string()
        }),
        "taken_source": tie.source_words(&photo.body),
        "taken_u_s": tie.moment().and_then(|m| m.u_s),
        "stage": tie.tie.stage(),
        "tie": tie.tie,
        "by": photo.stamp.by,
        "at": photo.stamp.at,
    })
}

fn ties_of(job: &Job<'_>) -> Result<Ties> {
    let view = job.view()?;
    let plan = job.plan(&view)?;
    Ok(Ties::new(&view, &stage::stages(&view, &plan)))
}

/// Where a photo belongs and how sure that is, in words.
pub fn tie_words(tie: &Tie) -> String {
    match tie {
        Tie::Decided(d) => format!("{} (decided by {})", d.stage, d.by),
        Tie::Certain { stage, .. } => stage.clone(),
        Tie::Inferred { stage, .. } => format!("{stage} (inferred from the numbering)"),
        Tie::Borderline {
            earlier,
            later,
            border_s,
            ..
        } => {
            let name = |s: &Option<String>| s.clone().unwrap_or_else(|| "no stage".into());
            format!(
                "{} or {}? {border_s:.0} s apart",
                name(earlier),
                name(later)
            )
        }
        Tie::SeveralOpen { stages } => format!("{}? all open then", stages.join(" or ")),
        Tie::NoneOpen { .. } => "no stage was open then".into(),
        Tie::Ambiguous { .. } => "ambiguous: daylight saving".into(),
        Tie::NoTime => "no time: say with photo tie".into(),
    }
}

fn files_in(paths: &[PathBuf]) -> Result<Vec<PathBuf>> {
    let mut files = Vec::new();
    for path in paths {
        collect(path, &mut files, 0)?;
    }
    Ok(files)
}

fn collect(path: &Path, files: &mut Vec<PathBuf>, depth: usize) -> Result<()> {
    if !path.is_dir() || depth > 16 {
        files.push(path.to_owned());
        return Ok(());
    }
    let mut inner = Vec::new();
    for entry in std::fs::read_dir(path).map_err(|e| Error::io(path, e))? {
        let entry = entry.map_err(|e| Error::io(path, e))?.path();
        let hidden = super::file_name(&entry).starts_with('.');
        if !hidden {
            inner.push(entry);
        }
    }
    inner.sort();
    inner.iter().try_for_each(|p| collect(p, files, depth + 1))
}

/// A signed duration such as `1h7m12s`, `-4m` or `90s`.
fn duration(text: &str) -> Result<jiff::SignedDuration> {
    text.trim()
        .trim_start_matches('+')
        .parse()
        .map_err(|_| Error::Invalid {
            what: format!("«{text}» is no duration"),
            todo: "write it like 1h7m12s, -4m or 90s: what has to be added to the camera's time"
                .into(),
        })
}
