//! Devices that work together: joining, documents both ways, coming back.

mod common;

use std::time::Duration;

use common::*;
use datumtrail_crew::{Event, Role};

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_ticket_brings_two_devices_together_and_documents_go_both_ways() {
    log();
    let mut a = Device::new(1).await;
    let b = Device::new(2).await;
    let on_a = a.document("made on a", 1).await;
    let on_b = b.document("made on b", 2).await;
    a.invite(&b, Role::Works).await;
    a.until(|e| matches!(e, Event::Joined { .. })).await;
    connected(&a, &b).await;
    a.settled().await;
    b.settled().await;
    let there = b.find(on_a.document_id()).await;
    assert_eq!(get(&there, "made on a"), Some(1));
    let here = a.find(on_b.document_id()).await;
    assert_eq!(get(&here, "made on b"), Some(2));
    set(&there, "answer", 3);
    set(&on_a, "question", 4);
    a.settled().await;
    b.settled().await;
    assert_eq!(get(&on_a, "answer"), Some(3));
    assert_eq!(get(&there, "question"), Some(4));
    assert_eq!(heads(&on_a), heads(&there));
    let names: Vec<String> = b.crew.members().into_iter().map(|m| m.name).collect();
    assert!(names.contains(&"newcomer".to_owned()), "{names:?}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_device_that_was_off_comes_back_by_its_last_address_and_catches_up() {
    log();
    let (a, b) = pair().await;
    let doc = a.document("before", 1).await;
    a.settled().await;
    let id = doc.document_id().clone();
    b.host.documents.lock().unwrap().push(id.clone());
    let disk = b.off().await;
    set(&doc, "while b was off", 2);
    let b = Device::on(disk).await;
    connected(&a, &b).await;
    a.settled().await;
    b.settled().await;
    let there = b.find(&id).await;
    assert_eq!(get(&there, "while b was off"), Some(2));
    // And further on: quiet documents wake when either side changes them.
    set(&there, "b again", 3);
    b.settled().await;
    assert_eq!(get(&doc, "b again"), Some(3));
    set(&doc, "a again", 4);
    a.settled().await;
    assert_eq!(get(&there, "a again"), Some(4));
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_third_device_hears_of_the_second_from_the_first() {
    log();
    let (mut a, b) = pair().await;
    let c = Device::new(3).await;
    a.invite(&c, Role::Works).await;
    // b never saw the ticket: it learns of c by the roster that a passes on, and where it is from
    // a too, since there is no discovery on loopback.
    connected(&a, &c).await;
    connected(&b, &c).await;
    let found = c.crew.connect(b.crew.addresses()[0]).await.unwrap();
    assert_eq!(found, b.id());
    let doc = b.document("from b", 7).await;
    b.settled().await;
    let there = c.find(doc.document_id()).await;
    eventually("c has it", || get(&there, "from b") == Some(7)).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn dialling_each_other_at_the_same_moment_settles_on_one_connection() {
    log();
    let (a, b) = pair().await;
    let doc = a.document("x", 0).await;
    a.settled().await;
    let there = b.find(doc.document_id()).await;
    for round in 1..=15 {
        let (at_a, at_b) = (a.crew.addresses()[0], b.crew.addresses()[0]);
        // Four dials at once, two from each side, on top of the live connection.
        let _ = tokio::join!(
            a.crew.connect(at_b),
            b.crew.connect(at_a),
            a.crew.connect(at_b),
            b.crew.connect(at_a),
        );
        connected(&a, &b).await;
        assert_eq!((a.crew.peers().len(), b.crew.peers().len()), (1, 1));
        set(&doc, "x", round);
        let began = std::time::Instant::now();
        eventually("the edit arrives", || get(&there, "x") == Some(round)).await;
        assert!(began.elapsed() < Duration::from_secs(5), "round {round}");
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn both_come_up_at_the_same_moment_again_and_again() {
    log();
    let (a, b) = pair().await;
    let doc = a.document("x", 0).await;
    let id = doc.document_id().clone();
    a.settled().await;
    b.host.documents.lock().unwrap().push(id.clone());
    let (mut disk_a, mut disk_b) = (a.off().await, b.off().await);
    for round in 1..=6 {
        let (a, b) = tokio::join!(Device::on(disk_a), Device::on(disk_b));
        connected(&a, &b).await;
        let (on_a, on_b) = (a.find(&id).await, b.find(&id).await);
        set(&on_a, "a", round);
        set(&on_b, "b", round);
        a.settled().await;
        b.settled().await;
        assert_eq!(get(&on_a, "b"), Some(round));
        assert_eq!(get(&on_b, "a"), Some(round));
        drop((on_a, on_b));
        (disk_a, disk_b) = tokio::join!(a.off(), b.off());
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_device_killed_without_a_word_is_replaced_when_it_comes_back() {
    log();
    let (a, b) = pair().await;
    let doc = a.document("x", 1).await;
    a.settled().await;
    b.host
        .documents
        .lock()
        .unwrap()
        .push(doc.document_id().clone());
    let key = b.disk.key.clone();
    let folder = b.disk.folder.path().join("crew");
    // A second engine with the same key and port, as after a kill: the first one's socket goes
    // away without closing its connections.
    let mut disk = Disk::new(2);
    disk.key = key;
    std::fs::create_dir_all(disk.folder.path().join("crew")).unwrap();
    for file in ["roster", "addresses"] {
        std::fs::copy(
            folder.join(file),
            disk.folder.path().join("crew").join(file),
        )
        .unwrap();
    }
    disk.documents = b.disk.documents.clone();
    disk.known = b.host.documents.lock().unwrap().clone();
    let began = std::time::Instant::now();
    let again = Device::on(disk).await;
    let before = b.crew.peers();
    assert_eq!(before.len(), 1);
    eventually("the new one is connected", || {
        !again.crew.peers().is_empty()
    })
    .await;
    set(&doc, "x", 2);
    let there = again.find(doc.document_id()).await;
    eventually("the edit arrives", || get(&there, "x") == Some(2)).await;
    assert!(
        began.elapsed() < Duration::from_secs(12),
        "{:?}",
        began.elapsed()
    );
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn clocks_are_compared_to_well_below_a_second() {
    log();
    let mut a = Device::new(1).await;
    let b = Device::new(2).await;
    b.host
        .ahead_ms
        .store(86_400_000, std::sync::atomic::Ordering::Relaxed);
    a.invite(&b, Role::Works).await;
    let event = a.until(|e| matches!(e, Event::ClockOffset { .. })).await;
    let Event::ClockOffset { who, offset } = event else {
        unreachable!()
    };
    assert_eq!(who, b.id());
    let error = (offset.micros - 86_400_000_000).unsigned_abs();
    assert!(error < 100_000, "{offset:?}");
    assert!(offset.bound_micros < 200_000, "{offset:?}");
    // A clock that is a day ahead keeps nobody from working.
    let doc = b.document("tomorrow", 1).await;
    b.settled().await;
    assert_eq!(get(&a.find(doc.document_id()).await, "tomorrow"), Some(1));
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_could_not_be_written_is_said_and_not_claimed() {
    log();
    let (a, mut b) = pair().await;
    a.settled().await;
    b.host
        .disk_full
        .store(true, std::sync::atomic::Ordering::Relaxed);
    let doc = a.document("x", 1).await;
    let event = b
        .until(|e| matches!(e, Event::DocumentNotSaved { .. }))
        .await;
    assert!(format!("{event:?}").contains("the disk is full"));
    let settled = a.crew.settled(Duration::from_millis(500)).await;
    assert_eq!(settled.documents, 1, "{settled:?}");
    let settled = b.crew.settled(Duration::from_millis(500)).await;
    let said = settled
        .missing
        .iter()
        .any(|m| m.contains("the disk is full"));
    assert!(said, "{settled:?}");
    b.host
        .disk_full
        .store(false, std::sync::atomic::Ordering::Relaxed);
    set(&doc, "x", 2);
    a.settled().await;
    b.settled().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_limited_job_goes_only_to_whom_it_may() {
    log();
    let (mut a, b) = pair().await;
    let c = Device::new(3).await;
    a.invite(&c, Role::Works).await;
    connected(&a, &c).await;
    let mut doc = automerge::Automerge::new();
    set_in(&mut doc, "secret", 1);
    let handle = a.repo.create(doc).await.unwrap();
    let id = handle.document_id().clone();
    for device in [&a, &b] {
        let mut withheld = device.host.withheld.lock().unwrap();
        withheld.insert((id.clone(), c.id()));
    }
    a.crew.document_added(&handle).await;
    set(&handle, "secret", 2);
    let there = b.find(&id).await;
    eventually("b has it", || get(&there, "secret") == Some(2)).await;
    tokio::time::sleep(Duration::from_millis(300)).await;
    a.settled().await;
    let refused = tokio::time::timeout(Duration::from_secs(1), c.repo.find(id.clone())).await;
    let has_secret = match refused {
        Ok(Ok(Some(handle))) => get(&handle, "secret") == Some(2),
        _ => false,
    };
    assert!(!has_secret);
    // Allowed later, it comes.
    a.host.withheld.lock().unwrap().clear();
    a.crew.access_changed();
    eventually("c knows it", || {
        c.crew.peers().len() == 2 && a.crew.peers().len() == 2
    })
    .await;
    let there = c.find(&id).await;
    eventually("c has it", || get(&there, "secret") == Some(2)).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_job_of_which_nobody_knows_who_may_have_it_comes_and_goes_no_further() {
    let (mut a, b) = pair().await;
    let c = Device::new(3).await;
    a.invite(&c, Role::Works).await;
    connected(&a, &c).await;
    connected(&b, &c).await;
    let mut doc = automerge::Automerge::new();
    set_in(&mut doc, "secret", 1);
    let handle = a.repo.create(doc).await.unwrap();
    let id = handle.document_id().clone();
    a.host.withheld.lock().unwrap().insert((id.clone(), c.id()));
    // b has not read it, as every device for a moment while a job first arrives.
    b.host.unread.lock().unwrap().insert(id.clone());
    a.crew.document_added(&handle).await;
    let there = b.find(&id).await;
    eventually("b has it", || get(&there, "secret") == Some(1)).await;
    tokio::time::sleep(Duration::from_millis(700)).await;
    let found = tokio::time::timeout(Duration::from_secs(1), c.repo.find(id.clone())).await;
    assert!(!matches!(found, Ok(Ok(Some(_)))), "c was given it");
}
