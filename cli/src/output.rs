//! Printing: JSON for programs or text for people. A reader that goes away is not an error.

use std::io::Write;

use serde::Serialize;

/// Prints text, a line or many.
pub fn text(text: impl AsRef<str>) {
    let mut out = std::io::stdout().lock();
    let _ = writeln!(out, "{}", text.as_ref().trim_end());
}

/// Prints JSON or text, whichever is asked for.
pub fn either<T: Serialize>(json: bool, value: &T, people: impl FnOnce() -> String) {
    if json {
        match serde_json::to_string_pretty(value) {
            Ok(body) => text(body),
            Err(e) => eprintln!("datumtrail: internal error: {e}"),
        }
    } else {
        text(people());
    }
}
