//! The engine: what a front end calls.

use std::net::SocketAddr;
use std::sync::Arc;
use std::time::{Duration, Instant};

use futures_util::future::join_all;
use iroh_blobs::Hash;
use samod::DocHandle;
use tokio::sync::broadcast;

use crate::addresses::Addresses;
use crate::door::{accept_all, dial, dial_all, watch_network};
use crate::engine::{Engine, Parts, lock};
use crate::error::{CrewError, Result};
use crate::event::{Event, Peer, Settled};
use crate::host::{Access, Host};
use crate::invitations::Grant;
use crate::net;
use crate::options::CrewOptions;
use crate::roster::{DocumentHeads, Member, MemberId, Removal, Role, Roster, name_is_good};
use crate::ticket::{ADDRESSES_MAX, Secret, Ticket};
use crate::wire::hash_bytes;

/// How often [`Crew::settled`] looks, should nothing have woken it.
const LOOK: Duration = Duration::from_millis(100);
/// How long an invitation waits for this device to know where it is.
const ADDRESSES_TIME: Duration = Duration::from_secs(2);
/// How long nothing may be missing before it counts as nothing missing.
const CALM: Duration = Duration::from_millis(50);

/// What a new device will be.
#[derive(Clone, Debug)]
pub struct Invite {
    /// What it may do.
    pub role: Role,
    /// What it will be called; none leaves it to the device.
    pub name: Option<String>,
    /// How long the ticket is good.
    pub valid: Duration,
}

/// A running engine. It can be shared behind an [`Arc`]; [`Crew::stop`] ends it. One that is
/// dropped ends too, soon afterwards.
pub struct Crew {
    pub(crate) engine: Arc<Engine>,
}

impl Crew {
    /// Starts the engine: listens, announces itself, and connects to every device of the crew
    /// that it can find. Works without a crew too, until one is founded or joined.
    ///
    /// # Errors
    /// [`CrewError::Network`] if no socket can be had, [`CrewError::Damaged`] if the roster can't
    /// be read.
    pub async fn start(options: CrewOptions, host: Arc<dyn Host>) -> Result<Self> {
        let roster_path = options.folder.join("roster");
        let roster = Roster::load(&roster_path)?;
        let mut addresses = Addresses::load(&options.folder.join("addresses"));
        let endpoint = net::bind(&options.key, &options.net, addresses.port()).await?;
        if let Some(bound) = endpoint.bound_sockets().iter().find(|a| a.is_ipv4()) {
            addresses.set_port(bound.port());
            addresses.save();
        }
        let acceptor = options
            .repo
            .make_acceptor(crate::stream::address())
            .map_err(|_| CrewError::Internal("the document store has stopped".into()))?;
        let engine = Engine::new(Parts {
            options,
            host,
            endpoint,
            acceptor,
            roster,
            roster_path,
            addresses,
        });
        let crew = Self { engine };
        crew.open_documents().await;
        let engine = &crew.engine;
        let asked = Arc::downgrade(engine);
        engine.gate.set(Arc::new(move |document, member| {
            let engine = asked.upgrade()?;
            // What this device neither has nor looks for is nobody's to push here; and what it
            // has just made waits until the shop has said who may have it.
            let role = engine.role_of(member)?;
            let open = engine.documents.is_expected(document)
                && match engine.host.access(document, member) {
                    Access::Granted => true,
                    Access::Denied => false,
                    Access::Unread => engine.is_promised_by(document, member),
                };
            open.then_some(role)
        }));
        engine.spawn(accept_all(Arc::clone(engine)));
        engine.spawn(dial_all(Arc::clone(engine)));
        engine.spawn(crate::photos::fetch_all(Arc::clone(engine)));
        engine.spawn(crate::addresses::keep(Arc::clone(engine)));
        if engine.mdns {
            engine.spawn(watch_network(Arc::clone(engine)));
        }
        Ok(crew)
    }

    async fn open_documents(&self) {
        let engine = &self.engine;
        for id in engine.host.documents().await {
            match engine.repo.find(id.clone()).await {
                Ok(Some(handle)) => {
                    engine.documents.add(engine, handle, true);
                }
                _ => tracing::warn!(document = %id, "a document can't be opened"),
            }
        }
    }

    /// Closes every connection and the sockets. The document and blob stores stay open.
    pub async fn stop(&self) {
        self.engine.part();
        self.engine.end().await;
    }

    /// This device.
    pub fn id(&self) -> MemberId {
        self.engine.id
    }

    /// What happens from now on. A receiver that falls behind by more than a thousand events
    /// loses the oldest.
    pub fn events(&self) -> broadcast::Receiver<Event> {
        self.engine.subscribe()
    }

    /// Where this device listens now, the likeliest address first.
    pub fn addresses(&self) -> Vec<SocketAddr> {
        net::own_addresses(&self.engine.endpoint)
    }

    /// The devices of the crew, by name; empty where there is no crew.
    pub fn members(&self) -> Vec<Member> {
        self.engine.roster().members()
    }

    /// What this device may do; none if it is in no crew, or was removed.
    pub fn role(&self) -> Option<Role> {
        self.engine.role_of(&self.engine.id)
    }

    /// The removals that count, with what to set aside.
    pub fn removals(&self) -> Vec<Removal> {
        self.engine.roster().removals()
    }

    /// The device that a person means, by name or the first digits of its key.
    ///
    /// # Errors
    /// [`CrewError::UnknownMember`], [`CrewError::Ambiguous`].
    pub fn find(&self, typed: &str) -> Result<MemberId> {
        self.engine.roster().find(typed)
    }

    /// Founds a crew with this device as its first. [`Crew::invite`] does so where there is none.
    ///
    /// # Errors
    /// [`CrewError::InCrew`], [`CrewError::BadName`].
    pub async fn found(&self) -> Result<()> {
        let engine = &self.engine;
        engine.need_running()?;
        let now = engine.host.now();
        engine
            .change_roster(|roster| roster.found(&engine.key, &engine.name, now))
            .await
    }

    /// Writes a ticket for one device. It is void once used, expired, or when the engine stops.
    ///
    /// # Errors
    /// [`CrewError::NotAllowed`] unless this device keeps the crew, [`CrewError::BadName`].
    pub async fn invite(&self, invite: Invite) -> Result<Ticket> {
        let engine = &self.engine;
        engine.need_running()?;
        if invite.name.as_ref().is_some_and(|name| !name_is_good(name)) {
            return Err(CrewError::BadName {
                max: crate::roster::NAME_MAX,
            });
        }
        if engine.roster().crew().is_none() {
            self.found().await?;
        }
        if self.role() != Some(Role::Keeps) {
            return Err(CrewError::NotAllowed("invite devices"));
        }
        let now = engine.host.now();
        let valid = jiff::SignedDuration::try_from(invite.valid).unwrap_or_default();
        let expires = now.checked_add(valid).unwrap_or(jiff::Timestamp::MAX);
        let secret = Secret::generate();
        let grant = Grant {
            role: invite.role,
            name: invite.name.clone(),
        };
        lock(&engine.invitations).add(secret, expires, grant);
        let mut addresses = self.addresses();
        let began = Instant::now();
        while addresses.is_empty() && began.elapsed() < ADDRESSES_TIME {
            // Right after the start the interfaces are still being looked at.
            tokio::time::sleep(Duration::from_millis(50)).await;
            addresses = self.addresses();
        }
        addresses.truncate(ADDRESSES_MAX);
        Ok(Ticket {
            inviter: engine.id,
            secret,
            expires,
            role: invite.role,
            name: invite.name,
            addresses,
        })
    }

    /// Joins a crew by a ticket. `name` is what this device is called unless the ticket says.
    ///
    /// # Errors
    /// [`CrewError::InCrew`], [`CrewError::Unreachable`], or [`CrewError::Refused`] with the
    /// inviter's reason. Nothing of a crew is kept then.
    pub async fn join(&self, ticket: &Ticket, name: &str) -> Result<()> {
        self.engine.need_running()?;
        crate::join::ask(&self.engine, ticket, name).await
    }

    /// Calls a device something else. A device may rename itself; one that keeps the crew, any.
    ///
    /// # Errors
    /// [`CrewError::NotAllowed`], [`CrewError::BadName`].
    pub async fn rename(&self, member: MemberId, name: &str) -> Result<()> {
        let engine = &self.engine;
        let now = engine.host.now();
        engine
            .change_roster(|roster| roster.rename(&engine.key, member, name, now))
            .await
    }

    /// Removes a device for good, closes its connections and tells everybody. The removal carries
    /// the heads of every document as they are here now. Removing this device leaves the crew.
    ///
    /// # Errors
    /// [`CrewError::NotAllowed`], [`CrewError::UnknownMember`].
    pub async fn remove(&self, member: MemberId) -> Result<()> {
        let engine = &self.engine;
        let heads = engine
            .documents
            .all()
            .iter()
            .map(|document| {
                let heads = document.handle.with_document(|doc| doc.get_heads());
                DocumentHeads::new(document.handle.document_id(), &heads)
            })
            .collect();
        let now = engine.host.now();
        engine
            .change_roster(|roster| roster.remove(&engine.key, member, heads, now))
            .await
    }

    /// Connects to whichever device of the crew is at an address, where discovery is blocked.
    ///
    /// # Errors
    /// [`CrewError::Unreachable`] if no device of the crew answers there.
    pub async fn connect(&self, address: SocketAddr) -> Result<MemberId> {
        let engine = &self.engine;
        engine.need_running()?;
        if engine.roster().crew().is_none() {
            return Err(CrewError::NoCrew);
        }
        let there = |member: &MemberId| {
            let sessions = lock(&engine.sessions);
            let session = sessions.get(member)?;
            (net::address_of(&session.connection) == Some(address)).then_some(*member)
        };
        let others: Vec<MemberId> = {
            let members = self.members().into_iter().map(|m| m.id);
            members.filter(|id| *id != engine.id).collect()
        };
        if let Some(member) = others.iter().find_map(there) {
            return Ok(member);
        }
        let connected = |id: &MemberId| lock(&engine.sessions).contains_key(id);
        let tries = others
            .iter()
            .filter(|id| !connected(id))
            .map(|member| async move {
                let outcome = dial(engine, *member, &[address]).await;
                (*member, outcome)
            });
        let mut last = "no device of the crew is there".to_owned();
        for (member, outcome) in join_all(tries).await {
            match outcome {
                Ok(()) => return Ok(member),
                Err(why) => last = why,
            }
        }
        Err(CrewError::Unreachable {
            who: address.to_string(),
            why: last,
        })
    }

    /// The connected devices.
    pub fn peers(&self) -> Vec<Peer> {
        let sessions = self.engine.all_sessions();
        sessions.iter().map(|s| s.describe(&self.engine)).collect()
    }

    /// Waits until everything known has been exchanged with the connected devices: every
    /// document in both directions and on the disk, every photo wanted here that one of them
    /// has, every photo that they want from here. Returns what is missing when the time is over,
    /// or as soon as only photos are missing that no connected device has. With nobody connected
    /// it waits for somebody.
    pub async fn settled(&self, within: Duration) -> Settled {
        let began = Instant::now();
        let mut calm_since: Option<Instant> = None;
        loop {
            let stirred = self.engine.stirred.notified();
            let mut found = self.missing();
            found.took = began.elapsed();
            let exchanged = found.documents == 0 && found.photos == 0 && !found.with.is_empty();
            if exchanged {
                let since = *calm_since.get_or_insert_with(Instant::now);
                if since.elapsed() >= CALM {
                    return found;
                }
            } else {
                calm_since = None;
            }
            if began.elapsed() >= within || self.engine.stopping.is_cancelled() {
                return found;
            }
            let left = within.saturating_sub(began.elapsed());
            let wait = if exchanged { CALM } else { LOOK };
            tokio::select! {
                () = stirred => {}
                () = tokio::time::sleep(wait.min(left).max(Duration::from_millis(1))) => {}
            }
        }
    }

    fn missing(&self) -> Settled {
        let engine = &self.engine;
        let sessions = engine.all_sessions();
        let mut found = Settled::default();
        if sessions.is_empty() {
            found.missing.push("no other device is connected".into());
        }
        for session in &sessions {
            found.with.push(session.peer);
            let documents = engine.documents.missing(engine, session);
            found.documents += documents.len();
            found.missing.extend(documents);
            let name = engine.called(&session.peer);
            match lock(&session.exchange).photos_left {
                None => {
                    found.photos += 1;
                    found
                        .missing
                        .push(format!("{name} is still looking for photos"));
                }
                Some(0) => {}
                Some(left) => {
                    found.photos += usize::try_from(left).unwrap_or(usize::MAX);
                    found
                        .missing
                        .push(format!("{name} still fetches {left} photos from here"));
                }
            }
        }
        match engine.photos.plan() {
            None => {
                found.photos += 1;
                found.missing.push("photos are being looked for".into());
            }
            Some(plan) => {
                found.photos += plan.coming;
                if plan.coming > 0 {
                    found
                        .missing
                        .push(format!("{} photos are still being fetched", plan.coming));
                }
                if plan.nowhere > 0 {
                    found.missing.push(format!(
                        "{} photos are on no device that is connected",
                        plan.nowhere
                    ));
                }
            }
        }
        found
    }

    /// A document was made here, or opened that [`Host::documents`] didn't list. Nobody gets it
    /// before, so that [`Host::access`] can know about it first.
    pub async fn document_added(&self, document: &DocHandle) {
        let engine = &self.engine;
        engine.documents.add(engine, document.clone(), false);
    }

    /// What the shop wants to hold has changed.
    pub fn photos_changed(&self) {
        self.engine.photos.stir(&self.engine);
    }

    /// Answers of [`Host::access`] have changed.
    pub fn access_changed(&self) {
        let engine = &self.engine;
        engine.gate.look_again();
        for session in engine.all_sessions() {
            engine.documents.met(engine, &session);
        }
    }

    /// Asks every connected device which of these blobs it still holds. Devices that don't answer
    /// in time are left out.
    pub async fn still_held(
        &self,
        photos: &[Hash],
        within: Duration,
    ) -> Vec<(MemberId, Vec<bool>)> {
        let sessions = self.engine.all_sessions();
        let asked = sessions.iter().map(|session| async move {
            let mut all = Vec::new();
            for some in photos.chunks(crate::photos::ASK_MAX) {
                let ask = some.iter().map(hash_bytes).collect();
                all.extend(session.holds(ask, within).await?);
            }
            Some((session.peer, all))
        });
        join_all(asked).await.into_iter().flatten().collect()
    }
}

impl Drop for Crew {
    fn drop(&mut self) {
        let engine = Arc::clone(&self.engine);
        if engine.endpoint.is_closed() {
            return;
        }
        engine.part();
        match tokio::runtime::Handle::try_current() {
            Ok(runtime) => {
                runtime.spawn(async move { engine.end().await });
            }
            // Its tasks went with their runtime; the sockets go with the last of its parts.
            Err(_) => lock(&engine.addresses).save(),
        }
    }
}
