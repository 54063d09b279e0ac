//! What can go wrong, what it means and what to do.

use std::io;
use std::path::PathBuf;

/// An error of writing, opening or reading a bag.
///
/// Damage found by a check is no error: it is listed in a
/// [`Report`](crate::Report).
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// The operating system refused to read.
    #[error(
        "{} cannot be read ({source}); check that it is there and that you may read it",
        path.display()
    )]
    Read {
        /// The bag, or the file within.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },

    /// The operating system refused to write.
    #[error(
        "{} cannot be written ({source}); check the free space and that you may write there",
        path.display()
    )]
    Write {
        /// The bag.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },

    /// The stream handed to the writer failed. The bag goes on without it.
    #[error("the content of {path} could not be read ({source}); it was left out of the bag")]
    Content {
        /// The path in the bag.
        path: String,
        /// What the stream said.
        source: io::Error,
    },

    /// An earlier write failed and could not be undone.
    #[error(
        "{} is not being written any more, since an earlier write failed; start the bag again",
        path.display()
    )]
    Stopped {
        /// The bag.
        path: PathBuf,
    },

    /// There is something under the final name.
    #[error(
        "{} is already there and was left as it is; choose another name or allow replacing it",
        path.display()
    )]
    Exists {
        /// The target.
        path: PathBuf,
    },

    /// Replacing was allowed, but what is there does not look like a bag.
    #[error(
        "{} is not a bag and was left as it is; remove it yourself or choose another name",
        path.display()
    )]
    NotReplaceable {
        /// The target.
        path: PathBuf,
    },

    /// A name that not every system could hold.
    #[error("\"{}\" is no safe file name: {reason}", name.escape_debug())]
    UnsafeName {
        /// The name or path.
        name: String,
        /// Why not.
        reason: &'static str,
    },

    /// Two names that some system could not tell apart, or one used twice.
    #[error("\"{name}\" and \"{other}\" cannot both be in a bag; rename one")]
    NameTaken {
        /// The name that came later.
        name: String,
        /// The one that was there.
        other: String,
    },

    /// A field that `bag-info.txt` cannot hold.
    #[error("\"{}\" cannot go into bag-info.txt: {reason}", label.escape_debug())]
    BadField {
        /// The field's label.
        label: String,
        /// Why not.
        reason: &'static str,
    },

    /// A time that a zip cannot hold.
    #[error("{time} cannot be the time of a zip; it must lie in the years 1980 to 2107")]
    BadTime {
        /// The time given.
        time: jiff::civil::DateTime,
    },

    /// A bag without payload.
    #[error("{} was not written: a bag needs at least one file in it", path.display())]
    Empty {
        /// The target.
        path: PathBuf,
    },

    /// A folder or zip without the marks of a bag.
    #[error("{} is not a bag: {reason}", path.display())]
    NotABag {
        /// The folder or file.
        path: PathBuf,
        /// What is missing.
        reason: String,
    },

    /// A file of which nothing can be read as a zip.
    #[error(
        "{} cannot be opened as a zip ({reason}); it is damaged, or something else altogether",
        path.display()
    )]
    Damaged {
        /// The file.
        path: PathBuf,
        /// What was expected and not found.
        reason: String,
    },

    /// A file that the bag does not have, or that its manifest does not list.
    #[error("{path} is not listed in this bag's manifests, so nothing vouches for its content")]
    NotListed {
        /// The path asked for.
        path: String,
    },

    /// The signer that was asked to add its files failed.
    #[error("the bag was not written, since its closing files could not be made: {0}")]
    Closing(#[source] Box<dyn std::error::Error + Send + Sync>),
}
