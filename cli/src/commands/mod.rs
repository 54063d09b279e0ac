//! One file a command.

mod check;
mod compare;
mod damage;
mod demo;
mod export;
mod hold;
mod job;
mod movement;
mod note;
mod part;
mod photo;
mod plan;
mod setup;
mod sheet;
mod stage;
mod survey;
mod tram;
mod verify;
mod withdraw;

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use datumtrail_core::error::{Error, Result};
use datumtrail_core::shop::{PhotoOptions, Shop, ShopOptions};

use crate::args::{Args, Command, Photo};

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
            ..ShopOptions::default()
        };
        Ok(Context {
            shop: Shop::open(&self.folder, options).await?,
            job: self.job.clone(),
            json: self.json,
        })
    }
}

/// Carries out what was typed.
pub async fn run(args: Args) -> Result<ExitCode> {
    let person = args.person.clone();
    // Two commands need no shop.
    match args.command {
        Command::Demo { out } => return demo::run(out, args.json).await,
        Command::Verify { file } => return verify::run(&file, args.json),
        _ => {}
    }
    let opening = Opening {
        folder: match args.shop {
            Some(folder) => folder,
            None => default_shop()?,
        },
        person,
        job: args.job,
        json: args.json,
    };
    if let Command::Photo(Photo::Watch { dir, camera, once }) = args.command {
        let options = PhotoOptions {
            stage: None,
            camera,
        };
        return photo::watch::run(&opening, &dir, &options, once).await;
    }
    let context = opening.open().await?;
    let outcome = match args.command {
        Command::Job(command) => job::run(&context, command).await,
        Command::Sheet(command) => sheet::run(&context, command).await,
        Command::Part(command) => part::run(&context, command).await,
        Command::Plan(command) => plan::run(&context, command).await,
        Command::Stage(command) => stage::run(&context, command).await,
        Command::Survey(command) => survey::run(&context, command).await,
        Command::Setup(command) => setup::run(&context, command).await,
        Command::Check(asked) => check::run(&context, asked).await,
        Command::Damage { survey } => damage::run(&context, survey.as_deref()).await,
        Command::Move(asked) => movement::run(&context, asked).await,
        Command::Compare {
            before,
            after,
            refs,
        } => compare::run(&context, &before, &after, &refs).await,
        Command::Tram(command) => tram::run(&context, command).await,
        Command::Hold(command) => hold::run(&context, command).await,
        Command::Photo(command) => photo::run(&context, command).await,
        Command::Note(command) => note::run(&context, command).await,
        Command::Withdraw { id, reason } => withdraw::run(&context, &id, &reason).await,
        Command::Export {
            out,
            with_location,
            paper,
        } => export::run(&context, &out, with_location, paper).await,
        Command::Demo { .. } | Command::Verify { .. } => Ok(ExitCode::SUCCESS),
    };
    context.shop.close().await;
    outcome
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
