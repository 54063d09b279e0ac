//! The command line: one file a command, no thinking of its own.

mod args;
mod carry;
mod commands;
mod output;
mod show;

use std::process::ExitCode;

use clap::Parser;

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
        Err(error) => ExitCode::from(commands::report(&error, json)),
    }
}
