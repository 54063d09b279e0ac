//! What can be typed about seals and archives.

use std::path::PathBuf;

use clap::{Args, Subcommand, ValueEnum};

#[derive(Debug, Args)]
#[command(
    subcommand_negates_reqs = true,
    args_conflicts_with_subcommands = true,
    after_help = "A seal is an OpenSSH signature over the stage's records and the identities of its \
                  photos. Every archive carries it, with a page that says how anyone checks it with \
                  ssh-keygen, without this program."
)]
pub struct Seal {
    /// The stage, which must be closed
    #[arg(required = true)]
    pub stage: Option<String>,
    #[command(subcommand)]
    pub command: Option<SealCommand>,
}

#[derive(Debug, Subcommand)]
pub enum SealCommand {
    /// The seals: whose, since when, whether they hold, and what was added or changed since
    List,
}

#[derive(Debug, Args)]
pub struct Export {
    /// The zip file to write, or a folder where the name does not end in .zip
    pub out: PathBuf,
    /// Whom it is for [default: the whole record, with photos that may be shown to others]
    #[arg(long = "for", value_name = "READER")]
    pub reader: Option<For>,
    /// Leave the photos' positions in; without it they stay in the shop
    #[arg(long)]
    pub with_location: bool,
    /// Go on without photos whose bytes are missing or damaged; the archive says which
    #[arg(long)]
    pub allow_missing: bool,
    /// The paper that report.pdf is laid out for
    #[arg(long, value_enum, default_value_t)]
    pub paper: Paper,
}

/// Paper sizes.
#[derive(Clone, Copy, Debug, Default, ValueEnum)]
pub enum Paper {
    #[default]
    A4,
    Letter,
}

/// Whom an archive is for.
#[derive(Clone, Copy, Debug, ValueEnum)]
pub enum For {
    /// Nothing left out, every original photo: a backup, or for a shop that carries on
    Shop,
    /// Without notes for the shop alone, history, positions, serial numbers and covered parts
    Insurer,
    /// Without devices' names, too
    Owner,
}

#[derive(Debug, Args)]
pub struct Open {
    /// The archive, a zip file or a folder
    pub file: PathBuf,
    /// Take what is whole of an archive that is damaged
    #[arg(long)]
    pub damaged: bool,
}
