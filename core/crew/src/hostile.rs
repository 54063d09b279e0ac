//! Devices that don't play by the rules. In here, because they speak the inner protocol.

// What these measure is asked of the system.
#[cfg(unix)]
mod blobs;
#[path = "../tests/common/mod.rs"]
mod common;
mod documents;
#[cfg(target_os = "linux")]
mod floods;

use std::time::{Duration, Instant};

use common::*;
use iroh::endpoint::{Connection, presets};
use iroh::{Endpoint, RelayMode, SecretKey};

use crate::error::{CrewError, Refusal};
use crate::event::Event;
use crate::net::at;
use crate::roster::{MemberId, Role, Roster};
use crate::wire::{
    ALPN_CREW, ALPN_JOIN, ALPN_PHOTOS, Answer, Ask, Control, Hello, Reader, Verdict, Writer,
    framed, refusal_of,
};
use crate::{Invite, ticket::Secret};

/// An endpoint that isn't run by our engine.
async fn wild(key: SecretKey) -> Endpoint {
    Endpoint::builder(presets::Minimal)
        .secret_key(key)
        .relay_mode(RelayMode::Disabled)
        .clear_ip_transports()
        .bind_addr("127.0.0.1:0")
        .unwrap()
        .bind()
        .await
        .unwrap()
}

async fn reach(wild: &Endpoint, device: &Device, alpn: &[u8]) -> Connection {
    let target = at(device.id(), &device.crew.addresses());
    wild.connect(target, alpn).await.unwrap()
}

/// A key whose device is the chooser against another, or isn't.
fn key_that(chooses: bool, against: MemberId) -> SecretKey {
    (0..=255u8)
        .map(|n| SecretKey::from_bytes(&[n; 32]))
        .find(|key| (key.public() < against) == chooses && key.public() != against)
        .unwrap()
}

async fn refused(device: &mut Device, who: MemberId) -> Refusal {
    let event = device
        .until(|e| matches!(e, Event::Refused { who: refused, by_us: true, .. } if *refused == who))
        .await;
    let Event::Refused { why, .. } = event else {
        unreachable!()
    };
    why
}

async fn closed_within(connection: &Connection, time: Duration) -> Option<Refusal> {
    tokio::time::timeout(time, connection.closed())
        .await
        .expect("the connection stays open");
    refusal_of(connection)
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_stranger_gets_neither_jobs_nor_photos() {
    let mut a = Device::new(1).await;
    a.crew.found().await.unwrap();
    let photo = a.photo(vec![7; 100_000]).await;
    let stranger = wild(key_that(true, a.id())).await;
    // Photos, by somebody who knows a photo's identity.
    let connection = reach(&stranger, &a, ALPN_PHOTOS).await;
    let store = iroh_blobs::store::mem::MemStore::new();
    let got = store
        .remote()
        .fetch(connection.clone(), photo.hash)
        .complete();
    assert!(tokio::time::timeout(SOON, got).await.unwrap().is_err());
    assert_eq!(refused(&mut a, stranger.id()).await, Refusal::Stranger);
    // Jobs, by somebody who has a crew of its own.
    let mut other = Roster::default();
    let key = key_that(true, a.id());
    other
        .found(&key, "intruder", jiff::Timestamp::now())
        .unwrap();
    let connection = reach(&stranger, &a, ALPN_CREW).await;
    let (send, recv) = connection.open_bi().await.unwrap();
    let (mut writer, mut reader) = framed(send, recv);
    let hello = |crew| Hello {
        crew,
        proof: other.proof(&key.public()),
        digest: other.digest(),
    };
    writer.write(&hello(other.crew().unwrap())).await.unwrap();
    let _: Hello = reader.read().await.unwrap();
    let verdict: Verdict = reader.read().await.unwrap();
    assert!(matches!(verdict, Verdict::Refused(Refusal::Stranger)));
    assert_eq!(
        closed_within(&connection, SOON).await,
        Some(Refusal::Stranger)
    );
    // The same, with the right crew's name.
    let connection = reach(&stranger, &a, ALPN_CREW).await;
    let (send, recv) = connection.open_bi().await.unwrap();
    let (mut writer, mut reader) = framed(send, recv);
    let right = a.crew_identity();
    writer.write(&hello(right)).await.unwrap();
    let theirs: Hello = reader.read().await.unwrap();
    let verdict: Verdict = reader.read().await.unwrap();
    assert!(matches!(verdict, Verdict::Refused(Refusal::Stranger)));
    // What it heard on the way names nobody.
    let told = postcard::to_stdvec(&theirs).unwrap();
    let name = a.crew.members()[0].name.clone();
    assert!(!told.windows(name.len()).any(|w| w == name.as_bytes()));
    assert!(a.crew.peers().is_empty());
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_removed_device_is_out_at_once_and_everywhere() {
    let (mut a, mut b) = pair().await;
    let mut c = Device::new(3).await;
    a.invite(&c, Role::Works).await;
    connected(&a, &c).await;
    connected(&b, &c).await;
    let doc = a.document("x", 1).await;
    a.settled().await;
    let there = b.find(doc.document_id()).await;
    let photo = a.photo(vec![9; 200_000]).await;
    let began = Instant::now();
    a.crew.remove(b.id()).await.unwrap();
    eventually("nobody is connected to it", || {
        b.crew.peers().is_empty() && a.crew.peers().len() == 1 && c.crew.peers().len() == 1
    })
    .await;
    assert!(
        began.elapsed() < Duration::from_secs(3),
        "{:?}",
        began.elapsed()
    );
    // It hears so, by the word with which it was closed or by the roster, whichever is first.
    b.until(|e| {
        matches!(
            e,
            Event::Refused {
                why: Refusal::Removed,
                ..
            }
        )
    })
    .await;
    // It carries what a had of the job when it was removed.
    let removal = &a.crew.removals()[0];
    assert_eq!(removal.heads[0].heads(), heads(&doc));
    // What it writes now reaches nobody, and it gets nothing.
    set(&there, "written afterwards", 1);
    set(&doc, "meant for members", 1);
    b.want(&[photo]);
    for device in [&a, &c] {
        let _ = b.crew.connect(device.crew.addresses()[0]).await;
    }
    c.settled().await;
    tokio::time::sleep(Duration::from_millis(700)).await;
    assert_eq!(get(&doc, "written afterwards"), None);
    assert_eq!(get(&there, "meant for members"), None);
    assert!(b.host.kept.lock().unwrap().is_empty());
    // Nor does it come back with a new ticket.
    let ticket = a.ticket().await;
    let key = b.disk.key.clone();
    b.off().await;
    let mut disk = Disk::new(2);
    disk.key = key;
    let again = Device::on(disk).await;
    let joined = again.crew.join(&ticket, "it is me").await;
    assert!(
        matches!(
            joined,
            Err(CrewError::Refused {
                why: Refusal::Removed,
                ..
            })
        ),
        "{joined:?}"
    );
    let _ = c.until(|e| matches!(e, Event::RosterChanged)).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn expired_used_and_invented_tickets_are_refused_with_a_word() {
    let mut a = Device::new(1).await;
    let (b, c) = (Device::new(2).await, Device::new(3).await);
    let invite = |valid| Invite {
        role: Role::Works,
        name: None,
        valid,
    };
    let ticket = a
        .crew
        .invite(invite(Duration::from_secs(60)))
        .await
        .unwrap();
    b.crew.join(&ticket, "b").await.unwrap();
    let why = |outcome: crate::Result<()>| match outcome {
        Err(CrewError::Refused { why, .. }) => why,
        other => panic!("{other:?}"),
    };
    assert_eq!(why(c.crew.join(&ticket, "c").await), Refusal::TicketUsed);
    let ticket = a.crew.invite(invite(Duration::ZERO)).await.unwrap();
    assert_eq!(why(c.crew.join(&ticket, "c").await), Refusal::TicketExpired);
    let mut invented = a
        .crew
        .invite(invite(Duration::from_secs(60)))
        .await
        .unwrap();
    let good = invented.clone();
    invented.secret = Secret::generate();
    assert_eq!(
        why(c.crew.join(&invented, "c").await),
        Refusal::TicketUnknown
    );
    assert_eq!(refused(&mut a, c.id()).await, Refusal::TicketUsed);
    assert!(c.crew.members().is_empty());
    assert!(matches!(
        b.crew.join(&good, "b").await,
        Err(CrewError::InCrew)
    ));
    assert!(matches!(
        b.crew.invite(invite(Duration::from_secs(1))).await,
        Err(CrewError::NotAllowed(_))
    ));
    c.crew.join(&good, "c").await.unwrap();
    assert_eq!(a.crew.members().len(), 3);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_a_reader_writes_is_ignored_by_everybody() {
    let (mut a, b) = pair_of(Role::Looks).await;
    let c = Device::new(3).await;
    a.invite(&c, Role::Works).await;
    connected(&c, &b).await;
    let doc = a.document("x", 1).await;
    a.settled().await;
    let read = b.find(doc.document_id()).await;
    let also = c.find(doc.document_id()).await;
    set(&read, "scribble", 1);
    let own = b.document("a job of its own", 1).await;
    set(&doc, "x", 2);
    eventually("it still reads", || get(&read, "x") == Some(2)).await;
    a.settled().await;
    b.settled().await;
    c.settled().await;
    tokio::time::sleep(Duration::from_millis(500)).await;
    assert_eq!(get(&doc, "scribble"), None);
    assert_eq!(get(&also, "scribble"), None);
    for device in [&a, &c] {
        let find = device.repo.find(own.document_id().clone());
        let found = tokio::time::timeout(Duration::from_millis(500), find).await;
        assert!(!matches!(found, Ok(Ok(Some(_)))));
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn garbage_and_huge_frames_from_strangers_are_cut_off() {
    let mut a = Device::new(1).await;
    a.crew.found().await.unwrap();
    let stranger = wild(key_that(true, a.id())).await;
    for alpn in [ALPN_CREW, ALPN_JOIN] {
        for bytes in [
            // A frame of four gigabytes is announced.
            vec![0xff, 0xff, 0xff, 0xff, 1, 2, 3],
            // A small one that can't be read.
            vec![0, 0, 0, 4, 0xff, 0xff, 0xff, 0xff],
        ] {
            // a waits for the stream on connections that it doesn't choose.
            let connection = reach(&stranger, &a, alpn).await;
            let (mut send, _recv) = connection.open_bi().await.unwrap();
            send.write_all(&bytes).await.unwrap();
            let why = closed_within(&connection, Duration::from_secs(5)).await;
            assert_eq!(why, Some(Refusal::Garbage));
            assert_eq!(refused(&mut a, stranger.id()).await, Refusal::Garbage);
        }
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_silent_stranger_is_dropped_and_streams_have_an_end() {
    let a = Device::new(1).await;
    a.crew.found().await.unwrap();
    for chooses in [true, false] {
        let stranger = wild(key_that(chooses, a.id())).await;
        let connection = reach(&stranger, &a, ALPN_CREW).await;
        assert!(
            tokio::time::timeout(Duration::from_millis(300), connection.open_uni())
                .await
                .is_err(),
            "streams in one direction have no use here"
        );
        let mut open = Vec::new();
        while let Ok(Ok(stream)) =
            tokio::time::timeout(Duration::from_millis(300), connection.open_bi()).await
        {
            open.push(stream);
            assert!(open.len() < 1000);
        }
        assert!(open.len() <= 32, "{}", open.len());
        closed_within(&connection, Duration::from_secs(13)).await;
    }
}

/// A member whose device has been taken over: greets properly, then does as it likes.
async fn turncoat(a: &mut Device) -> (Connection, Writer, Reader, Endpoint) {
    let (connection, mut writer, mut reader, endpoint) = greeting(a).await;
    writer.write(&Control::Summary(Vec::new())).await.unwrap();
    let _: Control = reader.read().await.unwrap();
    (connection, writer, reader, endpoint)
}

/// One that has a document store too, so that it counts as connected.
async fn insider(a: &mut Device) -> (Connection, Writer, Reader, Endpoint, samod::Repo) {
    let (connection, writer, reader, endpoint) = turncoat(a).await;
    let store = samod::Repo::build_tokio()
        .with_peer_id(crate::gate::peer_id(&endpoint.id()))
        .load()
        .await;
    let (send, recv) = connection.open_bi().await.unwrap();
    let dialled = crate::stream::dial_over(&store, send, recv, &a.id()).unwrap();
    dialled.established().await.unwrap();
    (connection, writer, reader, endpoint, store)
}

/// One that stops before it has said what documents it has.
async fn greeting(a: &mut Device) -> (Connection, Writer, Reader, Endpoint) {
    let key = key_that(true, a.id());
    let ticket = a.ticket().await;
    let endpoint = wild(key.clone()).await;
    let joining = reach(&endpoint, a, ALPN_JOIN).await;
    let (send, recv) = joining.open_bi().await.unwrap();
    let (mut writer, mut reader) = framed(send, recv);
    let ask = Ask {
        secret: ticket.secret,
        name: "turncoat".into(),
    };
    writer.write(&ask).await.unwrap();
    let Answer::Welcome { roster: statements } = reader.read().await.unwrap() else {
        panic!("not admitted");
    };
    joining.close(0u32.into(), b"");
    let mut roster = Roster::default();
    roster.merge(statements);
    let connection = reach(&endpoint, a, ALPN_CREW).await;
    let (send, recv) = connection.open_bi().await.unwrap();
    let (mut writer, mut reader) = framed(send, recv);
    writer
        .write(&Hello {
            crew: roster.crew().unwrap(),
            proof: roster.proof(&key.public()),
            digest: roster.digest(),
        })
        .await
        .unwrap();
    let _: Hello = reader.read().await.unwrap();
    writer
        .write(&Verdict::Welcome { roster: Vec::new() })
        .await
        .unwrap();
    let verdict: Verdict = reader.read().await.unwrap();
    assert!(matches!(verdict, Verdict::Welcome { .. }));
    (connection, writer, reader, endpoint)
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_device_removed_while_it_greets_gets_no_session() {
    let mut a = Device::new(1).await;
    let (connection, mut writer, mut reader, endpoint) = greeting(&mut a).await;
    // a has judged it and waits for its word.
    let _: Control = reader.read().await.unwrap();
    a.crew.remove(endpoint.id()).await.unwrap();
    writer.write(&Control::Summary(Vec::new())).await.unwrap();
    let why = closed_within(&connection, Duration::from_secs(5)).await;
    assert_eq!(why, Some(Refusal::Removed));
    assert!(a.crew.peers().is_empty());
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_removed_keeper_does_not_come_back_by_a_fresh_key() {
    let mut a = Device::new(1).await;
    let keeper = Device::new(2).await;
    a.invite(&keeper, Role::Keeps).await;
    connected(&a, &keeper).await;
    let path = |device: &Device| device.disk.folder.path().join("crew").join("roster");
    let mut stolen = Roster::load(&path(&keeper)).unwrap();
    let thief = keeper.disk.key.clone();
    keeper.off().await;
    a.crew.remove(thief.public()).await.unwrap();
    let before = std::fs::read(path(&a)).unwrap();
    let fresh = key_that(true, a.id());
    let now = jiff::Timestamp::now();
    stolen
        .admit(&thief, fresh.public(), Role::Keeps, "fresh", now)
        .unwrap();
    let endpoint = wild(fresh.clone()).await;
    let connection = reach(&endpoint, &a, ALPN_CREW).await;
    let (send, recv) = connection.open_bi().await.unwrap();
    let (mut writer, mut reader) = framed(send, recv);
    let hello = Hello {
        crew: stolen.crew().unwrap(),
        proof: stolen.statements(),
        digest: stolen.digest(),
    };
    writer.write(&hello).await.unwrap();
    let _: Hello = reader.read().await.unwrap();
    let verdict: Verdict = reader.read().await.unwrap();
    assert!(matches!(verdict, Verdict::Refused(Refusal::Stranger)));
    assert_eq!(std::fs::read(path(&a)).unwrap(), before);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_a_reader_tells_on_meeting_is_not_waited_for() {
    let (a, b) = pair_of(Role::Looks).await;
    b.document("a job of its own", 1).await;
    b.settled().await;
    let disk = b.off().await;
    let b = Device::on(disk).await;
    connected(&a, &b).await;
    let sessions = || a.crew.engine.all_sessions();
    eventually("they have met again", || sessions().len() == 1).await;
    let session = sessions().pop().unwrap();
    assert!(crate::engine::lock(&session.exchange).pending.is_empty());
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn an_engine_that_is_dropped_leaves_no_socket() {
    let (a, b) = pair().await;
    let address = b.crew.addresses()[0];
    let repo = b.repo.clone();
    drop(b);
    eventually("the other is told", || a.crew.peers().is_empty()).await;
    eventually("its port is free", || {
        std::net::UdpSocket::bind(address).is_ok()
    })
    .await;
    repo.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_member_with_a_huge_frame_for_the_document_store_is_cut_off() {
    let mut a = Device::new(1).await;
    let (connection, _writer, _reader, _endpoint) = turncoat(&mut a).await;
    let (mut send, _recv) = connection.open_bi().await.unwrap();
    // The store's stream: a frame longer than any document may be.
    send.write_all(&[0x7f, 0xff, 0xff, 0xff]).await.unwrap();
    send.write_all(&[0; 1000]).await.unwrap();
    closed_within(&connection, Duration::from_secs(13)).await;
    assert!(a.crew.peers().is_empty());
}

impl Device {
    fn crew_identity(&self) -> crate::roster::StatementId {
        let path = self.disk.folder.path().join("crew").join("roster");
        Roster::load(&path).unwrap().crew().unwrap()
    }
}
