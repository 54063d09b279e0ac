//! Whether what an archive says follows from what it holds.

use std::io::Read;

use datumtrail_bag::{BagReader, Place, check_path};
use serde_json::Value;

use super::{Finding, FindingKind, Verification, field};
use crate::archive::export::plan_text;
use crate::archive::story::{FORMAT, VERSION, sheet};
use crate::archive::{PROGRAM, file, tables, words};
use crate::error::Result;
use crate::job::plan::Plan;
use crate::job::view::JobView;

/// The most that is read into memory of one file.
const MOST: u64 = 256 << 20;
/// How many differences of a table are named.
const NAMED: usize = 20;
/// What the names of the sheet's files begin with.
const SHEETS: &str = "sheet";

/// A check on its way.
pub(super) struct Check {
    pub reader: BagReader,
    pub found: Verification,
}

impl Check {
    pub fn find(&mut self, file: &str, kind: FindingKind, detail: impl Into<String>) {
        self.found.findings.push(Finding {
            file: file.to_owned(),
            kind,
            detail: detail.into(),
        });
    }

    pub fn names(&mut self) {
        let unsafe_names: Vec<(String, String)> = self
            .reader
            .payload()
            .filter_map(|f| Some((f.path.to_owned(), check_path(f.path).err()?.to_string())))
            .collect();
        for (path, why) in unsafe_names {
            self.find(&path, FindingKind::UnsafeName, why);
        }
    }

    pub fn content(&mut self) {
        let wanted = [
            file::TIMELINE,
            file::README,
            file::MEASUREMENTS,
            file::READINGS,
            file::TRAMS,
            file::ESTIMATE,
            file::JOB_JSON,
            file::SCHEMA,
            file::DOCUMENT,
            file::PLAN,
            file::CRATE,
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
        let known = |path: &str| {
            let photo = path.starts_with(file::PHOTOS) || path.starts_with(file::PREVIEWS);
            // Builds without reports write archives without one.
            let kept = path.starts_with(SHEETS) || path.starts_with(file::SEALS);
            photo || kept || path == file::REPORT || wanted.contains(&path)
        };
        let others: Vec<&str> = there.iter().map(String::as_str).collect();
        let others: Vec<&str> = others.into_iter().filter(|path| !known(path)).collect();
        if !others.is_empty() {
            self.found.notes.push(format!(
                "also in it, and not of this version's making: {}",
                words::short_list(&others, NAMED)
            ));
        }
        let Some(view) = self.document() else { return };
        self.found.job = Some(view.id.clone());
        self.found.name = Some(view.title().to_owned());
        let story = self.story(&view);
        self.photos(&view, story.as_ref(), &there);
        self.tables(&view);
        match Plan::parse(plan_text(&view)) {
            Ok(plan) => {
                self.seals(&view, &plan, &there);
                self.signature(&view, &there);
                if let Some(story) = &story {
                    self.told(&view, &plan, story);
                }
            }
            Err(error) => self.find(file::DOCUMENT, FindingKind::Unreadable, error.to_string()),
        }
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
    pub fn named_by_the_bag(&self, name: &str) -> bool {
        self.found
            .bag
            .problems
            .iter()
            .any(|problem| match &problem.place {
                Place::File(path) => path.strip_prefix("data/") == Some(name),
                Place::Bytes { .. } => false,
            })
    }

    /// The same for a file beside `data/`.
    pub fn tag_named_by_the_bag(&self, name: &str) -> bool {
        let mut problems = self.found.bag.problems.iter();
        problems.any(|problem| matches!(&problem.place, Place::File(path) if path == name))
    }

    /// A file's bytes, where they are what the manifest says. Where they are not, the check of the
    /// bag has said so.
    pub fn read(&mut self, name: &str) -> Option<Vec<u8>> {
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

    fn tables(&mut self, view: &JobView) {
        type Make = fn(&JobView) -> Result<String>;
        let tables: [(&str, Make); 4] = [
            (file::MEASUREMENTS, tables::measurements),
            (file::READINGS, tables::readings),
            (file::TRAMS, tables::trams),
            (file::ESTIMATE, tables::estimate),
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
        let sheets = sheet::files(view).into_iter();
        let sheets = sheets.map(|(name, sheet)| (name, sheet.body.text.as_str()));
        let same = sheets.chain([(file::PLAN.to_owned(), plan_text(view))]);
        for (name, text) in same {
            if let Some(found) = self.read(&name)
                && found != text.as_bytes()
            {
                let detail = "it is not the one in the document";
                self.find(&name, FindingKind::Recomputed, detail);
            }
        }
    }
}
