//! `datumtrail verify`

use std::path::Path;
use std::process::ExitCode;

use datumtrail_core::Result;
use datumtrail_core::archive;

use crate::output;
use crate::show::{WIDTH, wrap};

pub fn run(file: &Path, json: bool) -> Result<ExitCode> {
    let report = archive::verify(file)?;
    output::either(json, &report, || {
        let mut lines: Vec<String> = Vec::new();
        if report.is_whole() {
            lines.push(format!(
                "{} is whole: every byte is as it was written.",
                file.display()
            ));
        } else {
            lines.push(format!("{} is not what was written:", file.display()));
            lines.extend(report.bag.problems.iter().map(|p| format!("  - {p}")));
            lines.extend(
                report
                    .findings
                    .iter()
                    .map(|f| format!("  - {}: {}", f.place(), f.detail)),
            );
        }
        match &report.signature {
            Some(by) => lines.push(format!(
                "Signed as a whole by {}, whose key is {}. Compare that with the one the shop tells \
                 you by another way.",
                by.principal, by.key
            )),
            None => lines.push("No signature over the whole holds.".into()),
        }
        for seal in &report.seals {
            lines.push(format!("Seal: {}", seal.words));
            lines.extend(seal.changes.iter().map(|change| format!("  - {change}")));
        }
        lines.extend(report.notes.iter().map(|n| format!("Note: {n}")));
        lines
            .iter()
            .map(|l| wrap(l, WIDTH, "    "))
            .collect::<Vec<_>>()
            .join("\n")
    });
    Ok(if report.is_whole() {
        ExitCode::SUCCESS
    } else {
        ExitCode::from(3)
    })
}
