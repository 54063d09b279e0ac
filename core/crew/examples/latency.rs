//! How long an edit takes from one device to the other, both in one process over loopback.
//!
//! `cargo run --release -p datumtrail-crew --example latency`

#[path = "../tests/common/mod.rs"]
mod common;

use std::time::{Duration, Instant};

use common::{get, pair, set};
use futures_util::StreamExt;

const EDITS: i64 = 1000;

#[tokio::main]
async fn main() {
    let (a, b) = pair().await;
    let here = a.document("n", 0).await;
    a.settled().await;
    let there = b.find(here.document_id()).await;
    let mut changes = Box::pin(there.changes());
    let mut times = Vec::new();
    for n in 1..=EDITS {
        let began = Instant::now();
        set(&here, "n", n);
        while get(&there, "n") != Some(n) {
            changes.next().await.expect("the document is gone");
        }
        times.push(began.elapsed());
        tokio::time::sleep(Duration::from_millis(3)).await;
    }
    times.sort();
    let at = |part: f64| times[((times.len() - 1) as f64 * part) as usize];
    println!(
        "{EDITS} edits: median {:?}, 99th percentile {:?}, slowest {:?}",
        at(0.5),
        at(0.99),
        at(1.0)
    );
    let before = a.crew.peers()[0].bytes;
    let idle = Duration::from_secs(60);
    let used = processor_time();
    tokio::time::sleep(idle).await;
    let after = a.crew.peers()[0].bytes;
    println!(
        "idle for {idle:?}: {} bytes sent, {} received, {:?} of processor time by both devices",
        after.0 - before.0,
        after.1 - before.1,
        processor_time() - used
    );
    std::process::exit(0);
}

/// What this process has used so far, from Linux's account (100 ticks a second).
fn processor_time() -> Duration {
    let stat = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let fields: Vec<&str> = stat.rsplit(')').next().unwrap_or("").split(' ').collect();
    let ticks = |n: usize| {
        fields
            .get(n)
            .and_then(|f| f.parse::<u64>().ok())
            .unwrap_or(0)
    };
    Duration::from_millis((ticks(12) + ticks(13)) * 10)
}
