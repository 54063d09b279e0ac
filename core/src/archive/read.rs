//! An archive read back: the document in it, and where each photo lies.

use std::collections::HashMap;
use std::io::Read;
use std::path::Path;

use datumtrail_bag::BagReader;
use serde_json::Value;

use super::outgoing::Copy;
use super::{bag_error, file, words};
use crate::error::{Error, Result};
use crate::job::record::RecordId;
use crate::job::view::JobView;
use crate::store::blobs::BlobId;

/// The most that is read of one file.
const MOST: u64 = 512 << 20;

/// What an archive holds for a shop.
pub(crate) struct Archived {
    reader: BagReader,
    /// The document with its whole history.
    pub saved: Vec<u8>,
    pub view: JobView,
    pub photos: Vec<ArchivedPhoto>,
}

/// A photo of the archive's job.
#[derive(Clone, Debug)]
pub(crate) struct ArchivedPhoto {
    pub id: RecordId,
    pub name: String,
    /// The original's identity.
    pub blob: BlobId,
    pub place: Place,
    /// Where its small picture lies, and the identity that the job knows it by.
    pub preview: Option<(String, BlobId)>,
}

/// What there is of a photo.
#[derive(Clone, Debug)]
pub(crate) enum Place {
    Original(String),
    Copy(String, Copy),
    /// Nothing, and why.
    Nowhere(String),
}

impl Archived {
    /// Opens an archive.
    ///
    /// # Errors
    /// [`Error::Invalid`] for what is no archive, and for a copy from which parts of the record were
    /// left out; [`Error::Damaged`] where its document can't be read.
    pub fn open(path: &Path) -> Result<Self> {
        let reader = BagReader::open(path).map_err(bag_error)?;
        let damaged = |name: &str, why: String| Error::Damaged {
            what: path.join("data").join(name),
            why,
            todo: "get the archive again from someone who has it whole".into(),
        };
        let saved = read(&reader, file::DOCUMENT).map_err(|why| damaged(file::DOCUMENT, why))?;
        let label = |l: &str| l.eq_ignore_ascii_case("Internal-Sender-Identifier");
        let mut info = reader.info().iter();
        let document = info.find(|(l, _)| label(l)).map(|(_, id)| id.clone());
        let document = document.unwrap_or_default();
        // What reads the document is not ours, and an archive may come from anyone.
        let view = std::panic::catch_unwind(|| JobView::load(&saved, &document))
            .map_err(|_| damaged(file::DOCUMENT, "it upset the reader".into()))?
            .map_err(|e| damaged(file::DOCUMENT, e.to_string()))?;
        if let Some(reader) = &view.copy_for {
            return Err(Error::invalid(
                format!(
                    "{} is a copy for the {}: parts of the record were left out of it",
                    path.display(),
                    words::cut(reader, 40)
                ),
                "ask the shop for an archive of the whole record: datumtrail export --for shop",
            ));
        }
        // Without it the job can still be opened; the photos then can't be told apart.
        let story: Value = read(&reader, file::JOB_JSON)
            .ok()
            .and_then(|bytes| serde_json::from_slice(&bytes).ok())
            .unwrap_or_default();
        let photos = photos(&view, &story);
        Ok(Self {
            reader,
            saved,
            view,
            photos,
        })
    }

    /// A file's bytes, where they are what the manifest says; else why not.
    pub fn read(&self, path: &str) -> std::result::Result<Vec<u8>, String> {
        read(&self.reader, path)
    }
}

fn read(reader: &BagReader, path: &str) -> std::result::Result<Vec<u8>, String> {
    let mut bytes = Vec::new();
    let stream = reader.open_payload(path).map_err(|e| e.to_string())?;
    let read = stream.take(MOST + 1).read_to_end(&mut bytes);
    match read.map_err(|e| e.to_string())? {
        n if n as u64 <= MOST => Ok(bytes),
        _ => Err("it is far too large".into()),
    }
}

fn photos(view: &JobView, story: &Value) -> Vec<ArchivedPhoto> {
    let told: HashMap<&str, &Value> = story
        .get("photos")
        .and_then(Value::as_array)
        .into_iter()
        .flatten()
        .filter_map(|photo| Some((photo.get("id")?.as_str()?, photo)))
        .collect();
    let all = view.photos.iter();
    all.map(|photo| {
        let told = told.get(photo.id.0.as_str());
        let text = |key: &str| Some(told?.get(key)?.as_str()?.to_owned());
        let copy = told.and_then(|told| told.get("copy"));
        let copy = copy.and_then(|copy| serde_json::from_value(copy.clone()).ok());
        let place = match (text("file"), copy) {
            (Some(path), None) => Place::Original(path),
            (Some(path), Some(copy)) => Place::Copy(path, copy),
            (None, _) => Place::Nowhere(
                text("left_out").unwrap_or_else(|| "the archive does not say where it lies".into()),
            ),
        };
        // A covered copy has a small picture of its own, which is not the job's.
        let small = text("preview_blob").map(BlobId);
        let preview = photo
            .body
            .preview
            .clone()
            .filter(|id| small.as_ref() == Some(id));
        ArchivedPhoto {
            id: photo.id.clone(),
            name: photo.body.name.clone(),
            blob: photo.body.blob.clone(),
            place,
            preview: text("preview").zip(preview),
        }
    })
    .collect()
}
