//! What of each document is on which device's disk.
//!
//! The document store exchanges the changes themselves. This keeps the account of it: a device
//! tells the others what it has of a document once that is on its disk, and answers what they
//! tell once it has all of that on its disk too. So a device knows at any time what another one
//! lacks, and says so instead of hoping.

use std::collections::{HashMap, HashSet};
use std::sync::{Arc, Mutex};
use std::time::Duration;

use automerge::ChangeHash;
use futures_util::{FutureExt, StreamExt};
use samod::{DocHandle, DocumentId};
use tokio::sync::Notify;

use crate::engine::{Engine, lock};
use crate::event::Event;
use crate::host::Access;
use crate::roster::{DocumentHeads, MemberId, Role};
use crate::session::{Exchange, Session};
use crate::wire::{Control, Told};

/// More documents than any shop has; a member can't make others hold more.
const DOCUMENTS_MAX: usize = 50_000;
/// The store says "nobody has it" while the gate is only just opening, so it is asked again soon,
/// and then ever more rarely.
const FIND_AGAIN: Duration = Duration::from_millis(10);
const FIND_AGAIN_MAX: Duration = Duration::from_secs(2);
/// How many documents of one device are looked for at once: each costs the store work for as long
/// as it is.
pub(crate) const FINDING_EACH: usize = 64;
/// One that doesn't come in this time makes room for others, and has another turn.
const FIND_MAX: Duration = Duration::from_secs(60);

#[derive(Default)]
pub(crate) struct Documents {
    all: Mutex<HashMap<DocumentId, Arc<Document>>>,
    finding: Mutex<HashSet<DocumentId>>,
}

pub(crate) struct Document {
    pub(crate) handle: DocHandle,
    state: Mutex<State>,
    /// Something has to be compared again, though the document may not have changed.
    look: Notify,
}

#[derive(Default)]
struct State {
    /// Counts what was told to others.
    turn: u64,
    /// What of it is on the disk.
    saved: Vec<ChangeHash>,
    /// Why it can't be written.
    fault: Option<String>,
}

impl Documents {
    pub(crate) fn get(&self, id: &DocumentId) -> Option<Arc<Document>> {
        lock(&self.all).get(id).cloned()
    }

    pub(crate) fn all(&self) -> Vec<Arc<Document>> {
        lock(&self.all).values().cloned().collect()
    }

    /// Watches a document from now on. `on_disk`: all of it has been read from the disk.
    pub(crate) fn add(&self, engine: &Arc<Engine>, handle: DocHandle, on_disk: bool) -> bool {
        let id = handle.document_id().clone();
        let mut all = lock(&self.all);
        if all.contains_key(&id) || all.len() >= DOCUMENTS_MAX {
            return false;
        }
        // Listening begins before the heads are read, or a change in between would be missed.
        let changes = handle.changes();
        let mut state = State::default();
        if on_disk {
            state.saved = handle.with_document(|doc| doc.get_heads());
            state.turn = 1;
        }
        let document = Arc::new(Document {
            handle,
            state: Mutex::new(state),
            look: Notify::new(),
        });
        all.insert(id, Arc::clone(&document));
        drop(all);
        engine.gate.look_again();
        document.look.notify_one();
        engine.spawn(watch(
            Arc::clone(engine),
            document,
            changes.map(|_| ()).boxed(),
        ));
        true
    }

    /// Everything that a device may have, as it is on the disk.
    pub(crate) fn summary(&self, engine: &Engine, peer: &MemberId) -> Vec<Told> {
        let mut told: Vec<Told> = self
            .all()
            .iter()
            .filter(|document| engine.may_have(document.handle.document_id(), peer))
            .filter_map(|document| document.told())
            .collect();
        told.sort_by_key(|told| told.heads.document());
        told
    }

    /// A session began: looks for what is new here, and tells what changed meanwhile.
    pub(crate) fn met(&self, engine: &Arc<Engine>, session: &Arc<Session>) {
        let pending: Vec<DocumentId> = lock(&session.exchange).pending.keys().cloned().collect();
        let mut unknown = Vec::new();
        for id in pending {
            match self.get(&id) {
                Some(document) => document.look.notify_one(),
                None => unknown.push(id),
            }
        }
        self.find(engine, unknown);
        for document in self.all() {
            document.tell(engine, session);
        }
    }

    /// A device told what it has of a document.
    pub(crate) fn heard(&self, engine: &Arc<Engine>, session: &Arc<Session>, told: Told) {
        let id = told.heads.document();
        {
            let mut exchange = lock(&session.exchange);
            if !self.heeds(engine, session, &exchange, &id) {
                return;
            }
            exchange.pending.insert(id.clone(), told);
        }
        match self.get(&id) {
            Some(document) => {
                if engine.host.access(&id, &session.peer) == Access::Unread {
                    // What it says it has is taken from it.
                    engine.gate.look_again();
                }
                document.look.notify_one();
            }
            None => self.find(engine, vec![id]),
        }
    }

    /// Whether it matters here what a device has of a document.
    pub(crate) fn heeds(
        &self,
        engine: &Engine,
        session: &Session,
        exchange: &Exchange,
        id: &DocumentId,
    ) -> bool {
        // What a reader writes is nobody's business but its own.
        let role = engine.role_of(&session.peer);
        let writes = role.is_some_and(|role| role != Role::Looks);
        let room = exchange.pending.len() < DOCUMENTS_MAX || exchange.pending.contains_key(id);
        writes && room && engine.host.access(id, &session.peer) != Access::Denied
    }

    /// Whether the document is here or looked for.
    pub(crate) fn is_expected(&self, id: &DocumentId) -> bool {
        lock(&self.all).contains_key(id) || lock(&self.finding).contains(id)
    }

    /// Fetches documents that aren't here from whoever has them.
    fn find(&self, engine: &Arc<Engine>, mut ids: Vec<DocumentId>) {
        let room = DOCUMENTS_MAX.saturating_sub(lock(&self.all).len());
        ids.truncate(room);
        ids.retain(|id| lock(&self.finding).insert(id.clone()));
        if ids.is_empty() {
            return;
        }
        for id in ids {
            engine.spawn(find(Arc::clone(engine), id));
        }
    }

    /// Of the devices that say to have a document, the one of which the fewest are looked for.
    fn promised_by(&self, engine: &Engine, id: &DocumentId) -> Option<Arc<Session>> {
        let sessions = engine.all_sessions().into_iter();
        sessions
            .filter(|session| lock(&session.exchange).pending.contains_key(id))
            .max_by_key(|session| session.turns.available_permits())
    }

    /// The same for a document that is being looked for. With none it no longer is, and whoever
    /// is told of it now looks anew.
    fn still_promised_by(&self, engine: &Engine, id: &DocumentId) -> Option<Arc<Session>> {
        if let Some(session) = self.promised_by(engine, id) {
            return Some(session);
        }
        lock(&self.finding).remove(id);
        // Told in between, when it seemed to be looked for.
        let session = self.promised_by(engine, id)?;
        lock(&self.finding).insert(id.clone()).then_some(session)
    }

    /// What is not the same on both sides, as sentences.
    pub(crate) fn missing(&self, engine: &Engine, session: &Session) -> Vec<String> {
        let mut missing = Vec::new();
        let name = engine.called(&session.peer);
        let ours = engine.role_of(&engine.id);
        let theirs = engine.role_of(&session.peer);
        let writes = |role: Option<Role>| role.is_some_and(|role| role != Role::Looks);
        let all = self.all();
        let exchange = lock(&session.exchange);
        if writes(ours) {
            for document in &all {
                let id = document.handle.document_id();
                let offered = engine.may_have(id, &session.peer) || document.is_new();
                if offered && !document.is_acked(&exchange) {
                    let job = engine.host.name_of(id);
                    missing.push(format!("{name} does not have all of the job {job} yet"));
                }
            }
        }
        if writes(theirs) {
            for id in exchange.pending.keys() {
                if engine.host.access(id, &session.peer) == Access::Denied {
                    continue;
                }
                let fault = self.get(id).and_then(|document| document.fault());
                let job = engine.host.name_of(id);
                missing.push(match fault {
                    Some(why) => format!("the job {job} can't be written to the disk: {why}"),
                    None => format!("not all of the job {job} has come from {name} yet"),
                });
            }
        }
        missing
    }
}

impl Document {
    fn told(&self) -> Option<Told> {
        let state = lock(&self.state);
        (state.turn > 0).then(|| Told {
            heads: DocumentHeads::new(self.handle.document_id(), &state.saved),
            turn: state.turn,
        })
    }

    /// Whether nothing of it has been on the disk yet, so that nobody was told of it.
    fn is_new(&self) -> bool {
        lock(&self.state).turn == 0
    }

    fn is_acked(&self, exchange: &Exchange) -> bool {
        let state = lock(&self.state);
        let acked = exchange.acked.get(self.handle.document_id());
        state.turn > 0 && acked.is_some_and(|acked| *acked >= state.turn)
    }

    fn fault(&self) -> Option<String> {
        lock(&self.state).fault.clone()
    }

    /// Tells a device what is on the disk, unless it was told.
    fn tell(&self, engine: &Engine, session: &Session) {
        let id = self.handle.document_id();
        let Some(told) = self.told() else {
            return;
        };
        if !engine.may_have(id, &session.peer) {
            return;
        }
        let mut exchange = lock(&session.exchange);
        if exchange.told.get(id).is_some_and(|turn| *turn >= told.turn) {
            return;
        }
        exchange.told.insert(id.clone(), told.turn);
        drop(exchange);
        engine.gate.changed(id);
        session.say(Control::Heads(told));
    }

    /// The devices that told something of which all is here now.
    fn contained(&self, engine: &Engine) -> Vec<(Arc<Session>, u64)> {
        let id = self.handle.document_id();
        let mut contained = Vec::new();
        for session in engine.all_sessions() {
            let Some(told) = lock(&session.exchange).pending.get(id).cloned() else {
                continue;
            };
            let whole = self.handle.with_document(|doc| {
                let mut heads = told.heads.heads().into_iter();
                heads.all(|head| doc.get_change_meta_by_hash(&head).is_some())
            });
            if whole {
                contained.push((session, told.turn));
            }
        }
        contained
    }
}

async fn find(engine: Arc<Engine>, id: DocumentId) {
    let mut pause = FIND_AGAIN;
    while let Some(session) = engine.documents.still_promised_by(&engine, &id) {
        let found = {
            let Ok(_turn) = session.turns.acquire().await else {
                break;
            };
            // It may have gone meanwhile.
            if engine.documents.promised_by(&engine, &id).is_none() {
                continue;
            }
            engine.gate.look_again();
            tokio::time::timeout(FIND_MAX, engine.repo.find(id.clone())).await
        };
        match found {
            Ok(Ok(Some(handle))) => {
                if engine.documents.add(&engine, handle, false) {
                    engine.tell(Event::DocumentArrived(id.clone()));
                }
                break;
            }
            Ok(Ok(None)) => tokio::time::sleep(pause).await,
            Ok(Err(_)) => break,
            Err(_) => {}
        }
        pause = (pause * 2).min(FIND_AGAIN_MAX);
    }
    lock(&engine.documents.finding).remove(&id);
}

async fn watch(
    engine: Arc<Engine>,
    document: Arc<Document>,
    mut changes: futures_util::stream::BoxStream<'static, ()>,
) {
    let id = document.handle.document_id().clone();
    let mut last = lock(&document.state).saved.clone();
    loop {
        tokio::select! {
            change = changes.next() => if change.is_none() { return },
            () = document.look.notified() => {}
        }
        while let Some(Some(())) = changes.next().now_or_never() {}
        // Before the heads are read: what is contained is then part of what is saved.
        let contained = document.contained(&engine);
        let heads = document.handle.with_document(|doc| doc.get_heads());
        if heads != last {
            engine.gate.changed(&id);
            engine.tell(Event::DocumentChanged(id.clone()));
            // Before anybody is told that the change is here: it may ask for photos.
            engine.photos.stir(&engine);
            last.clone_from(&heads);
        }
        let unsaved = lock(&document.state).saved != heads;
        if unsaved || lock(&document.state).fault.is_some() {
            if let Err(why) = engine.host.saved(&document.handle).await {
                lock(&document.state).fault = Some(why.clone());
                let document = id.clone();
                engine.tell(Event::DocumentNotSaved { document, why });
                continue;
            }
            let mut state = lock(&document.state);
            state.fault = None;
            if state.saved != heads || state.turn == 0 {
                state.saved.clone_from(&heads);
                state.turn += 1;
            }
        }
        for session in engine.all_sessions() {
            document.tell(&engine, &session);
        }
        for (session, turn) in contained {
            let mut exchange = lock(&session.exchange);
            if exchange
                .pending
                .get(&id)
                .is_some_and(|told| told.turn == turn)
            {
                exchange.pending.remove(&id);
            }
            drop(exchange);
            let mut document = [0; 16];
            document.copy_from_slice(id.as_bytes());
            session.say(Control::Have { document, turn });
        }
        engine.stirred.notify_waiters();
    }
}
