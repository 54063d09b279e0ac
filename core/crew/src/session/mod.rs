//! A connection with another device of the crew.

mod greet;
mod listen;
mod meet;

use std::collections::HashMap;
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::{Duration, Instant};

use iroh::endpoint::Connection;
use jiff::Timestamp;
use samod::DocumentId;
use tokio::sync::{Semaphore, mpsc, oneshot};

pub(crate) use self::meet::meet;
use crate::clock;
use crate::engine::{Engine, lock};
use crate::error::Refusal;
use crate::event::{ClockOffset, Peer};
use crate::net::address_of;
use crate::roster::{MemberId, Role};
use crate::wire::{Control, Told, close, code};

/// Places of other devices that are taken from one device in a minute.
const PLACES_EACH_MINUTE: usize = 256;

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
    /// The whole roster was asked for; once is enough, or two that never agree would go on.
    asked_roster: AtomicBool,
    /// And it was given.
    gave_roster: AtomicBool,
    places: Mutex<Places>,
    /// For looking for documents that this device has.
    pub(crate) turns: Semaphore,
    /// Replaced by another session with the same device, which is no parting.
    superseded: AtomicBool,
}

/// How many places a device has told since when.
#[derive(Default)]
struct Places {
    since: Option<Instant>,
    told: usize,
}

impl Places {
    /// How many of these are listened to.
    fn allow(&mut self, told: usize, now: Instant) -> usize {
        let minute = Duration::from_secs(60);
        if self
            .since
            .is_none_or(|since| now.duration_since(since) >= minute)
        {
            self.since = Some(now);
            self.told = 0;
        }
        let allowed = told.min(PLACES_EACH_MINUTE.saturating_sub(self.told));
        self.told += allowed;
        allowed
    }
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

impl Exchange {
    /// The other side has on its disk what it was told of a document in a turn. Of a turn that
    /// it was not told it can't have anything.
    fn has(&mut self, document: DocumentId, turn: u64) {
        if self.told.get(&document).is_some_and(|told| turn <= *told) {
            let acked = self.acked.entry(document).or_insert(turn);
            *acked = turn.max(*acked);
        }
    }
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nobody_has_what_it_was_not_told() {
        let document = |n| DocumentId::try_from(vec![n; 16]).unwrap();
        let mut exchange = Exchange::default();
        exchange.told.insert(document(1), 5);
        exchange.has(document(1), 6);
        exchange.has(document(2), 1);
        assert!(exchange.acked.is_empty());
        exchange.has(document(1), 5);
        exchange.has(document(1), 3);
        assert_eq!(exchange.acked.get(&document(1)), Some(&5));
        assert_eq!(exchange.acked.len(), 1);
    }

    #[test]
    fn places_are_listened_to_in_measure() {
        let mut places = Places::default();
        let now = Instant::now();
        assert_eq!(places.allow(200, now), 200);
        assert_eq!(places.allow(200, now), 56);
        assert_eq!(places.allow(200, now + Duration::from_secs(59)), 0);
        assert_eq!(places.allow(200, now + Duration::from_secs(60)), 200);
    }
}
