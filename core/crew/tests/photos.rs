//! Photos between devices.

mod common;

use std::time::Duration;

use common::*;
use datumtrail_crew::{BlobKind, Event, Role, Wanted};
use iroh_blobs::Hash;

fn noise(n: usize, seed: u64) -> Vec<u8> {
    let mut bytes = vec![0; n];
    let mut reader = blake3::Hasher::new()
        .update(&seed.to_le_bytes())
        .finalize_xof();
    reader.fill(&mut bytes);
    bytes
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn photos_come_previews_first_and_are_what_they_were() {
    log();
    let (a, mut b) = pair().await;
    let mut wanted = Vec::new();
    let mut contents = Vec::new();
    for n in 0..12u64 {
        let bytes = noise(300_000, n);
        wanted.push(a.photo(bytes.clone()).await);
        contents.push(bytes);
    }
    for n in 0..6u64 {
        let mut small = a.photo(noise(20_000, 100 + n)).await;
        small.kind = BlobKind::Preview;
        wanted.push(small);
    }
    b.want(&wanted);
    let mut order = Vec::new();
    while order.len() < wanted.len() {
        let event = b.until(|e| matches!(e, Event::PhotoArrived { .. })).await;
        let Event::PhotoArrived { kind, from, .. } = event else {
            unreachable!()
        };
        assert_eq!(from, a.id());
        order.push(kind);
    }
    let last_preview = order.iter().rposition(|k| *k == BlobKind::Preview).unwrap();
    // Four go at a time, so an original may overtake the last few previews and no more.
    assert!(last_preview < 6 + 4, "{order:?}");
    for (wanted, bytes) in wanted.iter().zip(&contents) {
        let here = b.blobs.blobs().get_bytes(wanted.hash).await.unwrap();
        assert!(here == bytes[..]);
    }
    let settled = b.settled().await;
    assert_eq!(settled.photos, 0);
    a.settled().await;
    let hashes = [wanted[0].hash, Hash::new(b"nobody has this")];
    let held = a.crew.still_held(&hashes, Duration::from_secs(5)).await;
    assert_eq!(held, [(b.id(), vec![true, false])]);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn both_sides_wait_for_photos_before_they_say_settled() {
    log();
    let (a, b) = pair().await;
    let mut wanted = Vec::new();
    for n in 0..4u64 {
        wanted.push(a.photo(noise(4_000_000, n)).await);
    }
    a.settled().await;
    b.want(&wanted);
    // The device that gives waits for the one that takes.
    eventually("a hears of it", || {
        futures_util::FutureExt::now_or_never(a.crew.settled(Duration::ZERO))
            .is_some_and(|settled| settled.photos > 0)
    })
    .await;
    a.settled().await;
    assert_eq!(b.host.kept.lock().unwrap().len(), 4);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_nobody_has_is_said_and_waits_for_somebody() {
    log();
    let (mut a, mut b) = pair().await;
    let bytes = noise(50_000, 9);
    let missing = Wanted {
        hash: Hash::new(&bytes),
        bytes: 50_000,
        kind: BlobKind::Original,
    };
    b.want(&[missing]);
    b.crew.settled(Duration::from_millis(500)).await;
    let settled = b.crew.settled(SOON).await;
    assert!(settled.took < Duration::from_secs(5), "{settled:?}");
    assert!(!settled.is_whole());
    assert!(
        settled.missing[0].contains("on no device that is connected"),
        "{settled:?}"
    );
    // A third device that has it joins.
    let c = Device::new(3).await;
    c.photo(bytes).await;
    a.invite(&c, Role::Looks).await;
    let event = b.until(|e| matches!(e, Event::PhotoArrived { .. })).await;
    assert!(
        format!("{event:?}").contains(&format!("{:?}", c.id())),
        "{event:?}"
    );
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_broken_transfer_goes_on_in_the_middle_of_the_file() {
    log();
    let (a, mut b) = pair().await;
    let bytes = noise(30_000_000, 5);
    let wanted = a.photo(bytes.clone()).await;
    b.want(&[wanted]);
    let mut partial = 0;
    for _ in 0..2000 {
        let here = b
            .blobs
            .remote()
            .local(iroh_blobs::HashAndFormat::raw(wanted.hash));
        partial = here.await.unwrap().local_bytes();
        if partial > 1_000_000 {
            break;
        }
        tokio::time::sleep(Duration::from_millis(1)).await;
    }
    assert!(partial > 1_000_000 && partial < 30_000_000, "{partial}");
    let known = b.host.wanted.lock().unwrap().clone();
    let disk = b.off().await;
    let sent_before = a.crew.peers().len();
    assert!(sent_before <= 1);
    let blobs = iroh_blobs::store::fs::FsStore::load(disk.folder.path().join("blobs"))
        .await
        .unwrap();
    let kept = blobs
        .remote()
        .local(iroh_blobs::HashAndFormat::raw(wanted.hash));
    let kept = kept.await.unwrap().local_bytes();
    blobs.shutdown().await.unwrap();
    drop(blobs);
    assert!(kept >= partial, "{kept} of {partial}");
    b = Device::on(disk).await;
    b.want(&known);
    b.until(|e| matches!(e, Event::PhotoArrived { .. })).await;
    let here = b.blobs.blobs().get_bytes(wanted.hash).await.unwrap();
    assert!(here == bytes[..]);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_photo_that_cannot_be_kept_is_asked_for_again() {
    log();
    let (a, mut b) = pair().await;
    let wanted = a.photo(noise(100_000, 3)).await;
    b.host
        .disk_full
        .store(true, std::sync::atomic::Ordering::Relaxed);
    b.want(&[wanted]);
    let event = b.until(|e| matches!(e, Event::PhotoFailed { .. })).await;
    assert!(format!("{event:?}").contains("the disk is full"));
    b.host
        .disk_full
        .store(false, std::sync::atomic::Ordering::Relaxed);
    b.until(|e| matches!(e, Event::PhotoArrived { .. })).await;
    b.settled().await;
}
