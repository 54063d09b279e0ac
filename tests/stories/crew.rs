//! Devices of one crew on one machine, each a real process: they join, keep the same jobs, and say
//! what clashed.

use datumtrail_tests::device::{Device, count};
use datumtrail_tests::picture;

#[test]
fn what_one_writes_the_other_has() {
    let (bench, phone) = (Device::new(), Device::new());
    bench.ok(&["job", "new", "Order 1", "--zone", "Etc/UTC"]);
    bench.admits(&phone, "works", "phone");
    let members = phone.json(&["crew", "list"]);
    assert_eq!(count(&members, "devices"), 2);

    let (_here, _there) = (bench.sync(), phone.sync());
    phone.waits("the job", &["job", "list"], |jobs| count(jobs, "jobs") == 1);
    phone.ok(&["note", "add", "from the phone"]);
    let photo = phone.shop.file("a.jpg", picture(1));
    phone.ok(&["photo", "add", &photo]);
    bench.waits("the note", &["note", "list"], |notes| {
        notes["notes"][0]["text"] == "from the phone"
    });
    // The photo's bytes too, and both say so.
    let list = bench.waits("the photo", &["photo", "list"], |photos| {
        count(&photos["photos"][0], "on_devices") == 2
    });
    let id = list["photos"][0]["id"].as_str().unwrap().to_owned();
    phone.waits("the receipt", &["photo", "list"], |photos| {
        count(&photos["photos"][0], "on_devices") == 2
    });
    let saved = bench.shop.dir.path().join("saved.jpg");
    bench.ok(&["photo", "save", &id, saved.to_str().unwrap()]);
    assert_eq!(std::fs::read(&saved).unwrap(), picture(1));
}

#[test]
fn both_sides_work_apart_and_meet_again() {
    let (bench, phone) = (Device::new(), Device::new());
    bench.ok(&["job", "new", "Order 2", "--zone", "Etc/UTC"]);
    bench.admits(&phone, "works", "phone");
    {
        let _here = bench.sync();
        let whole = phone.json(&["sync", "--once"]);
        assert_eq!(whole["whole"], true, "{whole:#}");
    }
    // Apart: each opens the stage, names the job and writes.
    for (device, name) in [(&bench, "Rail end"), (&phone, "Order 2, left")] {
        device.ok(&["stage", "open", "arrival"]);
        device.ok(&["job", "rename", name]);
        for n in 0..10 {
            device.ok(&["note", "add", &format!("{name} {n}")]);
        }
    }
    {
        let _here = bench.sync();
        let whole = phone.json(&["sync", "--once"]);
        assert_eq!(whole["whole"], true, "{whole:#}");
    }
    let (here, there) = (
        bench.json(&["job", "conflicts"]),
        phone.json(&["job", "conflicts"]),
    );
    assert_eq!(here, there);
    let kinds: Vec<&str> = (here["conflicts"].as_array().unwrap().iter())
        .filter_map(|c| c["kind"].as_str())
        .collect();
    assert_eq!(kinds, ["value", "stage_opened_twice"]);
    assert_eq!(bench.json(&["note", "list"]), phone.json(&["note", "list"]));
    assert_eq!(count(&bench.json(&["note", "list"]), "notes"), 20);
    // A person settles both, and the other side hears of it.
    let sides: Vec<String> = (here["conflicts"][1]["sides"].as_array().unwrap().iter())
        .map(|s| s["id"].as_str().unwrap().to_owned())
        .collect();
    bench.ok(&[
        "job",
        "settle",
        &sides[0],
        &sides[1],
        "--reason",
        "two people, one car",
    ]);
    bench.ok(&["job", "rename", "Order 2, left rail"]);
    let _here = bench.sync();
    phone.json(&["sync", "--once"]);
    let settled = phone.json(&["job", "conflicts"]);
    assert_eq!(count(&settled, "conflicts"), 1);
    assert_eq!(
        settled["conflicts"][0]["settled"]["reason"],
        "two people, one car"
    );
}

#[test]
fn who_may_only_look_changes_nothing() {
    let (bench, insurer) = (Device::new(), Device::new());
    bench.ok(&["job", "new", "Order 3", "--zone", "Etc/UTC"]);
    bench.admits(&insurer, "looks", "insurer");
    let _here = bench.sync();
    assert_eq!(insurer.json(&["sync", "--once"])["whole"], true);
    assert_eq!(count(&insurer.json(&["job", "list"]), "jobs"), 1);
    let said = insurer.refused(&["note", "add", "let me in"]);
    assert!(said.contains("may look"), "{said}");
    let said = insurer.refused(&["crew", "invite"]);
    assert!(said.contains("may not"), "{said}");
}

#[test]
fn a_removed_device_gets_nothing_more_and_what_it_writes_is_set_aside() {
    let (bench, phone, third) = (Device::new(), Device::new(), Device::new());
    bench.ok(&["job", "new", "Order 4", "--zone", "Etc/UTC"]);
    bench.admits(&phone, "works", "phone");
    bench.admits(&third, "works", "third");
    let here = bench.sync();
    assert_eq!(phone.json(&["sync", "--once"])["whole"], true);
    assert_eq!(third.json(&["sync", "--once"])["whole"], true);
    phone.ok(&["note", "add", "before"]);
    assert_eq!(phone.json(&["sync", "--once"])["whole"], true);
    bench.ok(&["crew", "remove", "phone"]);
    drop(here);
    // A third device that has not heard carries what it writes.
    phone.ok(&["note", "add", "after"]);
    {
        let _there = third.sync();
        let listens = third.json(&["crew", "list"]);
        let address = listens["addresses"][0].as_str().unwrap().to_owned();
        let _here = phone.sync();
        phone.ok(&["crew", "connect", &address]);
        third.waits("the note", &["note", "list"], |n| count(n, "notes") == 2);
    }
    let _here = bench.sync();
    third.json(&["sync", "--once"]);
    // Now that all have heard it gets nothing any more.
    let said = phone.json_anyway(&["sync", "--once", "--within", "5"]);
    assert_eq!(said["whole"], false, "{said:#}");
    let notes = bench.json(&["note", "list"]);
    assert_eq!(count(&notes, "notes"), 1, "{notes:#}");
    let aside = third.json(&["job", "conflicts"]);
    assert_eq!(count(&aside, "set_aside"), 1, "{aside:#}");
}

#[test]
fn a_limited_job_reaches_only_whom_it_is_for() {
    let (bench, phone, desk) = (Device::new(), Device::new(), Device::new());
    bench.ok(&["job", "new", "For all", "--zone", "Etc/UTC"]);
    bench.admits(&phone, "works", "phone");
    bench.admits(&desk, "works", "desk");
    bench.ok(&["job", "new", "For the desk", "--zone", "Etc/UTC"]);
    bench.ok(&["job", "share", "--with", "desk"]);
    let _here = bench.sync();
    assert_eq!(desk.json(&["sync", "--once"])["whole"], true);
    assert_eq!(phone.json(&["sync", "--once"])["whole"], true);
    assert_eq!(count(&desk.json(&["job", "list"]), "jobs"), 2);
    assert_eq!(count(&phone.json(&["job", "list"]), "jobs"), 1);
    // Until everybody may have it.
    bench.ok(&["--job", "For the desk", "job", "share", "--everyone"]);
    assert_eq!(phone.json(&["sync", "--once"])["whole"], true);
    assert_eq!(count(&phone.json(&["job", "list"]), "jobs"), 2);
}

#[test]
fn a_limit_holds_at_once_while_everybody_is_connected() {
    let (bench, phone, desk) = (Device::new(), Device::new(), Device::new());
    bench.ok(&["job", "new", "First", "--zone", "Etc/UTC"]);
    bench.admits(&phone, "works", "phone");
    bench.admits(&desk, "works", "desk");
    let _all = (bench.sync(), phone.sync(), desk.sync());
    phone.waits("the first job", &["job", "list"], |j| count(j, "jobs") == 1);
    desk.waits("the first job", &["job", "list"], |j| count(j, "jobs") == 1);
    // Made while everybody is connected, it comes.
    bench.ok(&["job", "new", "Second", "--zone", "Etc/UTC"]);
    phone.waits("a new job", &["job", "list"], |j| count(j, "jobs") == 2);
    desk.waits("a new job", &["job", "list"], |j| count(j, "jobs") == 2);
    // Limited, what is written now goes to the desk and no further.
    let notes = ["--job", "Second", "note", "list"];
    let written =
        |text: &'static str| move |notes: &serde_json::Value| notes.to_string().contains(text);
    bench.ok(&["--job", "Second", "job", "share", "--with", "desk"]);
    bench.ok(&["--job", "Second", "note", "add", "for the desk alone"]);
    let photo = bench.shop.file("a.jpg", picture(8));
    bench.ok(&["--job", "Second", "photo", "add", &photo]);
    desk.waits("the note", &notes, written("for the desk alone"));
    desk.waits("the photo", &["--job", "Second", "photo", "list"], |p| {
        count(&p["photos"][0], "on_devices") == 2
    });
    bench.ok(&["--job", "First", "note", "add", "for all"]);
    let first = ["--job", "First", "note", "list"];
    phone.waits("what came after", &first, written("for all"));
    assert!(!written("for the desk alone")(&phone.json(&notes)));
    // Open to all again, the phone catches up by itself.
    bench.ok(&["--job", "Second", "job", "share", "--everyone"]);
    phone.waits("the note", &notes, written("for the desk alone"));
}

#[test]
fn a_device_that_keeps_its_own_photos_fetches_the_others_when_asked() {
    let (bench, phone, desk) = (Device::new(), Device::new(), Device::new());
    bench.ok(&["job", "new", "Order 5", "--zone", "Etc/UTC"]);
    bench.admits(&phone, "works", "phone");
    bench.admits(&desk, "works", "desk");
    let photo = bench.shop.file("a.jpg", picture(5));
    bench.ok(&["photo", "add", &photo]);
    let _here = bench.sync();
    assert_eq!(desk.json(&["sync", "--once"])["whole"], true);
    assert_eq!(phone.json(&["sync", "--once"])["whole"], true);
    let list = phone.json(&["photo", "list"]);
    let id = list["photos"][0]["id"].as_str().unwrap().to_owned();
    // One other device confirms it, the desk is not there: with two asked for it stays.
    let kept = phone.json(&["crew", "keep", "own", "--copies", "2"]);
    assert_eq!(kept["dropped"]["photos"], 0, "{kept:#}");
    let gone = phone.json(&["crew", "keep", "own", "--copies", "1"]);
    assert_eq!(gone["dropped"]["photos"], 1, "{gone:#}");
    assert_eq!(phone.json(&["sync", "--once"])["whole"], true);
    let list = bench.json(&["photo", "list"]);
    assert_eq!(count(&list["photos"][0], "on_devices"), 2, "{list:#}");
    // It comes back when somebody wants to see it.
    let saved = phone.shop.dir.path().join("saved.jpg");
    phone.ok(&["photo", "save", &id, saved.to_str().unwrap()]);
    assert_eq!(std::fs::read(&saved).unwrap(), picture(5));
}

#[test]
fn a_ticket_admits_one_device_and_a_stranger_none() {
    let (bench, phone, stranger) = (Device::new(), Device::new(), Device::new());
    bench.ok(&["job", "new", "Order 6", "--zone", "Etc/UTC"]);
    let invite = bench.running(&["crew", "invite"]);
    let ticket = invite.line("DTCREW").trim().to_owned();
    phone.ok(&["crew", "join", &ticket]);
    invite.ends();
    let _here = bench.sync();
    let said = stranger.refused(&["crew", "join", &ticket]);
    assert!(said.contains("ticket"), "{said}");
    let said = stranger.refused(&["crew", "join", "DTCREW1NONSENSE"]);
    assert!(said.contains("not an invitation"), "{said}");
    let said = stranger.refused(&["sync", "--once"]);
    assert!(said.contains("no crew"), "{said}");
}
