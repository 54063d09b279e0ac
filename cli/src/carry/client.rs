//! The side that asks.

use std::io::Write;
use std::path::Path;
use std::process::ExitCode;

use datumtrail_core::error::{Error, Result};

use super::POINTER;
use super::wire::{Answer, Request, Said, receive, send};
use crate::output;

/// Carries what was typed to the process that has the shop. `None` if no such process listens.
#[cfg(unix)]
pub async fn carry(
    shop: &Path,
    person: Option<String>,
    job: Option<String>,
) -> Option<Result<ExitCode>> {
    use std::os::unix::fs::MetadataExt;

    let pointer = shop.join(POINTER);
    let mine = super::own_user()?;
    // Whoever else can write into the folder must not be able to hear what is said here.
    if std::fs::metadata(&pointer).ok()?.uid() != mine {
        return None;
    }
    let socket = std::fs::read_to_string(&pointer).ok()?;
    let stream = tokio::net::UnixStream::connect(socket.trim()).await.ok()?;
    if stream.peer_cred().ok()?.uid() != mine {
        return None;
    }
    let request = Request {
        version: env!("CARGO_PKG_VERSION").to_owned(),
        typed: std::env::args_os().collect(),
        folder: std::env::current_dir().ok()?,
        person,
        job,
    };
    Some(talk(stream, &request).await.map_err(|e| Error::Invalid {
        what: format!("the process that has the shop went away: {e}"),
        todo: "see whether what you asked was done, and do it again if not".into(),
    }))
}

/// Sockets of this kind are only used where files have owners.
#[cfg(not(unix))]
pub async fn carry(
    _shop: &Path,
    _person: Option<String>,
    _job: Option<String>,
) -> Option<Result<ExitCode>> {
    None
}

#[cfg(unix)]
async fn talk(stream: tokio::net::UnixStream, request: &Request) -> std::io::Result<ExitCode> {
    let (from, mut to) = stream.into_split();
    let mut from = tokio::io::BufReader::new(from);
    send(&mut to, request).await?;
    while let Some(said) = receive::<Said>(&mut from).await? {
        match said {
            Said::Out(text) => {
                let mut out = std::io::stdout().lock();
                let _ = out.write_all(text.as_bytes());
                let _ = out.flush();
            }
            Said::Err(text) => eprintln!("{text}"),
            Said::Ask(question) => {
                let line = output::ask_here(&question)?;
                send(&mut to, &Answer(line)).await?;
            }
            Said::Done(code) => return Ok(ExitCode::from(code)),
        }
    }
    Err(std::io::Error::other("no answer came to its end"))
}
