//! A process killed at any moment leaves a shop that opens, with everything that had been
//! acknowledged.

use std::io::Read;
use std::process::{Command, Stdio};
use std::time::Duration;

use datumtrail_tests::{Ack, acks, assert_all_there};

const ROUNDS: u64 = 40;

#[test]
fn what_was_acknowledged_survives_every_kill() {
    let dir = tempfile::tempdir().expect("a folder");
    let shop = dir.path().join("shop");
    let mut all: Vec<Ack> = Vec::new();
    let mut state = 0x5eed_u64;
    for round in 0..ROUNDS {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        // From before the shop is open to well into the work.
        let wait = Duration::from_millis(20 + (state >> 33) % 500);
        let first =
            all.iter().map(|a| a.number + 1).max().unwrap_or(0) + 1000 * u64::from(round > 0);
        let mut child = Command::new(env!("CARGO_BIN_EXE_worker"))
            .arg(&shop)
            .arg(first.to_string())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the worker starts");
        std::thread::sleep(wait);
        child.kill().expect("SIGKILL");
        let mut said = String::new();
        let mut pipe = child.stdout.take().expect("a pipe");
        pipe.read_to_string(&mut said).expect("text");
        let mut why = String::new();
        let mut pipe = child.stderr.take().expect("a pipe");
        pipe.read_to_string(&mut why).expect("text");
        let status = child.wait().expect("an end");
        assert!(
            !status.success(),
            "round {round}: the worker ended by itself"
        );
        assert_ne!(
            status.code(),
            Some(1),
            "round {round}: the worker refused to go on: {why}"
        );
        all.extend(acks(&said));
        if round % 10 == 9 {
            check(&shop, &all);
        }
    }
    let of = |kind: &str| all.iter().filter(|a| a.kind == kind).count();
    println!(
        "{ROUNDS} kills; acknowledged {} readings, {} notes, {} photos; none lost",
        of("reading"),
        of("note"),
        of("photo")
    );
    assert!(
        of("photo") > 10 && of("reading") > 10,
        "the kills came before any work"
    );
}

fn check(shop: &std::path::Path, all: &[Ack]) {
    let runtime = tokio::runtime::Runtime::new().expect("a runtime");
    runtime.block_on(assert_all_there(shop, all));
}
