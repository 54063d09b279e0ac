//! `datumtrail open`

use std::process::ExitCode;

use datumtrail_core::Result;
use datumtrail_core::shop::{NotWhole, OpenOptions, Opened};

use super::Context;
use crate::args::Open;
use crate::output;
use crate::show;

/// How many photos or faults are named.
const NAMED: usize = 20;

pub async fn run(context: &Context, asked: Open) -> Result<ExitCode> {
    let options = OpenOptions {
        damaged: asked.damaged,
    };
    let opened = context.shop.open_archive(&asked.file, options).await?;
    output::either(context.json, &opened, || show::wrapped(&report(&opened)));
    Ok(ExitCode::SUCCESS)
}

fn report(opened: &Opened) -> Vec<String> {
    let mut lines = vec![match (opened.merged, opened.changes) {
        (false, n) => format!(
            "Opened «{}»: {n} changes of its history. Commands work on it from now on.",
            opened.name
        ),
        (true, 0) => format!(
            "«{}» is here already, and the archive brings nothing new.",
            opened.name
        ),
        (true, n) => format!(
            "Merged the archive into «{}», which is here already: {n} new changes. Nothing of \
             either was lost.",
            opened.name
        ),
    }];
    lines.push(format!(
        "Original photos: {} taken in, {} here before; all on this disk.",
        opened.originals, opened.already
    ));
    named(
        &mut lines,
        "Of these photos the archive has copies only. They are kept apart, and the originals are \
         to be had from the shop that took them:",
        &opened.copies,
    );
    named(
        &mut lines,
        "Of these photos there is nothing:",
        &opened.missing,
    );
    if !opened.damage.is_empty() {
        lines.push("The archive is damaged; what was whole was taken:".into());
        lines.extend(opened.damage.iter().take(NAMED).map(|d| format!("  - {d}")));
        let more = opened.damage.len().saturating_sub(NAMED);
        if more > 0 {
            lines.push(format!("  - and {more} more"));
        }
    }
    lines
}

fn named(lines: &mut Vec<String>, head: &str, photos: &[NotWhole]) {
    if photos.is_empty() {
        return;
    }
    lines.push(head.to_owned());
    let shown = photos.iter().take(NAMED);
    lines.extend(shown.map(|photo| format!("  - {}: {}", photo.name, photo.why)));
    let more = photos.len().saturating_sub(NAMED);
    if more > 0 {
        lines.push(format!("  - and {more} more"));
    }
}
