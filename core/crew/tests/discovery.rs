//! Finding each other by mDNS. Needs a network with multicast, so it isn't run by default:
//! `cargo test -p datumtrail-crew --test discovery -- --ignored`.

mod common;

use std::time::Instant;

use common::*;
use datumtrail_crew::NetOptions;

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
#[ignore = "needs a network with multicast"]
async fn devices_find_each_other_without_an_address() {
    log();
    let a = Device::with(Disk::new(1), NetOptions::default()).await;
    let b = Device::with(Disk::new(2), NetOptions::default()).await;
    let mut ticket = a.ticket().await;
    println!("at {:?}", ticket.addresses);
    ticket.addresses.clear();
    let began = Instant::now();
    b.crew.join(&ticket, "b").await.unwrap();
    println!("found and joined in {:?}", began.elapsed());
    connected(&a, &b).await;
    println!("connected after {:?}", began.elapsed());
    let doc = a.document("x", 1).await;
    a.settled().await;
    assert_eq!(get(&b.find(doc.document_id()).await, "x"), Some(1));
}
