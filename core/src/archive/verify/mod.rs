//! Checks an archive: the bag to the last byte, and then whether what it says follows from what it
//! holds.
//!
//! 1. Every file against its SHA-512, every byte of the zip ([`datumtrail_bag::verify`]).
//! 2. Every name safe on every system.
//! 3. `job.automerge` can be read: each of its changes by its own hash, as Automerge does. `job.json`
//!    has the same records, and `job.json`, `timeline.html`, `README.txt` and the RO-Crate tell what
//!    follows from them, told again and compared.
//! 4. Every photo is the one that was recorded, by its BLAKE3 identity, and none is there that was
//!    not.
//! 5. `measurements.csv` computed again from the readings and the sheet in the document, and
//!    compared; `readings.csv`, `trams.csv`,
//!    `estimate-notes.csv`, the sheet's files and `plan.toml` likewise.
//! 6. Every seal of a stage: that its signature is the device's over the text that lies in `seals/`,
//!    and what was added or changed since.
//! 7. The signature over the whole, by the device that wrote the archive.
//!
//! What it cannot show is whose keys signed: whoever rewrites everything and signs it with keys of
//! their own makes a new archive that is whole in itself. The keys are named, so that they can be
//! compared with those that the shop tells by another way.

mod alike;
mod content;
mod photos;
mod seals;
mod told;

use std::fmt;
use std::path::{Path, PathBuf};

use datumtrail_bag::BagReader;
use serde::Serialize;

pub use seals::ArchiveSignature;

use super::sealed::SealState;
use super::{bag_error, words};
use crate::error::Result;

/// What a check of an archive found.
#[derive(Clone, Debug, Serialize)]
pub struct Verification {
    pub path: PathBuf,
    /// Nothing altered, missing or added, and nothing that contradicts the rest.
    pub whole: bool,
    /// The check of the bag.
    pub bag: datumtrail_bag::Report,
    /// The job's identity and name.
    pub job: Option<String>,
    pub name: Option<String>,
    /// What wrote the archive, as it says itself.
    pub program: Option<String>,
    /// Photos whose identity was compared and found right.
    pub photos: usize,
    /// Of these, copies: without position, names and serial numbers, or with covered parts. The
    /// originals are in the shop.
    pub copies: usize,
    /// Lines of `measurements.csv` that were computed again.
    pub measurements: usize,
    /// Every seal of a stage, and how it stands.
    pub seals: Vec<SealState>,
    /// Who signed the whole archive; none where nobody did, or the signature proves nothing.
    pub signature: Option<ArchiveSignature>,
    /// What is wrong beyond the bag.
    pub findings: Vec<Finding>,
    /// What is not wrong but good to know.
    pub notes: Vec<String>,
}

/// Something that contradicts the rest of the archive.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Finding {
    /// Where, below `data/`; or beside it, for `signature/` and the bag's own files.
    pub file: String,
    pub kind: FindingKind,
    /// A sentence without a full stop.
    pub detail: String,
}

impl Finding {
    /// Where, below the archive's top folder.
    pub fn place(&self) -> String {
        let file = self.file.escape_debug();
        let beside = [
            "signature/",
            "bagit.txt",
            "bag-info.txt",
            "manifest-",
            "HOW-TO-",
        ];
        match beside.iter().any(|start| self.file.starts_with(start)) {
            true => file.to_string(),
            false => format!("data/{file}"),
        }
    }
}

/// Kinds of contradiction.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum FindingKind {
    /// It belongs into every archive and is not there.
    Missing,
    /// Its name is not safe on every system.
    UnsafeName,
    /// It is there and can't be understood.
    Unreadable,
    /// It tells of another job.
    OtherJob,
    /// The photo is not the one that was recorded.
    OtherPhoto,
    /// Nothing in the job speaks of it.
    NotRecorded,
    /// It does not follow from the readings, the sheet and the plan.
    Recomputed,
    /// The seal of a stage does not hold.
    Seal,
    /// The signature over the whole archive does not hold.
    Signature,
}

impl Verification {
    /// Whether all of it holds.
    pub fn is_whole(&self) -> bool {
        self.whole
    }
}

impl fmt::Display for Verification {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.bag)?;
        if let (Some(name), Some(job)) = (&self.name, &self.job) {
            writeln!(f, "job: {} ({job})", words::one_line(name))?;
        }
        writeln!(
            f,
            "{} compared with their identities, {} of measurements computed again",
            words::count(self.photos, "photo", "photos"),
            words::count(self.measurements, "line", "lines")
        )?;
        for finding in &self.findings {
            writeln!(f, "  {}: {}", finding.place(), finding.detail)?;
        }
        self.notes
            .iter()
            .try_for_each(|note| writeln!(f, "  note: {note}"))
    }
}

/// Checks the archive at `path`, a zip or a folder.
///
/// # Errors
/// Where there is no archive to check: nothing there, nothing readable, not a bag. All else,
/// however damaged, is in the result.
pub fn verify(path: &Path) -> Result<Verification> {
    let bag = BagReader::open(path).map_err(bag_error)?.verify();
    let reader = BagReader::open(path).map_err(bag_error)?;
    let mut check = content::Check {
        reader,
        found: Verification {
            path: path.to_owned(),
            whole: false,
            program: field(&bag.info, "Bag-Software-Agent"),
            bag,
            job: None,
            name: None,
            photos: 0,
            copies: 0,
            measurements: 0,
            seals: Vec::new(),
            signature: None,
            findings: Vec::new(),
            notes: Vec::new(),
        },
    };
    check.names();
    check.content();
    let mut found = check.found;
    found.whole = found.bag.is_whole() && found.findings.is_empty();
    Ok(found)
}

fn field(info: &[(String, String)], label: &str) -> Option<String> {
    let found = info.iter().find(|(l, _)| l.eq_ignore_ascii_case(label));
    found.map(|(_, value)| value.clone())
}
