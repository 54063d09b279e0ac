//! From connections to one session.
//!
//! Both sides may dial, even at the same moment. Which connection becomes the session is decided
//! by one of them alone, the *chooser*: the device with the smaller key. It opens the control
//! stream on the connection it chose; the other side waits for that, on however many connections
//! there are. A second connection is chosen only if the first no longer answers. So there is
//! nothing to agree on, and nothing that could be agreed on differently by two sides.

use std::collections::{HashMap, HashSet};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;

use iroh::endpoint::Connection;
use samod::DocumentId;
use tokio::sync::{Semaphore, mpsc};

use super::Session;
use super::greet::{Fault, GREETING_MAX, Greeted, greet_in_time, judge};
use super::listen::{run, write_all};
use crate::clock;
use crate::documents::FINDING_EACH;
use crate::engine::{Engine, lock, within};
use crate::error::Refusal;
use crate::event::Event;
use crate::net::address_of;
use crate::roster::MemberId;
use crate::wire::{Control, close, code, framed, refusal_of};

/// How long a live session may take to show that it is.
const ALIVE_MAX: Duration = Duration::from_secs(2);
/// Messages that may wait to be sent before a device counts as stuck.
const WAITING_MAX: usize = 4096;

/// Turns a connection into a session, or closes it.
///
/// # Errors
/// Why there is no session. A connection that lost against another one with the same device is no
/// error.
pub(crate) async fn meet(
    engine: &Arc<Engine>,
    connection: Connection,
) -> std::result::Result<(), Refusal> {
    let peer = connection.remote_id();
    let outcome = meet_inner(engine, &connection, peer).await;
    {
        // Strangers leave nothing behind.
        let mut meeting = lock(&engine.meeting);
        if meeting
            .get(&peer)
            .is_some_and(|one| Arc::strong_count(one) == 1)
        {
            meeting.remove(&peer);
        }
    }
    let Err(fault) = outcome else {
        return Ok(());
    };
    let (why, by_us) = match (fault, refusal_of(&connection)) {
        (Fault::Theirs(why), _) | (Fault::Ours(_), Some(why)) => (why, false),
        (Fault::Ours(why), None) => (why, true),
    };
    close(&connection, code::of(why), &why.to_string());
    // A connection that broke off is no refusal; it is dialled again.
    if why != Refusal::Closing {
        engine.tell(Event::Refused {
            who: peer,
            why,
            by_us,
        });
    }
    Err(why)
}

async fn meet_inner(
    engine: &Arc<Engine>,
    connection: &Connection,
    peer: MemberId,
) -> std::result::Result<(), Fault> {
    {
        let roster = engine.roster();
        if roster.role(&engine.id).is_none() {
            return Err(Refusal::Stranger.into());
        }
        if roster.is_removed(&peer) {
            return Err(Refusal::Removed.into());
        }
    }
    let meeting = Arc::clone(lock(&engine.meeting).entry(peer).or_default());
    let chooser = engine.id < peer;
    if chooser {
        let _one_at_a_time = meeting.lock().await;
        let existing = lock(&engine.sessions).get(&peer).cloned();
        if let Some(existing) = existing {
            if existing.ping(engine, ALIVE_MAX).await.is_some() {
                close(connection, code::DUPLICATE, "already connected");
                return Ok(());
            }
            retire(engine, &existing);
        }
        let (send, recv) = within(GREETING_MAX, async {
            connection.open_bi().await.map_err(|_| Refusal::Closing)
        })
        .await?;
        let (writer, reader) = framed(send, recv);
        let greeted = greet_in_time(engine, peer, writer, reader).await?;
        Ok(begin(engine, connection, peer, greeted, true).await?)
    } else {
        let (send, recv) = match within(GREETING_MAX, async {
            connection.accept_bi().await.map_err(|_| Refusal::Closing)
        })
        .await
        {
            Ok(streams) => streams,
            Err(why) => {
                // The chooser took another connection, or refused us with a reason.
                return match (why, refusal_of(connection)) {
                    (_, Some(theirs)) => Err(Fault::Theirs(theirs)),
                    (Refusal::Closing, None) => Ok(()),
                    (why, None) => Err(why.into()),
                };
            }
        };
        let _one_at_a_time = meeting.lock().await;
        let (writer, reader) = framed(send, recv);
        let greeted = greet_in_time(engine, peer, writer, reader).await?;
        let existing = lock(&engine.sessions).get(&peer).cloned();
        if let Some(existing) = existing {
            retire(engine, &existing);
        }
        Ok(begin(engine, connection, peer, greeted, false).await?)
    }
}

fn retire(engine: &Engine, session: &Arc<Session>) {
    session.superseded.store(true, Ordering::Relaxed);
    close(&session.connection, code::SUPERSEDED, "replaced");
    forget(engine, session);
}

fn forget(engine: &Engine, session: &Arc<Session>) {
    let mut sessions = lock(&engine.sessions);
    if sessions
        .get(&session.peer)
        .is_some_and(|now| Arc::ptr_eq(now, session))
    {
        sessions.remove(&session.peer);
    }
}

/// Starts the document exchange and the control stream's tasks.
async fn begin(
    engine: &Arc<Engine>,
    connection: &Connection,
    peer: MemberId,
    greeted: Greeted,
    chooser: bool,
) -> std::result::Result<(), Refusal> {
    let (outgoing, waiting) = mpsc::channel(WAITING_MAX);
    let session = Arc::new(Session {
        peer,
        connection: connection.clone(),
        since: engine.host.now(),
        outgoing,
        exchange: Mutex::default(),
        offset: Mutex::new(None),
        pings: Mutex::default(),
        holds: Mutex::default(),
        number: AtomicU64::new(0),
        photos: tokio::sync::Mutex::default(),
        asked_roster: AtomicBool::new(false),
        gave_roster: AtomicBool::new(false),
        places: Mutex::default(),
        turns: Semaphore::new(FINDING_EACH),
        superseded: AtomicBool::new(false),
    });
    let quiet = first_exchange(engine, &session, &greeted);
    engine.gate.meet(peer, quiet);
    lock(&engine.sessions).insert(peer, Arc::clone(&session));
    // A removal parts with the sessions that there are: one that came before this was there is
    // looked for here, one that comes later finds it.
    if let Err(why) = judge(engine, &peer) {
        forget(engine, &session);
        return Err(why);
    }
    let stream = crate::stream::start(engine, &session, chooser);
    let stream = within(GREETING_MAX, stream).await;
    if let Err(why) = stream {
        retire(engine, &session);
        return Err(why);
    }
    if let Some(address) = address_of(connection) {
        lock(&engine.addresses).met(peer, address);
    }
    engine.tell(Event::PeerUp(session.describe(engine)));
    engine.spawn(write_all(Arc::clone(&session), greeted.writer, waiting));
    engine.spawn(run(
        Arc::clone(engine),
        Arc::clone(&session),
        greeted.reader,
    ));
    engine.spawn(clock::watch(Arc::clone(engine), Arc::clone(&session)));
    let (statements, digest) = {
        let roster = engine.roster();
        (roster.statements(), roster.digest())
    };
    if digest != greeted.digest {
        session.say(Control::Roster(statements));
    }
    tell_where(engine, &session);
    engine.documents.met(engine, &session);
    engine.photos.stir(engine);
    Ok(())
}

/// Tells the new device where the others are, and the others where the new one is.
fn tell_where(engine: &Engine, session: &Session) {
    let place = |s: &Session| Some((*s.peer.as_bytes(), address_of(&s.connection)?));
    let others = engine.all_sessions();
    let others = || others.iter().filter(|s| s.peer != session.peer);
    let places: Vec<_> = others().filter_map(|s| place(s)).collect();
    if !places.is_empty() {
        session.say(Control::Where(places));
    }
    if let Some(new) = place(session) {
        for other in others() {
            other.say(Control::Where(vec![new]));
        }
    }
}

/// Notes what both told; returns the documents that are the same on both sides.
fn first_exchange(engine: &Engine, session: &Session, greeted: &Greeted) -> HashSet<DocumentId> {
    let mut exchange = lock(&session.exchange);
    let mut ours = HashMap::new();
    for told in &greeted.ours {
        exchange.told.insert(told.heads.document(), told.turn);
        ours.insert(told.heads.document(), told);
    }
    let mut quiet = HashSet::new();
    for told in &greeted.theirs {
        let document = told.heads.document();
        match ours.get(&document) {
            Some(mine) if mine.heads == told.heads => {
                exchange.acked.insert(document.clone(), mine.turn);
                quiet.insert(document);
            }
            _ if engine
                .documents
                .heeds(engine, session, &exchange, &document) =>
            {
                exchange.pending.insert(document, told.clone());
            }
            _ => {}
        }
    }
    quiet
}
