//! What can go wrong, in words that say what happened, where, and what to do.

use std::path::{Path, PathBuf};

/// The result of everything in this crate that can fail.
pub type Result<T> = std::result::Result<T, Error>;

/// What went wrong. [`Error::todo`] says what the person can do about it.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// What was given can't be used as it is.
    #[error("{what}")]
    Invalid { what: String, todo: String },

    /// Something was named that isn't there.
    #[error("no {kind} is called «{name}»")]
    Unknown {
        kind: &'static str,
        name: String,
        todo: String,
    },

    /// The plan's hold point is closed, and what it misses.
    #[error("the hold point «{hold}» is closed: {}", missing.join("; "))]
    Held {
        hold: String,
        stage: String,
        missing: Vec<String>,
    },

    /// A sheet or a file of readings could not be read.
    #[error("{}: {source}", file.display())]
    Table {
        file: PathBuf,
        source: datumtrail_sheet::SheetError,
    },

    /// The readings don't determine what was asked.
    #[error("{0}")]
    Measurement(String, String),

    /// Another process has the shop folder.
    #[error("the shop folder {} is in use by another Datumtrail", shop.display())]
    ShopInUse { shop: PathBuf },

    /// Written by a newer version of the program.
    #[error(
        "{} was written by a newer Datumtrail (format {found}, this one knows {known})",
        what.display()
    )]
    TooNew {
        what: PathBuf,
        found: u32,
        known: u32,
    },

    /// A job whose document a newer version wrote: it can be read, not changed.
    #[error(
        "the job was written by a newer Datumtrail (schema {found}, this one knows {known}) and can only be read"
    )]
    ReadOnly { found: i64, known: i64 },

    /// Something on disk is not what it was.
    #[error("{}: {why}", what.display())]
    Damaged {
        what: PathBuf,
        why: String,
        todo: String,
    },

    /// It could not be written: nothing of it was recorded.
    #[error("{} could not be written: {source}", path.display())]
    NotSaved {
        path: PathBuf,
        source: std::io::Error,
    },

    /// The file system refused.
    #[error("{}: {source}", path.display())]
    Io {
        path: PathBuf,
        source: std::io::Error,
    },

    /// Between the devices of the crew.
    #[error("{0}")]
    Crew(Box<datumtrail_crew::CrewError>),

    /// A mistake of ours.
    #[error("internal error: {0}")]
    Internal(String),
}

/// Who has to act, which decides the exit code of the command line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Blame {
    /// The person, or the world around: exit code 1.
    User,
    /// Data that is no longer what it was: exit code 3.
    Damage,
}

impl Error {
    /// A refusal by the file system.
    pub fn io(path: &Path, source: std::io::Error) -> Self {
        Error::Io {
            path: path.to_owned(),
            source,
        }
    }

    pub(crate) fn invalid(what: impl Into<String>, todo: impl Into<String>) -> Self {
        Error::Invalid {
            what: what.into(),
            todo: todo.into(),
        }
    }

    /// What to do about it, one sentence.
    pub fn todo(&self) -> String {
        match self {
            Error::Invalid { todo, .. }
            | Error::Unknown { todo, .. }
            | Error::Damaged { todo, .. }
            | Error::Measurement(_, todo) => todo.clone(),
            Error::Held { .. } => "bring the evidence, or let a qualified person answer for it: \
                                   datumtrail hold release HOLD --name NAME --reason TEXT"
                .into(),
            Error::Table { .. } => {
                "mend the file and load it again; nothing of it was taken".into()
            }
            Error::ShopInUse { .. } => {
                "close the other one, or name another folder with --shop".into()
            }
            Error::TooNew { .. } | Error::ReadOnly { .. } => "update Datumtrail".into(),
            Error::NotSaved { source, .. } => match source.kind() {
                std::io::ErrorKind::StorageFull | std::io::ErrorKind::QuotaExceeded => {
                    "make room on the disk and do it again; what was recorded before is safe".into()
                }
                _ => "see whether the disk is full or write-protected, and do it again; \
                      what was recorded before is safe"
                    .into(),
            },
            Error::Io { .. } => "see whether the path is right and may be read and written".into(),
            Error::Crew(e) => e.todo(),
            Error::Internal(_) => "please report this with what you did before".into(),
        }
    }

    /// A word for programs, stable across versions.
    pub fn code(&self) -> &'static str {
        match self {
            Error::Invalid { .. } => "invalid",
            Error::Unknown { .. } => "unknown",
            Error::Held { .. } => "held",
            Error::Table { .. } => "table",
            Error::Measurement(..) => "measurement",
            Error::ShopInUse { .. } => "shop_in_use",
            Error::TooNew { .. } => "too_new",
            Error::ReadOnly { .. } => "read_only",
            Error::Damaged { .. } => "damaged",
            Error::NotSaved { .. } => "not_saved",
            Error::Io { .. } => "io",
            Error::Crew(_) => "crew",
            Error::Internal(_) => "internal",
        }
    }

    /// Who has to act.
    pub fn blame(&self) -> Blame {
        match self {
            Error::Damaged { .. } => Blame::Damage,
            Error::Crew(e) if matches!(**e, datumtrail_crew::CrewError::Damaged { .. }) => {
                Blame::Damage
            }
            _ => Blame::User,
        }
    }
}
