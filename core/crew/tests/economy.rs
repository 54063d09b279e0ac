//! What a reconnection with nothing new costs.

mod common;

use std::time::Instant;

use automerge::transaction::Transactable;
use automerge::{Automerge, ObjType, ROOT};
use common::*;

const JOBS: usize = 100;
const RECORDS: usize = 200;

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_hundred_unchanged_jobs_cost_less_than_a_hundred_kilobytes() {
    log();
    let (a, b) = pair().await;
    for job in 0..JOBS {
        let mut doc = Automerge::new();
        doc.transact::<_, _, automerge::AutomergeError>(|tx| {
            let records = tx.put_object(ROOT, "records", ObjType::Map)?;
            for record in 0..RECORDS {
                let one = tx.put_object(&records, format!("{job}-{record}"), ObjType::Map)?;
                tx.put(&one, "x", i64::try_from(record).unwrap())?;
                tx.put(&one, "by", "someone")?;
            }
            Ok(())
        })
        .unwrap();
        let handle = a.repo.create(doc).await.unwrap();
        a.note(&handle);
        a.crew.document_added(&handle).await;
    }
    let began = Instant::now();
    eventually("all arrived", || {
        let settled =
            futures_util::FutureExt::now_or_never(a.crew.settled(std::time::Duration::ZERO));
        settled.is_some_and(|s| s.is_whole())
    })
    .await;
    a.settled().await;
    b.settled().await;
    println!("first exchange of {JOBS} jobs: {:?}", began.elapsed());
    *b.host.documents.lock().unwrap() = a.host.documents.lock().unwrap().clone();
    let disk = b.off().await;
    let b = Device::on(disk).await;
    let began = Instant::now();
    connected(&a, &b).await;
    let met = began.elapsed();
    a.settled().await;
    b.settled().await;
    let settled = began.elapsed() - met;
    // Long enough for whatever would be sent needlessly.
    tokio::time::sleep(std::time::Duration::from_millis(1500)).await;
    let (sent, received) = b.crew.peers()[0].bytes;
    println!(
        "nothing new: met after {met:?}, settled {settled:?} later, {sent} + {received} bytes"
    );
    assert!(sent + received < 100_000, "{sent} + {received} bytes");
    assert!(settled.as_millis() < 1000, "{settled:?}");
    // And it is not that nothing goes any more.
    let id = a.host.documents.lock().unwrap()[7].clone();
    let (here, there) = (a.find(&id).await, b.find(&id).await);
    set(&there, "late", 1);
    eventually("the edit arrives", || get(&here, "late") == Some(1)).await;
}
