//! Writing an archive of a job.

use std::path::Path;

use super::job::Job;
use crate::archive::export::{Arrival, Content, Wanted, missing};
use crate::archive::{ExportOptions, ExportSummary};
use crate::error::{Error, Result};
use crate::store::blobs::Blobs;
use crate::store::copies::Copies;

impl Job<'_> {
    /// Writes an archive of the whole job to `target`: a zip where the name ends in `.zip`, else a
    /// folder. `progress` is called with the number of photos done and that of all.
    ///
    /// Photos are read one at a time, each checked against its identity, while the one before is
    /// being written.
    ///
    /// # Errors
    /// [`Error::Invalid`] if something is under that name already, which is never replaced;
    /// [`Error::Damaged`] if photos' bytes are missing or damaged and
    /// [`ExportOptions::allow_missing`] is not set; [`Error::NotSaved`]. Nothing is then left under
    /// the name.
    pub async fn export(
        &self,
        target: &Path,
        options: &ExportOptions,
        mut progress: impl FnMut(usize, usize),
    ) -> Result<ExportSummary> {
        let content = Content::read(self.save(), &self.document(), self.shop.now(), options)?
            .signed_by(self.shop.key().clone());
        let wanted = content.wanted();
        self.fetch_missing(&wanted).await?;
        let blobs = self.shop.blobs().await?;
        let copies = self.shop.copies();
        if !options.allow_missing {
            refuse_missing(blobs, &copies, &wanted).await?;
        }
        let (send, mut receive) = tokio::sync::mpsc::channel(1);
        let (path, options) = (target.to_owned(), options.clone());
        let writer = tokio::task::spawn_blocking(move || {
            let arrivals = std::iter::from_fn(move || receive.blocking_recv());
            content.write(&path, &options, arrivals)
        });
        for (index, photo) in wanted.iter().enumerate() {
            progress(index, wanted.len());
            if send
                .send(arrival(blobs, &copies, photo).await)
                .await
                .is_err()
            {
                // The writer gave up, and says below why.
                break;
            }
        }
        drop(send);
        let summary = writer
            .await
            .map_err(|e| Error::Internal(format!("the export stopped: {e}")))??;
        progress(wanted.len(), wanted.len());
        Ok(summary)
    }
}

impl Job<'_> {
    /// Fetches the originals that other devices keep, as far as they can be reached.
    async fn fetch_missing(&self, wanted: &[Wanted]) -> Result<()> {
        for photo in wanted {
            // What can't be had is told below, all of it at once.
            if self.shop.fetch(&photo.original).await.is_err() {
                break;
            }
        }
        Ok(())
    }
}

/// Looks for every original before anything is written, so that all that are missing are named.
async fn refuse_missing(blobs: &Blobs, copies: &Copies, wanted: &[Wanted]) -> Result<()> {
    let mut absent = Vec::new();
    for photo in wanted {
        if !blobs.has(&photo.original).await? && copies.find(&photo.original).is_none() {
            absent.push((photo.name.clone(), "its bytes are not here".to_owned()));
        }
    }
    if absent.is_empty() {
        return Ok(());
    }
    Err(missing(&absent))
}

async fn arrival(blobs: &Blobs, copies: &Copies, photo: &Wanted) -> Arrival {
    let original = blobs
        .read(&photo.original)
        .await
        .map_err(|error| match error {
            Error::Damaged { why, .. } => why,
            other => other.to_string(),
        });
    let kept = match &original {
        Ok(_) => None,
        Err(_) => copies.find(&photo.original),
    };
    let preview = match &photo.preview {
        Some(preview) => blobs.read(preview).await.ok(),
        None => None,
    };
    Arrival {
        photo: photo.photo.clone(),
        original,
        kept: kept.map(|(about, bytes)| (bytes, about.differs)),
        preview,
    }
}
