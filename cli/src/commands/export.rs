//! `datumtrail export`

use std::path::Path;
use std::process::ExitCode;

use datumtrail_core::Result;
use datumtrail_core::archive::ExportOptions;
use serde_json::json;

use super::Context;
use crate::output;
use crate::show::{WIDTH, wrap};

pub async fn run(context: &Context, out: &Path) -> Result<ExitCode> {
    let job = context.job().await?;
    let done = job
        .export(out, &ExportOptions::default(), |_, _| {})
        .await?;
    let value = json!({
        "path": done.path,
        "files": done.files,
        "bytes": done.bytes,
        "photos": done.photos,
        "manifest_sha512": done.manifest_sha512,
    });
    output::either(context.json, &value, || {
        wrap(
            &format!(
                "Wrote {} ({} files, {:.1} MB, {} photos).\n\
                 Unpack it and open timeline.html in any browser. To check every byte: \
                 datumtrail verify {}",
                done.path.display(),
                done.files,
                done.bytes as f64 / 1e6,
                done.photos,
                done.path.display()
            ),
            WIDTH,
            "",
        )
    });
    Ok(ExitCode::SUCCESS)
}
