//! `datumtrail withdraw`

use std::process::ExitCode;

use datumtrail_core::Result;
use serde_json::json;

use super::Context;
use crate::output;

pub async fn run(context: &Context, id: &str, reason: &str) -> Result<ExitCode> {
    let target = context.job().await?.withdraw(id, reason).await?;
    output::either(context.json, &json!({ "withdrawn": target }), || {
        format!(
            "Withdrew {}. It stays on record with the reason.",
            target.short()
        )
    });
    Ok(ExitCode::SUCCESS)
}
