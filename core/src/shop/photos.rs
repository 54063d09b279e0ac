//! Taking in photos, and what is known about cameras' clocks.

use std::collections::HashMap;
use std::path::{Path, PathBuf};

use datumtrail_photo::meta::{self, MetaError};
use datumtrail_photo::preview::{self, Preview};
use datumtrail_photo::{identity, whole};
use futures_util::stream::{self, StreamExt};
use jiff::SignedDuration;

use super::folder::{written, zone_of};
use super::job::{Job, parse_time};
use crate::error::{Error, Result};
use crate::job::edit;
use crate::job::record::{self, RecordId};
use crate::job::view::{self, JobView};
use crate::store::blobs::BlobId;

/// The long side of a preview, pixels.
const PREVIEW: u32 = 512;
/// How many photos are acknowledged at once: the disk is flushed once for all of them.
const BATCH: usize = 16;
/// A larger file is no photo that a phone or camera took.
const MOST_BYTES: u64 = 512 << 20;

/// What became of one file.
#[derive(Debug)]
pub struct PhotoOutcome {
    pub path: PathBuf,
    pub result: PhotoResult,
}

/// What became of one file.
#[derive(Debug)]
pub enum PhotoResult {
    /// It is in, on the disk. What is odd about it.
    Added { id: RecordId, remarks: Vec<String> },
    /// The same bytes were there before.
    Already { id: RecordId },
    /// It was not taken in.
    Refused(Error),
}

/// What is known about a camera's clock.
#[derive(Clone, Debug)]
pub enum ClockNote {
    /// What has to be added to the camera's time.
    Offset(SignedDuration),
    /// The true time at which a photo was taken.
    PhotoWas { photo: String, was: String },
}

struct Read {
    name: String,
    bytes: Vec<u8>,
    blob: BlobId,
    meta: meta::Meta,
    preview: std::result::Result<Preview, String>,
    remarks: Vec<String>,
}

impl Job<'_> {
    /// Takes in files. Each is a clear answer of its own; the rest still go in. `progress` is
    /// called once a file, in the order in which they are done.
    ///
    /// # Errors
    /// Only where the job itself can't be written. Files acknowledged before that are safe.
    pub async fn add_photos(
        &self,
        paths: Vec<PathBuf>,
        stage: Option<&str>,
        mut progress: impl FnMut(&PhotoOutcome),
    ) -> Result<Vec<PhotoOutcome>> {
        let view = self.view()?;
        let plan = self.plan(&view)?;
        let stage = match stage {
            Some(key) => Some(plan.stage(key)?.key.clone()),
            None => None,
        };
        let mut known: HashMap<BlobId, RecordId> = view
            .photos
            .iter()
            .map(|p| (p.body.blob.clone(), p.id.clone()))
            .collect();
        let workers = std::thread::available_parallelism().map_or(2, usize::from);
        let mut reading = stream::iter(paths)
            .map(|path| async move {
                let file = path.clone();
                let read = tokio::task::spawn_blocking(move || read_file(&file)).await;
                let read = read.unwrap_or_else(|_| {
                    Err(Error::invalid(
                        "the file upset the reader",
                        "please report it with the file",
                    ))
                });
                (path, read)
            })
            .buffered(workers + 1)
            .chunks(BATCH);
        let mut outcomes = Vec::new();
        while let Some(batch) = reading.next().await {
            let done = self.take_in(batch, stage.as_deref(), &mut known).await?;
            for outcome in done {
                progress(&outcome);
                outcomes.push(outcome);
            }
        }
        Ok(outcomes)
    }

    async fn take_in(
        &self,
        batch: Vec<(PathBuf, Result<Read>)>,
        stage: Option<&str>,
        known: &mut HashMap<BlobId, RecordId>,
    ) -> Result<Vec<PhotoOutcome>> {
        let mut outcomes = Vec::new();
        let mut flush = Vec::new();
        let mut photos = Vec::new();
        let mut ties = Vec::new();
        for (path, read) in batch {
            let result = match read {
                Err(error) => PhotoResult::Refused(error),
                Ok(read) => match known.get(&read.blob) {
                    Some(id) => PhotoResult::Already { id: id.clone() },
                    None => {
                        let id = self.shop.new_id();
                        known.insert(read.blob.clone(), id.clone());
                        let remarks = read.remarks.clone();
                        let photo = self.store(read, &mut flush).await?;
                        if let Some(stage) = stage {
                            let tie = record::Tie {
                                photo: id.clone(),
                                stage: stage.to_owned(),
                            };
                            ties.push((self.shop.new_id(), tie));
                        }
                        photos.push((id.clone(), photo));
                        PhotoResult::Added { id, remarks }
                    }
                },
            };
            outcomes.push(PhotoOutcome { path, result });
        }
        if !photos.is_empty() {
            // The bytes first: a record must never name a photo that is not there.
            self.shop.blobs().await?.flush(&flush).await?;
            self.edit(|doc, stamp| edit::add_photos(doc, &photos, &ties, stamp))
                .await?;
        }
        Ok(outcomes)
    }

    async fn store(&self, read: Read, flush: &mut Vec<BlobId>) -> Result<record::Photo> {
        let blobs = self.shop.blobs().await?;
        let bytes = read.bytes.len() as u64;
        let blob = blobs.add_bytes(read.bytes).await?;
        if blob != read.blob {
            return Err(Error::Internal(
                "a photo's identity came out twofold".into(),
            ));
        }
        flush.push(blob.clone());
        let (preview, preview_size, no_preview) = match read.preview {
            Ok(small) => {
                let size = [small.width, small.height];
                let id = blobs.add_bytes(small.jpeg).await?;
                flush.push(id.clone());
                (Some(id), Some(size), None)
            }
            Err(why) => (None, None, Some(why)),
        };
        let no_time = match &read.meta.taken {
            Some(_) => None,
            None => Some(
                read.meta
                    .time_notes
                    .first()
                    .map_or_else(|| "the file has no time".to_owned(), |n| n.to_string()),
            ),
        };
        Ok(record::Photo {
            blob,
            preview,
            preview_size,
            no_preview,
            name: read.name,
            bytes,
            media_type: read.meta.kind.media_type().to_owned(),
            size: read.meta.dimensions.map(|d| [d.width, d.height]),
            camera: read
                .meta
                .camera
                .label()
                .unwrap_or_else(|| "unnamed camera".into()),
            taken: read.meta.taken,
            no_time,
            has_gps: read.meta.has_gps,
        })
    }

    /// Says to which stage a photo belongs. This wins over its time.
    pub async fn tie_photo(&self, photo: &str, stage: &str) -> Result<RecordId> {
        let all = self.view()?;
        let plan = self.plan(&all)?;
        let stage = plan.stage(stage)?.key.clone();
        let photo = view::find(&all.photos, photo)?.id.clone();
        self.add(record::Tie { photo, stage }).await
    }

    /// Says what a camera's clock showed at a known moment.
    ///
    /// `u_s` is the standard uncertainty of that in seconds.
    pub async fn set_clock(&self, camera: &str, note: ClockNote, u_s: f64) -> Result<RecordId> {
        if !(u_s.is_finite() && (0.0..=86_400.0).contains(&u_s)) {
            return Err(Error::invalid(
                format!("{u_s} is no uncertainty in seconds"),
                "give seconds between 0 and 86400",
            ));
        }
        let all = self.view()?;
        let zone = zone_of(&all);
        let camera = pick_camera(&all, camera)?;
        let instant = |photo: &record::Photo| -> Result<jiff::Timestamp> {
            use datumtrail_photo::time::Taken;
            match photo.taken.map(|t| t.resolve(&zone)) {
                Some(Taken::Exact { at, .. } | Taken::Assumed { at, .. }) => Ok(at),
                _ => Err(Error::invalid(
                    format!(
                        "{} has no time of its own that could be compared",
                        photo.name
                    ),
                    "take another photo of the same camera",
                )),
            }
        };
        let (showed, was, how, photo) = match note {
            ClockNote::Offset(offset) => {
                let newest = all
                    .photos
                    .iter()
                    .filter(|p| p.stands() && p.body.camera == camera)
                    .filter_map(|p| instant(&p.body).ok())
                    .max()
                    .unwrap_or_else(|| self.shop.now());
                let was = newest.checked_add(offset).map_err(|_| {
                    Error::invalid("that offset leaves the calendar", "give a smaller one")
                })?;
                (
                    newest,
                    was,
                    "an offset that a person stated".to_owned(),
                    None,
                )
            }
            ClockNote::PhotoWas { photo, was } => {
                let entry = view::find(&all.photos, &photo)?;
                if entry.body.camera != camera {
                    return Err(Error::invalid(
                        format!("{} was taken by {}", entry.body.name, entry.body.camera),
                        "name that camera, or another photo",
                    ));
                }
                let showed = instant(&entry.body)?;
                let was = parse_time(&was, &zone)?;
                let how = format!("{} shows the true time, read by a person", entry.body.name);
                (showed, was, how, Some(entry.id.clone()))
            }
        };
        self.add(record::ClockPoint {
            camera,
            showed: written(showed, &zone),
            was: written(was, &zone),
            u_s,
            how,
            photo,
        })
        .await
    }

    /// A photo's bytes, as they came.
    pub async fn photo_bytes(&self, blob: &BlobId) -> Result<Vec<u8>> {
        self.shop.blobs().await?.read(blob).await
    }
}

/// The camera that a person means by its name or a part of it.
fn pick_camera(view: &JobView, typed: &str) -> Result<String> {
    let mut cameras: Vec<&str> = view.photos.iter().map(|p| p.body.camera.as_str()).collect();
    cameras.sort_unstable();
    cameras.dedup();
    if cameras.contains(&typed) {
        return Ok(typed.to_owned());
    }
    let wanted = typed.to_lowercase();
    let fits: Vec<&&str> = cameras
        .iter()
        .filter(|c| !wanted.is_empty() && c.to_lowercase().contains(&wanted))
        .collect();
    match fits.as_slice() {
        [one] => Ok((**one).to_owned()),
        [] => Err(Error::Unknown {
            kind: "camera",
            name: typed.to_owned(),
            todo: if cameras.is_empty() {
                "no photos are in the job yet".into()
            } else {
                format!("the job has photos from {}", cameras.join("; "))
            },
        }),
        _ => Err(Error::invalid(
            format!("«{typed}» fits several cameras"),
            format!("say which: {}", cameras.join("; ")),
        )),
    }
}

fn read_file(path: &Path) -> Result<Read> {
    let size = std::fs::metadata(path)
        .map_err(|e| Error::io(path, e))?
        .len();
    if size > MOST_BYTES {
        return Err(Error::invalid(
            format!("{} has {} MB", path.display(), size >> 20),
            "photos of up to 512 MB can be added",
        ));
    }
    let bytes = std::fs::read(path).map_err(|e| Error::io(path, e))?;
    let refuse = |e: MetaError| {
        Error::invalid(
            format!("{}: {e}", path.display()),
            "nothing of it was taken in",
        )
    };
    let meta = meta::read_meta_bytes(&bytes).map_err(refuse)?;
    whole::check_whole(&bytes).map_err(refuse)?;
    let mut remarks: Vec<String> = meta.time_notes.iter().map(|n| n.to_string()).collect();
    if meta.taken.is_none() && remarks.is_empty() {
        remarks.push("no time in the file: say where it belongs with datumtrail photo tie".into());
    }
    remarks.extend(meta.warnings.iter().cloned());
    let preview = preview::preview_as(&bytes, meta.kind, meta.orientation, PREVIEW)
        .map_err(|e| e.to_string());
    if let Err(why) = &preview {
        remarks.push(format!("no preview: {why}"));
    }
    let blob = identity::identity(bytes.as_slice()).map_err(|e| Error::io(path, e))?;
    Ok(Read {
        name: path
            .file_name()
            .map_or_else(|| "photo".into(), |n| n.to_string_lossy().into_owned()),
        blob: BlobId(blob.to_hex()),
        bytes,
        meta,
        preview,
        remarks,
    })
}
