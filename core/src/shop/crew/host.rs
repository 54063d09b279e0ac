//! What the crew's engine asks of the shop.

use std::collections::{BTreeMap, HashMap};
use std::sync::{Arc, Weak};

use datumtrail_crew::{BlobKind, Host, MemberId, Role, Wanted};
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

    fn may_have(&self, document: &DocumentId, member: &MemberId) -> bool {
        let Some(inner) = self.0.upgrade() else {
            return false;
        };
        // A document that isn't here can only come from somebody who has it.
        let Some(needs) = inner.needs.last(document) else {
            return true;
        };
        match &needs.limited_to {
            None => true,
            Some(devices) => devices.contains(&member.to_string()),
        }
    }

    fn saved<'a>(
        &'a self,
        document: &'a DocHandle,
    ) -> BoxFuture<'a, std::result::Result<(), String>> {
        async {
            let inner = self.0.upgrade().ok_or("the shop is closed")?;
            let saved = inner.storage.confirm(document).await;
            // Who may have it may have changed with it.
            let _ = inner.needs.of(document);
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

    fn holds(&self, photo: iroh_blobs::Hash) -> BoxFuture<'_, bool> {
        async move {
            match self.shop() {
                Some(shop) => shop.holds(&BlobId::from(photo)).await,
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
            // A document that can't be read is no reason to share none of the others.
            let Ok(Some(handle)) = self.inner.repo.find(id).await else {
                continue;
            };
            if let Ok(needs) = self.inner.needs.of(&handle) {
                all.push((handle, needs));
            }
        }
        Ok(all)
    }

    /// What this device should hold and doesn't, the most wanted first.
    async fn wanted(&self) -> Result<Vec<Wanted>> {
        let me = self.device().0;
        let keeps_all = self.settings().keeps_all;
        let asked = self.inner.asked_for();
        let mut photos: Vec<PhotoNeed> = Vec::new();
        for (_, needs) in self.all_needs().await? {
            photos.extend(needs.photos.iter().cloned());
        }
        // Identities sort by time: the newest first, those of open stages before the rest.
        photos.sort_by(|a, b| (b.pressing, &b.id).cmp(&(a.pressing, &a.id)));
        let blobs = self.blobs().await?;
        let mut previews = Vec::new();
        let mut originals = Vec::new();
        let mut demanded = Vec::new();
        for photo in photos {
            if let Some(preview) = &photo.preview
                && !blobs.has(preview).await?
                && let Some(hash) = preview.to_hash()
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
        let came: HashMap<&BlobId, ()> = ids.iter().map(|id| (id, ())).collect();
        let me = self.device().0;
        for (handle, needs) in self.all_needs().await? {
            let held: Vec<RecordId> = (needs.photos.iter())
                .filter(|p| came.contains_key(&p.original) && !p.holders.contains_key(&me))
                .map(|p| p.id.clone())
                .collect();
            if !held.is_empty() {
                let receipt = Receipt {
                    photos: held,
                    holds: true,
                };
                self.job_of(handle).add(receipt).await?;
            }
        }
        Ok(())
    }

    /// Whether this device has all of a photo and says so in a job, or has a preview: those are
    /// always kept.
    async fn holds(&self, photo: &BlobId) -> bool {
        let me = self.device().0;
        let Ok(all) = self.all_needs().await else {
            return false;
        };
        let kept = |p: &PhotoNeed| {
            let original = p.original == *photo && p.holders.contains_key(&me);
            original || p.preview.as_ref() == Some(photo)
        };
        let said = (all.iter()).any(|(_, needs)| needs.photos.iter().any(kept));
        let Ok(blobs) = self.blobs().await else {
            return false;
        };
        said && blobs.has(photo).await.unwrap_or(false)
    }

    /// How many other devices hold each original that this one holds, with those that do.
    pub(super) async fn held_elsewhere(&self) -> Result<BTreeMap<BlobId, Vec<(String, String)>>> {
        let me = self.device().0;
        let mut held = BTreeMap::new();
        for (_, needs) in self.all_needs().await? {
            for photo in &needs.photos {
                if photo.holders.contains_key(&me) && photo.by != me {
                    let others = photo.holders.iter().filter(|(device, _)| **device != me);
                    let others = others.map(|(d, at)| (d.clone(), at.clone())).collect();
                    held.insert(photo.original.clone(), others);
                }
            }
        }
        Ok(held)
    }
}
