//! Fetching photos, in the order in which the shop wants them.

use std::collections::{HashMap, HashSet, VecDeque};
use std::panic::AssertUnwindSafe;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

use futures_util::future::join_all;
use futures_util::{FutureExt, StreamExt};
use iroh::endpoint::Connection;
use iroh_blobs::api::remote::GetProgressItem;
use iroh_blobs::{Hash, HashAndFormat};
use tokio::sync::mpsc;
use tokio::task::{Id, JoinSet};

use super::{ASK_MAX, Plan, tell_left};
use crate::engine::{Engine, lock};
use crate::event::Event;
use crate::host::Wanted;
use crate::net::{address_of, at};
use crate::roster::MemberId;
use crate::session::Session;
use crate::wire::{ALPN_PHOTOS, close, code, hash_bytes};

/// A transfer from which nothing comes for so long is given up, and goes on later.
const STALL_MAX: Duration = Duration::from_secs(15);
const CONNECT_MAX: Duration = Duration::from_secs(10);
const ASK_TIME: Duration = Duration::from_secs(10);
/// Blobs that are flushed together.
const BATCH_MAX: usize = 16;
/// What failed, and what nobody had, is tried again after this.
const AGAIN: Duration = Duration::from_secs(3);
/// Changes come in swarms; the shop isn't asked after each.
const PAUSE: Duration = Duration::from_millis(30);
const PAUSE_WHILE_BUSY: Duration = Duration::from_millis(500);

/// What is under way.
#[derive(Default)]
struct Work {
    queue: VecDeque<(Wanted, Vec<Arc<Session>>)>,
    /// Being fetched, or complete and being kept.
    busy: HashSet<Hash>,
    /// Failed a moment ago.
    resting: HashMap<Hash, Instant>,
    /// What a session is known to have, by its connection.
    known: HashMap<usize, HashSet<Hash>>,
    /// How often a photo failed to come from a device: the others are asked first.
    failures: HashMap<(Hash, MemberId), u32>,
}

type Fetched = (Wanted, Arc<Session>, Result<(), String>);

/// Fetches for as long as the engine runs.
pub(crate) async fn fetch_all(engine: Arc<Engine>) {
    let mut work = Work::default();
    let mut running: JoinSet<Fetched> = JoinSet::new();
    let mut fetching: HashMap<Id, Wanted> = HashMap::new();
    let (complete, completed) = mpsc::channel(64);
    let (kept_tx, mut kept) = mpsc::channel(64);
    engine.spawn(keep_all(Arc::clone(&engine), completed, kept_tx));
    loop {
        let waiting = lock(&engine.photos.plan).nowhere > 0 || !work.resting.is_empty();
        tokio::select! {
            () = engine.photos.stir.notified() => {
                let pause = if running.is_empty() { PAUSE } else { PAUSE_WHILE_BUSY };
                tokio::time::sleep(pause).await;
                plan(&engine, &mut work).await;
            }
            () = tokio::time::sleep(AGAIN), if waiting => plan(&engine, &mut work).await,
            Some(done) = running.join_next_with_id() => match done {
                Ok((id, (wanted, session, outcome))) => {
                    fetching.remove(&id);
                    match outcome {
                        Ok(()) => {
                            let _ = complete.send((wanted, session.peer)).await;
                        }
                        Err(why) => {
                            *work.failures.entry((wanted.hash, session.peer)).or_default() += 1;
                            work.known.remove(&session.connection.stable_id());
                            failed(&engine, &mut work, wanted, why);
                        }
                    }
                }
                // A mistake of ours; the photo is tried again like any that failed.
                Err(e) => if let Some(wanted) = fetching.remove(&e.id()) {
                    failed(&engine, &mut work, wanted, "the transfer broke down".into());
                }
            },
            Some((wanted, outcome)) = kept.recv() => {
                match outcome {
                    Ok(()) => {
                        work.busy.remove(&wanted.hash);
                        work.failures.retain(|(hash, _), _| *hash != wanted.hash);
                    }
                    Err(why) => failed(&engine, &mut work, wanted, why),
                }
                if work.busy.is_empty() && work.queue.is_empty() {
                    engine.photos.stir(&engine);
                }
            }
        }
        while running.len() < engine.photos_at_a_time {
            let Some((wanted, holders)) = work.queue.pop_front() else {
                break;
            };
            let alive = |s: &&Arc<Session>| s.connection.close_reason().is_none();
            let Some(session) = holders.iter().find(alive).cloned() else {
                continue;
            };
            work.busy.insert(wanted.hash);
            let engine = Arc::clone(&engine);
            let task = running.spawn(async move {
                let outcome = fetch(&engine, &session, wanted.hash).await;
                (wanted, session, outcome)
            });
            fetching.insert(task.id(), wanted);
        }
    }
}

fn failed(engine: &Engine, work: &mut Work, wanted: Wanted, why: String) {
    tracing::debug!(hash = %wanted.hash, why, "a photo was not fetched");
    work.busy.remove(&wanted.hash);
    work.resting.insert(wanted.hash, Instant::now());
    engine.tell(Event::PhotoFailed {
        hash: wanted.hash,
        why,
    });
}

/// Asks the shop what it wants and the others what they have.
async fn plan(engine: &Arc<Engine>, work: &mut Work) {
    engine.photos.sure.store(true, Ordering::SeqCst);
    let mut wanted = engine.host.wanted().await;
    wanted.sort_by_key(|one| one.kind);
    let mut seen = HashSet::new();
    wanted.retain(|one| seen.insert(one.hash));
    let now = Instant::now();
    work.resting.retain(|_, since| now - *since < AGAIN);
    let sessions = engine.all_sessions();
    let ids: HashSet<usize> = sessions.iter().map(|s| s.connection.stable_id()).collect();
    work.known.retain(|id, _| ids.contains(id));
    work.failures.retain(|(hash, _), _| seen.contains(hash));
    let answers = join_all(sessions.iter().map(|session| {
        let known = work.known.get(&session.connection.stable_id());
        let ask: Vec<Hash> = wanted
            .iter()
            .map(|one| one.hash)
            .filter(|hash| known.is_none_or(|known| !known.contains(hash)))
            .collect();
        ask_for(session, ask)
    }))
    .await;
    for (session, held) in sessions.iter().zip(answers) {
        let known = work
            .known
            .entry(session.connection.stable_id())
            .or_default();
        known.extend(held);
    }
    let mut counts: HashMap<MemberId, u32> = HashMap::new();
    let mut plan = Plan::default();
    work.queue.clear();
    for (turn, one) in wanted.iter().enumerate() {
        let has = |session: &&Arc<Session>| {
            let known = work.known.get(&session.connection.stable_id());
            known.is_some_and(|known| known.contains(&one.hash))
        };
        let mut holders: Vec<Arc<Session>> = sessions.iter().filter(has).cloned().collect();
        for session in &holders {
            *counts.entry(session.peer).or_default() += 1;
        }
        if holders.is_empty() {
            plan.nowhere += 1;
            continue;
        }
        plan.coming += 1;
        if !work.busy.contains(&one.hash) && !work.resting.contains_key(&one.hash) {
            // Spread over those who have it, and last from where it failed to come.
            let first = turn % holders.len();
            holders.rotate_left(first);
            holders.sort_by_key(|session| work.failures.get(&(one.hash, session.peer)).copied());
            work.queue.push_back((*one, holders));
        }
    }
    tracing::debug!(
        ?plan,
        queued = work.queue.len(),
        busy = work.busy.len(),
        "photos planned"
    );
    *lock(&engine.photos.plan) = plan;
    if engine.photos.sure.load(Ordering::SeqCst) {
        for session in &sessions {
            tell_left(
                session,
                Some(counts.get(&session.peer).copied().unwrap_or(0)),
            );
        }
    }
    if plan.coming == 0 && work.busy.is_empty() {
        for session in &sessions {
            if let Ok(mut photos) = session.photos.try_lock()
                && let Some(connection) = photos.take()
            {
                close(&connection, code::IDLE, "nothing more to fetch");
            }
        }
    }
    engine.stirred.notify_waiters();
}

/// Which of these the device holds.
async fn ask_for(session: &Session, hashes: Vec<Hash>) -> Vec<Hash> {
    let mut has = Vec::new();
    for some in hashes.chunks(ASK_MAX) {
        let ask = some.iter().map(hash_bytes).collect();
        let Some(held) = session.holds(ask, ASK_TIME).await else {
            break;
        };
        has.extend(
            some.iter()
                .zip(held)
                .filter(|(_, held)| *held)
                .map(|(h, _)| *h),
        );
    }
    has
}

async fn fetch(engine: &Engine, session: &Session, hash: Hash) -> Result<(), String> {
    let connection = connection(engine, session).await?;
    tracing::debug!(%hash, from = %session.peer.fmt_short(), "a photo is being fetched");
    let content = HashAndFormat::raw(hash);
    let mut progress = Box::pin(engine.blobs.remote().fetch(connection, content).stream());
    loop {
        match tokio::time::timeout(STALL_MAX, progress.next()).await {
            Ok(Some(GetProgressItem::Progress(_))) => {}
            Ok(Some(GetProgressItem::Done(_))) => return Ok(()),
            Ok(Some(GetProgressItem::Error(e))) => return Err(e.to_string()),
            Ok(None) => return Err("the transfer broke off".into()),
            Err(_) => return Err("nothing came any more".into()),
        }
    }
}

/// The session's connection for photos, made when first needed.
async fn connection(engine: &Engine, session: &Session) -> Result<Connection, String> {
    let mut photos = session.photos.lock().await;
    if let Some(open) = photos.as_ref().filter(|open| open.close_reason().is_none()) {
        return Ok(open.clone());
    }
    let address: Vec<_> = address_of(&session.connection).into_iter().collect();
    let dial = engine
        .endpoint
        .connect(at(session.peer, &address), ALPN_PHOTOS);
    let opened = tokio::time::timeout(CONNECT_MAX, dial)
        .await
        .map_err(|_| "no connection for photos in time".to_owned())?
        .map_err(|e| e.to_string())?;
    *photos = Some(opened.clone());
    Ok(opened)
}

type Complete = (Wanted, MemberId);
type Kept = (Wanted, Result<(), String>);

/// Hands complete blobs to the shop, as many at a time as there are.
async fn keep_all(
    engine: Arc<Engine>,
    mut completed: mpsc::Receiver<Complete>,
    kept: mpsc::Sender<Kept>,
) {
    let mut batch: Vec<Complete> = Vec::new();
    while completed.recv_many(&mut batch, BATCH_MAX).await > 0 {
        let wanted = batch.iter().map(|(wanted, _)| *wanted).collect();
        // Should the shop break down over one of them, the others still come.
        let outcome = AssertUnwindSafe(engine.host.arrived(wanted))
            .catch_unwind()
            .await
            .unwrap_or_else(|_| Err("the shop broke down over it".into()));
        for (wanted, from) in batch.drain(..) {
            if outcome.is_ok() {
                engine.tell(Event::PhotoArrived {
                    hash: wanted.hash,
                    kind: wanted.kind,
                    from,
                });
            }
            let _ = kept.send((wanted, outcome.clone())).await;
        }
    }
}
