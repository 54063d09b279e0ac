//! Devices killed at any moment while they exchange: nothing acknowledged is lost, no photo is
//! wrong, and the next exchange completes.
//!
//! Eight kills, or as many as `DATUMTRAIL_KILLS` says.

use std::collections::BTreeSet;
use std::time::Duration;

use datumtrail_tests::device::{Device, Running, count};
use datumtrail_tests::picture;

/// A number that looks random, from one that counts.
fn mixed(number: u64) -> u64 {
    let mut x = number.wrapping_add(0x9e37_79b9_7f4a_7c15);
    x = (x ^ (x >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    x = (x ^ (x >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    x ^ (x >> 31)
}

/// Whether the command says that it was done.
fn acknowledged(device: &Device, args: &[&str]) -> bool {
    let output = device.command(args).output().expect("the program runs");
    output.status.success()
}

#[test]
fn what_was_acknowledged_reaches_both_however_often_they_are_killed() {
    let kills: u64 = std::env::var("DATUMTRAIL_KILLS")
        .ok()
        .and_then(|n| n.parse().ok())
        .unwrap_or(8);
    let devices = [Device::new(), Device::new()];
    devices[0].ok(&["job", "new", "Order 1", "--zone", "Etc/UTC"]);
    devices[0].admits(&devices[1], "works", "phone");
    let start = |device: &Device| device.running(&["sync"]);
    let mut running: [Running; 2] = [start(&devices[0]), start(&devices[1])];
    let first = devices[1].waits("the job", &["job", "list"], |j| count(j, "jobs") == 1);
    assert_eq!(count(&first, "jobs"), 1);

    let mut notes = BTreeSet::new();
    let mut photos = BTreeSet::new();
    for round in 0..kills {
        for (side, device) in devices.iter().enumerate() {
            let text = format!("round {round} side {side}");
            if acknowledged(device, &["note", "add", &text]) {
                notes.insert(text);
            }
            let name = format!("{round}-{side}.jpg");
            // Long enough that some kills fall into the middle of it.
            let mut bytes = picture(10 * round + side as u64);
            bytes.resize(bytes.len() + (2 << 20), round as u8);
            let path = device.shop.file(&name, &bytes);
            if acknowledged(device, &["photo", "add", &path]) {
                photos.insert((name, blake3_of(&bytes)));
            }
        }
        let victim = (mixed(round) % 2) as usize;
        std::thread::sleep(Duration::from_millis(mixed(round + 1000) % 400));
        running[victim] = {
            let _ = running[victim].child.kill();
            let _ = running[victim].child.wait();
            start(&devices[victim])
        };
    }
    for device in &devices {
        let list = device.waits("all photos", &["photo", "list", "--all"], |list| {
            let list = list["photos"].as_array().expect("a list");
            list.len() >= photos.len() && list.iter().all(|p| count(p, "on_devices") == 2)
        });
        let have: BTreeSet<(String, String)> = (list["photos"].as_array().unwrap().iter())
            .map(|p| (text(&p["name"]), text(&p["blake3"])))
            .collect();
        let lost: Vec<_> = photos.difference(&have).collect();
        assert!(lost.is_empty(), "lost: {lost:?}");
        let list = device.json(&["note", "list"]);
        let have: BTreeSet<String> = (list["notes"].as_array().unwrap().iter())
            .map(|n| text(&n["text"]))
            .collect();
        let lost: Vec<_> = notes.difference(&have).collect();
        assert!(lost.is_empty(), "lost: {lost:?}");
        // The bytes are read back and checked against their identities.
        for photo in list_ids(device) {
            let file = device.shop.dir.path().join(format!("{photo}.back"));
            device.ok(&["photo", "save", &photo, file.to_str().expect("a path")]);
        }
    }
    println!(
        "{kills} kills; {} notes and {} photos acknowledged, none lost",
        notes.len(),
        photos.len()
    );
}

fn text(value: &serde_json::Value) -> String {
    value.as_str().unwrap_or_default().to_owned()
}

fn list_ids(device: &Device) -> Vec<String> {
    let list = device.json(&["photo", "list", "--all"]);
    (list["photos"].as_array().expect("a list").iter())
        .map(|p| text(&p["id"]))
        .collect()
}

/// The identity as an independent hand would compute it.
fn blake3_of(bytes: &[u8]) -> String {
    blake3::hash(bytes).to_hex().to_string()
}
