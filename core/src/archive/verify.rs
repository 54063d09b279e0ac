//! Checks an archive: the bag to the last byte, and then whether what it says follows from what it
//! holds.
//!
//! 1. Every file against its SHA-512, every byte of the zip ([`datumtrail_bag::verify`]).
//! 2. Every name safe on every system.
//! 3. `job.automerge` can be read, and `job.json` tells the same job.
//! 4. Every photo is the one that was recorded, by its BLAKE3 identity, and none is there that was
//!    not.
//! 5. `measurements.csv` computed again from the readings and the sheet in the document, and
//!    compared; `readings.csv`, `sheet.csv` and `plan.toml` likewise.
//!
//! What it cannot show is who made the archive: whoever rewrites the document, the files and the
//! manifests together makes a new archive that is whole in itself. Against that only a signature
//! helps.

use std::collections::HashMap;
use std::fmt;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use datumtrail_bag::{BagReader, Place, check_path};
use serde::Serialize;
use serde_json::Value;

use super::export::plan_text;
use super::story::{FORMAT, VERSION};
use super::{PROGRAM, bag_error, file, tables, words};
use crate::error::Result;
use crate::job::record::RecordId;
use crate::job::view::JobView;
use crate::store::blobs::BlobId;

/// The most that is read into memory of one file.
const MOST: u64 = 256 << 20;
/// Photos read at a time.
const READERS: usize = 4;
/// How many differences of a table are named.
const NAMED: usize = 20;

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
    /// What is wrong beyond the bag.
    pub findings: Vec<Finding>,
    /// What is not wrong but good to know.
    pub notes: Vec<String>,
}

/// Something that contradicts the rest of the archive.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Finding {
    /// Where, below `data/`.
    pub file: String,
    pub kind: FindingKind,
    /// A sentence without a full stop.
    pub detail: String,
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
            writeln!(
                f,
                "  data/{}: {}",
                finding.file.escape_debug(),
                finding.detail
            )?;
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
    let mut check = Check {
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

struct Check {
    reader: BagReader,
    found: Verification,
}

impl Check {
    fn find(&mut self, file: &str, kind: FindingKind, detail: impl Into<String>) {
        self.found.findings.push(Finding {
            file: file.to_owned(),
            kind,
            detail: detail.into(),
        });
    }

    fn names(&mut self) {
        let unsafe_names: Vec<(String, String)> = self
            .reader
            .payload()
            .filter_map(|f| Some((f.path.to_owned(), check_path(f.path).err()?.to_string())))
            .collect();
        for (path, why) in unsafe_names {
            self.find(&path, FindingKind::UnsafeName, why);
        }
    }

    fn content(&mut self) {
        let wanted = [
            file::TIMELINE,
            file::README,
            file::MEASUREMENTS,
            file::READINGS,
            file::JOB_JSON,
            file::DOCUMENT,
            file::PLAN,
        ];
        let there: Vec<String> = self.reader.payload().map(|f| f.path.to_owned()).collect();
        for name in wanted {
            if !there.iter().any(|t| t == name) && !self.named_by_the_bag(name) {
                self.find(
                    name,
                    FindingKind::Missing,
                    "every archive has it, and this one does not",
                );
            }
        }
        let Some(view) = self.document() else { return };
        self.found.job = Some(view.id.clone());
        self.found.name = Some(view.title().to_owned());
        let story = self.story(&view);
        self.photos(&view, story.as_ref(), &there);
        self.tables(&view);
        if self.found.program.as_deref() != Some(PROGRAM) {
            let program = self
                .found
                .program
                .as_deref()
                .unwrap_or("an unnamed program");
            let note = format!(
                "written by {}, checked by {PROGRAM}",
                words::one_line(program)
            );
            self.found.notes.push(note);
        }
    }

    /// Whether the check of the bag has already said something about a file.
    fn named_by_the_bag(&self, name: &str) -> bool {
        self.found
            .bag
            .problems
            .iter()
            .any(|problem| match &problem.place {
                Place::File(path) => path.strip_prefix("data/") == Some(name),
                Place::Bytes { .. } => false,
            })
    }

    /// A file's bytes, where they are what the manifest says. Where they are not, the check of the
    /// bag has said so.
    fn read(&mut self, name: &str) -> Option<Vec<u8>> {
        let mut bytes = Vec::new();
        let opened = self.reader.open_payload(name);
        let read = match opened {
            Ok(stream) => stream
                .take(MOST + 1)
                .read_to_end(&mut bytes)
                .map_err(|e| e.to_string()),
            Err(e) => Err(e.to_string()),
        };
        match read {
            Ok(n) if n as u64 <= MOST => Some(bytes),
            Ok(_) => {
                self.find(name, FindingKind::Unreadable, "it is far too large");
                None
            }
            Err(why) => {
                let said = self.named_by_the_bag(name)
                    || self.found.findings.iter().any(|f| f.file == name);
                if !said {
                    self.find(name, FindingKind::Unreadable, why);
                }
                None
            }
        }
    }

    fn document(&mut self) -> Option<JobView> {
        let saved = self.read(file::DOCUMENT)?;
        let id = field(&self.found.bag.info, "Internal-Sender-Identifier").unwrap_or_default();
        // What reads the document is not ours, and an archive may come from anyone.
        let view = std::panic::catch_unwind(|| JobView::load(&saved, &id));
        match view {
            Ok(Ok(view)) => {
                if !view.unreadable.is_empty() {
                    self.found.notes.push(format!(
                        "{} not understood by this version of the program",
                        words::count(view.unreadable.len(), "record is", "records are")
                    ));
                }
                Some(view)
            }
            Ok(Err(error)) => {
                self.find(file::DOCUMENT, FindingKind::Unreadable, error.to_string());
                None
            }
            Err(_) => {
                self.find(
                    file::DOCUMENT,
                    FindingKind::Unreadable,
                    "it upset the reader",
                );
                None
            }
        }
    }

    fn story(&mut self, view: &JobView) -> Option<Value> {
        let bytes = self.read(file::JOB_JSON)?;
        let story: Value = match serde_json::from_slice(&bytes) {
            Ok(story) => story,
            Err(e) => {
                self.find(file::JOB_JSON, FindingKind::Unreadable, e.to_string());
                return None;
            }
        };
        if story.get("format").and_then(Value::as_str) != Some(FORMAT) {
            self.find(
                file::JOB_JSON,
                FindingKind::Unreadable,
                "it is not a job told",
            );
            return None;
        }
        if story.get("version").and_then(Value::as_u64) > Some(VERSION.into()) {
            self.found
                .notes
                .push("job.json was written in a newer form".into());
        }
        let told = |pointer: &str| story.pointer(pointer).and_then(Value::as_str);
        for (pointer, known) in [("/head/job", &view.id), ("/records/id", &view.id)] {
            if told(pointer) != Some(known) {
                let told = told(pointer).unwrap_or("none").to_owned();
                let detail = format!("it tells of the job {told}, and the document is {known}");
                self.find(file::JOB_JSON, FindingKind::OtherJob, detail);
                break;
            }
        }
        Some(story)
    }

    fn photos(&mut self, view: &JobView, story: Option<&Value>, there: &[String]) {
        let told: HashMap<&str, &Value> = story
            .and_then(|s| s.get("photos")?.as_array())
            .into_iter()
            .flatten()
            .filter_map(|p| Some((p.get("id")?.as_str()?, p)))
            .collect();
        let mut wanted: Vec<(String, BlobId, bool)> = Vec::new();
        for photo in &view.photos {
            let place = |key: &str| told.get(photo.id.0.as_str())?.get(key)?.as_str();
            let copy = told.get(photo.id.0.as_str()).and_then(|p| p.get("copy"));
            let told_of_copy = |key: &str| copy?.get(key)?.as_str();
            match (place("file"), place("left_out")) {
                (Some(path), _) => {
                    let blob = told_of_copy("blob").map(|blob| BlobId(blob.to_owned()));
                    if blob.is_some() {
                        self.found.copies += 1;
                    }
                    let blob = blob.unwrap_or_else(|| photo.body.blob.clone());
                    wanted.push((path.to_owned(), blob, true));
                }
                (None, Some(why)) => self.found.notes.push(format!(
                    "the photo {} was left out when the archive was written: {}",
                    words::one_line(&photo.body.name),
                    words::one_line(why)
                )),
                (None, None) if story.is_some() => self.untold(&photo.id, &photo.body.name),
                (None, None) => {}
            }
            // A covered copy has a small picture of its own.
            let small = place("preview_blob").map(|blob| BlobId(blob.to_owned()));
            if let (Some(path), Some(preview)) = (
                place("preview"),
                small.or_else(|| photo.body.preview.clone()),
            ) {
                wanted.push((path.to_owned(), preview, false));
            }
        }
        if story.is_some() {
            for path in there {
                let photo = path.starts_with(file::PHOTOS) || path.starts_with(file::PREVIEWS);
                if photo && !wanted.iter().any(|(p, _, _)| p == path) {
                    self.find(
                        path,
                        FindingKind::NotRecorded,
                        "no photo of the job lies there",
                    );
                }
            }
        }
        for ((path, blob, original), seen) in wanted.iter().zip(hash_all(&self.reader, &wanted)) {
            match seen {
                Ok(hash) if hash == blob.0 => self.found.photos += usize::from(*original),
                Ok(hash) => {
                    let detail = format!(
                        "it is not the photo that was recorded: its identity is {hash}, not {blob}"
                    );
                    self.find(path, FindingKind::OtherPhoto, detail);
                }
                Err(why) if !self.named_by_the_bag(path) => {
                    self.find(path, FindingKind::Unreadable, why);
                }
                Err(_) => {}
            }
        }
    }

    fn untold(&mut self, id: &RecordId, name: &str) {
        let detail = format!(
            "it does not say where the photo {} ({id}) lies",
            words::one_line(name)
        );
        self.find(file::JOB_JSON, FindingKind::Missing, detail);
    }

    fn tables(&mut self, view: &JobView) {
        type Make = fn(&JobView) -> Result<String>;
        let tables: [(&str, Make); 2] = [
            (file::MEASUREMENTS, tables::measurements),
            (file::READINGS, tables::readings),
        ];
        for (name, make) in tables {
            let (Some(found), Ok(computed)) = (self.read(name), make(view)) else {
                continue;
            };
            let differences = tables::differences(&computed, &found, NAMED);
            if name == file::MEASUREMENTS && differences.is_empty() {
                self.found.measurements = computed.lines().count().saturating_sub(1);
            }
            for detail in differences {
                self.find(name, FindingKind::Recomputed, detail);
            }
        }
        let sheet = view.sheet().map(|s| s.body.text.as_str());
        let same = [(file::SHEET, sheet), (file::PLAN, Some(plan_text(view)))];
        for (name, text) in same {
            let Some(text) = text else { continue };
            if let Some(found) = self.read(name)
                && found != text.as_bytes()
            {
                let detail = "it is not the one in the document";
                self.find(name, FindingKind::Recomputed, detail);
            }
        }
    }
}

/// The BLAKE3 identities of files in the bag, a few at a time, or why they can't be read.
fn hash_all(
    reader: &BagReader,
    files: &[(String, BlobId, bool)],
) -> Vec<std::result::Result<String, String>> {
    let next = AtomicUsize::new(0);
    let stopped = || Err("its reader stopped".to_owned());
    let results = Mutex::new(vec![stopped(); files.len()]);
    let work = || loop {
        let index = next.fetch_add(1, Ordering::Relaxed);
        let Some((path, _, _)) = files.get(index) else {
            return;
        };
        let hash = hash(reader, path);
        let mut results = results
            .lock()
            .unwrap_or_else(std::sync::PoisonError::into_inner);
        if let Some(place) = results.get_mut(index) {
            *place = hash;
        }
    };
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    std::thread::scope(|scope| {
        for _ in 0..cores.min(READERS).min(files.len()) {
            scope.spawn(work);
        }
    });
    results
        .into_inner()
        .unwrap_or_else(std::sync::PoisonError::into_inner)
}

fn hash(reader: &BagReader, path: &str) -> std::result::Result<String, String> {
    let stream = reader.open_payload(path).map_err(|e| e.to_string())?;
    let mut hasher = blake3::Hasher::new();
    hasher.update_reader(stream).map_err(|e| e.to_string())?;
    Ok(hasher.finalize().to_hex().to_string())
}
