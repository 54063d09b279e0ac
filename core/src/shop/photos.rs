//! Taking in photos.

use std::collections::HashMap;
use std::path::{Path, PathBuf};

use datumtrail_photo::alike::PictureHash;
use datumtrail_photo::camera::CameraKey;
use datumtrail_photo::meta::{self, MetaError};
use datumtrail_photo::preview::{self, Likeness, Preview};
use datumtrail_photo::shown::shown;
use datumtrail_photo::timecode::{self, TimeCode};
use datumtrail_photo::{identity, whole};
use futures_util::stream::{self, StreamExt};
use jiff::SignedDuration;
use jiff::tz::TimeZone;
use tokio::sync::mpsc;

use super::folder::{written, zone_of};
use super::job::Job;
use crate::error::{Error, Result};
use crate::job::edit;
use crate::job::record::{self, RecordId};

use crate::store::blobs::BlobId;

/// The long side of a preview, pixels.
const PREVIEW: u32 = 512;
/// How many photos are acknowledged at once, and how many bytes of them: the disk is flushed
/// once for all.
const BATCH: usize = 16;
const BATCH_BYTES: usize = 96 << 20;
/// How many more are read while a batch is written.
const READ_AHEAD: usize = 4;
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
    /// It is in, on the disk. What is odd about it; and how far off its camera's clock was, where
    /// the photo shows a time code.
    Added {
        id: RecordId,
        remarks: Vec<String>,
        clock_off: Option<SignedDuration>,
    },
    /// The same bytes were there before.
    Already { id: RecordId },
    /// It was not taken in.
    Refused(Error),
}

struct Read {
    name: String,
    bytes: Vec<u8>,
    blob: BlobId,
    meta: meta::Meta,
    preview: std::result::Result<Preview, String>,
    hash: Option<PictureHash>,
    time_code: Option<TimeCode>,
    remarks: Vec<String>,
}

/// A file, and what was read from it or why not.
type FileRead = (PathBuf, Result<Read>);

/// Reads files on all cores, in their order, a few ahead of whoever takes them.
fn read_ahead(paths: Vec<PathBuf>) -> mpsc::Receiver<FileRead> {
    let (send, receive) = mpsc::channel(READ_AHEAD);
    let workers = std::thread::available_parallelism().map_or(2, usize::from);
    tokio::spawn(async move {
        let read = |path: PathBuf| async move {
            let file = path.clone();
            let read = tokio::task::spawn_blocking(move || read_file(&file)).await;
            let upset = |_| {
                Err(Error::invalid(
                    "the file upset the reader",
                    "please report it with the file",
                ))
            };
            (path, read.unwrap_or_else(upset))
        };
        let mut reading = stream::iter(paths).map(read).buffered(workers);
        while let Some(read) = reading.next().await {
            // Nobody takes them any more.
            if send.send(read).await.is_err() {
                break;
            }
        }
    });
    receive
}

/// What is acknowledged together; empty at the end.
async fn next_batch(reading: &mut mpsc::Receiver<FileRead>) -> Vec<FileRead> {
    let mut batch = Vec::new();
    let mut bytes = 0;
    while batch.len() < BATCH && bytes < BATCH_BYTES {
        let Some((path, read)) = reading.recv().await else {
            break;
        };
        bytes += read.as_ref().map_or(0, |read| read.bytes.len());
        batch.push((path, read));
    }
    batch
}

/// How to take photos in.
#[derive(Clone, Debug, Default)]
pub struct PhotoOptions {
    /// Put them in this stage, whatever their times say.
    pub stage: Option<String>,
    /// What the shop calls the camera, where the files don't name one of their own.
    pub camera: Option<String>,
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
        options: &PhotoOptions,
        mut progress: impl FnMut(&PhotoOutcome),
    ) -> Result<Vec<PhotoOutcome>> {
        let view = self.view()?;
        let plan = self.plan(&view)?;
        let stage = match &options.stage {
            Some(key) => Some(plan.stage(key)?.key.clone()),
            None => None,
        };
        let taking = Taking {
            stage,
            camera: options.camera.clone(),
            zone: zone_of(&view),
        };
        let mut known: HashMap<BlobId, RecordId> = view
            .photos
            .iter()
            .map(|p| (p.body.blob.clone(), p.id.clone()))
            .collect();
        let mut reading = read_ahead(paths);
        let mut outcomes = Vec::new();
        loop {
            let batch = next_batch(&mut reading).await;
            if batch.is_empty() {
                break;
            }
            let done = self.take_in(batch, &taking, &mut known).await?;
            for outcome in done {
                progress(&outcome);
                outcomes.push(outcome);
            }
        }
        Ok(outcomes)
    }

    async fn take_in(
        &self,
        batch: Vec<FileRead>,
        taking: &Taking,
        known: &mut HashMap<BlobId, RecordId>,
    ) -> Result<Vec<PhotoOutcome>> {
        let mut outcomes = Vec::new();
        let mut flush = Vec::new();
        let mut photos = Vec::new();
        let mut ties = Vec::new();
        let mut clocks = Vec::new();
        for (path, read) in batch {
            let result = match read {
                Err(error) => PhotoResult::Refused(error),
                Ok(read) => match known.get(&read.blob) {
                    Some(id) => PhotoResult::Already { id: id.clone() },
                    None => {
                        let id = self.shop.new_id();
                        known.insert(read.blob.clone(), id.clone());
                        let mut remarks = read.remarks.clone();
                        let code = read.time_code;
                        let photo = self.store(read, taking, &mut flush).await?;
                        if let Some(stage) = &taking.stage {
                            let tie = record::Tie {
                                photo: id.clone(),
                                stage: stage.clone(),
                            };
                            ties.push((self.shop.new_id(), tie));
                        }
                        let mut clock_off = None;
                        match code.map(|code| taking.clock_point(&code, &photo, &id)) {
                            Some(Ok((point, off))) => {
                                clock_off = Some(off);
                                remarks.extend(shared_clock(&photo));
                                clocks.push((self.shop.new_id(), point));
                            }
                            Some(Err(why)) => {
                                remarks.push(format!("it shows a time code, but {why}"))
                            }
                            None => {}
                        }
                        photos.push((id.clone(), photo));
                        PhotoResult::Added {
                            id,
                            remarks,
                            clock_off,
                        }
                    }
                },
            };
            outcomes.push(PhotoOutcome { path, result });
        }
        if !photos.is_empty() {
            // The bytes first: a record must never name a photo that is not there.
            self.shop.blobs().await?.flush(&flush).await?;
            let receipt = record::Receipt {
                photos: photos.iter().map(|(id, _)| id.clone()).collect(),
                holds: true,
            };
            let more = edit::OfPhotos {
                ties: &ties,
                clocks: &clocks,
                receipt: (self.shop.new_id(), receipt),
            };
            self.edit(|doc, stamp| edit::add_photos(doc, &photos, &more, stamp))
                .await?;
        }
        Ok(outcomes)
    }

    async fn store(
        &self,
        read: Read,
        taking: &Taking,
        flush: &mut Vec<BlobId>,
    ) -> Result<record::Photo> {
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
        let camera = camera_key(read.meta.camera, taking.camera.as_deref());
        Ok(record::Photo {
            blob,
            preview,
            preview_size,
            no_preview,
            name: read.name,
            bytes,
            media_type: read.meta.kind.media_type().to_owned(),
            size: read.meta.dimensions.map(|d| [d.width, d.height]),
            camera: camera.name().to_owned(),
            camera_known: Some(camera.known_by()),
            hash: read.hash.map(|hash| hash.to_hex()),
            burst: read.meta.burst,
            taken: read.meta.taken,
            no_time,
            gps_time: read.meta.gps_time,
            has_gps: read.meta.has_gps,
        })
    }

    /// The identities of all photos of the job, also of those that no longer count: what need not
    /// be taken in again.
    pub fn photo_identities(&self) -> Result<Vec<BlobId>> {
        let photos = self.view()?.photos;
        Ok(photos.into_iter().map(|p| p.body.blob).collect())
    }

    /// A photo's bytes, as they came.
    pub async fn photo_bytes(&self, blob: &BlobId) -> Result<Vec<u8>> {
        self.shop.original(blob).await
    }
}

/// What holds for all files that are taken in together.
pub(super) struct Taking {
    pub stage: Option<String>,
    pub camera: Option<String>,
    pub zone: TimeZone,
}

impl Taking {
    /// What a time code in a photo says about its camera's clock, and how far off that was.
    pub fn clock_point(
        &self,
        code: &TimeCode,
        photo: &record::Photo,
        id: &RecordId,
    ) -> std::result::Result<(record::ClockPoint, SignedDuration), timecode::TimeCodeError> {
        let taken = photo.taken.ok_or(timecode::TimeCodeError::NoCameraTime)?;
        let sync = code.sync_point(&taken, &taken.resolve(&self.zone))?;
        let point = record::ClockPoint {
            camera: photo.camera.clone(),
            showed: written(sync.camera, &self.zone),
            was: written(sync.truth, &self.zone),
            u_s: sync.u_s,
            how: format!("{} shows a time code", photo.name),
            photo: Some(id.clone()),
        };
        Ok((point, sync.truth.duration_since(sync.camera)))
    }
}

/// What to say when a clock is set that several cameras may share.
pub fn shared_clock(photo: &record::Photo) -> Option<String> {
    photo.camera_known?.may_be_several().then(|| {
        format!(
            "its files carry no serial number, so every camera called «{}» has this clock; where \
             there are several, add each one's photos with --camera NAME",
            photo.camera
        )
    })
}

/// The key of a camera. Its serial number stays in the file: a few digits of its hash tell cameras
/// apart as well, and say nothing about the owner.
fn camera_key(mut camera: meta::Camera, named: Option<&str>) -> CameraKey {
    camera.serial = camera.serial.map(|serial| {
        let hash = blake3::hash(serial.as_bytes()).to_hex();
        hash.chars().take(6).collect()
    });
    CameraKey::of(&camera, named)
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
        remarks.push("the file has no time: say where it belongs with datumtrail photo tie".into());
    }
    remarks.extend(meta.warnings.iter().cloned());
    let (preview, hash, time_code) = match shown(&bytes, meta.kind, meta.orientation, PREVIEW) {
        Ok(shown) => (Ok(shown.preview), Some(shown.hash), shown.time_code),
        Err(why) => match preview::likeness(&bytes, &meta, PREVIEW) {
            Likeness::Picture(preview) | Likeness::Embedded { preview, .. } => {
                remarks.push(format!("the preview is the file's own small one: {why}"));
                (Ok(preview), None, None)
            }
            Likeness::Placeholder { .. } => (Err(why.to_string()), None, None),
        },
    };
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
        hash,
        time_code: time_code.map(|found| found.code),
        remarks,
    })
}
