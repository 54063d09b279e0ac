//! What travels: JSON, one message a line.

use std::ffi::OsString;
use std::io;
use std::path::PathBuf;

use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use tokio::io::{AsyncBufRead, AsyncBufReadExt, AsyncReadExt, AsyncWrite, AsyncWriteExt};

/// No message is longer: a table of readings as JSON is far below.
const LONGEST: u64 = 256 << 20;

/// What was typed, and where.
#[derive(Debug, Serialize, Deserialize)]
pub struct Request {
    /// Two versions of the program don't talk to each other.
    pub version: String,
    pub typed: Vec<OsString>,
    pub folder: PathBuf,
    pub person: Option<String>,
    pub job: Option<String>,
}

/// What the owner says.
#[derive(Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Said {
    /// Prints this.
    Out(String),
    /// Prints this as an error.
    Err(String),
    /// Prints this and waits for a line.
    Ask(String),
    /// It is done, with this exit code.
    Done(u8),
}

/// What the asking side answers: a line, or that there is none.
#[derive(Debug, Serialize, Deserialize)]
pub struct Answer(pub Option<String>);

/// Sends one message.
pub async fn send<T: Serialize>(to: &mut (impl AsyncWrite + Unpin), message: &T) -> io::Result<()> {
    let mut line = serde_json::to_vec(message)?;
    line.push(b'\n');
    to.write_all(&line).await?;
    to.flush().await
}

/// Receives one; none where the other side has gone.
pub async fn receive<T: DeserializeOwned>(
    from: &mut (impl AsyncBufRead + Unpin),
) -> io::Result<Option<T>> {
    let mut line = Vec::new();
    let read = from.take(LONGEST).read_until(b'\n', &mut line).await?;
    if read == 0 {
        return Ok(None);
    }
    Ok(Some(serde_json::from_slice(&line)?))
}
