//! Deleting photos that this device no longer keeps.
//!
//! The blob store deletes only what its own collector finds unused, and it would find unused
//! whatever has no tag. So the collector sleeps unless something is doomed, and then everything
//! else is protected from it. What arrives while it runs is protected by the store itself.

use std::collections::HashSet;
use std::sync::{Arc, Mutex, OnceLock, PoisonError};
use std::time::Duration;

use futures_util::StreamExt;
use iroh_blobs::Hash;
use iroh_blobs::api::Store;
use iroh_blobs::store::{GcConfig, ProtectOutcome};
use tokio::sync::watch;

/// How often the collector looks whether something is doomed.
const INTERVAL: Duration = Duration::from_millis(500);
/// A round that takes longer has stopped.
const ROUND_MAX: Duration = Duration::from_secs(30);

/// What is to be deleted.
#[derive(Clone, Debug, Default)]
pub(super) struct Sweep {
    doomed: Arc<Mutex<HashSet<Hash>>>,
    store: Arc<OnceLock<Store>>,
    /// Counts the collector's rounds as they begin.
    rounds: watch::Sender<u64>,
    /// Held for reading by whoever makes blobs durable, for writing while some are deleted.
    pub turn: Arc<tokio::sync::RwLock<()>>,
}

impl Sweep {
    /// How the store's collector is to work.
    pub fn collector(&self) -> GcConfig {
        let sweep = self.clone();
        GcConfig {
            interval: INTERVAL,
            add_protected: Some(Arc::new(move |live| {
                let sweep = sweep.clone();
                sweep.rounds.send_modify(|n| *n += 1);
                // The store wants a future that is Sync, which a stream of its answers is not; a
                // task of its own is.
                let listed = tokio::spawn(async move { sweep.all_but_doomed().await });
                Box::pin(async move {
                    match listed.await {
                        Ok(Some(spared)) => {
                            live.extend(spared);
                            ProtectOutcome::Continue
                        }
                        _ => ProtectOutcome::Abort,
                    }
                })
            })),
        }
    }

    /// The store to look in, once it is open.
    pub fn watch(&self, store: Store) {
        let _ = self.store.set(store);
    }

    /// Dooms blobs until what this gives is dropped.
    pub fn doom(&self, hashes: HashSet<Hash>) -> Doom<'_> {
        *self.doomed.lock().unwrap_or_else(PoisonError::into_inner) = hashes;
        Doom(self)
    }

    /// Waits until the round that may be running is over.
    pub async fn round_is_over(&self) {
        let mut rounds = self.rounds.subscribe();
        rounds.mark_unchanged();
        let _ = tokio::time::timeout(ROUND_MAX, rounds.changed()).await;
    }

    /// None where nothing is doomed, or where what there is can't be listed.
    async fn all_but_doomed(&self) -> Option<Vec<Hash>> {
        let doomed = {
            let doomed = self.doomed.lock().unwrap_or_else(PoisonError::into_inner);
            doomed.clone()
        };
        if doomed.is_empty() {
            return None;
        }
        let store = self.store.get()?;
        let mut all = store.blobs().list().stream().await.ok()?;
        let mut spared = Vec::new();
        while let Some(hash) = all.next().await {
            let hash = hash.ok()?;
            if !doomed.contains(&hash) {
                spared.push(hash);
            }
        }
        Some(spared)
    }
}

/// While it lives, some blobs are doomed.
pub(super) struct Doom<'a>(&'a Sweep);

impl Drop for Doom<'_> {
    fn drop(&mut self) {
        let doomed = self.0.doomed.lock();
        doomed.unwrap_or_else(PoisonError::into_inner).clear();
    }
}

#[cfg(test)]
mod tests {
    use crate::store::blobs::{BlobId, Blobs};

    /// One that has a file of its own, and one that lives in the database.
    async fn stored(blobs: &Blobs) -> Vec<BlobId> {
        let mut ids = Vec::new();
        for (letter, size) in [(b'a', 100_000), (b'b', 100), (b'c', 100_000), (b'd', 100)] {
            ids.push(blobs.add_bytes(vec![letter; size]).await.unwrap());
        }
        blobs.flush(&ids).await.unwrap();
        ids
    }

    #[tokio::test]
    async fn what_is_removed_is_gone_and_nothing_else() {
        let dir = tempfile::tempdir().unwrap();
        let blobs = Blobs::open(dir.path()).await.unwrap();
        let ids = stored(&blobs).await;
        blobs.remove(&ids[..2]).await.unwrap();
        let late = blobs.add_bytes(vec![b'e'; 70_000]).await.unwrap();
        blobs.flush(std::slice::from_ref(&late)).await.unwrap();
        // The collector has had its turn, and another.
        tokio::time::sleep(2 * super::INTERVAL).await;
        blobs.close().await;
        let blobs = Blobs::open(dir.path()).await.unwrap();
        let mut here = Vec::new();
        for id in ids.iter().chain([&late]) {
            here.push(blobs.has(id).await.unwrap());
        }
        assert_eq!(here, [false, false, true, true, true]);
        assert_eq!(blobs.read(&ids[2]).await.unwrap(), vec![b'c'; 100_000]);
        // It can come back.
        let again = blobs.add_bytes(vec![b'a'; 100_000]).await.unwrap();
        assert_eq!(again, ids[0]);
        blobs.flush(&[again]).await.unwrap();
        blobs.close().await;
    }
}
