//! 200 photos of 5 MB from one device to another, each a process of its own, over loopback,
//! flushed to the disk as a shop does it; in the same run as another program does the same.
//!
//! `cargo run --release -p datumtrail-crew --example photos -- FOLDER [COMMAND...]`
//!
//! FOLDER is where everything is put (and left). COMMAND is timed too, with `{from}` and `{to}`
//! replaced by folders, such as `rsync -a -e ssh localhost:{from}/ {to}/`.

#[path = "../tests/common/mod.rs"]
mod common;

use std::io::{BufRead, Read, Write};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use common::{Device, Disk};
use datumtrail_crew::{BlobKind, Invite, Role, Ticket, Wanted};

const PHOTOS: usize = 200;
const BYTES: usize = 5_000_000;

#[tokio::main]
async fn main() {
    let mut arguments = std::env::args().skip(1);
    let folder = arguments.next().expect("a folder");
    let rest: Vec<String> = arguments.collect();
    if rest.first().is_some_and(|word| word == "give") {
        give(Path::new(&folder)).await;
    } else {
        take(Path::new(&folder), &rest).await;
    }
    std::process::exit(0);
}

async fn give(folder: &Path) {
    let a = Device::on(Disk::new(1)).await;
    for n in 0..PHOTOS {
        let path = folder.join("from").join(format!("{n:03}"));
        let tag = a.blobs.blobs().add_path(path).with_tag().await.unwrap();
        println!("{}", tag.hash);
    }
    let ticket = a
        .crew
        .invite(Invite {
            role: Role::Works,
            name: None,
            valid: Duration::from_secs(600),
        })
        .await
        .unwrap();
    println!("{ticket}");
    let mut line = String::new();
    let _ = std::io::stdin().read_line(&mut line);
    println!("{}", peak_memory());
}

async fn take(folder: &Path, command: &[String]) {
    std::fs::create_dir_all(folder.join("from")).unwrap();
    for n in 0..PHOTOS {
        let mut bytes = vec![0; BYTES];
        let mut reader = blake3::Hasher::new()
            .update(&n.to_le_bytes())
            .finalize_xof();
        reader.fill(&mut bytes);
        std::fs::write(folder.join("from").join(format!("{n:03}")), bytes).unwrap();
    }
    if !command.is_empty() {
        time_command(folder, command);
    }
    let mut child = Command::new(std::env::current_exe().unwrap())
        .arg(folder)
        .arg("give")
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut lines = std::io::BufReader::new(child.stdout.take().unwrap()).lines();
    let mut wanted = Vec::new();
    let ticket: Ticket = loop {
        let line = lines.next().unwrap().unwrap();
        match line.parse() {
            Ok(hash) => wanted.push(Wanted {
                hash,
                bytes: BYTES as u64,
                kind: BlobKind::Original,
            }),
            Err(_) => break line.parse().unwrap(),
        }
    };
    let b = Device::on(Disk::new(2)).await;
    *b.host.flush_in.lock().unwrap() = Some(b.disk.folder.path().join("blobs"));
    b.crew.join(&ticket, "taker").await.unwrap();
    b.settled().await;
    settle_disk();
    let began = Instant::now();
    b.want(&wanted);
    let settled = b.crew.settled(Duration::from_secs(300)).await;
    let took = began.elapsed();
    assert!(settled.is_whole(), "{settled:?}");
    assert_eq!(b.host.kept.lock().unwrap().len(), PHOTOS);
    let rate = (PHOTOS * BYTES) as f64 / took.as_secs_f64() / 1e6;
    println!("crew: {took:?}, {rate:.0} MB/s, flushed");
    println!("peak memory of the taker: {}", peak_memory());
    child.stdin.take().unwrap().write_all(b"done\n").unwrap();
    println!(
        "peak memory of the giver: {}",
        lines.next().unwrap().unwrap()
    );
    child.wait().unwrap();
    if !command.is_empty() {
        time_command(folder, command);
    }
}

fn time_command(folder: &Path, command: &[String]) {
    let to = folder.join("to");
    let _ = std::fs::remove_dir_all(&to);
    std::fs::create_dir_all(&to).unwrap();
    let fill = |word: &String| {
        word.replace("{from}", &folder.join("from").display().to_string())
            .replace("{to}", &to.display().to_string())
    };
    let words: Vec<String> = command.iter().map(fill).collect();
    settle_disk();
    let began = Instant::now();
    let status = Command::new(&words[0]).args(&words[1..]).status().unwrap();
    println!("{}: {:?}, {status}", words[0], began.elapsed());
}

/// What was written before is on the disk, so that nobody waits for it in what is timed.
fn settle_disk() {
    let _ = Command::new("sync").status();
}

fn peak_memory() -> String {
    let mut text = String::new();
    if let Ok(mut file) = std::fs::File::open("/proc/self/status") {
        let _ = file.read_to_string(&mut text);
    }
    let line = text.lines().find(|line| line.starts_with("VmHWM"));
    line.unwrap_or("unknown here").to_owned()
}
