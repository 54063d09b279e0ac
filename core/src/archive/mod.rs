//! What leaves the shop: a BagIt bag in a zip that anyone can open years later, on any computer,
//! with nothing installed, and check.
//!
//! ```text
//! data/
//!   timeline.html       what the world sees: the answer, the picture, the numbers, the time line
//!   report.pdf          the same for an insurer's file, as PDF/A; not in builds without `report`
//!   README.txt          what each file is, in plain words
//!   measurements.csv    every deviation with its uncertainty, limit and verdict
//!   readings.csv        the readings as observed, in the instrument's own frame
//!   trams.csv           the tram readings, and each against the sheet
//!   estimate-notes.csv  what supports the lines of the estimate
//!   job.json            all of it for programs: the story told here, and every record
//!   job.schema.json     what each field of job.json is, as a JSON Schema
//!   job.automerge       the document with its whole history
//!   ro-crate-metadata.json   what each file is, as RO-Crate 1.2
//!   sheet.csv           the dimension sheet as it was loaded; sheet-2.csv and so on what was added
//!   plan.toml           the stages and hold points
//!   photos/NN-STAGE/NNN-TIME-NAME   the originals, byte for byte, or copies that say what they leave out
//!   previews/NNN.jpg    small copies, for the page only
//!   seals/              what was sealed of each stage, the signatures, and whose keys they are
//! HOW-TO-CHECK.txt      how to check all signatures without this program
//! signature/            the signature over the whole archive
//! ```
//!
//! | module | what it is |
//! |---|---|
//! | [`story`] | the whole job as one derived, serialisable story; no HTML |
//! | [`tables`] | measurements, readings, tram readings and estimate notes as CSV |
//! | [`page`] | the story as `timeline.html` |
//! | [`report`] | the story as `report.pdf` |
//! | [`crate_json`] | the archive described as an RO-Crate |
//! | `names` | where each photo lies in the bag |
//! | [`export`] | puts the bag together |
//! | `texts` | `job.json` and `README.txt` |
//! | [`sealed`] | what a seal covers of a stage, and what has changed since |
//! | `signed` | seals in an archive, and the signature over the whole |
//! | [`readers`] | whom an archive is for, and what is left out of it |
//! | `read` | the document and the photos of one read back |
//! | [`mod@verify`] | checks one, to the last byte and back to the readings |
//! | [`words`] | numbers, times and directions as people read them |

pub mod crate_json;
pub mod export;
mod names;
pub(crate) mod outgoing;
pub mod page;
pub(crate) mod read;
pub mod readers;
pub mod report;
pub mod sealed;
mod signed;
pub mod story;
pub mod tables;
#[cfg(test)]
mod testjob;
#[cfg(test)]
mod tests;
mod texts;
pub mod verify;
pub mod words;

pub use export::{ExportOptions, ExportSummary, LeftOut};
pub use readers::{CopyStory, Reader};
pub use report::PaperSize;
pub use story::Story;
pub use verify::{Finding, FindingKind, Verification, verify};

/// What goes with every screen and report that could send someone to weld, pull or drive.
pub const CAUTIONS: [&str; 4] = [
    "Datumtrail records and computes; it certifies nothing.",
    "Follow the vehicle maker's repair procedure and the law where you are.",
    "A verdict about position says nothing about weld quality, corrosion protection, restraint \
     systems or high-voltage safety.",
    "The person releasing a hold point is responsible and should be qualified to be.",
];

/// The program and its version, as archives name it.
pub const PROGRAM: &str = concat!("Datumtrail ", env!("CARGO_PKG_VERSION"));

/// The files of an archive, by their paths below `data/`.
pub mod file {
    pub const TIMELINE: &str = "timeline.html";
    pub const REPORT: &str = "report.pdf";
    pub const README: &str = "README.txt";
    pub const MEASUREMENTS: &str = "measurements.csv";
    pub const READINGS: &str = "readings.csv";
    pub const TRAMS: &str = "trams.csv";
    pub const ESTIMATE: &str = "estimate-notes.csv";
    pub const JOB_JSON: &str = "job.json";
    pub const SCHEMA: &str = "job.schema.json";
    pub const DOCUMENT: &str = "job.automerge";
    pub const CRATE: &str = "ro-crate-metadata.json";
    pub const SHEET: &str = "sheet.csv";
    pub const PLAN: &str = "plan.toml";
    pub const PHOTOS: &str = "photos/";
    pub const PREVIEWS: &str = "previews/";
    pub const SEALS: &str = "seals/";
    pub const ALLOWED: &str = "seals/allowed_signers";
}

/// What the bag's own errors are in the words of this crate.
fn bag_error(error: datumtrail_bag::Error) -> crate::Error {
    use crate::Error;
    use datumtrail_bag::Error as Bag;
    match error {
        Bag::Exists { path } => Error::invalid(
            format!("{} is already there and was left as it is", path.display()),
            "choose another name, or move the old one away",
        ),
        Bag::Write { path, source } => Error::NotSaved { path, source },
        Bag::Read { path, source } => Error::Io { path, source },
        Bag::NotABag { path, reason } => Error::invalid(
            format!("{} is not an archive: {reason}", path.display()),
            "name an archive that `datumtrail export` wrote",
        ),
        Bag::Damaged { path, reason } => Error::Damaged {
            what: path,
            why: format!("it can't be opened as a zip ({reason})"),
            todo: "get the archive again from someone who has it whole".into(),
        },
        other => Error::Internal(other.to_string()),
    }
}
