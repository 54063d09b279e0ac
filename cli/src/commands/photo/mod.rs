//! `datumtrail photo`

mod list;
mod review;
pub mod timecode;
pub mod watch;

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use datumtrail_core::error::{Error, Result};
use datumtrail_core::job::stage;
use datumtrail_core::job::tie::Ties;
use datumtrail_core::job::view;
use datumtrail_core::photo::tie::Tie;
use datumtrail_core::shop::{
    ClockNote, Job, PhotoOptions, PhotoOutcome, PhotoResult, shared_clock,
};
use indicatif::{ProgressBar, ProgressStyle};
use serde_json::{Value, json};

use super::Context;
use crate::args::Photo;
use crate::output;
use crate::show::{WIDTH, wrap};

pub async fn run(context: &Context, command: Photo) -> Result<ExitCode> {
    let job = context.job().await?;
    match command {
        Photo::Add {
            paths,
            stage,
            camera,
        } => return add(context, &job, &paths, &PhotoOptions { stage, camera }).await,
        // They open the shop by themselves, or need none.
        Photo::Watch { .. } | Photo::Timecode { .. } => {}
        Photo::List { stage, all } => list::run(context, &job, stage.as_deref(), all)?,
        Photo::Review => review::run(context, &job).await?,
        Photo::Clock {
            camera,
            offset,
            photo,
            was,
            u,
        } => clock(context, &job, &camera, (offset, photo, was), u).await?,
        Photo::Tie { photo, stage } => {
            let id = job.tie_photo(&photo, &stage).await?;
            output::either(context.json, &json!({ "id": id, "stage": stage }), || {
                format!("The photo belongs to {stage}.")
            });
        }
        Photo::Of { photo, reading } => {
            let id = job.picture_of(&photo, &reading).await?;
            output::either(context.json, &json!({ "id": id }), || {
                format!("The photo shows the reading of {reading}.")
            });
        }
        Photo::Cover { photo, rectangle } => {
            let id = job.cover_photo(&photo, numbers(&rectangle)?).await?;
            output::either(context.json, &json!({ "id": id }), || {
                format!(
                    "Covered in whatever leaves the shop; the original stays as it is. Withdraw \
                     {} to uncover it.",
                    id.short()
                )
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

async fn clock(
    context: &Context,
    job: &Job<'_>,
    camera: &str,
    said: (Option<String>, Option<String>, Option<String>),
    u_s: f64,
) -> Result<()> {
    let (id, off) = match said {
        (Some(offset), _, _) => {
            let offset = duration(&offset)?;
            let id = job
                .set_clock(camera, ClockNote::Offset(offset), u_s)
                .await?;
            (id, Some(offset))
        }
        (None, Some(photo), Some(was)) => {
            let note = ClockNote::PhotoWas { photo, was };
            (job.set_clock(camera, note, u_s).await?, None)
        }
        (None, Some(photo), None) => {
            let (id, off) = job.set_clock_by_code(&photo).await?;
            (id, Some(off))
        }
        (None, None, _) => {
            return Err(Error::Invalid {
                what: "nothing is said about that clock".into(),
                todo: "give --offset, or --photo with --was or with a time code in it".into(),
            });
        }
    };
    let all = job.view()?;
    let set = all.clocks.iter().find(|c| c.id == id);
    let shared = set.and_then(|clock| {
        let photos = all.photos.iter().map(|p| &p.body);
        let newest = photos.rev().find(|p| p.camera == clock.body.camera)?;
        shared_clock(newest)
    });
    let value = json!({
        "id": id, "off_s": off.map(|off| off.as_secs_f64()), "remark": shared,
    });
    output::either(context.json, &value, || {
        let mut said = String::from(
            "Noted. The photos of that camera are tied by its corrected time from now on.",
        );
        said.extend(off.map(|off| format!("\n{}", timecode::clock_words(off))));
        said.extend(shared.map(|s| format!("\nMind: {s}.")));
        let lines = said.lines().map(|line| wrap(line, WIDTH, ""));
        lines.collect::<Vec<_>>().join("\n")
    });
    Ok(())
}

/// `x,y,width,height`.
fn numbers(text: &str) -> Result<[u32; 4]> {
    let numbers: Option<Vec<u32>> = text.split(',').map(|n| n.trim().parse().ok()).collect();
    numbers
        .and_then(|n| <[u32; 4]>::try_from(n).ok())
        .ok_or_else(|| Error::Invalid {
            what: format!("«{text}» is no rectangle"),
            todo: "give x,y,width,height in pixels of the upright picture, such as 820,400,160,60"
                .into(),
        })
}

async fn add(
    context: &Context,
    job: &Job<'_>,
    paths: &[PathBuf],
    options: &PhotoOptions,
) -> Result<ExitCode> {
    let files = files_in(paths)?;
    let bar = if context.json || output::is_carried() {
        ProgressBar::hidden()
    } else {
        ProgressBar::new(files.len() as u64)
    };
    if let Ok(style) = ProgressStyle::with_template("{bar:30} {pos} of {len} photos  {eta}") {
        bar.set_style(style);
    }
    let outcomes = job.add_photos(files, options, |_| bar.inc(1)).await?;
    bar.finish_and_clear();

    let told = Told::of(job, &outcomes)?;
    output::either(context.json, &json!({ "photos": told.values }), || {
        let mut lines = told.lines.clone();
        lines.push(format!(
            "{} taken in and on the disk, {} already there, {} refused.",
            told.added,
            outcomes.len() - told.added - told.refused,
            told.refused
        ));
        lines
            .iter()
            .map(|l| wrap(l, WIDTH, "  "))
            .collect::<Vec<_>>()
            .join("\n")
    });
    // The rest went in; a script should still notice.
    Ok(if told.refused > 0 {
        ExitCode::from(1)
    } else {
        ExitCode::SUCCESS
    })
}

/// What became of files, for people and for programs.
pub struct Told {
    pub lines: Vec<String>,
    pub values: Vec<Value>,
    pub added: usize,
    pub refused: usize,
}

impl Told {
    pub fn of(job: &Job<'_>, outcomes: &[PhotoOutcome]) -> Result<Self> {
        let ties = ties_of(job)?;
        let mut told = Self {
            lines: Vec::new(),
            values: Vec::new(),
            added: 0,
            refused: 0,
        };
        for outcome in outcomes {
            told.one(outcome, &ties);
        }
        Ok(told)
    }

    fn one(&mut self, outcome: &PhotoOutcome, ties: &Ties) {
        let path = outcome.path.display().to_string();
        let name = super::file_name(&outcome.path);
        match &outcome.result {
            PhotoResult::Added {
                id,
                remarks,
                clock_off,
            } => {
                self.added += 1;
                let tie = ties.of(id).map(|t| &t.tie);
                let belongs = tie.map(tie_words).unwrap_or_default();
                self.lines.push(format!("{name}: {belongs}"));
                self.lines
                    .extend(clock_off.map(|off| format!("  {}", timecode::clock_words(off))));
                self.lines.extend(remarks.iter().map(|r| format!("  {r}")));
                self.values.push(json!({
                    "file": path, "id": id, "result": "added", "tie": tie, "remarks": remarks,
                    "clock_off_s": clock_off.map(|off| off.as_secs_f64()),
                }));
            }
            PhotoResult::Already { id } => {
                let short = id.short();
                self.lines
                    .push(format!("{name}: already in ({short}), nothing to do"));
                self.values
                    .push(json!({ "file": path, "id": id, "result": "already" }));
            }
            PhotoResult::Refused(error) => {
                self.refused += 1;
                self.lines.push(format!("not taken in: {error}"));
                self.values
                    .push(json!({ "file": path, "result": "refused", "why": error.to_string() }));
            }
        }
    }
}

pub fn ties_of(job: &Job<'_>) -> Result<Ties> {
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
        Tie::NoTime => "no time".into(),
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
