//! What the crew's engine asks of the shop.

use std::collections::{BTreeMap, HashMap, HashSet};
use std::sync::{Arc, Weak};
use std::time::Duration;

use datumtrail_crew::{Access, BlobKind, Host, MemberId, Role, Wanted};
use futures_util::FutureExt;
use futures_util::future::BoxFuture;
use jiff::Timestamp;
use samod::{DocHandle, DocumentId};

use super::needs::{Needs, PhotoNeed};
use crate::error::Result;
use crate::job::record::{Receipt, RecordId};
use crate::shop::Shop;
use crate::shop::folder::Inner;
use crate::store::blobs::BlobId;

/// How long a document that is on the disk may take to open.
const PATIENCE: Duration = Duration::from_secs(5);

/// A shop as the engine sees it. It doesn't keep the shop open.
pub(super) struct ShopHost(pub Weak<Inner>);

impl ShopHost {
    fn shop(&self) -> Option<Shop> {
        self.0.upgrade().map(Shop::of)
    }
}

impl Host for ShopHost {
    fn now(&self) -> Timestamp {
        self.shop().map_or_else(Timestamp::now, |shop| shop.now())
    }

    fn documents(&self) -> BoxFuture<'_, Vec<DocumentId>> {
        async {
            let Some(shop) = self.shop() else {
                return Vec::new();
            };
            // Their limits have to be known before anybody is told of them.
            let _ = shop.all_needs().await;
            shop.inner.storage.list().unwrap_or_default()
        }
        .boxed()
    }

    fn access(&self, document: &DocumentId, member: &MemberId) -> Access {
        let Some(inner) = self.0.upgrade() else {
            return Access::Denied;
        };
        match inner.needs.last(document) {
            Some(needs) if needs.is_open_to(member) => Access::Granted,
            Some(_) => Access::Denied,
            None => Access::Unread,
        }
    }

    fn saved<'a>(
        &'a self,
        document: &'a DocHandle,
    ) -> BoxFuture<'a, std::result::Result<(), String>> {
        async {
            let inner = self.0.upgrade().ok_or("the shop is closed")?;
            // Who may have it may have changed with it: a limit holds at once.
            if let Ok(needs) = inner.needs.of(document)
                && inner.needs.limits_changed(document.document_id(), &needs)
                && let Some(crew) = inner.crew.get()
            {
                crew.access_changed();
            }
            let saved = inner.storage.confirm(document).await;
            saved.map_err(|e| e.to_string())
        }
        .boxed()
    }

    fn wanted(&self) -> BoxFuture<'_, Vec<Wanted>> {
        async {
            match self.shop() {
                Some(shop) => shop.wanted().await.unwrap_or_default(),
                None => Vec::new(),
            }
        }
        .boxed()
    }

    fn arrived(&self, photos: Vec<Wanted>) -> BoxFuture<'_, std::result::Result<(), String>> {
        async move {
            let shop = self.shop().ok_or("the shop is closed")?;
            shop.arrived(&photos).await.map_err(|e| e.to_string())
        }
        .boxed()
    }

    fn holds<'a>(
        &'a self,
        photos: Vec<iroh_blobs::Hash>,
        member: &'a MemberId,
    ) -> BoxFuture<'a, Vec<bool>> {
        async move {
            let photos: Vec<BlobId> = photos.into_iter().map(BlobId::from).collect();
            match self.shop() {
                Some(shop) => (shop.holds(&photos, member).await)
                    .unwrap_or_else(|_| vec![false; photos.len()]),
                None => vec![false; photos.len()],
            }
        }
        .boxed()
    }

    fn may_fetch<'a>(
        &'a self,
        photo: iroh_blobs::Hash,
        member: &'a MemberId,
    ) -> BoxFuture<'a, bool> {
        async move {
            let photo = BlobId::from(photo);
            match self.shop() {
                Some(shop) => shop.may_fetch(&photo, member).await.unwrap_or(false),
                None => false,
            }
        }
        .boxed()
    }
}

impl Shop {
    /// What all jobs ask, with their documents.
    pub(super) async fn all_needs(&self) -> Result<Vec<(DocHandle, Arc<Needs>)>> {
        let mut all = Vec::new();
        for id in self.inner.storage.list()? {
            let handle = match self.inner.needs.handle(&id) {
                Some(handle) => handle,
                // A document that can't be read, or of which only a part is here, is no reason to
                // share none of the others.
                None => match self.wait_for(id).await {
                    Some(handle) => handle,
                    None => continue,
                },
            };
            if let Ok(needs) = self.inner.needs.of(&handle) {
                all.push((handle, needs));
            }
        }
        Ok(all)
    }

    async fn wait_for(&self, id: DocumentId) -> Option<DocHandle> {
        if !self.inner.needs.is_worth_waiting_for(&id) {
            return None;
        }
        let find = self.inner.repo.find(id.clone());
        match tokio::time::timeout(PATIENCE, find).await {
            Ok(found) => found.ok()?,
            Err(_) => {
                self.inner.needs.did_not_come(id);
                None
            }
        }
    }

    /// What this device should hold and doesn't, the most wanted first.
    async fn wanted(&self) -> Result<Vec<Wanted>> {
        let me = self.device().0;
        let keeps_all = self.settings().keeps_all;
        let asked = self.inner.asked_for();
        let looks = self.role() == Some(Role::Looks);
        let mut photos: Vec<PhotoNeed> = Vec::new();
        for (handle, needs) in self.all_needs().await? {
            // Where no receipt can be written, nothing that comes would ever count as here.
            if looks || self.can_write(&handle, &needs) {
                photos.extend(needs.photos.iter().cloned());
            }
        }
        // Identities sort by time: the newest first, those of open stages before the rest.
        photos.sort_by(|a, b| (b.pressing, &b.id).cmp(&(a.pressing, &a.id)));
        let blobs = self.blobs().await?;
        let mut previews = Vec::new();
        let mut originals = Vec::new();
        let mut demanded = Vec::new();
        for photo in photos {
            if let Some(preview) = &photo.preview
                && let Some(hash) = preview.to_hash()
                && !blobs.has(preview).await?
            {
                let kind = BlobKind::Preview;
                previews.push(Wanted {
                    hash,
                    bytes: 0,
                    kind,
                });
            }
            let asked_for = asked.contains(&photo.original);
            if photo.holders.contains_key(&me) || !(keeps_all || asked_for || photo.by == me) {
                continue;
            }
            let Some(hash) = photo.original.to_hash() else {
                continue;
            };
            // A device that only looks writes no receipts: what is here is enough.
            if looks && blobs.has(&photo.original).await? {
                continue;
            }
            let wanted = Wanted {
                hash,
                bytes: photo.bytes,
                kind: BlobKind::Original,
            };
            if asked_for {
                demanded.push(wanted);
            } else {
                originals.push(wanted);
            }
        }
        demanded.extend(previews);
        demanded.extend(originals);
        Ok(demanded)
    }

    /// Flushes what came, and only then says in the jobs that this device holds it.
    async fn arrived(&self, photos: &[Wanted]) -> Result<()> {
        let ids: Vec<BlobId> = photos.iter().map(|p| BlobId::from(p.hash)).collect();
        self.blobs().await?.flush(&ids).await?;
        self.inner.no_longer_asked(&ids);
        // A device that only looks writes nothing.
        if self.role() == Some(Role::Looks) {
            return Ok(());
        }
        let mut failed = Ok(());
        let came: HashMap<&BlobId, ()> = ids.iter().map(|id| (id, ())).collect();
        let me = self.device().0;
        for (handle, needs) in self.all_needs().await? {
            let held: Vec<RecordId> = (needs.photos.iter())
                .filter(|p| came.contains_key(&p.original) && !p.holders.contains_key(&me))
                .map(|p| p.id.clone())
                .collect();
            if held.is_empty() || !self.can_write(&handle, &needs) {
                continue;
            }
            let receipt = Receipt {
                photos: held,
                holds: true,
            };
            // One job that can't be written is no reason to forget the others' photos.
            if let Err(e) = self.job_of(handle).add(receipt).await {
                tracing::warn!("a receipt could not be written: {e}");
                failed = Err(e);
            }
        }
        failed
    }

    fn can_write(&self, handle: &DocHandle, needs: &Needs) -> bool {
        needs.writable && self.inner.storage.fault(handle.document_id()).is_none()
    }

    /// Of each blob, whether this device has all of it and says so in a job that the member may
    /// have, or has a preview of such a job: those are always kept.
    async fn holds(&self, photos: &[BlobId], member: &MemberId) -> Result<Vec<bool>> {
        let me = self.device().0;
        let all = self.all_needs().await?;
        let mut said: HashSet<&BlobId> = HashSet::new();
        for (_, needs) in all.iter().filter(|(_, needs)| needs.is_open_to(member)) {
            for photo in &needs.photos {
                said.extend(&photo.preview);
                if photo.holders.contains_key(&me) {
                    said.insert(&photo.original);
                }
            }
        }
        let blobs = self.blobs().await?;
        let mut held = Vec::with_capacity(photos.len());
        for photo in photos {
            let means_to = said.contains(photo) && !self.inner.lets_go_of(photo);
            held.push(means_to && blobs.has(photo).await.unwrap_or(false));
        }
        Ok(held)
    }

    /// Whether a blob belongs to a job that the member may have.
    async fn may_fetch(&self, photo: &BlobId, member: &MemberId) -> Result<bool> {
        let is_it = |p: &PhotoNeed| p.original == *photo || p.preview.as_ref() == Some(photo);
        let gives = |needs: &Arc<Needs>| needs.is_open_to(member) && needs.photos.iter().any(is_it);
        // Asked once for each photo that goes out.
        if self.inner.needs.all_known().iter().any(gives) {
            return Ok(true);
        }
        let all = self.all_needs().await?;
        Ok(all.iter().any(|(_, needs)| gives(needs)))
    }

    /// The originals that this device holds and did not take in itself, each with the other devices
    /// that hold it, and since when. Where several records name the same bytes, a device counts only
    /// if it says so for all of them.
    pub(super) async fn held_elsewhere(&self) -> Result<BTreeMap<BlobId, Holders>> {
        let me = self.device().0;
        let mut own = HashSet::new();
        let mut held: BTreeMap<BlobId, Holders> = BTreeMap::new();
        for (_, needs) in self.all_needs().await? {
            for photo in &needs.photos {
                if photo.by == me {
                    own.insert(photo.original.clone());
                }
                if !photo.holders.contains_key(&me) {
                    continue;
                }
                let mut others = photo.holders.clone();
                others.remove(&me);
                held.entry(photo.original.clone())
                    .and_modify(|known| known.retain(|device, _| others.contains_key(device)))
                    .or_insert(others);
            }
        }
        held.retain(|photo, _| !own.contains(photo));
        Ok(held)
    }
}

/// Devices, and since when each says that it holds a photo.
pub(super) type Holders = BTreeMap<String, String>;
