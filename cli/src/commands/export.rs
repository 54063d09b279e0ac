//! `datumtrail export`

use std::process::ExitCode;

use datumtrail_core::Result;
use datumtrail_core::archive::{ExportOptions, PaperSize, Reader};
use serde_json::json;

use super::Context;
use crate::args::{Export, For, Paper};
use crate::output;
use crate::show::{WIDTH, wrap, wrapped};

pub async fn run(context: &Context, asked: Export) -> Result<ExitCode> {
    let job = context.job().await?;
    let options = ExportOptions {
        with_location: asked.with_location,
        allow_missing: asked.allow_missing,
        paper: match asked.paper {
            Paper::A4 => PaperSize::A4,
            Paper::Letter => PaperSize::Letter,
        },
        reader: match asked.reader {
            None => Reader::Record,
            Some(For::Shop) => Reader::Shop,
            Some(For::Insurer) => Reader::Insurer,
            Some(For::Owner) => Reader::Owner,
        },
        ..ExportOptions::default()
    };
    let done = job.export(&asked.out, &options, |_, _| {}).await?;
    let value = json!({
        "path": done.path,
        "files": done.files,
        "bytes": done.bytes,
        "photos": done.photos,
        "left_out": done.left_out,
        "copy": done.copy,
        "manifest_sha512": done.manifest_sha512,
    });
    output::either(context.json, &value, || {
        let left_out: Vec<String> = done
            .left_out
            .iter()
            .map(|photo| format!("\nLeft out: {}: {}.", photo.name, photo.why))
            .collect();
        let mut more = vec![done.copy.words.clone()];
        if done.copy.reader.is_reduced() {
            more.push("Left out, as the copy itself says:".into());
            more.extend(done.copy.lines().iter().map(|line| format!("  - {line}")));
        } else if done.internal_notes > 0 {
            more.push(format!(
                "It has {} for the shop alone. For others: --for insurer, or --for owner.",
                match done.internal_notes {
                    1 => "1 note".into(),
                    n => format!("{n} notes"),
                }
            ));
        }
        let wrote = wrap(
            &format!(
                "Wrote {} ({} files, {:.1} MB, {} photos).\n\
                 Open data/timeline.html in any browser; a zip has to be unpacked first. To check \
                 every byte: datumtrail verify {}{}",
                done.path.display(),
                done.files,
                done.bytes as f64 / 1e6,
                done.photos,
                done.path.display(),
                left_out.concat()
            ),
            WIDTH,
            "",
        );
        format!("{wrote}\n{}", wrapped(&more))
    });
    Ok(ExitCode::SUCCESS)
}
