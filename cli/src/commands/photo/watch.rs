//! `datumtrail photo watch`
//!
//! The shop is opened only while photos are taken in, so that other commands go on working.

use std::collections::HashSet;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::{Duration, Instant};

use datumtrail_core::error::{Error, Result};
use datumtrail_core::photo::watch::{Event, Settings, Watch};
use datumtrail_core::shop::PhotoOptions;
use serde_json::json;

use super::Told;
use crate::commands::{Context, Door, Opening, file_name};
use crate::output;
use crate::show::{WIDTH, wrap};

/// How long a shop that another command has open is waited for.
const PATIENCE: Duration = Duration::from_secs(600);
/// With `--once`: nothing has come for so long, so everything that was there is in.
const QUIET: Duration = Duration::from_secs(5);
/// Photos that arrive together are taken in together.
const TOGETHER: Duration = Duration::from_millis(300);

pub async fn run(
    door: &Door<'_>,
    dir: &Path,
    options: &PhotoOptions,
    once: bool,
) -> Result<ExitCode> {
    let known = match door {
        Door::Open(context) => known(context).await?,
        Door::Opens(opening) => match patiently(opening).await? {
            Found::Carried(code) => return Ok(code),
            Found::Shop(context) => {
                let known = known(&context).await;
                context.shop.close().await;
                known?
            }
        },
    };
    let watch = Watch::start(dir, known, Settings::default()).map_err(|e| Error::Invalid {
        what: e.to_string(),
        todo: "name a folder that is there and may be read".into(),
    })?;
    if !door.json() {
        let text = format!("Watching {}. Ctrl-C ends it.", dir.display());
        output::text(wrap(&text, WIDTH, ""));
    }
    // The watcher's own thread waits; this one takes in what it finds.
    let (tell, mut arrived) = tokio::sync::mpsc::unbounded_channel();
    let waiting = tokio::task::spawn_blocking(move || {
        while !tell.is_closed() {
            if let Some(event) = watch.next(Duration::from_millis(200))
                && tell.send(event).is_err()
            {
                return;
            }
        }
    });
    let mut failed = false;
    let mut last = Instant::now();
    loop {
        let event = tokio::select! {
            event = arrived.recv() => event,
            () = tokio::time::sleep(QUIET) => {
                if once && last.elapsed() >= QUIET {
                    break;
                }
                continue;
            }
            _ = tokio::signal::ctrl_c() => break,
        };
        let Some(event) = event else { break };
        last = Instant::now();
        tokio::time::sleep(TOGETHER).await;
        let mut paths = Vec::new();
        let mut next = Some(event);
        while let Some(event) = next {
            failed |= say(door.json(), event, &mut paths);
            next = arrived.try_recv().ok();
        }
        if !paths.is_empty() {
            match take_in(door, paths, options).await? {
                Taken::In { refused } => failed |= refused,
                Taken::Carried(code) => return Ok(code),
            }
        }
    }
    drop(arrived);
    let _ = waiting.await;
    Ok(match failed {
        true => ExitCode::from(1),
        false => ExitCode::SUCCESS,
    })
}

/// What arrived goes to the paths; the rest is told. Whether something went wrong.
fn say(json: bool, event: Event, paths: &mut Vec<PathBuf>) -> bool {
    match event {
        Event::Arrived { path, .. } => {
            paths.push(path);
            return false;
        }
        Event::Known { path, .. } => {
            let value = json!({ "file": path, "result": "already" });
            output::either(json, &value, || {
                format!("{}: already in, nothing to do", file_name(&path))
            });
            return false;
        }
        Event::Unreadable { path, why } => {
            let value = json!({ "file": path, "result": "refused", "why": why.to_string() });
            output::either(json, &value, || {
                wrap(&format!("{}: {why}", path.display()), WIDTH, "  ")
            });
        }
        Event::FolderLost { why } => {
            let value = json!({ "result": "folder_lost", "why": why.to_string() });
            output::either(json, &value, || {
                wrap(
                    &format!("The folder can't be read ({why}); trying again."),
                    WIDTH,
                    "  ",
                )
            });
        }
    }
    true
}

/// What became of photos that arrived.
enum Taken {
    In {
        refused: bool,
    },
    /// Another process took over the watching, and ended with this.
    Carried(ExitCode),
}

async fn take_in(door: &Door<'_>, paths: Vec<PathBuf>, options: &PhotoOptions) -> Result<Taken> {
    let told = match door {
        Door::Open(context) => take_into(context, paths, options).await?,
        Door::Opens(opening) => match patiently(opening).await? {
            Found::Carried(code) => return Ok(Taken::Carried(code)),
            Found::Shop(context) => {
                let told = take_into(&context, paths, options).await;
                context.shop.close().await;
                told?
            }
        },
    };
    output::either(door.json(), &json!({ "photos": told.values }), || {
        let lines: Vec<String> = told.lines.iter().map(|l| wrap(l, WIDTH, "  ")).collect();
        lines.join("\n")
    });
    Ok(Taken::In {
        refused: told.refused > 0,
    })
}

async fn take_into(context: &Context, paths: Vec<PathBuf>, options: &PhotoOptions) -> Result<Told> {
    let job = context.job().await?;
    let outcomes = job.add_photos(paths, options, |_| {}).await?;
    Told::of(&job, &outcomes)
}

async fn known(context: &Context) -> Result<HashSet<[u8; 32]>> {
    let identities = context.job().await?.photo_identities()?;
    Ok(identities.iter().filter_map(|id| id.bytes()).collect())
}

/// A shop to work on, or a process that has it and did the work.
enum Found {
    Shop(Context),
    Carried(ExitCode),
}

/// Opens the shop, waiting for whoever has it open; who keeps it open gets the work.
async fn patiently(opening: &Opening) -> Result<Found> {
    let began = Instant::now();
    loop {
        match opening.open().await {
            Err(Error::ShopInUse { .. }) if began.elapsed() < PATIENCE => {
                if let Some(outcome) = opening.carry().await {
                    return outcome.map(Found::Carried);
                }
                tokio::time::sleep(Duration::from_millis(200)).await;
            }
            outcome => return outcome.map(Found::Shop),
        }
    }
}
