//! A device whose disk fills up while others send it their work: it says so, nothing is corrupt or
//! forgotten, and it goes on when there is room. Needs to mount a small tmpfs, and says so and skips
//! where that isn't allowed.

#![cfg(target_os = "linux")]

use std::path::PathBuf;
use std::process::Command;

use datumtrail_tests::device::{Device, count};
use datumtrail_tests::picture;

/// A small disk under a device's shop, until it is dropped.
struct SmallDisk(PathBuf);

impl SmallDisk {
    fn under(device: &Device, megabytes: u32) -> Option<Self> {
        let folder = device.shop.folder();
        std::fs::create_dir_all(&folder).expect("a folder");
        let done = Command::new("mount")
            .args(["-t", "tmpfs", "-o", &format!("size={megabytes}m"), "tmpfs"])
            .arg(&folder)
            .output()
            .ok()?;
        done.status.success().then_some(Self(folder))
    }

    fn grow(&self, megabytes: u32) {
        let done = Command::new("mount")
            .args(["-o", &format!("remount,size={megabytes}m")])
            .arg(&self.0)
            .status()
            .expect("mount runs");
        assert!(done.success());
    }
}

impl Drop for SmallDisk {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg("-l").arg(&self.0).status();
    }
}

#[test]
fn a_receiver_without_room_says_so_and_goes_on_when_there_is_some() {
    let (bench, phone) = (Device::new(), Device::new());
    let Some(disk) = SmallDisk::under(&phone, 14) else {
        eprintln!("SKIPPED: mounting a small disk is not allowed here");
        return;
    };
    bench.ok(&["job", "new", "Order 1", "--zone", "Etc/UTC"]);
    bench.admits(&phone, "works", "phone");
    let _here = bench.sync();
    {
        let there = phone.sync();
        phone.waits("the job", &["job", "list"], |jobs| count(jobs, "jobs") == 1);
        let photos: Vec<String> = (0..30)
            .map(|n| {
                let mut bytes = picture(n);
                bytes.resize(bytes.len() + (1 << 20), n as u8);
                bench.shop.file(&format!("{n}.jpg"), bytes)
            })
            .collect();
        let mut add = vec!["photo", "add"];
        add.extend(photos.iter().map(String::as_str));
        bench.ok(&add);
        bench.ok(&["note", "add", "while the other one is full"]);
        // Not silent about it.
        there.line("could not be");
    }
    disk.grow(200);
    let _there = phone.sync();
    let list = phone.waits("all photos", &["photo", "list", "--all"], |list| {
        let list = list["photos"].as_array().expect("a list");
        list.len() == 30 && list.iter().all(|p| count(p, "on_devices") == 2)
    });
    for photo in list["photos"].as_array().expect("a list") {
        let id = photo["id"].as_str().expect("an identity");
        let file = phone.shop.dir.path().join(id);
        phone.ok(&["photo", "save", id, file.to_str().expect("a path")]);
    }
    let notes = phone.json(&["note", "list"]);
    assert_eq!(count(&notes, "notes"), 1);
}
