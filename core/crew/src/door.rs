//! Coming together: answering who dials, and dialling who is missing.

use std::collections::HashMap;
use std::net::{IpAddr, SocketAddr};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use futures_util::StreamExt;
use iroh::Watcher;
use iroh::endpoint::{Connection, Incoming, IncomingAddr};
use iroh_mdns_address_lookup::DiscoveryEvent;
use tokio::sync::Semaphore;

use crate::engine::{Attempt, Engine, lock};
use crate::net::{at, discover};
use crate::roster::MemberId;
use crate::session::meet;
use crate::wire::{ALPN_CREW, ALPN_JOIN, ALPN_PHOTOS};

/// Handshakes under way at a time; more are turned away unheard.
const HANDSHAKES_MAX: usize = 64;
/// And of these from one address.
const HANDSHAKES_EACH: usize = 16;
/// Places of other devices that are taken from one message.
const PLACES_MAX: usize = 64;
const HANDSHAKE_TIME: Duration = Duration::from_secs(10);
const DIAL_TIME: Duration = Duration::from_secs(10);
const FIRST_RETRY: Duration = Duration::from_millis(500);
const LAST_RETRY: Duration = Duration::from_secs(30);
/// The side that doesn't choose gives the other one a head start, to save a connection.
const HEAD_START: Duration = Duration::from_millis(250);

/// Answers until the endpoint closes.
pub(crate) async fn accept_all(engine: Arc<Engine>) {
    let room = Arc::new(Semaphore::new(HANDSHAKES_MAX));
    let callers = Callers::default();
    while let Some(incoming) = engine.endpoint.accept().await {
        let free = Arc::clone(&room).try_acquire_owned().ok();
        let permit = free.zip(callers.enter(&incoming));
        let Some(permit) = permit else {
            incoming.refuse();
            continue;
        };
        let answering = Arc::clone(&engine);
        engine.spawn(async move {
            let shaken = tokio::time::timeout(HANDSHAKE_TIME, shake(incoming)).await;
            let Ok(Some(connection)) = shaken else {
                return;
            };
            let alpn = connection.alpn().to_vec();
            if alpn == ALPN_PHOTOS {
                // Open for as long as photos are fetched, so not counted among the handshakes.
                drop(permit);
                crate::photos::serve(answering, connection).await;
            } else if alpn == ALPN_JOIN {
                crate::join::answer(&answering, connection).await;
            } else if alpn == ALPN_CREW {
                let _ = meet(&answering, connection).await;
            }
        });
    }
}

/// How many handshakes are under way with whom, so that one address can't take up all the room.
#[derive(Clone, Default)]
struct Callers(Arc<Mutex<HashMap<IpAddr, usize>>>);

struct Caller {
    callers: Callers,
    ip: IpAddr,
}

impl Callers {
    fn enter(&self, incoming: &Incoming) -> Option<Caller> {
        let IncomingAddr::Ip(address) = incoming.remote_addr() else {
            return None;
        };
        let ip = address.ip();
        let mut callers = lock(&self.0);
        let count = callers.entry(ip).or_default();
        if *count >= HANDSHAKES_EACH {
            return None;
        }
        *count += 1;
        Some(Caller {
            callers: self.clone(),
            ip,
        })
    }
}

impl Drop for Caller {
    fn drop(&mut self) {
        let mut callers = lock(&self.callers.0);
        if let Some(count) = callers.get_mut(&self.ip) {
            *count -= 1;
            if *count == 0 {
                callers.remove(&self.ip);
            }
        }
    }
}

async fn shake(incoming: Incoming) -> Option<Connection> {
    match incoming.accept() {
        Ok(accepting) => accepting.await.ok(),
        Err(_) => None,
    }
}

/// Dials every device of the crew that isn't connected, again and again, ever more rarely.
pub(crate) async fn dial_all(engine: Arc<Engine>) {
    loop {
        let next = dial_due(&engine);
        tokio::select! {
            () = engine.dial_now.notified() => {}
            () = tokio::time::sleep(next) => {}
        }
    }
}

/// Starts what is due and returns when to look again.
fn dial_due(engine: &Arc<Engine>) -> Duration {
    let mut next = Duration::from_secs(5);
    let missing: Vec<MemberId> = {
        let roster = engine.roster();
        if roster.role(&engine.id).is_none() {
            return next;
        }
        let members = roster.members();
        members
            .iter()
            .map(|m| m.id)
            .filter(|id| *id != engine.id)
            .collect()
    };
    let now = Instant::now();
    for member in missing {
        if lock(&engine.sessions).contains_key(&member) {
            continue;
        }
        let mut dialing = lock(&engine.dialing);
        let attempt = dialing.entry(member).or_insert(Attempt {
            failures: 0,
            next: now,
            running: false,
        });
        if attempt.running {
            continue;
        }
        if attempt.next > now {
            next = next.min(attempt.next - now);
            continue;
        }
        attempt.running = true;
        let dialler = Arc::clone(engine);
        engine.spawn(async move {
            if member < dialler.id {
                tokio::time::sleep(HEAD_START).await;
            }
            let connected = lock(&dialler.sessions).contains_key(&member)
                || dial_known(&dialler, member).await.is_ok();
            attempted(&dialler, member, connected);
        });
    }
    next
}

fn attempted(engine: &Engine, member: MemberId, connected: bool) {
    if let Some(attempt) = lock(&engine.dialing).get_mut(&member) {
        attempt.running = false;
        attempt.failures = if connected { 0 } else { attempt.failures + 1 };
        let wait = FIRST_RETRY.saturating_mul(1 << attempt.failures.min(6));
        attempt.next = Instant::now() + wait.min(LAST_RETRY);
    }
    engine.dial_now.notify_one();
}

/// Dials a device where it was last, and where mDNS sees it.
async fn dial_known(engine: &Arc<Engine>, member: MemberId) -> Result<(), String> {
    let addresses = lock(&engine.addresses).of(&member);
    if addresses.is_empty() && !engine.mdns {
        return Err("nobody has said where it is".into());
    }
    dial(engine, member, &addresses).await
}

/// Dials a device at these addresses, and where mDNS sees it.
pub(crate) async fn dial(
    engine: &Arc<Engine>,
    member: MemberId,
    addresses: &[SocketAddr],
) -> Result<(), String> {
    let dial = engine.endpoint.connect(at(member, addresses), ALPN_CREW);
    let connection = tokio::time::timeout(DIAL_TIME, dial)
        .await
        .map_err(|_| "no answer".to_owned())?
        .map_err(|e| e.to_string())?;
    meet(engine, connection)
        .await
        .map_err(|why| why.to_string())
}

/// Devices tell each other where the others are, for networks that block discovery.
pub(crate) fn heard_where(engine: &Engine, places: Vec<([u8; 32], SocketAddr)>) {
    for (member, address) in places.into_iter().take(PLACES_MAX) {
        let Ok(member) = MemberId::from_bytes(&member) else {
            continue;
        };
        // A member can't send us anywhere but around our own network.
        if member != engine.id && engine.role_of(&member).is_some() && is_local(address.ip()) {
            lock(&engine.addresses).heard(member, address);
            found(engine, member);
        }
    }
}

fn is_local(ip: IpAddr) -> bool {
    match ip {
        IpAddr::V4(ip) => ip.is_private() || ip.is_link_local() || ip.is_loopback(),
        IpAddr::V6(ip) => ip.is_unique_local() || ip.is_unicast_link_local() || ip.is_loopback(),
    }
}

/// Announces this device, listens for others, and begins anew when the network changes: what
/// started before there was a network hears nothing.
pub(crate) async fn watch_network(engine: Arc<Engine>) {
    let mut addresses = engine.endpoint.watch_addr();
    loop {
        let mdns = discover(&engine.endpoint);
        let seen = addresses.get();
        let listening = async {
            let Some(mdns) = &mdns else {
                return std::future::pending::<()>().await;
            };
            let mut events = mdns.subscribe().await;
            while let Some(event) = events.next().await {
                // `Expired` is no parting: it comes after a second of a pulled cable.
                if let DiscoveryEvent::Discovered { endpoint_info, .. } = event {
                    found(&engine, endpoint_info.endpoint_id);
                }
            }
        };
        tokio::select! {
            () = listening => tokio::time::sleep(Duration::from_secs(5)).await,
            () = changed(&mut addresses, &seen) => {
                // Interfaces come up one after the other.
                tokio::time::sleep(Duration::from_secs(1)).await;
                for attempt in lock(&engine.dialing).values_mut() {
                    attempt.next = Instant::now();
                }
                engine.dial_now.notify_one();
            }
        }
    }
}

async fn changed<W: Watcher<Value = iroh::EndpointAddr>>(
    addresses: &mut W,
    seen: &iroh::EndpointAddr,
) {
    loop {
        match addresses.updated().await {
            Ok(now) if now != *seen => return,
            Ok(_) => {}
            Err(_) => std::future::pending().await,
        }
    }
}

fn found(engine: &Engine, member: MemberId) {
    if engine.role_of(&member).is_none() {
        return;
    }
    if let Some(attempt) = lock(&engine.dialing).get_mut(&member) {
        attempt.next = Instant::now();
    }
    engine.dial_now.notify_one();
}
