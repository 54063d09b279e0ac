//! The crew: the devices that share the shop's jobs. The engine is in `datumtrail_crew`; here it is
//! given the shop's documents and photos.

mod host;
pub(super) mod needs;
mod originals;
mod told;

use std::collections::HashSet;
use std::net::SocketAddr;
use std::sync::{Arc, PoisonError};
use std::time::Duration;

use futures_util::FutureExt;

use datumtrail_crew::{
    Crew, CrewOptions, Invite, Member, MemberId, NetOptions, Peer, Role, Roster, Settled, Ticket,
};

use self::host::ShopHost;
use super::folder::{Inner, Shop};
use super::job::Job;
use crate::error::{Error, Result};
use crate::job::record::Removal;
use crate::store::blobs::BlobId;

pub use originals::Dropped;

impl Inner {
    /// The originals that somebody waits for.
    fn asked_for(&self) -> HashSet<BlobId> {
        let asked = self.asked.lock().unwrap_or_else(PoisonError::into_inner);
        asked.clone()
    }

    fn ask_for(&self, photo: &BlobId) {
        let mut asked = self.asked.lock().unwrap_or_else(PoisonError::into_inner);
        asked.insert(photo.clone());
    }

    /// Whether this device is about to let go of a photo.
    fn lets_go_of(&self, photo: &BlobId) -> bool {
        let leaving = self.leaving.lock().unwrap_or_else(PoisonError::into_inner);
        leaving.contains(photo)
    }

    fn begins_to_let_go(&self, photos: HashSet<BlobId>) -> Leaving<'_> {
        *self.leaving.lock().unwrap_or_else(PoisonError::into_inner) = photos;
        Leaving(self)
    }

    fn no_longer_asked(&self, photos: &[BlobId]) {
        let mut asked = self.asked.lock().unwrap_or_else(PoisonError::into_inner);
        asked.retain(|photo| !photos.contains(photo));
    }
}

/// While it lives, this device is about to let go of photos.
struct Leaving<'a>(&'a Inner);

impl Drop for Leaving<'_> {
    fn drop(&mut self) {
        let leaving = self.0.leaving.lock();
        leaving.unwrap_or_else(PoisonError::into_inner).clear();
    }
}

impl Shop {
    pub(super) fn of(inner: Arc<Inner>) -> Self {
        Self {
            inner,
            person: Default::default(),
        }
    }

    pub(super) fn job_of(&self, handle: samod::DocHandle) -> Job<'_> {
        Job::new(self, handle)
    }

    /// The engine, started when first needed: from then on this device can be found.
    ///
    /// # Errors
    /// Where the network can't be used or the roster can't be read.
    pub async fn crew(&self) -> Result<&Crew> {
        self.inner
            .crew
            .get_or_try_init(|| async {
                let settings = self.settings();
                let mut net = NetOptions {
                    port: settings.port,
                    ..self.inner.options.net.clone()
                };
                if !net.bind.is_empty() {
                    net.mdns = false;
                }
                let options = CrewOptions {
                    key: self.inner.key.for_network(),
                    name: self.device_name(),
                    folder: self.inner.folder.crew(),
                    repo: self.inner.repo.clone(),
                    gate: self.inner.gate.clone(),
                    blobs: self.blobs().await?.store(),
                    net,
                };
                let host = Arc::new(ShopHost(Arc::downgrade(&self.inner)));
                // Boxed: its type is deep, and every command that may start it would hold it.
                let crew = Crew::start(options, host).boxed().await?;
                told::listen(&crew, Arc::downgrade(&self.inner));
                Ok(crew)
            })
            .await
    }

    /// What this device may do; none where it belongs to no crew.
    pub fn role(&self) -> Option<Role> {
        match self.inner.crew.get() {
            Some(crew) => crew.role(),
            None => self.roster().ok()?.role(&self.inner.key.member()),
        }
    }

    /// The others would not take what a device writes that may only look.
    pub(super) fn refuse_if_only_looking(&self) -> Result<()> {
        if self.role() == Some(Role::Looks) {
            return Err(Error::invalid(
                "this device may look at the jobs and not change them",
                "write it at a device that works in the crew, or ask for a ticket that lets this \
                 one work",
            ));
        }
        Ok(())
    }

    /// The devices of the crew, by name.
    pub fn members(&self) -> Result<Vec<Member>> {
        Ok(match self.inner.crew.get() {
            Some(crew) => crew.members(),
            None => self.roster()?.members(),
        })
    }

    /// Writes a ticket that admits one device. The engine has to run until it is used.
    pub async fn invite(&self, invite: Invite) -> Result<Ticket> {
        Ok(self.crew().await?.invite(invite).await?)
    }

    /// Joins a crew by a ticket.
    pub async fn join(&self, ticket: &str) -> Result<()> {
        let ticket: Ticket = ticket.trim().parse()?;
        let crew = self.crew().await?;
        Ok(crew.join(&ticket, &self.device_name()).await?)
    }

    /// Calls a device something else.
    pub async fn rename_device(&self, typed: &str, name: &str) -> Result<()> {
        let crew = self.crew().await?;
        let member = crew.find(typed)?;
        crew.rename(member, name).await?;
        if member == self.inner.key.member() {
            self.change_settings(|s| s.device_name = name.trim().to_owned())?;
        }
        Ok(())
    }

    /// Removes a device for good: others refuse it from when they hear of it, and what it writes
    /// from now on is set aside in every job.
    pub async fn remove_device(&self, typed: &str) -> Result<String> {
        let crew = self.crew().await?;
        let member = crew.find(typed)?;
        let name = (crew.members().into_iter())
            .find(|m| m.id == member)
            .map_or_else(|| member.to_string(), |m| m.name);
        crew.remove(member).await?;
        self.record_removals().await?;
        Ok(name)
    }

    /// Says in each job which devices were removed and what was known then, unless it says so.
    pub(super) async fn record_removals(&self) -> Result<()> {
        let Some(crew) = self.inner.crew.get() else {
            return Ok(());
        };
        if crew.role() != Some(Role::Keeps) {
            return Ok(());
        }
        let removals = crew.removals();
        let mut failed = Ok(());
        for (handle, needs) in self.all_needs().await? {
            for removal in &removals {
                let device = removal.member.to_string();
                let listed = (removal.heads.iter()).find(|h| h.document() == *handle.document_id());
                let said = needs.removals.iter().filter(|(d, _)| *d == device);
                let heads = match listed {
                    Some(listed) => {
                        let heads = listed.heads();
                        // What the remover had and this device hasn't yet would be set aside.
                        let known = handle.with_document(|doc| {
                            let has = |h| doc.get_change_meta_by_hash(h).is_some();
                            heads.iter().all(has)
                        });
                        let mut heads: Vec<String> =
                            heads.iter().map(ToString::to_string).collect();
                        heads.sort();
                        if !known || said.into_iter().any(|(_, h)| *h == heads) {
                            continue;
                        }
                        heads
                    }
                    // A job that the remover didn't have, such as one that came with an archive:
                    // what is in it now counts.
                    None if said.count() > 0 => continue,
                    None => handle.with_document(|doc| {
                        let heads = doc.get_heads();
                        heads.iter().map(ToString::to_string).collect()
                    }),
                };
                let removal = Removal { device, heads };
                // One job that can't be written is no reason to leave out the others.
                if let Err(e) = self.job_of(handle.clone()).add(removal).await {
                    failed = Err(e);
                }
            }
        }
        failed
    }

    /// Connects to a device of the crew at an address, where the network hides it.
    pub async fn connect(&self, address: SocketAddr) -> Result<MemberId> {
        Ok(self.crew().await?.connect(address).await?)
    }

    /// Waits until everything that the connected devices know is exchanged.
    pub async fn settled(&self, within: Duration) -> Result<Settled> {
        Ok(self.crew().await?.settled(within).await)
    }

    /// The connected devices; none where the engine was not started.
    pub fn peers(&self) -> Vec<Peer> {
        self.inner.crew.get().map(Crew::peers).unwrap_or_default()
    }

    /// Where this device listens; nowhere where the engine was not started.
    pub fn addresses(&self) -> Vec<SocketAddr> {
        let crew = self.inner.crew.get();
        crew.map(Crew::addresses).unwrap_or_default()
    }

    /// Tells the engine, where it runs, of a job that is new here.
    pub(super) async fn tell_crew(&self, job: &Job<'_>) {
        if let Some(crew) = self.inner.crew.get() {
            crew.document_added(job.handle()).await;
        }
    }

    /// What a job is called, or its identity.
    pub async fn title_of(&self, document: &str) -> String {
        let title = async { self.job(Some(document)).await?.title() };
        title.await.unwrap_or_else(|_| document.to_owned())
    }

    /// What this device is called.
    pub fn device_name(&self) -> String {
        let name = self.settings().device_name;
        match name.is_empty() {
            true => self.device().short().to_owned(),
            false => name,
        }
    }

    /// The key of a member that a person named.
    pub(super) fn member(&self, typed: &str) -> Result<String> {
        let found = match self.inner.crew.get() {
            Some(crew) => crew.find(typed),
            None => self.roster()?.find(typed),
        };
        Ok(found?.to_string())
    }

    fn roster(&self) -> Result<Roster> {
        Ok(Roster::load(&self.inner.folder.crew().join("roster"))?)
    }
}

impl From<datumtrail_crew::CrewError> for Error {
    fn from(error: datumtrail_crew::CrewError) -> Self {
        Error::Crew(Box::new(error))
    }
}
