//! A device for tests: a document store in memory, a blob store in a temporary folder, and an
//! engine on loopback.
#![allow(dead_code)]

use std::collections::HashSet;
use std::sync::atomic::{AtomicBool, AtomicI64, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;

use automerge::transaction::Transactable;
use automerge::{Automerge, ChangeHash, ROOT, ReadDoc};
use datumtrail_crew::{
    Access, BlobKind, Crew, CrewOptions, Event, Gate, Host, Invite, MemberId, NetOptions, Role,
    Settled, Ticket, Wanted, peer_id,
};
use futures_util::FutureExt;
use futures_util::future::BoxFuture;
use iroh::SecretKey;
use iroh_blobs::Hash;
use iroh_blobs::store::fs::FsStore;
use jiff::{SignedDuration, Timestamp};
use samod::storage::InMemoryStorage;
use samod::{DocHandle, DocumentId, Repo};
use tokio::sync::broadcast;

pub const SOON: Duration = Duration::from_secs(60);

pub struct TestHost {
    pub documents: Mutex<Vec<DocumentId>>,
    pub wanted: Mutex<Vec<Wanted>>,
    pub kept: Mutex<Vec<Hash>>,
    pub withheld: Mutex<HashSet<(DocumentId, MemberId)>>,
    /// Documents of which nobody knows yet who may have them.
    pub unread: Mutex<HashSet<DocumentId>>,
    pub secret_photos: Mutex<HashSet<(Hash, MemberId)>>,
    pub disk_full: AtomicBool,
    pub ahead_ms: AtomicI64,
    pub blobs: iroh_blobs::api::Store,
    /// Where the blob store is, if its files are to be flushed as a shop does it.
    pub flush_in: Mutex<Option<std::path::PathBuf>>,
}

impl Host for TestHost {
    fn now(&self) -> Timestamp {
        Timestamp::now() + SignedDuration::from_millis(self.ahead_ms.load(Ordering::Relaxed))
    }

    fn documents(&self) -> BoxFuture<'_, Vec<DocumentId>> {
        async { self.documents.lock().unwrap().clone() }.boxed()
    }

    fn access(&self, document: &DocumentId, member: &MemberId) -> Access {
        let withheld = self.withheld.lock().unwrap();
        match withheld.contains(&(document.clone(), *member)) {
            true => Access::Denied,
            false if self.unread.lock().unwrap().contains(document) => Access::Unread,
            false => Access::Granted,
        }
    }

    fn saved<'a>(&'a self, _: &'a DocHandle) -> BoxFuture<'a, Result<(), String>> {
        async {
            if self.disk_full.load(Ordering::Relaxed) {
                return Err("the disk is full".to_owned());
            }
            Ok(())
        }
        .boxed()
    }

    fn wanted(&self) -> BoxFuture<'_, Vec<Wanted>> {
        async { self.wanted.lock().unwrap().clone() }.boxed()
    }

    fn arrived(&self, photos: Vec<Wanted>) -> BoxFuture<'_, Result<(), String>> {
        async move {
            if self.disk_full.load(Ordering::Relaxed) {
                return Err("the disk is full".to_owned());
            }
            let folder = self.flush_in.lock().unwrap().clone();
            if let Some(folder) = folder {
                self.blobs.sync_db().await.map_err(|e| e.to_string())?;
                let hashes: Vec<Hash> = photos.iter().map(|photo| photo.hash).collect();
                let flushed = tokio::task::spawn_blocking(move || flush(&folder, &hashes));
                let flushed = flushed.await.map_err(|e| e.to_string())?;
                flushed.map_err(|e| e.to_string())?;
            }
            let mut wanted = self.wanted.lock().unwrap();
            for photo in photos {
                wanted.retain(|one| one.hash != photo.hash);
                self.kept.lock().unwrap().push(photo.hash);
            }
            Ok(())
        }
        .boxed()
    }

    fn holds<'a>(&'a self, photos: Vec<Hash>, _: &'a MemberId) -> BoxFuture<'a, Vec<bool>> {
        async move {
            let mut held = Vec::new();
            for photo in photos {
                held.push(self.blobs.blobs().has(photo).await.unwrap_or(false));
            }
            held
        }
        .boxed()
    }

    fn may_fetch<'a>(&'a self, photo: Hash, member: &'a MemberId) -> BoxFuture<'a, bool> {
        let secret = self.secret_photos.lock().unwrap();
        std::future::ready(!secret.contains(&(photo, *member))).boxed()
    }
}

/// Flushes blobs' files as a shop does it.
fn flush(folder: &std::path::Path, hashes: &[Hash]) -> std::io::Result<()> {
    let paths = iroh_blobs::store::fs::options::PathOptions::new(folder);
    for hash in hashes {
        for path in [paths.data_path(hash), paths.outboard_path(hash)] {
            if let Ok(file) = std::fs::File::open(path) {
                file.sync_all()?;
            }
        }
    }
    std::fs::File::open(&paths.data_path)?.sync_all()
}

/// What stays when a device is switched off.
pub struct Disk {
    pub key: SecretKey,
    pub folder: tempfile::TempDir,
    pub documents: InMemoryStorage,
    pub known: Vec<DocumentId>,
}

impl Disk {
    pub fn new(n: u8) -> Self {
        Self {
            key: SecretKey::from_bytes(&[n; 32]),
            folder: tempfile::tempdir().unwrap(),
            documents: InMemoryStorage::new(),
            known: Vec::new(),
        }
    }
}

pub struct Device {
    pub crew: Crew,
    pub host: Arc<TestHost>,
    pub repo: Repo,
    pub events: broadcast::Receiver<Event>,
    pub disk: Disk,
    pub blobs: FsStore,
}

impl Device {
    pub async fn new(n: u8) -> Self {
        Self::on(Disk::new(n)).await
    }

    pub async fn on(disk: Disk) -> Self {
        Self::with(disk, NetOptions::loopback()).await
    }

    /// A ticket for a device that works.
    pub async fn ticket(&self) -> Ticket {
        let invite = Invite {
            role: Role::Works,
            name: None,
            valid: Duration::from_secs(60),
        };
        self.crew.invite(invite).await.unwrap()
    }

    pub async fn with(disk: Disk, net: NetOptions) -> Self {
        let gate = Gate::new();
        let repo = Repo::build_tokio()
            .with_storage(disk.documents.clone())
            .with_peer_id(peer_id(&disk.key.public()))
            .with_share_policy(gate.clone())
            .load()
            .await;
        let blobs = FsStore::load(disk.folder.path().join("blobs"))
            .await
            .unwrap();
        let host = Arc::new(TestHost {
            documents: Mutex::new(disk.known.clone()),
            wanted: Mutex::default(),
            kept: Mutex::default(),
            withheld: Mutex::default(),
            unread: Mutex::default(),
            secret_photos: Mutex::default(),
            disk_full: AtomicBool::new(false),
            ahead_ms: AtomicI64::new(0),
            blobs: (*blobs).clone(),
            flush_in: Mutex::default(),
        });
        let crew = Crew::start(
            CrewOptions {
                key: disk.key.clone(),
                name: format!("device {}", &disk.key.public().to_string()[..6]),
                folder: disk.folder.path().join("crew"),
                repo: repo.clone(),
                gate,
                blobs: (*blobs).clone(),
                net,
            },
            host.clone(),
        )
        .await
        .unwrap();
        Self {
            events: crew.events(),
            crew,
            host,
            repo,
            disk,
            blobs,
        }
    }

    pub fn id(&self) -> MemberId {
        self.crew.id()
    }

    /// Switches it off and gives back what stays.
    pub async fn off(self) -> Disk {
        self.crew.stop().await;
        self.repo.stop().await;
        let _ = self.blobs.shutdown().await;
        let mut disk = self.disk;
        disk.known = self.host.documents.lock().unwrap().clone();
        disk
    }

    pub async fn invite(&mut self, other: &Device, role: Role) {
        let ticket = self
            .crew
            .invite(Invite {
                role,
                name: None,
                valid: Duration::from_secs(60),
            })
            .await
            .unwrap();
        let ticket = ticket.to_string().parse().unwrap();
        other.crew.join(&ticket, "newcomer").await.unwrap();
    }

    /// A new document with one field.
    pub async fn document(&self, key: &str, value: i64) -> DocHandle {
        let mut doc = Automerge::new();
        set_in(&mut doc, key, value);
        let handle = self.repo.create(doc).await.unwrap();
        self.note(&handle);
        self.crew.document_added(&handle).await;
        handle
    }

    pub fn note(&self, handle: &DocHandle) {
        let mut documents = self.host.documents.lock().unwrap();
        documents.push(handle.document_id().clone());
    }

    /// The document here, which must be there already or be coming.
    pub async fn find(&self, id: &DocumentId) -> DocHandle {
        for _ in 0..400 {
            if let Ok(Ok(Some(handle))) =
                tokio::time::timeout(Duration::from_secs(5), self.repo.find(id.clone())).await
            {
                return handle;
            }
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
        panic!("the document did not come");
    }

    pub async fn settled(&self) -> Settled {
        let settled = self.crew.settled(SOON).await;
        assert!(settled.is_whole(), "{settled:?}");
        settled
    }

    /// Waits for an event.
    pub async fn until(&mut self, fits: impl Fn(&Event) -> bool) -> Event {
        let waiting = async {
            loop {
                match self.events.recv().await {
                    Ok(event) if fits(&event) => return event,
                    Ok(_) | Err(broadcast::error::RecvError::Lagged(_)) => {}
                    Err(e) => panic!("{e}"),
                }
            }
        };
        tokio::time::timeout(SOON, waiting)
            .await
            .expect("the event did not come")
    }

    pub async fn photo(&self, bytes: Vec<u8>) -> Wanted {
        let length = bytes.len();
        let tag = self.blobs.blobs().add_bytes(bytes).await.unwrap();
        Wanted {
            hash: tag.hash,
            bytes: length.try_into().unwrap(),
            kind: BlobKind::Original,
        }
    }

    pub fn want(&self, photos: &[Wanted]) {
        self.host.wanted.lock().unwrap().extend_from_slice(photos);
        self.crew.photos_changed();
    }
}

/// Waits until something holds.
pub async fn eventually(what: &str, holds: impl Fn() -> bool) {
    for _ in 0..1000 {
        if holds() {
            return;
        }
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
    panic!("never: {what}");
}

pub fn set_in(doc: &mut Automerge, key: &str, value: i64) {
    doc.transact::<_, _, automerge::AutomergeError>(|tx| tx.put(ROOT, key, value))
        .unwrap();
}

pub fn set(handle: &DocHandle, key: &str, value: i64) {
    handle.with_document(|doc| set_in(doc, key, value));
}

pub fn get(handle: &DocHandle, key: &str) -> Option<i64> {
    handle.with_document(|doc| doc.get(ROOT, key).unwrap().and_then(|(v, _)| v.as_i64()))
}

pub fn heads(handle: &DocHandle) -> Vec<ChangeHash> {
    handle.with_document(|doc| {
        let mut heads = doc.get_heads();
        heads.sort();
        heads
    })
}

/// Two devices that belong together and are connected.
pub async fn pair() -> (Device, Device) {
    pair_of(Role::Works).await
}

pub async fn pair_of(role: Role) -> (Device, Device) {
    let mut a = Device::new(1).await;
    let b = Device::new(2).await;
    a.invite(&b, role).await;
    connected(&a, &b).await;
    (a, b)
}

pub async fn connected(a: &Device, b: &Device) {
    let has = |d: &Device, other: MemberId| d.crew.peers().iter().any(|p| p.id == other);
    eventually("both are connected", || has(a, b.id()) && has(b, a.id())).await;
}

pub fn log() {
    let _ = tracing_subscriber::fmt()
        .with_env_filter(tracing_subscriber::EnvFilter::from_default_env())
        .with_test_writer()
        .try_init();
}
