//! Whether what the archive tells is what its document says: `job.json`, the page, and the texts
//! beside it, all told again and compared.
//!
//! Records are compared whatever wrote the archive. What is derived from them is only compared where
//! this version of the program wrote it: another may tell the same in other words.

use std::collections::HashMap;

use serde_json::Value;

use super::alike::{differences, first_difference};
use super::content::Check;
use super::{FindingKind, field};
use crate::archive::outgoing::Copy;
use crate::archive::page::{self, Glimpses};
use crate::archive::readers::CopyStory;
use crate::archive::story::{Story, Telling};
use crate::archive::texts::{SCHEMA, document_json, readme};
use crate::archive::{PROGRAM, crate_json, file, names, signed};
use crate::job::plan::Plan;
use crate::job::view::JobView;
use crate::store::blobs::BlobId;

/// How many differences of a file are named.
const NAMED: usize = 10;

impl Check {
    /// Everything that is told.
    pub fn told(&mut self, view: &JobView, plan: &Plan, found: &Value) {
        self.records(view, found);
        self.copy(view, found);
        if field(&self.found.bag.info, "Bag-Software-Agent").as_deref() != Some(PROGRAM) {
            let note = "it was told by another version of the program: job.json and timeline.html \
                        were not compared with what this one tells";
            self.found.notes.push(note.into());
            return;
        }
        let Some(story) = self.retold(view, plan, found) else {
            return;
        };
        if let Ok(text) = document_json(&story, view)
            && let Ok(mut expected) = serde_json::from_str::<Value>(&text)
        {
            // The records have been compared.
            let mut found = found.clone();
            for told in [&mut expected, &mut found] {
                if let Value::Object(fields) = told {
                    fields.remove("records");
                }
            }
            for detail in differences(&expected, &found, NAMED) {
                self.find(file::JOB_JSON, FindingKind::Recomputed, detail);
            }
        }
        self.text(file::TIMELINE, &page::render(&story, &Glimpses::new()));
        self.text(file::README, &readme(&story, plan));
        self.text(file::SCHEMA, SCHEMA);
        let there = self.reader.payload().filter(|f| {
            let photo = f.path.starts_with(file::PHOTOS) || f.path.starts_with(file::PREVIEWS);
            !photo && f.path != file::CRATE
        });
        let sizes: HashMap<String, u64> = there.map(|f| (f.path.to_owned(), f.size)).collect();
        self.text(file::CRATE, &crate_json::describe(&story, &sizes));
        self.how_to_check(view, plan, &story);
    }

    /// Every record in `job.json` is the document's.
    fn records(&mut self, view: &JobView, found: &Value) {
        let expected = serde_json::to_string(view).map(|text| serde_json::from_str(&text));
        let Ok(Ok(expected)) = expected else { return };
        let none = Value::Null;
        let found = found.get("records").unwrap_or(&none);
        for detail in differences(&expected, found, NAMED) {
            let detail = format!("/records{detail}, by the document");
            self.find(file::JOB_JSON, FindingKind::Recomputed, detail);
        }
    }

    /// Whom the copy is for is said the same everywhere.
    fn copy(&mut self, view: &JobView, found: &Value) {
        let told = found.pointer("/copy/for").and_then(Value::as_str);
        let reduced = view.copy_for.as_deref();
        let agrees = match (told, reduced) {
            (Some("record" | "shop") | None, None) => true,
            (told, reduced) => told == reduced,
        };
        if !agrees {
            let detail = format!(
                "it is told as a copy for the {}, and its document is one for the {}",
                told.unwrap_or("shop"),
                reduced.unwrap_or("shop")
            );
            self.find(file::JOB_JSON, FindingKind::Recomputed, detail);
        }
    }

    /// The story, told again from the document. When it was told, for whom, and what became of each
    /// photo is taken from the one that is there: the document can't know it.
    fn retold(&mut self, view: &JobView, plan: &Plan, found: &Value) -> Option<Story> {
        let text = |pointer: &str| found.pointer(pointer).and_then(Value::as_str);
        let copy: Option<CopyStory> = found
            .get("copy")
            .and_then(|copy| serde_json::from_value(copy.clone()).ok());
        let now = text("/head/told").and_then(|at| at.parse().ok());
        let (Some(copy), Some(now)) = (copy, now) else {
            let detail = "it does not say when it was told, or for whom";
            self.find(file::JOB_JSON, FindingKind::Unreadable, detail);
            return None;
        };
        let telling = Telling {
            now,
            organization: text("/head/organization"),
            copy,
        };
        let mut story = Story::tell(view, plan, &telling);
        names::lay_out(&mut story.photos, plan);
        let photos = found.get("photos").and_then(Value::as_array);
        let told: HashMap<&str, &Value> = photos
            .into_iter()
            .flatten()
            .filter_map(|photo| Some((photo.get("id")?.as_str()?, photo)))
            .collect();
        for photo in &mut story.photos {
            let Some(told) = told.get(photo.id.0.as_str()) else {
                continue;
            };
            let text = |key: &str| told.get(key).and_then(Value::as_str).map(str::to_owned);
            photo.left_out = text("left_out");
            if photo.left_out.is_some() {
                photo.file = None;
            }
            if text("preview").is_none() {
                photo.preview = None;
            }
            photo.preview_blob = text("preview_blob").map(BlobId);
            let copy = told.get("copy").cloned().unwrap_or_default();
            photo.copy = serde_json::from_value::<Option<Copy>>(copy).ok().flatten();
        }
        story.settle();
        Some(story)
    }

    /// The page that says how to check the signatures.
    fn how_to_check(&mut self, view: &JobView, plan: &Plan, story: &Story) {
        let Some(signer) = self.found.signature.clone() else {
            return;
        };
        let expected = signed::page(story, view, plan, Some(&signer.principal));
        if let Some(Ok(found)) = self.reader.text(signed::PAGE)
            && found != expected
        {
            let detail = "it is not the page that belongs to these signatures";
            self.find(signed::PAGE, FindingKind::Recomputed, detail);
        }
    }

    /// A text that must say the same.
    fn text(&mut self, name: &str, expected: &str) {
        let Some(found) = self.read(name) else { return };
        let found = String::from_utf8_lossy(&found);
        // Embedded pictures are made by arithmetic that may differ from computer to computer.
        let found = without_glimpses(&found);
        if let Some((line, _)) = first_difference(&broken(expected), &broken(&found)) {
            let detail = format!("it is not what the document tells, from piece {line} on");
            self.find(name, FindingKind::Recomputed, detail);
        }
    }
}

/// A page in one line as many, so that a difference has a place.
fn broken(text: &str) -> String {
    text.replace('>', ">\n")
}

/// The page without the few bytes of each photo that it embeds.
fn without_glimpses(page: &str) -> String {
    const START: &str = " style=\"background-image:url(data:image/jpeg;base64,";
    let mut out = String::with_capacity(page.len());
    let mut rest = page;
    while let Some((before, behind)) = rest.split_once(START) {
        let base64 = |c: char| c.is_ascii_alphanumeric() || "+/=".contains(c);
        let end = behind.find(|c| !base64(c)).unwrap_or(behind.len());
        let (_, tail) = behind.split_at(end);
        match tail.strip_prefix(")\"") {
            Some(tail) => {
                out.push_str(before);
                rest = tail;
            }
            // Whatever else stands there is compared.
            None => {
                out.push_str(before);
                out.push_str(START);
                rest = behind;
            }
        }
    }
    out.push_str(rest);
    out
}
