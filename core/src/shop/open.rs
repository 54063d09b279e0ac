//! Reading an archive back: it becomes a job of this shop, or merges into the one that is here.

use std::path::Path;
use std::sync::Arc;

use samod::DocumentId;
use serde::Serialize;

use super::folder::Shop;
use super::job::Job;
use crate::archive::read::{Archived, ArchivedPhoto, Place};
use crate::archive::{self, Verification, words};
use crate::error::{Error, Result};
use crate::job::record::{self, RecordId};
use crate::job::{SCHEMA, edit};
use crate::store::blobs::BlobId;
use crate::store::copies::{Copies, KeptCopy};

/// How many photos are flushed at once.
const BATCH: usize = 16;

/// How to open an archive.
#[derive(Clone, Copy, Debug, Default)]
pub struct OpenOptions {
    /// Take what is whole of an archive that is damaged.
    pub damaged: bool,
}

/// An archive that was brought in.
#[derive(Clone, Debug, Serialize)]
pub struct Opened {
    /// The document's identity.
    pub document: String,
    /// The job's identity and name.
    pub job: String,
    pub name: String,
    /// Whether the job was here before: the archive was merged into it.
    pub merged: bool,
    /// Changes that were new here.
    pub changes: usize,
    /// Original photos that were taken in, and those that were here before.
    pub originals: usize,
    pub already: usize,
    /// Photos of which the archive has a copy only, and this shop no original. The copies are kept
    /// apart.
    pub copies: Vec<NotWhole>,
    /// Photos of which this shop now has nothing.
    pub missing: Vec<NotWhole>,
    /// What was wrong with the archive, each a sentence.
    pub damage: Vec<String>,
    /// What else to know, each a sentence.
    pub notes: Vec<String>,
}

/// A photo whose original did not come.
#[derive(Clone, Debug, Serialize)]
pub struct NotWhole {
    pub photo: RecordId,
    pub name: String,
    /// How the copy differs, or why there is nothing.
    pub why: String,
}

impl Shop {
    /// Brings an archive in: its document with the whole history, its photos with their original
    /// bytes. A job that is here already is merged with it, so that nothing of either is lost. The
    /// archive is verified first. When this returns, all that it reports is on the disk, and this
    /// device's receipt for the photos is in the job.
    ///
    /// # Errors
    /// [`Error::Damaged`] where the archive is not whole and [`OpenOptions::damaged`] is not set, or
    /// where its document can't be read; [`Error::Invalid`] for what is no archive of a whole job.
    pub async fn open_archive(&self, path: &Path, options: OpenOptions) -> Result<Opened> {
        let file = path.to_owned();
        let found = blocking(move || archive::verify(&file)).await??;
        if !found.is_whole() && !options.damaged {
            return Err(Error::Damaged {
                what: path.to_owned(),
                why: format!("it is not what was written ({})", first_of(&found)),
                todo: format!(
                    "get it again from someone who has it whole, or see what is wrong with \
                     `datumtrail verify`, and take what is whole of it: datumtrail open {} --damaged",
                    path.display()
                ),
            });
        }
        let file = path.to_owned();
        let archived = Arc::new(blocking(move || Archived::open(&file)).await??);
        let (job, merged, changes) = self.take_document(&archived).await?;
        let mut opened = Opened {
            document: job.document(),
            job: archived.view.id.clone(),
            name: job.view()?.title().to_owned(),
            merged,
            changes,
            originals: 0,
            already: 0,
            copies: Vec::new(),
            missing: Vec::new(),
            damage: damage(&found),
            notes: found.notes.clone(),
        };
        let mut held = Vec::new();
        for batch in archived.photos.chunks(BATCH) {
            held.extend(self.take_photos(&archived, batch, &mut opened).await?);
        }
        job.receipt(held).await?;
        self.use_job(&opened.document)?;
        Ok(opened)
    }

    /// The job with the archive's document in it, whether it was here before, and how many changes
    /// were new.
    async fn take_document(&self, archived: &Archived) -> Result<(Job<'_>, bool, usize)> {
        let view = &archived.view;
        if view.schema > SCHEMA {
            return Err(Error::ReadOnly {
                found: view.schema,
                known: SCHEMA,
            });
        }
        let id: DocumentId = view.document.parse().map_err(|_| {
            Error::invalid(
                "the archive does not say which document it holds",
                "name an archive of a whole job, one that `datumtrail export` wrote without \
                 leaving records out",
            )
        })?;
        let here = self.inner.storage.list()?.contains(&id);
        if !here {
            let storage = self.inner.storage.clone();
            let (key, saved) = (id.clone(), archived.saved.clone());
            blocking(move || storage.bring_in(&key, &saved)).await??;
            let job = self.open_document(id).await?;
            self.tell_crew(&job).await;
            let changes = job.changes();
            return Ok((job, false, changes));
        }
        let job = self.open_document(id).await?;
        let ours = job.view()?.id;
        if ours != view.id {
            return Err(Error::invalid(
                format!(
                    "the archive holds the job {}, and the document of that identity here is the \
                     job {ours}",
                    view.id
                ),
                "open it in another shop folder: --shop DIR",
            ));
        }
        let changes = job.merge(&archived.saved).await?;
        Ok((job, true, changes))
    }

    /// Takes photos in. Gives those whose originals are now on the disk.
    async fn take_photos(
        &self,
        archived: &Arc<Archived>,
        photos: &[ArchivedPhoto],
        opened: &mut Opened,
    ) -> Result<Vec<RecordId>> {
        let blobs = self.blobs().await?;
        let mut flush: Vec<BlobId> = Vec::new();
        let mut held = Vec::new();
        for photo in photos {
            let not_whole = |why: String| NotWhole {
                photo: photo.id.clone(),
                name: photo.name.clone(),
                why,
            };
            if photo.blob.to_hash().is_none() {
                opened
                    .missing
                    .push(not_whole("its identity is none".into()));
                continue;
            }
            if blobs.has(&photo.blob).await? {
                opened.already += 1;
                // It may have come a moment ago, and not be on the disk yet.
                flush.push(photo.blob.clone());
                held.push(photo.id.clone());
            } else {
                match &photo.place {
                    Place::Original(path) => match fetch(archived, path, &photo.blob).await? {
                        Ok(bytes) => {
                            flush.push(blobs.add_bytes(bytes).await?);
                            opened.originals += 1;
                            held.push(photo.id.clone());
                        }
                        Err(why) => opened.missing.push(not_whole(why)),
                    },
                    Place::Copy(path, copy) => match fetch(archived, path, &copy.blob).await? {
                        Ok(bytes) => {
                            let about = KeptCopy {
                                original: photo.blob.clone(),
                                copy: copy.blob.clone(),
                                name: photo.name.clone(),
                                differs: copy.differs.clone(),
                            };
                            let copies = self.copies();
                            blocking(move || copies.keep(&about, &bytes)).await??;
                            opened.copies.push(not_whole(copy.differs.clone()));
                        }
                        Err(why) => opened.missing.push(not_whole(why)),
                    },
                    Place::Nowhere(why) => opened.missing.push(not_whole(why.clone())),
                }
            }
            if let Some((path, preview)) = &photo.preview
                && preview.to_hash().is_some()
                && !blobs.has(preview).await?
                // A small picture proves nothing: the job does without it.
                && let Ok(bytes) = fetch(archived, path, preview).await?
            {
                flush.push(blobs.add_bytes(bytes).await?);
            }
        }
        // The bytes first: a receipt must never name a photo that is not there.
        blobs.flush(&flush).await?;
        Ok(held)
    }

    /// The copies whose originals are elsewhere.
    pub(super) fn copies(&self) -> Copies {
        Copies::new(self.inner.folder.copies())
    }
}

impl Job<'_> {
    /// Says that this device holds these photos, where it has not said so yet.
    async fn receipt(&self, held: Vec<RecordId>) -> Result<()> {
        let device = self.shop.device().0;
        let holders = self.view()?.holders();
        let said = |photo: &RecordId| holders.get(photo).is_some_and(|d| d.contains_key(&device));
        let photos: Vec<RecordId> = held.into_iter().filter(|photo| !said(photo)).collect();
        if photos.is_empty() {
            return Ok(());
        }
        let holds = true;
        let records = [(self.shop.new_id(), record::Receipt { photos, holds })];
        self.edit(|doc, stamp| edit::add_records(doc, &records, stamp))
            .await
    }
}

/// A file of the archive, where its bytes are those of that identity; else why not.
async fn fetch(
    archived: &Arc<Archived>,
    path: &str,
    blob: &BlobId,
) -> Result<std::result::Result<Vec<u8>, String>> {
    let (archived, path, blob) = (archived.clone(), path.to_owned(), blob.clone());
    blocking(move || {
        let bytes = archived.read(&path)?;
        match blake3::hash(&bytes).to_hex().as_str() == blob.0 {
            true => Ok(bytes),
            false => Err("what lies in its place is not the photo that was recorded".to_owned()),
        }
    })
    .await
}

async fn blocking<T: Send + 'static>(work: impl FnOnce() -> T + Send + 'static) -> Result<T> {
    tokio::task::spawn_blocking(work)
        .await
        .map_err(|e| Error::Internal(format!("reading the archive stopped: {e}")))
}

/// What is wrong with an archive, each a sentence without a full stop.
fn damage(found: &Verification) -> Vec<String> {
    let problems = found.bag.problems.iter().map(ToString::to_string);
    let findings = found.findings.iter();
    let findings = findings.map(|f| format!("{}: {}", f.place(), f.detail));
    problems.chain(findings).collect()
}

fn first_of(found: &Verification) -> String {
    let all = damage(found);
    let more = found.bag.more_problems;
    match (all.first(), (all.len() as u64).saturating_sub(1) + more) {
        (Some(first), 0) => words::cut(first, 200),
        (Some(first), others) => format!("{}; and {others} more", words::cut(first, 200)),
        (None, _) => "it can't be checked".into(),
    }
}
