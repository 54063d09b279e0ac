//! A disk that fills up: a clear message, nothing acknowledged is lost, and work goes on when there
//! is room.
//!
//! On Linux as root this uses a small tmpfs of its own. Where mounting isn't allowed it limits the
//! size of files instead, which stops the growing database and document the same way.

#![cfg(target_os = "linux")]

use std::path::Path;
use std::process::{Command, Output};

use datumtrail_tests::{acks, assert_all_there};

/// A tmpfs that goes away with the test.
struct SmallDisk(tempfile::TempDir);

impl SmallDisk {
    fn new(megabytes: u32) -> Option<Self> {
        let dir = tempfile::tempdir().expect("a folder");
        let done = Command::new("mount")
            .args(["-t", "tmpfs", "-o", &format!("size={megabytes}m"), "tmpfs"])
            .arg(dir.path())
            .output()
            .ok()?;
        done.status.success().then_some(Self(dir))
    }

    fn grow(&self, megabytes: u32) {
        let done = Command::new("mount")
            .args(["-o", &format!("remount,size={megabytes}m")])
            .arg(self.0.path())
            .status()
            .expect("mount runs");
        assert!(done.success());
    }
}

impl Drop for SmallDisk {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg(self.0.path()).status();
    }
}

fn worker(shop: &Path, first: u64, file_limit_kb: Option<u32>) -> Output {
    let limit = match file_limit_kb {
        // In blocks of 512 bytes; the signal is ignored so that the write itself fails.
        Some(kb) => format!("trap '' XFSZ; ulimit -f {}; ", 2 * kb),
        None => String::new(),
    };
    Command::new("sh")
        .arg("-c")
        .arg(format!("{limit}exec timeout 120 \"$0\" \"$1\" \"$2\""))
        .arg(env!("CARGO_BIN_EXE_worker"))
        .arg(shop)
        .arg(first.to_string())
        .output()
        .expect("sh runs")
}

fn said_clearly(output: &Output) -> String {
    let error = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(1), "{error}");
    assert!(!error.contains("panicked"), "{error}");
    assert!(error.contains("What to do: "), "{error}");
    error
}

#[test]
fn nothing_acknowledged_is_lost_when_the_disk_fills_up() {
    let runtime = tokio::runtime::Runtime::new().expect("a runtime");
    let Some(disk) = SmallDisk::new(12) else {
        println!(
            "SKIPPED the tmpfs: mounting is not allowed here; limiting the size of files instead"
        );
        let dir = tempfile::tempdir().expect("a folder");
        let shop = dir.path().join("shop");
        let output = worker(&shop, 0, Some(4096));
        said_clearly(&output);
        let all = acks(&String::from_utf8_lossy(&output.stdout));
        assert!(!all.is_empty());
        runtime.block_on(assert_all_there(&shop, &all));
        return;
    };
    let shop = disk.0.path().join("shop");
    let output = worker(&shop, 0, None);
    let error = said_clearly(&output);
    println!("said: {}", error.trim());
    let mut all = acks(&String::from_utf8_lossy(&output.stdout));
    assert!(
        all.iter().any(|a| a.kind == "photo"),
        "the disk was full before any photo"
    );

    // Still full: again a clear message, or a little more work, but never a loss.
    let again = worker(&shop, 1_000_000, None);
    said_clearly(&again);
    all.extend(acks(&String::from_utf8_lossy(&again.stdout)));

    disk.grow(200);
    runtime.block_on(assert_all_there(&shop, &all));
    let before = all.len();
    let mut child = Command::new(env!("CARGO_BIN_EXE_worker"))
        .arg(&shop)
        .arg("2000000")
        .stdout(std::process::Stdio::piped())
        .spawn()
        .expect("the worker starts");
    std::thread::sleep(std::time::Duration::from_secs(3));
    child.kill().expect("SIGKILL");
    let more = child.wait_with_output().expect("an end");
    all.extend(acks(&String::from_utf8_lossy(&more.stdout)));
    assert!(
        all.len() > before,
        "no work went on although there was room"
    );
    runtime.block_on(assert_all_there(&shop, &all));
    println!(
        "{} records acknowledged around a full disk; none lost",
        all.len()
    );
}
