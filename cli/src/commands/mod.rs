//! One file a command.

mod check;
mod compare;
mod conflicts;
mod crew;
mod damage;
mod demo;
mod export;
mod hold;
mod job;
mod movement;
mod note;
mod open;
mod part;
mod photo;
mod plan;
mod seal;
mod setup;
mod sheet;
mod stage;
mod survey;
mod sync;
mod tram;
mod verify;
mod withdraw;

use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::{Duration, Instant};

use clap::Parser;
use datumtrail_core::crew::NetOptions;
use datumtrail_core::error::{Blame, Error, Result};
use datumtrail_core::shop::{PhotoOptions, Shop, ShopOptions};

use crate::args::{Args, Command, Photo};
use crate::carry::{self, Request};
use crate::{output, show};

/// What every command that needs a shop gets.
pub struct Context {
    pub shop: Shop,
    pub job: Option<String>,
    pub json: bool,
}

impl Context {
    /// The job that the person means.
    pub async fn job(&self) -> Result<datumtrail_core::shop::Job<'_>> {
        self.shop.job(self.job.as_deref()).await
    }
}

/// How to open the shop that the person means.
pub struct Opening {
    pub folder: PathBuf,
    pub person: Option<String>,
    pub job: Option<String>,
    pub json: bool,
}

impl Opening {
    pub async fn open(&self) -> Result<Context> {
        let options = ShopOptions {
            person: self.person.clone(),
            device_name: host_name(),
            // Tests of several devices on one machine stay on it.
            net: match std::env::var_os("DATUMTRAIL_LOOPBACK") {
                Some(_) => NetOptions::loopback(),
                None => NetOptions::default(),
            },
            ..ShopOptions::default()
        };
        Ok(Context {
            shop: Shop::open(&self.folder, options).await?,
            job: self.job.clone(),
            json: self.json,
        })
    }

    /// Lets the process that has the shop do what was typed; `None` if it takes no commands.
    pub async fn carry(&self) -> Option<Result<ExitCode>> {
        carry::carry(&self.folder, self.person.clone(), self.job.clone()).await
    }
}

/// How long another command that has the shop is waited for: most are done in a moment.
const PATIENCE: Duration = Duration::from_secs(2);

/// Carries out what was typed, here or in the process that has the shop.
pub async fn run(args: Args) -> Result<ExitCode> {
    // Some commands need no shop.
    match args.command {
        Command::Demo { out } => return demo::run(out, args.json).await,
        Command::Verify { file } => return verify::run(&file, args.json),
        Command::Photo(Photo::Timecode { once }) => {
            photo::timecode::run(args.json, once).await;
            return Ok(ExitCode::SUCCESS);
        }
        _ => {}
    }
    let opening = Opening {
        folder: match args.shop {
            Some(folder) => folder,
            None => default_shop()?,
        },
        person: args.person,
        job: args.job,
        json: args.json,
    };
    if let Command::Photo(Photo::Watch { dir, camera, once }) = args.command {
        let options = PhotoOptions {
            stage: None,
            camera,
        };
        return photo::watch::run(&Door::Opens(&opening), &dir, &options, once).await;
    }
    let began = Instant::now();
    let context = loop {
        match opening.open().await {
            Err(Error::ShopInUse { .. }) if began.elapsed() < PATIENCE => {
                if let Some(outcome) = opening.carry().await {
                    return outcome;
                }
                tokio::time::sleep(Duration::from_millis(50)).await;
            }
            opened => break opened?,
        }
    };
    let outcome = dispatch(&context, args.command).await;
    context.shop.close().await;
    outcome
}

/// Carries out what was typed in another process; what it prints goes there. Gives the exit code.
pub async fn run_carried(shop: &Shop, request: Request) -> u8 {
    let mut args = match Args::try_parse_from(&request.typed) {
        Ok(args) => args,
        Err(e) => {
            output::error(&e.to_string());
            return 2;
        }
    };
    args.seen_from(&request.folder);
    let context = Context {
        shop: shop.for_person(request.person),
        job: request.job,
        json: args.json,
    };
    match dispatch(&context, args.command).await {
        Ok(code) => (0..=u8::MAX)
            .find(|n| ExitCode::from(*n) == code)
            .unwrap_or(1),
        Err(error) => report(&error, context.json),
    }
}

async fn dispatch(context: &Context, command: Command) -> Result<ExitCode> {
    match command {
        Command::Job(command) => job::run(context, command).await,
        Command::Sheet(command) => sheet::run(context, command).await,
        Command::Part(command) => part::run(context, command).await,
        Command::Plan(command) => plan::run(context, command).await,
        Command::Stage(command) => stage::run(context, command).await,
        Command::Survey(command) => survey::run(context, command).await,
        Command::Setup(command) => setup::run(context, command).await,
        Command::Check(asked) => check::run(context, asked).await,
        Command::Damage { survey } => damage::run(context, survey.as_deref()).await,
        Command::Move(asked) => movement::run(context, asked).await,
        Command::Compare {
            before,
            after,
            refs,
        } => compare::run(context, &before, &after, &refs).await,
        Command::Tram(command) => tram::run(context, command).await,
        Command::Hold(command) => hold::run(context, command).await,
        Command::Photo(Photo::Watch { dir, camera, once }) => {
            let options = PhotoOptions {
                stage: None,
                camera,
            };
            photo::watch::run(&Door::Open(context), &dir, &options, once).await
        }
        Command::Photo(command) => photo::run(context, command).await,
        Command::Note(command) => note::run(context, command).await,
        Command::Crew(command) => crew::run(context, command).await,
        Command::Sync(asked) => sync::run(context, &asked).await,
        Command::Withdraw { id, reason } => withdraw::run(context, &id, &reason).await,
        Command::Seal(asked) => seal::run(context, asked).await,
        Command::Open(asked) => open::run(context, asked).await,
        Command::Export(asked) => export::run(context, asked).await,
        // These need no shop and were carried out before one was opened.
        Command::Demo { .. } | Command::Verify { .. } => Ok(ExitCode::SUCCESS),
    }
}

/// A way to the shop for a command that stays for long.
pub enum Door<'a> {
    /// Opens it each time, and lets go of it, so that others can have it in between.
    Opens(&'a Opening),
    /// It is open, and stays so.
    Open(&'a Context),
}

impl Door<'_> {
    pub fn json(&self) -> bool {
        match self {
            Door::Opens(opening) => opening.json,
            Door::Open(context) => context.json,
        }
    }
}

/// Says what happened and what to do, and gives the exit code.
pub fn report(error: &Error, json: bool) -> u8 {
    if json {
        let body = serde_json::json!({
            "error": {
                "code": error.code(),
                "message": error.to_string(),
                "details": details(error),
                "todo": error.todo(),
            }
        });
        output::error(&body.to_string());
    } else {
        output::error(&show::error(error));
    }
    match error.blame() {
        Blame::User => 1,
        Blame::Damage => 3,
    }
}

/// What an error has to say beyond its one line.
pub fn details(error: &Error) -> Vec<String> {
    match error {
        Error::Held { missing, .. } => missing.clone(),
        Error::Table { source, .. } => source.problems().iter().map(|p| p.to_string()).collect(),
        _ => Vec::new(),
    }
}

/// Reads a file that the person named.
pub fn read(path: &Path) -> Result<Vec<u8>> {
    std::fs::read(path).map_err(|e| Error::io(path, e))
}

/// Writes a new file; one that is there is never overwritten.
pub fn save(file: &Path, bytes: &[u8]) -> Result<()> {
    use std::io::Write;
    let mut out = std::fs::OpenOptions::new()
        .write(true)
        .create_new(true)
        .open(file)
        .map_err(|e| Error::io(file, e))?;
    out.write_all(bytes).map_err(|e| Error::io(file, e))
}

/// A file's own name.
pub fn file_name(path: &Path) -> String {
    path.file_name()
        .map_or_else(String::new, |n| n.to_string_lossy().into_owned())
}

/// The platform's data folder: `$XDG_DATA_HOME`, `~/.local/share`, `~/Library/Application Support`
/// or `%APPDATA%`.
fn default_shop() -> Result<PathBuf> {
    let from = |name: &str| {
        std::env::var_os(name)
            .filter(|v| !v.is_empty())
            .map(PathBuf::from)
    };
    let data = if cfg!(windows) {
        from("APPDATA")
    } else if cfg!(target_os = "macos") {
        from("HOME").map(|home| home.join("Library/Application Support"))
    } else {
        from("XDG_DATA_HOME").or_else(|| from("HOME").map(|home| home.join(".local/share")))
    };
    data.map(|data| data.join("datumtrail"))
        .ok_or_else(|| Error::Invalid {
            what: "there is no data folder for this user".into(),
            todo: "name a shop folder with --shop DIR".into(),
        })
}

fn host_name() -> Option<String> {
    let name = std::fs::read_to_string("/etc/hostname")
        .ok()
        .or_else(|| std::env::var("COMPUTERNAME").ok())
        .or_else(|| std::env::var("HOSTNAME").ok())?;
    let name = name.trim();
    (!name.is_empty()).then(|| name.chars().take(40).collect())
}
