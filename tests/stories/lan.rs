//! Devices on hosts of their own, on a network that misbehaves. Needs root and iproute2 on Linux;
//! says so and skips where these are not to be had.

use std::time::{Duration, Instant};

use datumtrail_tests::device::{Device, count};
use datumtrail_tests::lan::Lan;
use datumtrail_tests::picture;

/// Two devices of one crew with a job.
fn two(lan: &Lan) -> (Device, Device) {
    let (bench, phone) = (lan.device(1), lan.device(2));
    bench.ok(&["job", "new", "Order 1", "--zone", "Etc/UTC"]);
    bench.admits(&phone, "works", "phone");
    (bench, phone)
}

/// A file that is a JPEG with a long tail, as phones append to their pictures.
fn large_photo(device: &Device, name: &str, megabytes: usize) -> String {
    let mut bytes = picture(megabytes as u64);
    let mut state = 7_u64;
    bytes.extend((0..megabytes << 20).map(|_| {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        state as u8
    }));
    device.shop.file(name, bytes)
}

#[test]
fn they_find_each_other_and_nothing_leaves_the_network() {
    let Some(lan) = Lan::bridge(2) else { return };
    lan.routed();
    let capture = lan.capture();
    let (bench, phone) = two(&lan);
    // Only what they hear on the network tells them where the other one is.
    for device in [&bench, &phone] {
        let known = device.shop.folder().join("crew/addresses");
        std::fs::remove_file(known).expect("addresses of the last meeting");
    }
    let (_here, _there) = (bench.sync(), phone.sync());
    phone.waits("the job", &["job", "list"], |jobs| count(jobs, "jobs") == 1);
    phone.ok(&["note", "add", "Kestrelby was here"]);
    bench.waits("the note", &["note", "list"], |n| count(n, "notes") == 1);
    let frames = capture.frames();
    let udp = frames.iter().filter(|f| f["protocol"] == 17).count();
    assert!(
        udp > 20,
        "{udp} frames of UDP are too few for what was done"
    );
    let announced = frames.iter().filter(|f| f["port"] == 5353).count();
    assert!(announced > 0, "nothing was announced");
    let host = std::fs::read_to_string("/etc/hostname").unwrap_or_default();
    for frame in &frames {
        let to: std::net::IpAddr = frame["to"].as_str().unwrap().parse().unwrap();
        let stays = match to {
            // The network itself, its groups that no router passes on (RFC 5771, section 4), and
            // those of this network that IGMP (RFC 3376) speaks to.
            std::net::IpAddr::V4(v4) => {
                v4.octets()[..3] == [10, 77, 7] || v4.octets()[..3] == [224, 0, 0]
            }
            // Link-local, by RFC 4291.
            std::net::IpAddr::V6(v6) => {
                v6.segments()[0] & 0xffc0 == 0xfe80 || v6.segments()[0] & 0xff0f == 0xff02
            }
        };
        assert!(stays, "something went to {to}: {frame}");
        // Announcements (mDNS, RFC 6762) say no names.
        if frame["port"] == 5353 {
            let payload = frame["payload"].as_str().unwrap();
            for name in ["phone", "Order", "bench", host.trim()] {
                let written: String = name.bytes().map(|b| format!("{b:02x}")).collect();
                let said = !written.is_empty() && payload.contains(&written);
                assert!(!said, "«{name}» was announced");
            }
        }
        // Nothing that people wrote can be read.
        let secret: String = "Kestrelby".bytes().map(|b| format!("{b:02x}")).collect();
        assert!(!frame["payload"].as_str().unwrap().contains(&secret));
    }
}

#[test]
fn a_cable_pulled_in_the_middle_of_a_photo() {
    let Some(lan) = Lan::bridge(2) else { return };
    let (bench, phone) = two(&lan);
    let (_here, _there) = (bench.sync(), phone.sync());
    phone.waits("the job", &["job", "list"], |jobs| count(jobs, "jobs") == 1);
    let photo = large_photo(&phone, "a.jpg", 60);
    phone.ok(&["photo", "add", &photo]);
    // Somewhere in the middle.
    std::thread::sleep(Duration::from_millis(100));
    lan.pull(2);
    std::thread::sleep(Duration::from_secs(20));
    phone.ok(&["note", "add", "written without a network"]);
    lan.plug(2);
    bench.waits("the photo", &["photo", "list"], |photos| {
        count(&photos["photos"][0], "on_devices") == 2
    });
    bench.waits("the note", &["note", "list"], |n| count(n, "notes") == 1);
}

#[test]
fn a_bad_radio() {
    let Some(lan) = Lan::link(100, 5) else { return };
    let (bench, phone) = two(&lan);
    let (_here, _there) = (bench.sync(), phone.sync());
    phone.waits("the job", &["job", "list"], |jobs| count(jobs, "jobs") == 1);
    let photo = large_photo(&phone, "a.jpg", 5);
    phone.ok(&["photo", "add", &photo]);
    let began = Instant::now();
    bench.waits("the photo", &["photo", "list"], |photos| {
        count(&photos["photos"][0], "on_devices") == 2
    });
    println!(
        "5 MB at 200 ms and 5 % loss, with receipt: {:.1} s",
        began.elapsed().as_secs_f64()
    );
}

#[test]
fn a_host_that_gets_another_address() {
    let Some(lan) = Lan::bridge(2) else { return };
    let (bench, phone) = two(&lan);
    let (_here, _there) = (bench.sync(), phone.sync());
    phone.waits("the job", &["job", "list"], |jobs| count(jobs, "jobs") == 1);
    lan.moves(2, 99);
    phone.ok(&["note", "add", "from another place"]);
    bench.waits("the note", &["note", "list"], |n| count(n, "notes") == 1);
}

#[test]
fn two_halves_work_apart_and_meet_again() {
    let Some(lan) = Lan::bridge(4) else { return };
    let devices: Vec<Device> = (1..=4).map(|host| lan.device(host)).collect();
    devices[0].ok(&["job", "new", "Order 1", "--zone", "Etc/UTC"]);
    for (number, device) in devices.iter().enumerate().skip(1) {
        devices[0].admits(device, "works", &format!("device {number}"));
    }
    let _all: Vec<_> = devices.iter().map(Device::sync).collect();
    for device in &devices {
        device.waits("the job", &["job", "list"], |jobs| count(jobs, "jobs") == 1);
    }
    // The third and fourth keep each other company.
    lan.parts(&[3, 4]);
    let edits = 500 / 4;
    std::thread::scope(|scope| {
        for (number, device) in devices.iter().enumerate() {
            scope.spawn(move || {
                for n in 0..edits {
                    device.ok(&["note", "add", &format!("{number} {n}")]);
                }
                let photos: Vec<String> = (0..13)
                    .map(|n| {
                        let name = format!("{number}-{n}.jpg");
                        device.shop.file(&name, picture(100 * number as u64 + n))
                    })
                    .collect();
                let mut add = vec!["photo", "add"];
                add.extend(photos.iter().map(String::as_str));
                device.ok(&add);
            });
        }
    });
    lan.joins(&[3, 4]);
    for device in &devices {
        device.waits("all notes", &["note", "list"], |notes| {
            count(notes, "notes") == 4 * edits
        });
        device.waits("all photos", &["photo", "list", "--all"], |photos| {
            let photos = photos["photos"].as_array().unwrap();
            photos.len() == 52 && photos.iter().all(|p| count(p, "on_devices") == 4)
        });
    }
    let lists: Vec<_> = devices.iter().map(|d| d.json(&["note", "list"])).collect();
    assert!(lists.iter().all(|list| *list == lists[0]));
}
