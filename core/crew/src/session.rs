//! A connection with another device of the crew.
//!
//! Both sides may dial, even at the same moment. Which connection becomes the session is decided
//! by one of them alone, the *chooser*: the device with the smaller key. It opens the control
//! stream on the connection it chose; the other side waits for that, on however many connections
//! there are. A second connection is chosen only if the first no longer answers. So there is
//! nothing to agree on, and nothing that could be agreed on differently by two sides.

use std::collections::{HashMap, HashSet};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::Duration;

use iroh::endpoint::Connection;
use jiff::Timestamp;
use samod::DocumentId;
use std::sync::Mutex;
use tokio::sync::{mpsc, oneshot};

use crate::clock;
use crate::engine::{Engine, lock, within};
use crate::error::Refusal;
use crate::event::{ClockOffset, Event, Peer};
use crate::net::address_of;
use crate::roster::{MemberId, Role};
use crate::wire::{Control, Hello, Reader, Told, Verdict, Writer, close, code, framed, refusal_of};

/// How long a device may take for its part of the greeting.
const GREETING_MAX: Duration = Duration::from_secs(10);
/// How long a live session may take to show that it is.
const ALIVE_MAX: Duration = Duration::from_secs(2);
/// Messages that may wait to be sent before a device counts as stuck.
const WAITING_MAX: usize = 4096;

/// A session that is under way.
pub(crate) struct Session {
    pub(crate) peer: MemberId,
    pub(crate) connection: Connection,
    pub(crate) since: Timestamp,
    outgoing: mpsc::Sender<Control>,
    pub(crate) exchange: Mutex<Exchange>,
    pub(crate) offset: Mutex<Option<ClockOffset>>,
    pings: Mutex<HashMap<u64, oneshot::Sender<clock::Exchanged>>>,
    holds: Mutex<HashMap<u64, oneshot::Sender<Vec<bool>>>>,
    number: AtomicU64,
    /// The connection over which photos are fetched, while there is one.
    pub(crate) photos: tokio::sync::Mutex<Option<Connection>>,
    /// Replaced by another session with the same device, which is no parting.
    superseded: AtomicBool,
}

/// What the two devices know of each other's documents.
#[derive(Default)]
pub(crate) struct Exchange {
    /// The turn that was told last, by document.
    pub(crate) told: HashMap<DocumentId, u64>,
    /// The turn that the other side has on its disk.
    pub(crate) acked: HashMap<DocumentId, u64>,
    /// What the other side told and we haven't got yet.
    pub(crate) pending: HashMap<DocumentId, Told>,
    /// How many photos the other side still wants from us; none while it doesn't know.
    pub(crate) photos_left: Option<u32>,
    /// What we told it last about that.
    pub(crate) told_photos_left: Option<Option<u32>>,
}

impl Session {
    /// Queues a message. A device that lets thousands wait is cut off.
    pub(crate) fn say(&self, message: Control) {
        if let Err(mpsc::error::TrySendError::Full(_)) = self.outgoing.try_send(message) {
            close(&self.connection, code::of(Refusal::TooMuch), "stuck");
        }
    }

    pub(crate) fn number(&self) -> u64 {
        self.number.fetch_add(1, Ordering::Relaxed)
    }

    /// One exchange of time stamps.
    pub(crate) async fn ping(&self, engine: &Engine, time: Duration) -> Option<clock::Exchanged> {
        let number = self.number();
        let (tx, rx) = oneshot::channel();
        lock(&self.pings).insert(number, tx);
        let sent = engine.host.now().as_microsecond();
        self.say(Control::Ping { number, sent });
        let answer = tokio::time::timeout(time, rx).await;
        lock(&self.pings).remove(&number);
        answer.ok()?.ok()
    }

    /// Asks which blobs the other side holds.
    pub(crate) async fn holds(&self, photos: Vec<[u8; 32]>, time: Duration) -> Option<Vec<bool>> {
        let count = photos.len();
        let number = self.number();
        let (tx, rx) = oneshot::channel();
        lock(&self.holds).insert(number, tx);
        self.say(Control::Holds { number, photos });
        let answer = tokio::time::timeout(time, rx).await;
        lock(&self.holds).remove(&number);
        let held = answer.ok()?.ok()?;
        (held.len() == count).then_some(held)
    }

    pub(crate) fn describe(&self, engine: &Engine) -> Peer {
        let member = engine.roster().member(&self.peer);
        let stats = self.connection.stats();
        Peer {
            id: self.peer,
            name: member.as_ref().map(|m| m.name.clone()).unwrap_or_default(),
            role: member.map_or(Role::Looks, |m| m.role),
            since: self.since,
            address: address_of(&self.connection),
            offset: *lock(&self.offset),
            bytes: (stats.udp_tx.bytes, stats.udp_rx.bytes),
        }
    }
}

/// Why there is no session, and whose reason it is.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Fault {
    Ours(Refusal),
    Theirs(Refusal),
}

impl From<Refusal> for Fault {
    fn from(why: Refusal) -> Self {
        Fault::Ours(why)
    }
}

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
    let mut sessions = lock(&engine.sessions);
    if sessions
        .get(&session.peer)
        .is_some_and(|now| Arc::ptr_eq(now, session))
    {
        sessions.remove(&session.peer);
    }
}

struct Greeted {
    writer: Writer,
    reader: Reader,
    /// What the roster was when it was told.
    digest: [u8; 32],
    ours: Vec<Told>,
    theirs: Vec<Told>,
}

async fn greet_in_time(
    engine: &Arc<Engine>,
    peer: MemberId,
    writer: Writer,
    reader: Reader,
) -> std::result::Result<Greeted, Fault> {
    tokio::time::timeout(GREETING_MAX, greet(engine, peer, writer, reader))
        .await
        .unwrap_or(Err(Fault::Ours(Refusal::Silent)))
}

/// Shows each other that both belong to the crew, brings both to the same roster, and tells what
/// documents there are.
async fn greet(
    engine: &Arc<Engine>,
    peer: MemberId,
    mut writer: Writer,
    mut reader: Reader,
) -> std::result::Result<Greeted, Fault> {
    let hello = {
        let roster = engine.roster();
        Hello {
            crew: roster.crew().ok_or(Refusal::Stranger)?,
            proof: roster.proof(&engine.id),
            digest: roster.digest(),
        }
    };
    writer.write(&hello).await?;
    let theirs: Hello = reader.read().await?;
    let same_roster = theirs.digest == hello.digest;
    let verdict = if theirs.crew == hello.crew {
        engine
            .hear(theirs.proof, peer)
            .await
            .map_err(|_| Refusal::Garbage)?;
        judge(engine, &peer)
    } else {
        Err(Refusal::Stranger)
    };
    let (answer, digest) = {
        let roster = engine.roster();
        let answer = match verdict {
            Err(why) => Verdict::Refused(why),
            Ok(()) if same_roster => Verdict::Welcome { roster: Vec::new() },
            Ok(()) => Verdict::Welcome {
                roster: roster.statements(),
            },
        };
        (answer, roster.digest())
    };
    writer.write(&answer).await?;
    if let Err(why) = verdict {
        // Time for the word to arrive before the connection is closed.
        let _ = tokio::time::timeout(Duration::from_secs(1), writer.finish()).await;
        return Err(why.into());
    }
    reader.trust();
    match reader.read().await? {
        Verdict::Refused(why) => return Err(Fault::Theirs(why)),
        Verdict::Welcome { roster } => {
            engine
                .hear(roster, peer)
                .await
                .map_err(|_| Refusal::Garbage)?;
        }
    }
    // What the other side told may be that it, or we, are out.
    judge(engine, &peer)?;
    let ours = engine.documents.summary(engine, &peer);
    writer.write(&Control::Summary(ours.clone())).await?;
    let Control::Summary(theirs) = reader.read().await? else {
        return Err(Refusal::Garbage.into());
    };
    Ok(Greeted {
        writer,
        reader,
        digest,
        ours,
        theirs,
    })
}

fn judge(engine: &Engine, peer: &MemberId) -> std::result::Result<(), Refusal> {
    let roster = engine.roster();
    if roster.is_removed(peer) || roster.is_removed(&engine.id) {
        return Err(Refusal::Removed);
    }
    match roster.role(peer) {
        Some(_) => Ok(()),
        None => Err(Refusal::Stranger),
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
        superseded: AtomicBool::new(false),
    });
    let quiet = first_exchange(&session, &greeted);
    engine.gate.meet(peer, quiet);
    lock(&engine.sessions).insert(peer, Arc::clone(&session));
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
fn first_exchange(session: &Session, greeted: &Greeted) -> HashSet<DocumentId> {
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
            _ => {
                exchange.pending.insert(document, told.clone());
            }
        }
    }
    quiet
}

async fn write_all(
    session: Arc<Session>,
    mut writer: Writer,
    mut waiting: mpsc::Receiver<Control>,
) {
    while let Some(message) = waiting.recv().await {
        if writer.write(&message).await.is_err() {
            break;
        }
    }
    drop(session);
}

async fn run(engine: Arc<Engine>, session: Arc<Session>, mut reader: Reader) {
    let fault = tokio::select! {
        fault = listen(&engine, &session, &mut reader) => Some(fault),
        _ = session.connection.closed() => None,
    };
    if let Some(why) = fault {
        close(&session.connection, code::of(why), &why.to_string());
        if why == Refusal::Garbage || why == Refusal::TooMuch {
            engine.tell(Event::Refused {
                who: session.peer,
                why,
                by_us: true,
            });
        }
    }
    let theirs = refusal_of(&session.connection);
    let why = session.connection.closed().await.to_string();
    let was_current = {
        let mut sessions = lock(&engine.sessions);
        let current = sessions
            .get(&session.peer)
            .is_some_and(|now| Arc::ptr_eq(now, &session));
        if current {
            sessions.remove(&session.peer);
        }
        current
    };
    if let Some(why) = theirs {
        engine.tell(Event::Refused {
            who: session.peer,
            why,
            by_us: false,
        });
    }
    if was_current || !session.superseded.load(Ordering::Relaxed) {
        engine.tell(Event::PeerDown {
            who: session.peer,
            why,
        });
    }
    if let Some(photos) = session.photos.lock().await.take() {
        close(&photos, code::STOPPING, "the session ended");
    }
    engine.dial_now.notify_one();
}

async fn listen(engine: &Arc<Engine>, session: &Arc<Session>, reader: &mut Reader) -> Refusal {
    loop {
        let message: Control = match reader.read().await {
            Ok(message) => message,
            Err(why) => return why,
        };
        match message {
            Control::Summary(_) => return Refusal::Garbage,
            Control::Heads(told) => engine.documents.heard(engine, session, told),
            Control::Have { document, turn } => {
                let Ok(document) = DocumentId::try_from(document.to_vec()) else {
                    return Refusal::Garbage;
                };
                let mut exchange = lock(&session.exchange);
                let acked = exchange.acked.entry(document).or_insert(turn);
                *acked = turn.max(*acked);
                drop(exchange);
                engine.stirred.notify_waiters();
            }
            Control::Roster(statements) => match engine.hear(statements, session.peer).await {
                Ok(merged) if merged.unsupported > 0 => session.say(Control::WantRoster),
                Ok(_) => {}
                Err(e) => tracing::error!(error = %e, "news about the crew were not kept"),
            },
            Control::WantRoster => {
                let all = engine.roster().statements();
                session.say(Control::Roster(all));
            }
            Control::Ping { number, sent } => {
                let now = engine.host.now().as_microsecond();
                session.say(Control::Pong {
                    number,
                    sent,
                    received: now,
                    answered: engine.host.now().as_microsecond(),
                });
            }
            Control::Pong {
                number,
                sent,
                received,
                answered,
            } => {
                let exchanged = clock::Exchanged {
                    sent,
                    received,
                    answered,
                    back: engine.host.now().as_microsecond(),
                };
                if let Some(waiting) = lock(&session.pings).remove(&number) {
                    let _ = waiting.send(exchanged);
                }
            }
            Control::Holds { number, photos } => {
                if photos.len() > crate::photos::ASK_MAX {
                    return Refusal::TooMuch;
                }
                let mut held = Vec::with_capacity(photos.len());
                for photo in photos {
                    held.push(engine.host.holds(iroh_blobs::Hash::from_bytes(photo)).await);
                }
                session.say(Control::Held { number, held });
            }
            Control::Held { number, held } => {
                if let Some(waiting) = lock(&session.holds).remove(&number) {
                    let _ = waiting.send(held);
                }
            }
            Control::Where(places) => crate::door::heard_where(engine, places),
            Control::PhotosLeft(left) => {
                lock(&session.exchange).photos_left = left;
                engine.stirred.notify_waiters();
            }
        }
    }
}
