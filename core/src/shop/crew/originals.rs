//! Which originals this device keeps, and fetching one that it doesn't.

use std::time::Duration;

use jiff::{SignedDuration, Timestamp};
use serde::Serialize;

use crate::error::{Error, Result};
use crate::job::record::{Receipt, RecordId};
use crate::shop::Shop;
use crate::store::blobs::BlobId;

/// How long an original that is not here is waited for.
const PATIENCE: Duration = Duration::from_secs(60);
/// How long other devices may take to confirm that they still hold photos.
const CONFIRM: Duration = Duration::from_secs(10);

/// What letting go of originals came to.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Dropped {
    pub photos: usize,
    pub bytes: u64,
    /// Originals that stay, because too few others hold them and said so again.
    pub kept: usize,
}

impl Shop {
    /// Whether this device keeps all originals, or only its own.
    pub fn keeps_all(&self) -> bool {
        self.settings().keeps_all
    }

    /// Keeps all originals from now on: those that are missing are fetched.
    pub fn keep_all(&self) -> Result<()> {
        self.change_settings(|s| s.keeps_all = true)?;
        if let Some(crew) = self.inner.crew.get() {
            crew.photos_changed();
        }
        Ok(())
    }

    /// Keeps only its own originals from now on, and lets go of the others: of each that at least
    /// `copies` other devices hold by receipts younger than `age`, and say so again when asked.
    ///
    /// # Errors
    /// [`Error::Invalid`] for no copies at all.
    pub async fn keep_own(&self, copies: usize, age: SignedDuration) -> Result<Dropped> {
        if copies == 0 {
            return Err(Error::invalid(
                "at least one other device must hold a photo before this one lets go of it",
                "give --copies 1 or more; 2 is safer",
            ));
        }
        self.change_settings(|s| s.keeps_all = false)?;
        let oldest = self.now() - age;
        let young = |at: &String| at.parse::<Timestamp>().is_ok_and(|at| at >= oldest);
        let held = self.held_elsewhere().await?;
        let mut dropped = Dropped::default();
        let mut candidates = Vec::new();
        for (photo, others) in held {
            if others.values().filter(|at| young(at)).count() >= copies {
                candidates.push((photo, others));
            } else {
                dropped.kept += 1;
            }
        }
        // From now on this device says to others that it does not hold them: else two that let go at
        // once would confirm to each other.
        let photos = candidates.iter().map(|(photo, _)| photo.clone());
        let _leaving = self.inner.begins_to_let_go(photos.collect());
        let hashes: Vec<_> = (candidates.iter())
            .filter_map(|(photo, _)| photo.to_hash())
            .collect();
        let answers = match hashes.is_empty() {
            true => Vec::new(),
            false => {
                let crew = self.crew().await?;
                // Whoever is there has to be connected before it can be asked.
                crew.settled(CONFIRM).await;
                crew.still_held(&hashes, CONFIRM).await
            }
        };
        let mut gone = Vec::new();
        for (index, (photo, others)) in candidates.iter().enumerate() {
            let confirmed = (answers.iter())
                .filter(|(who, held)| {
                    let who = who.to_string();
                    let receipt = others
                        .iter()
                        .any(|(device, at)| *device == who && young(at));
                    receipt && held.get(index).copied().unwrap_or(false)
                })
                .count();
            if confirmed >= copies {
                gone.push(photo.clone());
            } else {
                dropped.kept += 1;
            }
        }
        self.let_go(&gone, &mut dropped).await?;
        Ok(dropped)
    }

    /// Says first that the photos are no longer held, then deletes them: a crash in between leaves
    /// bytes that nobody counts on.
    async fn let_go(&self, gone: &[BlobId], dropped: &mut Dropped) -> Result<()> {
        if gone.is_empty() {
            return Ok(());
        }
        let me = self.device().0;
        for (handle, needs) in self.all_needs().await? {
            let photos: Vec<_> = (needs.photos.iter())
                .filter(|p| gone.contains(&p.original) && p.holders.contains_key(&me))
                .collect();
            if photos.is_empty() {
                continue;
            }
            dropped.photos += photos.len();
            dropped.bytes += photos.iter().map(|p| p.bytes).sum::<u64>();
            let ids: Vec<RecordId> = photos.iter().map(|p| p.id.clone()).collect();
            let receipt = Receipt {
                photos: ids,
                holds: false,
            };
            self.job_of(handle).add(receipt).await?;
        }
        self.blobs().await?.remove(gone).await
    }

    /// A photo's bytes; where they are not here they are fetched from a device that holds them.
    ///
    /// # Errors
    /// [`Error::Damaged`] where nobody who has them can be reached.
    pub(in crate::shop) async fn original(&self, photo: &BlobId) -> Result<Vec<u8>> {
        let _ = self.fetch(photo).await;
        self.blobs().await?.read(photo).await
    }

    /// Fetches an original unless it is here.
    ///
    /// # Errors
    /// [`Error::Invalid`] where nobody who has it can be reached in time.
    pub(in crate::shop) async fn fetch(&self, photo: &BlobId) -> Result<()> {
        let blobs = self.blobs().await?;
        if blobs.has(photo).await? {
            return Ok(());
        }
        let nobody = || {
            Error::invalid(
                "no device that holds the photo could be reached",
                "start datumtrail sync on a device that holds it, and try again",
            )
        };
        if self.members()?.len() < 2 {
            return Err(nobody());
        }
        self.inner.ask_for(photo);
        let crew = self.crew().await?;
        crew.photos_changed();
        let arrives = async {
            while !blobs.has(photo).await? {
                tokio::time::sleep(Duration::from_millis(50)).await;
            }
            Ok(())
        };
        match tokio::time::timeout(PATIENCE, arrives).await {
            Ok(arrived) => arrived,
            Err(_) => {
                self.inner.no_longer_asked(std::slice::from_ref(photo));
                Err(nobody())
            }
        }
    }
}
