//! Whether every photo is the one that was recorded, and none is there that was not.

use std::collections::HashMap;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use datumtrail_bag::BagReader;
use serde_json::Value;

use super::FindingKind;
use super::content::Check;
use crate::archive::{file, words};
use crate::job::record::RecordId;
use crate::job::view::JobView;
use crate::store::blobs::BlobId;

/// Photos read at a time.
const READERS: usize = 4;

impl Check {
    pub fn photos(&mut self, view: &JobView, story: Option<&Value>, there: &[String]) {
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
                    self.found.copies += usize::from(blob.is_some());
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
