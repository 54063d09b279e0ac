//! Photos and previews, by the BLAKE3 hash of their bytes.
//!
//! iroh-blobs' file store does the keeping; this module adds what it doesn't promise: when
//! [`Blobs::add_file`] returns, the bytes, their hash tree, the database and the folder are on the
//! disk, and survive the power going away.

use std::collections::HashSet;
use std::fs::OpenOptions;
use std::io::{ErrorKind, Read};
use std::path::{Path, PathBuf};
use std::str::FromStr;
use std::time::{Duration, Instant};

use futures_util::StreamExt;
use iroh_blobs::api::Store;
use iroh_blobs::api::blobs::{AddPathOptions, BlobStatus, ImportMode};
use iroh_blobs::store::fs::FsStore;
use iroh_blobs::store::fs::options::{Options, PathOptions};
use iroh_blobs::{BlobFormat, Hash};
use serde::{Deserialize, Serialize};

use super::sweep::Sweep;
use super::sync_folder;
use crate::error::{Error, Result};

/// What identifies a photo or preview: BLAKE3 of its bytes, 64 hexadecimal digits.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(transparent)]
pub struct BlobId(pub String);

impl BlobId {
    /// The hash itself; none where this is no identity.
    pub fn bytes(&self) -> Option<[u8; 32]> {
        Some(*self.hash().ok()?.as_bytes())
    }

    /// The same as the network knows it; none where this is no identity.
    pub fn to_hash(&self) -> Option<Hash> {
        self.hash().ok()
    }

    fn hash(&self) -> Result<Hash> {
        Hash::from_str(&self.0).map_err(|_| Error::Invalid {
            what: format!("«{}» is not the identity of a photo", self.0),
            todo: "an identity has 64 hexadecimal digits".into(),
        })
    }
}

impl From<Hash> for BlobId {
    fn from(hash: Hash) -> Self {
        Self(hash.to_hex().to_string())
    }
}

impl std::fmt::Display for BlobId {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.0)
    }
}

/// How long deleting may take.
const PATIENCE: Duration = Duration::from_secs(60);

/// The store of one shop folder.
#[derive(Debug, Clone)]
pub struct Blobs {
    store: FsStore,
    sweep: Sweep,
    paths: PathOptions,
    root: PathBuf,
}

impl Blobs {
    /// Opens the store in `root`, making it when it isn't there. One whose making was cut short is
    /// made again.
    pub async fn open(root: &Path) -> Result<Self> {
        drop_unfinished(root)?;
        let sweep = Sweep::default();
        let mut options = Options::new(root);
        options.gc = Some(sweep.collector());
        let store = FsStore::load_with_opts(root.join("blobs.db"), options)
            .await
            .map_err(|e| Error::Damaged {
                what: root.to_owned(),
                why: e.to_string(),
                todo: "restore the folder from a backup or from another device".into(),
            })?;
        sweep.watch(store.clone().into());
        Ok(Self {
            store,
            sweep,
            paths: PathOptions::new(root),
            root: root.to_owned(),
        })
    }

    /// Takes in a file, untouched. Not durable before [`Blobs::flush`].
    pub async fn add_file(&self, path: &Path) -> Result<BlobId> {
        let path = std::path::absolute(path).map_err(|e| Error::io(path, e))?;
        let tag = self
            .store
            .blobs()
            .add_path_with_opts(AddPathOptions {
                path: path.clone(),
                format: BlobFormat::Raw,
                mode: ImportMode::Copy,
            })
            .with_tag()
            .await
            .map_err(|e| Error::NotSaved {
                path,
                source: std::io::Error::other(e.to_string()),
            })?;
        Ok(BlobId(tag.hash.to_hex().to_string()))
    }

    /// Takes in bytes. Not durable before [`Blobs::flush`].
    pub async fn add_bytes(&self, bytes: Vec<u8>) -> Result<BlobId> {
        let tag = self
            .store
            .blobs()
            .add_bytes(bytes)
            .with_tag()
            .await
            .map_err(|e| Error::NotSaved {
                path: self.root.clone(),
                source: std::io::Error::other(e.to_string()),
            })?;
        Ok(BlobId(tag.hash.to_hex().to_string()))
    }

    /// Makes these blobs durable: their files, the database, the folder. Small blobs live in the
    /// database and have no file of their own.
    ///
    /// # Errors
    /// [`Error::NotSaved`]: none of them may then be acknowledged.
    pub async fn flush(&self, ids: &[BlobId]) -> Result<()> {
        let _turn = self.sweep.turn.read().await;
        for id in ids {
            if !self.has(id).await? {
                return Err(Error::NotSaved {
                    path: self.root.clone(),
                    source: std::io::Error::other("the bytes of a photo are not here whole"),
                });
            }
        }
        self.store.sync_db().await.map_err(|e| Error::NotSaved {
            path: self.root.clone(),
            source: std::io::Error::other(e.to_string()),
        })?;
        let mut files = Vec::new();
        for id in ids {
            let hash = id.hash()?;
            files.push(self.paths.data_path(&hash));
            files.push(self.paths.outboard_path(&hash));
        }
        let folder = self.paths.data_path.clone();
        tokio::task::spawn_blocking(move || {
            for path in files {
                match std::fs::File::open(&path) {
                    Ok(file) => file.sync_all().map_err(|e| Error::NotSaved {
                        path: path.clone(),
                        source: e,
                    })?,
                    Err(e) if e.kind() == ErrorKind::NotFound => {}
                    Err(e) => return Err(Error::io(&path, e)),
                }
            }
            sync_folder(&folder).map_err(|e| Error::io(&folder, e))
        })
        .await
        .map_err(|e| Error::Internal(e.to_string()))?
    }

    /// Whether all the bytes are here.
    pub async fn has(&self, id: &BlobId) -> Result<bool> {
        let status = self
            .store
            .blobs()
            .status(id.hash()?)
            .await
            .map_err(|e| Error::Internal(e.to_string()))?;
        Ok(matches!(status, BlobStatus::Complete { .. }))
    }

    /// All the bytes, checked against the identity as they are read.
    ///
    /// # Errors
    /// [`Error::Damaged`] if they are missing or no longer what they were.
    pub async fn read(&self, id: &BlobId) -> Result<Vec<u8>> {
        let hash = id.hash()?;
        let damaged = |why: String| Error::Damaged {
            what: self.paths.data_path(&hash),
            why,
            todo: "fetch the photo again from another device or an archive".into(),
        };
        if !self.has(id).await? {
            return Err(damaged("the bytes of this photo are not here".into()));
        }
        let bytes = self
            .store
            .blobs()
            .get_bytes(hash)
            .await
            .map_err(|e| damaged(e.to_string()))?;
        if blake3::hash(&bytes).to_hex().as_str() != id.0 {
            return Err(damaged(
                "the bytes have changed since they were stored".into(),
            ));
        }
        Ok(bytes.to_vec())
    }

    /// Deletes blobs. Whoever counts on them has been told before.
    ///
    /// # Errors
    /// Where the store can't; it may then have deleted some.
    pub async fn remove(&self, ids: &[BlobId]) -> Result<()> {
        // A task of its own: whoever asked may go away, and half a removal must not be left.
        let (this, ids) = (self.clone(), ids.to_vec());
        let removing = tokio::spawn(async move { this.remove_now(&ids).await });
        removing.await.map_err(|e| Error::Internal(e.to_string()))?
    }

    async fn remove_now(&self, ids: &[BlobId]) -> Result<()> {
        let failed = |e: String| Error::NotSaved {
            path: self.root.clone(),
            source: std::io::Error::other(e),
        };
        let _turn = self.sweep.turn.write().await;
        let hashes: HashSet<Hash> = ids.iter().filter_map(BlobId::to_hash).collect();
        let mut tags = (self.store.tags().list().await).map_err(|e| failed(e.to_string()))?;
        let mut names = Vec::new();
        while let Some(tag) = tags.next().await {
            let tag = tag.map_err(|e| failed(e.to_string()))?;
            if hashes.contains(&tag.hash) {
                names.push(tag.name);
            }
        }
        for name in names {
            let gone = self.store.tags().delete(name).await;
            gone.map_err(|e| failed(e.to_string()))?;
        }
        let doom = self.sweep.doom(hashes);
        let began = Instant::now();
        let mut outcome = Ok(());
        for id in ids {
            while outcome.is_ok() && self.has(id).await? {
                if began.elapsed() > PATIENCE {
                    outcome = Err(failed("deleting photos took too long".into()));
                }
                tokio::time::sleep(Duration::from_millis(100)).await;
            }
        }
        drop(doom);
        // What is made durable while a round runs could be swept away by it.
        self.sweep.round_is_over().await;
        outcome
    }

    /// The store itself, for fetching from other devices and serving them.
    pub fn store(&self) -> Store {
        self.store.clone().into()
    }

    /// Closes the store, writing out what it holds back.
    pub async fn close(&self) {
        let _ = self.store.shutdown().await;
    }
}

/// How many bytes mark a finished database: `redb` and five more.
const MARK: usize = 9;
/// The header's page, the only one that may hold anything before the database is finished.
const HEADER: usize = 4096;

/// Empties a database whose making was cut short, by a kill or a power cut, so that it is made
/// anew.
///
/// redb gives the file its length, writes the header without its first nine bytes, flushes, and
/// only then writes those: what happens before is a file that it refuses ever after. Such a file
/// has never held a record. To be sure of that, everything behind the header must be zero; else
/// the file is left as it is, and opening it says what is wrong.
fn drop_unfinished(root: &Path) -> Result<()> {
    let path = root.join("blobs.db");
    let failed = |e| Error::io(&path, e);
    let file = OpenOptions::new().read(true).write(true).open(&path);
    let mut file = match file {
        Ok(file) => file,
        Err(e) if e.kind() == ErrorKind::NotFound => return Ok(()),
        Err(e) => return Err(failed(e)),
    };
    let mut header = Vec::new();
    let mut start = file.by_ref().take(HEADER as u64);
    start.read_to_end(&mut header).map_err(failed)?;
    if header.is_empty() || header.iter().take(MARK).any(|b| *b != 0) {
        return Ok(());
    }
    let mut chunk = vec![0; 1 << 16];
    loop {
        match file.read(&mut chunk).map_err(failed)? {
            0 => break,
            n if chunk[..n].iter().any(|b| *b != 0) => return Ok(()),
            _ => {}
        }
    }
    tracing::info!("{} was never finished and is made again", path.display());
    file.set_len(0)
        .and_then(|()| file.sync_all())
        .map_err(failed)
}

#[cfg(test)]
mod tests {
    use super::*;

    const LENGTH: usize = 1 << 20;

    /// What redb leaves when it is killed before its first flush is done.
    fn cut_short(header: &[u8]) -> Vec<u8> {
        let mut bytes = vec![0; LENGTH];
        bytes[MARK..MARK + header.len()].copy_from_slice(header);
        bytes
    }

    #[tokio::test]
    async fn a_store_whose_making_was_cut_short_is_made_again() {
        for left in [
            Vec::new(),
            vec![0; 5],
            cut_short(&[]),
            cut_short(&[1, 0, 0, 16, 0, 0]),
        ] {
            let dir = tempfile::tempdir().unwrap();
            std::fs::write(dir.path().join("blobs.db"), left).unwrap();
            let blobs = Blobs::open(dir.path()).await.unwrap();
            let id = blobs.add_bytes(b"a picture".to_vec()).await.unwrap();
            blobs.flush(std::slice::from_ref(&id)).await.unwrap();
            blobs.close().await;
            let blobs = Blobs::open(dir.path()).await.unwrap();
            assert_eq!(blobs.read(&id).await.unwrap(), b"a picture");
            blobs.close().await;
        }
    }

    #[tokio::test]
    async fn a_store_that_held_something_is_never_emptied() {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("blobs.db");
        let blobs = Blobs::open(dir.path()).await.unwrap();
        let id = blobs.add_bytes(b"a picture".to_vec()).await.unwrap();
        blobs.flush(&[id]).await.unwrap();
        blobs.close().await;
        // Its beginning is lost; and another file altogether.
        let mut beheaded = std::fs::read(&file).unwrap();
        assert_eq!(&beheaded[..4], b"redb", "files still begin so");
        beheaded[..MARK].fill(0);
        for damaged in [beheaded, b"not a database".to_vec()] {
            std::fs::write(&file, &damaged).unwrap();
            let refused = Blobs::open(dir.path()).await;
            assert!(matches!(refused, Err(Error::Damaged { .. })));
            assert_eq!(std::fs::read(&file).unwrap(), damaged, "left as it is");
        }
    }
}
