//! What all the engine's tasks share.

use std::collections::{HashMap, HashSet};
use std::path::PathBuf;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use iroh::endpoint::Connection;
use iroh::{Endpoint, SecretKey};
use samod::DocumentId;
use tokio::sync::{Notify, broadcast};
use tokio_util::sync::CancellationToken;
use tokio_util::task::TaskTracker;

use crate::addresses::Addresses;
use crate::documents::Documents;
use crate::error::{CrewError, Refusal, Result};
use crate::event::Event;
use crate::gate::Gate;
use crate::host::{Access, Host};
use crate::invitations::Invitations;
use crate::roster::{MemberId, Merged, Role, Roster, Signed};
use crate::session::Session;
use crate::wire::{Control, close, code};

/// The state behind [`crate::Crew`].
pub(crate) struct Engine {
    pub(crate) key: SecretKey,
    pub(crate) id: MemberId,
    pub(crate) name: String,
    pub(crate) host: Arc<dyn Host>,
    pub(crate) repo: samod::Repo,
    pub(crate) acceptor: samod::AcceptorHandle,
    pub(crate) gate: Gate,
    pub(crate) blobs: iroh_blobs::api::Store,
    pub(crate) endpoint: Endpoint,
    pub(crate) mdns: bool,
    pub(crate) photos_at_a_time: usize,
    pub(crate) roster_path: PathBuf,
    roster: Mutex<Roster>,
    /// Held while the roster is changed and written, so that the file never goes back.
    roster_turn: tokio::sync::Mutex<()>,
    pub(crate) invitations: Mutex<Invitations>,
    pub(crate) addresses: Mutex<Addresses>,
    pub(crate) documents: Documents,
    pub(crate) sessions: Mutex<HashMap<MemberId, Arc<Session>>>,
    /// One session is decided on at a time with each device.
    pub(crate) meeting: Mutex<HashMap<MemberId, Arc<tokio::sync::Mutex<()>>>>,
    /// Connections over which photos are served.
    pub(crate) serving: Mutex<Vec<(MemberId, Connection)>>,
    pub(crate) dialing: Mutex<HashMap<MemberId, Attempt>>,
    pub(crate) dial_now: Notify,
    pub(crate) photos: crate::photos::State,
    /// Something changed that [`crate::Crew::settled`] looks at.
    pub(crate) stirred: Notify,
    events: broadcast::Sender<Event>,
    pub(crate) stopping: CancellationToken,
    pub(crate) tasks: TaskTracker,
}

/// How often a device was dialled in vain.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Attempt {
    pub(crate) failures: u32,
    pub(crate) next: Instant,
    pub(crate) running: bool,
}

/// The parts that [`crate::Crew::start`] has made.
pub(crate) struct Parts {
    pub(crate) options: crate::CrewOptions,
    pub(crate) host: Arc<dyn Host>,
    pub(crate) endpoint: Endpoint,
    pub(crate) acceptor: samod::AcceptorHandle,
    pub(crate) roster: Roster,
    pub(crate) roster_path: PathBuf,
    pub(crate) addresses: Addresses,
}

pub(crate) fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    // Every critical section here leaves its map or list whole.
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Engine {
    pub(crate) fn new(parts: Parts) -> Arc<Self> {
        let options = parts.options;
        Arc::new(Self {
            id: options.key.public(),
            key: options.key,
            name: options.name,
            host: parts.host,
            repo: options.repo,
            acceptor: parts.acceptor,
            gate: options.gate,
            blobs: options.blobs,
            endpoint: parts.endpoint,
            mdns: options.net.mdns,
            photos_at_a_time: options.net.photos_at_a_time.clamp(1, 16),
            roster_path: parts.roster_path,
            roster: Mutex::new(parts.roster),
            roster_turn: tokio::sync::Mutex::default(),
            invitations: Mutex::default(),
            addresses: Mutex::new(parts.addresses),
            documents: Documents::default(),
            sessions: Mutex::default(),
            meeting: Mutex::default(),
            serving: Mutex::default(),
            dialing: Mutex::default(),
            dial_now: Notify::new(),
            photos: crate::photos::State::default(),
            stirred: Notify::new(),
            events: broadcast::Sender::new(1024),
            stopping: CancellationToken::new(),
            tasks: TaskTracker::new(),
        })
    }

    /// Runs a task until it ends or the engine stops.
    pub(crate) fn spawn(&self, task: impl Future<Output = ()> + Send + 'static) {
        let stopping = self.stopping.clone();
        self.tasks.spawn(async move {
            stopping.run_until_cancelled(task).await;
        });
    }

    /// Nothing goes to anybody from now on, and no task goes on.
    pub(crate) fn part(&self) {
        self.gate.close();
        self.stopping.cancel();
        self.tasks.close();
    }

    /// After [`Engine::part`]: waits for the tasks, and closes the sockets.
    pub(crate) async fn end(&self) {
        self.tasks.wait().await;
        lock(&self.addresses).save();
        self.acceptor.close();
        lock(&self.sessions).clear();
        self.endpoint.close().await;
    }

    pub(crate) fn tell(&self, event: Event) {
        tracing::debug!(?event, "crew");
        // Nobody listening is fine.
        let _ = self.events.send(event);
        self.stirred.notify_waiters();
    }

    pub(crate) fn subscribe(&self) -> broadcast::Receiver<Event> {
        self.events.subscribe()
    }

    pub(crate) fn roster(&self) -> MutexGuard<'_, Roster> {
        lock(&self.roster)
    }

    pub(crate) fn role_of(&self, member: &MemberId) -> Option<Role> {
        self.roster().role(member)
    }

    pub(crate) fn all_sessions(&self) -> Vec<Arc<Session>> {
        lock(&self.sessions).values().cloned().collect()
    }

    /// Whether a member may be told of a document and given it.
    pub(crate) fn may_have(&self, document: &DocumentId, member: &MemberId) -> bool {
        self.role_of(member).is_some() && self.host.access(document, member) == Access::Granted
    }

    /// Whether a member says to have something of a document that isn't here.
    pub(crate) fn is_promised_by(&self, document: &DocumentId, member: &MemberId) -> bool {
        let session = lock(&self.sessions).get(member).cloned();
        session.is_some_and(|session| lock(&session.exchange).pending.contains_key(document))
    }

    /// Changes the roster and writes it; only then does the change count here.
    pub(crate) async fn change_roster(
        self: &Arc<Self>,
        change: impl FnOnce(&mut Roster) -> Result<Vec<Signed>>,
    ) -> Result<()> {
        let turn = self.roster_turn.lock().await;
        let mut changed = self.roster().clone();
        let news = change(&mut changed)?;
        self.keep_roster(changed, true)?;
        drop(turn);
        self.roster_changed(news, None);
        Ok(())
    }

    /// Takes in statements from another device.
    pub(crate) async fn hear(
        self: &Arc<Self>,
        statements: Vec<Signed>,
        from: MemberId,
    ) -> Result<Merged> {
        self.hear_if(statements, from, |_| true).await
    }

    /// Takes in statements from a device that has not shown yet that it belongs to the crew:
    /// nothing is kept unless it does by then.
    pub(crate) async fn hear_proof(
        self: &Arc<Self>,
        proof: Vec<Signed>,
        from: MemberId,
    ) -> Result<Merged> {
        self.hear_if(proof, from, |roster| roster.role(&from).is_some())
            .await
    }

    async fn hear_if(
        self: &Arc<Self>,
        statements: Vec<Signed>,
        from: MemberId,
        good: impl FnOnce(&Roster) -> bool,
    ) -> Result<Merged> {
        let turn = self.roster_turn.lock().await;
        let mut changed = self.roster().clone();
        let mut merged = changed.merge(statements);
        if merged.news.is_empty() {
            return Ok(merged);
        }
        if !good(&changed) {
            merged.refused += merged.news.len();
            merged.news.clear();
            return Ok(merged);
        }
        // What others say counts at once, also when the disk is full: a removal must not wait.
        self.keep_roster(changed, false)?;
        drop(turn);
        self.roster_changed(merged.news.clone(), Some(from));
        Ok(merged)
    }

    fn keep_roster(&self, changed: Roster, must: bool) -> Result<()> {
        match changed.save(&self.roster_path) {
            Err(e) if must => return Err(e),
            Err(e) => tracing::error!(error = %e, "the roster could not be written"),
            Ok(()) => {}
        }
        *self.roster() = changed;
        Ok(())
    }

    /// Acts on news about the crew: who is out goes at once, everybody else hears of it.
    fn roster_changed(self: &Arc<Self>, news: Vec<Signed>, from: Option<MemberId>) {
        if news.is_empty() {
            return;
        }
        for session in self.all_sessions() {
            if Some(session.peer) != from {
                session.say(Control::Roster(news.clone()));
            }
        }
        self.part_with_the_removed();
        self.gate.look_again();
        self.tell(Event::RosterChanged);
        self.dial_now.notify_one();
    }

    fn part_with_the_removed(&self) {
        let ours = self.role_of(&self.id);
        let out = |member: &MemberId| ours.is_none() || self.role_of(member).is_none();
        let mut leaving: Vec<(MemberId, Connection)> = self
            .all_sessions()
            .iter()
            .map(|session| (session.peer, session.connection.clone()))
            .collect();
        leaving.append(&mut lock(&self.serving).clone());
        let mut told = HashSet::new();
        for (member, connection) in leaving {
            if out(&member) {
                let why = Refusal::Removed;
                close(&connection, code::of(why), "removed from the crew");
                if told.insert(member) {
                    self.tell(Event::Refused {
                        who: member,
                        why,
                        by_us: true,
                    });
                }
            }
        }
    }

    /// What to call a device in a message.
    pub(crate) fn called(&self, member: &MemberId) -> String {
        match self.roster().member(member) {
            Some(found) if !found.name.is_empty() => format!("«{}»", found.name),
            _ => format!("the device {}", &member.to_string()[..10]),
        }
    }

    pub(crate) fn need_running(&self) -> Result<()> {
        if self.stopping.is_cancelled() {
            return Err(CrewError::Stopped);
        }
        Ok(())
    }
}

/// Waits for something that another device has to do.
pub(crate) async fn within<T>(
    time: Duration,
    what: impl Future<Output = std::result::Result<T, Refusal>>,
) -> std::result::Result<T, Refusal> {
    tokio::time::timeout(time, what)
        .await
        .unwrap_or(Err(Refusal::Silent))
}
