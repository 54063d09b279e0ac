//! The command line: one file a command, no thinking of its own.

mod args;
mod commands;
mod output;
mod show;

use std::process::ExitCode;

use clap::Parser;
use datumtrail_core::error::{Blame, Error};

fn main() -> ExitCode {
    let args = args::Args::parse();
    tracing_subscriber::fmt()
        .with_env_filter(
            tracing_subscriber::EnvFilter::try_from_env("DATUMTRAIL_LOG")
                .unwrap_or_else(|_| tracing_subscriber::EnvFilter::new("off")),
        )
        .with_writer(std::io::stderr)
        .init();
    let runtime = match tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build()
    {
        Ok(runtime) => runtime,
        Err(e) => {
            eprintln!("datumtrail: the program could not start: {e}");
            return ExitCode::from(1);
        }
    };
    let json = args.json;
    match runtime.block_on(commands::run(args)) {
        Ok(code) => code,
        Err(error) => report(&error, json),
    }
}

/// Says what happened and what to do, and gives the exit code.
fn report(error: &Error, json: bool) -> ExitCode {
    if json {
        let body = serde_json::json!({
            "error": {
                "code": error.code(),
                "message": error.to_string(),
                "details": commands::details(error),
                "todo": error.todo(),
            }
        });
        eprintln!("{body}");
    } else {
        eprintln!("{}", show::error(error));
    }
    ExitCode::from(match error.blame() {
        Blame::User => 1,
        Blame::Damage => 3,
    })
}
