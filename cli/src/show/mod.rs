//! How results look in a terminal: words for directions, shapes for verdicts, 80 columns, no need
//! for colour.

pub mod check;
pub mod table;

use datumtrail_core::error::Error;

use crate::commands;

/// The width that everything fits.
pub const WIDTH: usize = 80;

/// Printed wherever a result could send someone to weld, pull or drive.
pub const CAUTION: &str = "Datumtrail certifies nothing. Follow the vehicle maker's repair \
    procedure and the law where you are. A verdict about position says nothing about weld quality, corrosion protection, restraint \
    systems or high-voltage safety.";

/// An error for people: what happened, the particulars, what to do.
pub fn error(error: &Error) -> String {
    let mut lines = Vec::new();
    let details = commands::details(error);
    match error {
        Error::Held { hold, stage, .. } => {
            lines.push(format!(
                "datumtrail: {stage} stays shut: the hold point «{hold}» is closed. Missing:"
            ));
        }
        _ => lines.push(format!("datumtrail: {error}")),
    }
    if details.len() > 1 || matches!(error, Error::Held { .. }) {
        lines.extend(details.iter().map(|d| format!("  - {d}")));
    }
    lines.push(format!(
        "What to do: {}.",
        error.todo().trim_end_matches('.')
    ));
    wrapped(&lines)
}

/// Lines that fit; what follows a dash stands below the words behind it.
pub fn wrapped(lines: &[String]) -> String {
    let wrapped: Vec<String> = lines
        .iter()
        .map(|line| {
            let indent = if line.starts_with("  - ") { "    " } else { "" };
            wrap(line, WIDTH, indent)
        })
        .collect();
    wrapped.join("\n")
}

/// Breaks text at spaces so that no line is longer than `width`; further lines are indented.
pub fn wrap(text: &str, width: usize, indent: &str) -> String {
    let mut out = String::new();
    for (n, paragraph) in text.split('\n').enumerate() {
        if n > 0 {
            out.push('\n');
        }
        let lead: String = paragraph.chars().take_while(|c| *c == ' ').collect();
        let mut line = lead.clone();
        let mut empty = true;
        for word in paragraph.split_whitespace() {
            let longer = line.chars().count() + usize::from(!empty) + word.chars().count();
            if !empty && longer > width {
                out.push_str(&line);
                out.push('\n');
                line = indent.to_owned();
                empty = true;
            }
            if !empty {
                line.push(' ');
            }
            line.push_str(word);
            empty = false;
        }
        out.push_str(&line);
    }
    out
}

/// A heading with a line under it.
pub fn heading(text: &str) -> String {
    format!("{text}\n{}", "─".repeat(text.chars().count().min(WIDTH)))
}

/// A time of the document as people read it: 2026-03-04 14:03.
pub fn time(text: &str) -> String {
    let mut short: String = text.chars().take(16).collect();
    if let Some(at) = short.find('T') {
        short.replace_range(at..=at, " ");
    }
    short
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn wrapped_lines_fit_and_lose_nothing() {
        let text =
            "  - the end section sits 7.4 mm too far forward, and everything else is in place";
        let wrapped = wrap(text, 30, "    ");
        assert!(
            wrapped.lines().all(|l| l.chars().count() <= 30),
            "{wrapped}"
        );
        let words = |t: &str| t.split_whitespace().map(str::to_owned).collect::<Vec<_>>();
        assert_eq!(words(&wrapped), words(text));
    }
}
