//! Document storage that acknowledges nothing before it is on the disk.
//!
//! samod hands over chunks to be stored and has no way to hear that storing failed. So this
//! storage keeps its own account: which chunks are on the disk, and whether a write has ever
//! failed for a document. An edit is acknowledged by [`DurableStorage::confirm`], which waits until
//! the edit and everything it builds on is in chunks that have been written, flushed and renamed
//! into place.
//!
//! After a failed write a document is *stopped*: nothing more of it is written, and above all
//! nothing is deleted. samod believes that the failed chunk is stored and would delete the older
//! ones that it replaces; refusing that keeps everything acknowledged so far.
//!
//! The layout is automerge-repo's: `documents/<first two letters>/<rest>/<incremental|snapshot>/<hash>`.

use std::collections::{HashMap, HashSet};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

use automerge::{Automerge, ChangeHash};
use samod::storage::{Storage, StorageKey};
use samod::{DocHandle, DocumentId};
use tokio::sync::watch;

use super::{HALF_WRITTEN, sync_folder, write_whole};
use crate::error::{Error, Result};

/// The storage; clones share one account.
#[derive(Clone)]
pub struct DurableStorage {
    root: Arc<PathBuf>,
    account: Arc<Mutex<Account>>,
    written: watch::Sender<u64>,
}

#[derive(Default)]
struct Account {
    /// Single changes that are on the disk, by document.
    changes: HashMap<String, HashSet<ChangeHash>>,
    /// The heads of the whole documents that are on the disk.
    snapshots: HashMap<String, Vec<ChangeHash>>,
    /// Documents that stopped, and why.
    stopped: HashMap<String, StorageFault>,
}

impl Account {
    /// A chunk is on the disk.
    fn note(&mut self, key: &StorageKey, data: &[u8]) {
        let parts: Vec<&str> = key.into_iter().map(String::as_str).collect();
        match parts.as_slice() {
            [document, "incremental", hash] => {
                if let Ok(hash) = hash.parse() {
                    let changes = self.changes.entry((*document).to_owned()).or_default();
                    changes.insert(hash);
                }
            }
            [document, "snapshot", _] => {
                let heads = self.snapshots.entry((*document).to_owned()).or_default();
                for head in heads_of(data).unwrap_or_default() {
                    if !heads.contains(&head) {
                        heads.push(head);
                    }
                }
            }
            _ => {}
        }
    }
}

#[derive(Clone, Debug)]
struct StorageFault {
    path: PathBuf,
    kind: std::io::ErrorKind,
    message: String,
}

impl DurableStorage {
    /// A storage in `root`, which must exist.
    pub fn new(root: PathBuf) -> Self {
        Self {
            root: Arc::new(root),
            account: Arc::default(),
            written: watch::Sender::new(0),
        }
    }

    /// The documents that are in the folder.
    ///
    /// # Errors
    /// If the folder can't be read. Names that are no document's are passed over.
    pub fn list(&self) -> Result<Vec<DocumentId>> {
        let mut found = Vec::new();
        for outer in read_dir(&self.root)? {
            if !outer.is_dir() {
                continue;
            }
            for inner in read_dir(&outer)? {
                let (Some(a), Some(b)) = (file_name(&outer), file_name(&inner)) else {
                    continue;
                };
                if inner.is_dir()
                    && let Ok(id) = format!("{a}{b}").parse::<DocumentId>()
                {
                    found.push(id);
                }
            }
        }
        found.sort_by_key(|id| id.to_string());
        Ok(found)
    }

    /// Removes what killed processes left half written. Only the owner of the folder may call it,
    /// before anything is written.
    pub fn sweep(&self) {
        let mut open = vec![self.root.as_ref().clone()];
        while let Some(folder) = open.pop() {
            for path in read_dir(&folder).unwrap_or_default() {
                if path.is_dir() {
                    open.push(path);
                } else if file_name(&path).is_some_and(|name| name.starts_with(HALF_WRITTEN)) {
                    let _ = std::fs::remove_file(path);
                }
            }
        }
    }

    /// Waits until the document as it is now is on the disk: every change in it, for one without
    /// those that it builds on could not be read back. Chunks are written side by side, in any
    /// order.
    ///
    /// # Errors
    /// [`Error::NotSaved`] if a write of this document failed, now or earlier.
    pub async fn confirm(&self, handle: &DocHandle) -> Result<()> {
        let document = handle.document_id().to_string();
        let mut written = self.written.subscribe();
        let wanted = handle.with_document(|doc| doc.get_heads());
        loop {
            written.borrow_and_update();
            // The account is looked at and let go before the document is locked: the document's
            // own task may be about to write.
            let (changes, snapshots) = {
                let account = self.lock();
                if let Some(fault) = account.stopped.get(&document) {
                    return Err(fault.clone().into());
                }
                let changes = account.changes.get(&document).cloned();
                let snapshots = account.snapshots.get(&document).cloned();
                (changes.unwrap_or_default(), snapshots.unwrap_or_default())
            };
            if handle.with_document(|doc| all_stored(doc, &wanted, &changes, &snapshots)) {
                return Ok(());
            }
            if written.changed().await.is_err() {
                return Err(Error::Internal("the document storage is gone".into()));
            }
        }
    }

    /// Puts a whole document that came from elsewhere beside what there is of it, before samod has
    /// opened it: the two are read as one. When this returns, it is on the disk.
    ///
    /// # Errors
    /// [`Error::NotSaved`]; nothing of it is then there.
    pub fn bring_in(&self, document: &DocumentId, saved: &[u8]) -> Result<()> {
        let name = blake3::hash(saved).to_hex().to_string();
        let parts = vec![document.to_string(), "snapshot".to_owned(), name];
        let key = StorageKey::from_parts(parts)
            .map_err(|e| Error::Internal(format!("a document has no place: {e:?}")))?;
        let path = self.path_of(&key);
        let written = self
            .make_folders(&path)
            .and_then(|()| write_whole(&path, saved));
        written.map_err(|source| Error::NotSaved { path, source })?;
        self.lock().note(&key, saved);
        Ok(())
    }

    /// Why the document stopped, if it did.
    pub fn fault(&self, document: &DocumentId) -> Option<Error> {
        let account = self.lock();
        account
            .stopped
            .get(&document.to_string())
            .cloned()
            .map(Error::from)
    }

    fn lock(&self) -> std::sync::MutexGuard<'_, Account> {
        // The account is only ever added to, so what a panicking thread left is still true.
        self.account.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn path_of(&self, key: &StorageKey) -> PathBuf {
        let mut path = self.root.as_ref().clone();
        for (place, part) in key.into_iter().enumerate() {
            match part.char_indices().nth(2) {
                Some((at, _)) if place == 0 => {
                    let (first, rest) = part.split_at(at);
                    path.push(first);
                    path.push(rest);
                }
                _ => path.push(part),
            }
        }
        path
    }

    fn put_now(&self, key: &StorageKey, data: &[u8]) {
        let document = key.into_iter().next().cloned().unwrap_or_default();
        if self.lock().stopped.contains_key(&document) {
            return;
        }
        let path = self.path_of(key);
        let outcome = self
            .make_folders(&path)
            .and_then(|()| write_whole(&path, data));
        let mut account = self.lock();
        match outcome {
            Ok(()) => account.note(key, data),
            Err(e) => {
                tracing::error!(path = %path.display(), error = %e, "a document could not be written");
                account.stopped.insert(
                    document,
                    StorageFault {
                        path,
                        kind: e.kind(),
                        message: e.to_string(),
                    },
                );
            }
        }
        drop(account);
        self.written.send_modify(|n| *n += 1);
    }

    /// Makes the folders of a chunk, and their names durable up to the root.
    fn make_folders(&self, path: &Path) -> std::io::Result<()> {
        let Some(folder) = path.parent() else {
            return Ok(());
        };
        if folder.is_dir() {
            return Ok(());
        }
        std::fs::create_dir_all(folder)?;
        for above in folder.ancestors().skip(1) {
            sync_folder(above)?;
            if above == self.root.as_path() {
                break;
            }
        }
        Ok(())
    }

    fn delete_now(&self, key: &StorageKey) {
        let document = key.into_iter().next().cloned().unwrap_or_default();
        if self.lock().stopped.contains_key(&document) {
            return;
        }
        // A chunk that stays behind is read again next time and does no harm.
        let _ = std::fs::remove_file(self.path_of(key));
    }

    fn load_now(&self, prefix: &StorageKey) -> HashMap<StorageKey, Vec<u8>> {
        let mut found = HashMap::new();
        let mut open = vec![(self.path_of(prefix), prefix.clone())];
        while let Some((folder, key)) = open.pop() {
            let Ok(entries) = std::fs::read_dir(&folder) else {
                continue;
            };
            for entry in entries.flatten() {
                let Some(name) = entry.file_name().to_str().map(str::to_owned) else {
                    continue;
                };
                // Being written right now, or left half written by a killed process.
                if name.starts_with(HALF_WRITTEN) {
                    continue;
                }
                let Ok(inner) = key.with_component(name) else {
                    continue;
                };
                let path = entry.path();
                if path.is_dir() {
                    open.push((path, inner));
                } else if let Ok(data) = std::fs::read(&path) {
                    self.lock().note(&inner, &data);
                    found.insert(inner, data);
                }
            }
        }
        found
    }
}

impl Storage for DurableStorage {
    async fn load(&self, key: StorageKey) -> Option<Vec<u8>> {
        let path = self.path_of(&key);
        blocking(move || std::fs::read(path).ok()).await
    }

    async fn load_range(&self, prefix: StorageKey) -> HashMap<StorageKey, Vec<u8>> {
        let this = self.clone();
        blocking(move || this.load_now(&prefix)).await
    }

    async fn put(&self, key: StorageKey, data: Vec<u8>) {
        let this = self.clone();
        blocking(move || this.put_now(&key, &data)).await
    }

    async fn delete(&self, key: StorageKey) {
        let this = self.clone();
        blocking(move || this.delete_now(&key)).await
    }
}

impl From<StorageFault> for Error {
    fn from(fault: StorageFault) -> Self {
        Error::NotSaved {
            path: fault.path,
            source: std::io::Error::new(fault.kind, fault.message),
        }
    }
}

async fn blocking<T: Send + 'static>(work: impl FnOnce() -> T + Send + 'static) -> T {
    match tokio::task::spawn_blocking(work).await {
        Ok(value) => value,
        Err(e) if e.is_panic() => std::panic::resume_unwind(e.into_panic()),
        // The runtime is shutting down: nobody waits for the answer.
        Err(_) => std::future::pending().await,
    }
}

/// Whether every change that `wanted` builds on is in a chunk of its own or in a whole document.
fn all_stored(
    doc: &Automerge,
    wanted: &[ChangeHash],
    changes: &HashSet<ChangeHash>,
    snapshots: &[ChangeHash],
) -> bool {
    let known: Vec<ChangeHash> = snapshots
        .iter()
        .filter(|head| doc.get_change_meta_by_hash(head).is_some())
        .copied()
        .collect();
    let since: HashMap<ChangeHash, Vec<ChangeHash>> = doc
        .get_changes_meta(&known)
        .into_iter()
        .map(|meta| (meta.hash, meta.deps.to_vec()))
        .collect();
    let mut open: Vec<ChangeHash> = wanted.to_vec();
    let mut seen = HashSet::new();
    while let Some(change) = open.pop() {
        // What is not newer than a whole document on the disk is in it.
        let Some(deps) = since.get(&change) else {
            continue;
        };
        if !seen.insert(change) {
            continue;
        }
        if !changes.contains(&change) {
            return false;
        }
        open.extend(deps);
    }
    true
}

/// The heads that a whole-document chunk states in its header, after automerge's binary format
/// specification: magic, checksum, type 0, length, actors, heads.
fn heads_of(chunk: &[u8]) -> Option<Vec<ChangeHash>> {
    const MAGIC: [u8; 4] = [0x85, 0x6f, 0x4a, 0x83];
    let rest = chunk.strip_prefix(&MAGIC)?;
    let mut rest = rest.get(4..)?;
    if *rest.first()? != 0 {
        return None;
    }
    rest = &rest[1..];
    let _length = leb128(&mut rest)?;
    for _ in 0..leb128(&mut rest)? {
        let length = leb128(&mut rest)?;
        rest = rest.get(length..)?;
    }
    let count = leb128(&mut rest)?;
    let heads = rest.get(..count.checked_mul(32)?)?;
    heads
        .chunks_exact(32)
        .map(|hash| ChangeHash::try_from(hash).ok())
        .collect()
}

fn leb128(rest: &mut &[u8]) -> Option<usize> {
    let mut value = 0usize;
    for shift in (0..63).step_by(7) {
        let (&byte, tail) = rest.split_first()?;
        *rest = tail;
        value |= usize::from(byte & 0x7f) << shift;
        if byte & 0x80 == 0 {
            return Some(value);
        }
    }
    None
}

fn read_dir(path: &Path) -> Result<Vec<PathBuf>> {
    std::fs::read_dir(path)
        .and_then(|entries| entries.map(|e| e.map(|e| e.path())).collect())
        .map_err(|e| Error::io(path, e))
}

fn file_name(path: &Path) -> Option<&str> {
    path.file_name().and_then(|name| name.to_str())
}

#[cfg(test)]
mod tests {
    use super::*;
    use automerge::transaction::Transactable;

    #[test]
    fn the_heads_in_a_chunk_are_the_documents_own() {
        let mut doc = Automerge::new();
        for n in 0..5 {
            let mut tx = doc.transaction();
            tx.put(automerge::ROOT, "n", n).unwrap();
            tx.commit();
        }
        assert_eq!(heads_of(&doc.save()).unwrap(), doc.get_heads());
        // Two heads, as after working apart.
        let mut fork = doc.fork();
        fork.transact::<_, _, automerge::AutomergeError>(|tx| tx.put(automerge::ROOT, "a", 1))
            .unwrap();
        doc.transact::<_, _, automerge::AutomergeError>(|tx| tx.put(automerge::ROOT, "b", 1))
            .unwrap();
        doc.merge(&mut fork).unwrap();
        assert_eq!(doc.get_heads().len(), 2);
        assert_eq!(heads_of(&doc.save()).unwrap(), doc.get_heads());
    }

    #[test]
    fn a_damaged_chunk_has_no_heads_and_does_not_panic() {
        let mut doc = Automerge::new();
        doc.transact::<_, _, automerge::AutomergeError>(|tx| tx.put(automerge::ROOT, "a", 1))
            .unwrap();
        let good = doc.save();
        for end in 0..good.len().min(60) {
            let _ = heads_of(&good[..end]);
        }
        for at in 0..60 {
            let mut bad = good.clone();
            bad[at] = 0xff;
            let _ = heads_of(&bad);
        }
    }

    async fn repo(storage: DurableStorage) -> samod::Repo {
        samod::Repo::build_tokio()
            .with_storage(storage)
            .load()
            .await
    }

    fn edit(handle: &DocHandle, n: i64) {
        handle.with_document(|doc| {
            let mut tx = doc.transaction();
            tx.put(automerge::ROOT, format!("k{n}"), n).unwrap();
            tx.commit();
        });
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn confirmed_edits_are_read_back_through_compactions() {
        let dir = tempfile::tempdir().unwrap();
        let storage = DurableStorage::new(dir.path().to_owned());
        let id = {
            let repo = repo(storage.clone()).await;
            let handle = repo.create(Automerge::new()).await.unwrap();
            for n in 0..200 {
                edit(&handle, n);
                storage.confirm(&handle).await.unwrap();
            }
            handle.document_id().clone()
            // The repo is dropped without being stopped, as by a crash.
        };
        let again = DurableStorage::new(dir.path().to_owned());
        assert_eq!(again.list().unwrap(), vec![id.clone()]);
        let repo = repo(again).await;
        let handle = repo.find(id).await.unwrap().unwrap();
        let keys =
            handle.with_document(|doc| automerge::ReadDoc::keys(doc, automerge::ROOT).count());
        assert_eq!(keys, 200);
    }

    #[test]
    fn a_change_is_not_stored_before_what_it_builds_on() {
        let mut doc = Automerge::new();
        let mut hashes = Vec::new();
        for n in 0..3 {
            let mut tx = doc.transaction();
            tx.put(automerge::ROOT, "n", n).unwrap();
            hashes.push(tx.commit().0.unwrap());
        }
        let wanted = doc.get_heads();
        let set = |which: &[usize]| which.iter().map(|i| hashes[*i]).collect::<HashSet<_>>();
        assert!(!all_stored(&doc, &wanted, &set(&[2]), &[]));
        assert!(!all_stored(&doc, &wanted, &set(&[0, 2]), &[]));
        assert!(all_stored(&doc, &wanted, &set(&[0, 1, 2]), &[]));
        assert!(all_stored(&doc, &wanted, &set(&[2]), &[hashes[1]]));
        assert!(!all_stored(&doc, &wanted, &set(&[2]), &[hashes[0]]));
        assert!(all_stored(&doc, &wanted, &set(&[]), &[hashes[2]]));
        assert!(all_stored(&doc, &[hashes[0]], &set(&[0]), &[]));
    }

    #[cfg(unix)]
    #[tokio::test(flavor = "multi_thread")]
    async fn after_a_failed_write_nothing_is_acknowledged_and_nothing_is_deleted() {
        let dir = tempfile::tempdir().unwrap();
        let storage = DurableStorage::new(dir.path().to_owned());
        let repo_ = repo(storage.clone()).await;
        let handle = repo_.create(Automerge::new()).await.unwrap();
        edit(&handle, 0);
        storage.confirm(&handle).await.unwrap();
        let id = handle.document_id().clone();
        // A file where the folder of single changes should be makes every write fail.
        let folder = storage.path_of(&StorageKey::incremental_prefix(&id));
        let aside = dir.path().join("aside");
        std::fs::rename(&folder, &aside).unwrap();
        std::fs::write(&folder, b"in the way").unwrap();
        for n in 1..40 {
            edit(&handle, n);
            assert!(matches!(
                storage.confirm(&handle).await,
                Err(Error::NotSaved { .. })
            ));
        }
        std::fs::remove_file(&folder).unwrap();
        std::fs::rename(&aside, &folder).unwrap();
        drop(repo_);
        let repo = repo(DurableStorage::new(dir.path().to_owned())).await;
        let handle = repo.find(id).await.unwrap().unwrap();
        let keys: Vec<String> =
            handle.with_document(|doc| automerge::ReadDoc::keys(doc, automerge::ROOT).collect());
        assert_eq!(keys, ["k0"]);
    }
}
