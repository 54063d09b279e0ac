//! `datumtrail sync`

use std::process::ExitCode;

use datumtrail_core::error::{Error, Result};

use super::Context;
use crate::carry::Owner;
use crate::output;

pub async fn run(context: &Context) -> Result<ExitCode> {
    if output::is_carried() {
        return Err(Error::Invalid {
            what: "the shop is already being shared by another process".into(),
            todo: "leave that one running, or stop it with Ctrl-C first".into(),
        });
    }
    let _owner = Owner::listen(&context.shop)?;
    output::text("Sharing. Ctrl-C ends it; other commands go on working.");
    let _ = tokio::signal::ctrl_c().await;
    Ok(ExitCode::SUCCESS)
}
