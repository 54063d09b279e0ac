//! `datumtrail export`

use std::path::Path;
use std::process::ExitCode;

use datumtrail_core::Result;
use datumtrail_core::archive::{ExportOptions, PaperSize};
use serde_json::json;

use super::Context;
use crate::args::Paper;
use crate::output;
use crate::show::{WIDTH, wrap};

pub async fn run(
    context: &Context,
    out: &Path,
    with_location: bool,
    paper: Paper,
) -> Result<ExitCode> {
    let job = context.job().await?;
    let options = ExportOptions {
        with_location,
        paper: match paper {
            Paper::A4 => PaperSize::A4,
            Paper::Letter => PaperSize::Letter,
        },
        ..ExportOptions::default()
    };
    let done = job.export(out, &options, |_, _| {}).await?;
    let value = json!({
        "path": done.path,
        "files": done.files,
        "bytes": done.bytes,
        "photos": done.photos,
        "left_out": done.left_out,
        "manifest_sha512": done.manifest_sha512,
    });
    output::either(context.json, &value, || {
        let left_out: Vec<String> = done
            .left_out
            .iter()
            .map(|photo| format!("\nLeft out: {}: {}.", photo.name, photo.why))
            .collect();
        wrap(
            &format!(
                "Wrote {} ({} files, {:.1} MB, {} photos).\n\
                 Unpack it and open timeline.html in any browser. To check every byte: \
                 datumtrail verify {}{}",
                done.path.display(),
                done.files,
                done.bytes as f64 / 1e6,
                done.photos,
                done.path.display(),
                left_out.concat()
            ),
            WIDTH,
            "",
        )
    });
    Ok(ExitCode::SUCCESS)
}
