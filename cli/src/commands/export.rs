//! `datumtrail export`

use std::process::ExitCode;

use datumtrail_core::Result;
use datumtrail_core::archive::ExportOptions;
use serde_json::json;

use super::Context;
use crate::args::Export;
use crate::output;
use crate::show::{WIDTH, wrap};

pub async fn run(context: &Context, asked: Export) -> Result<ExitCode> {
    let job = context.job().await?;
    let options = ExportOptions {
        with_location: asked.with_location,
        allow_missing: asked.allow_missing,
        ..ExportOptions::default()
    };
    let done = job.export(&asked.out, &options, |_, _| {}).await?;
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
