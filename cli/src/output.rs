//! Printing: JSON for programs or text for people. A reader that goes away is not an error.
//!
//! What is printed goes to this terminal, or, where the command came from another process, to that
//! one's.

use std::io::{BufRead, Write};
use std::sync::Arc;

use serde::Serialize;
use tokio::sync::Mutex;
use tokio::sync::mpsc::{UnboundedReceiver, UnboundedSender};

use crate::carry::Said;

tokio::task_local! {
    static WIRE: Wire;
}

/// The way to the terminal of a process that asked.
#[derive(Clone)]
pub struct Wire {
    say: UnboundedSender<Said>,
    answers: Arc<Mutex<UnboundedReceiver<Option<String>>>>,
}

impl Wire {
    pub fn new(say: UnboundedSender<Said>, answers: UnboundedReceiver<Option<String>>) -> Self {
        Self {
            say,
            answers: Arc::new(Mutex::new(answers)),
        }
    }

    /// Runs a command whose prints go this way.
    pub async fn carry<F: Future>(self, command: F) -> F::Output {
        WIRE.scope(self, command).await
    }
}

/// Whether the command came from another process.
pub fn is_carried() -> bool {
    WIRE.try_with(|_| ()).is_ok()
}

/// Prints text, a line or many.
pub fn text(text: impl AsRef<str>) {
    let line = format!("{}\n", text.as_ref().trim_end());
    let carried = WIRE.try_with(|wire| wire.say.send(Said::Out(line.clone())));
    if carried.is_err() {
        let _ = std::io::stdout().lock().write_all(line.as_bytes());
    }
}

/// Prints an error.
pub fn error(text: &str) {
    let carried = WIRE.try_with(|wire| wire.say.send(Said::Err(text.to_owned())));
    if carried.is_err() {
        eprintln!("{text}");
    }
}

/// Prints JSON or text, whichever is asked for.
pub fn either<T: Serialize>(json: bool, value: &T, people: impl FnOnce() -> String) {
    if json {
        match serde_json::to_string_pretty(value) {
            Ok(body) => text(body),
            Err(e) => error(&format!("datumtrail: internal error: {e}")),
        }
    } else {
        text(people());
    }
}

/// Asks the person; none at the end of input.
pub async fn ask(question: &str) -> std::io::Result<Option<String>> {
    let Ok(wire) = WIRE.try_with(Wire::clone) else {
        return ask_here(question);
    };
    let gone = || std::io::Error::other("who asked has gone");
    let question = Said::Ask(question.to_owned());
    wire.say.send(question).map_err(|_| gone())?;
    wire.answers.lock().await.recv().await.ok_or_else(gone)
}

/// Asks at this terminal.
pub fn ask_here(question: &str) -> std::io::Result<Option<String>> {
    let mut out = std::io::stdout().lock();
    let _ = out.write_all(question.as_bytes());
    let _ = out.flush();
    let mut line = String::new();
    let read = std::io::stdin().lock().read_line(&mut line)?;
    Ok((read > 0).then_some(line))
}
