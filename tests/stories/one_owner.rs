//! A command run while another process has the shop is carried to that process and answers as
//! usual.
#![cfg(unix)]

use std::io::{BufRead, BufReader, Write};
use std::os::unix::fs::{MetadataExt, PermissionsExt};
use std::path::PathBuf;
use std::process::{Child, Stdio};

use datumtrail_tests::{Shop, picture};

/// `sync`, running.
struct Owner(Child);

impl Owner {
    fn start(shop: &Shop) -> Self {
        // The first invitation founds the crew.
        drop(Self::running(shop, &["crew", "invite"]));
        Self::running(shop, &["sync"])
    }

    fn running(shop: &Shop, args: &[&str]) -> Self {
        let mut child = shop
            .command(args)
            .env("DATUMTRAIL_LOOPBACK", "1")
            .stdout(Stdio::piped())
            .spawn()
            .expect("it starts");
        let out = child.stdout.take().expect("its output");
        let first = BufReader::new(out).lines().next();
        assert!(first.is_some_and(|line| line.is_ok()), "it says nothing");
        Self(child)
    }
}

impl Drop for Owner {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

fn socket(shop: &Shop) -> PathBuf {
    let pointer = std::fs::read_to_string(shop.folder().join("owner")).expect("a pointer");
    PathBuf::from(pointer)
}

#[test]
fn a_command_is_carried_and_answers_as_usual() {
    let shop = Shop::with_job();
    let owner = Owner::start(&shop);

    let mut note = shop.command(&["--as", "Wanda Kestrelby", "note", "add", "carried"]);
    assert!(note.output().unwrap().status.success());
    shop.ok(&["note", "add", "by nobody in particular"]);
    let notes = shop.json(&["note", "list"]);
    assert_eq!(notes["notes"][0]["text"], "carried");
    assert_eq!(notes["notes"][0]["person"], "Wanda Kestrelby");
    assert_eq!(notes["notes"][1]["person"], serde_json::Value::Null);

    // A path as it was typed, in another folder than the owner's.
    let elsewhere = tempfile::tempdir().unwrap();
    std::fs::write(elsewhere.path().join("a.jpg"), picture(1)).unwrap();
    let mut add = shop.command(&["photo", "add", "a.jpg"]);
    let added = add.current_dir(elsewhere.path()).output().unwrap();
    let text = String::from_utf8_lossy(&added.stdout);
    assert!(
        added.status.success() && text.contains("1 taken in"),
        "{text}"
    );

    // Errors and exit codes come back as they are.
    let said = shop.fails(1, &["stage", "open", "nowhere"]);
    assert!(
        said.contains("nowhere") && said.contains("What to do"),
        "{said}"
    );
    let said = shop.fails(1, &["--json", "stage", "open", "nowhere"]);
    assert!(
        serde_json::from_str::<serde_json::Value>(&said).is_ok(),
        "{said}"
    );

    // A second owner is refused, not started.
    let said = shop.fails(1, &["sync"]);
    assert!(said.contains("already"), "{said}");

    // The owner is gone without a word: the next command has the shop to itself.
    drop(owner);
    assert_eq!(
        shop.json(&["photo", "list"])["photos"]
            .as_array()
            .unwrap()
            .len(),
        1
    );
}

#[test]
fn a_question_travels_and_so_does_the_answer() {
    let shop = Shop::with_job();
    let _owner = Owner::start(&shop);
    // It has no time of its own, so its stage is doubtful.
    let photo = shop.file("a.jpg", picture(1));
    shop.ok(&["photo", "add", &photo]);
    let mut review = shop
        .command(&["photo", "review"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut keyboard = review.stdin.take().unwrap();
    keyboard.write_all(b"nowhere\narrival\n").unwrap();
    drop(keyboard);
    let output = review.wait_with_output().unwrap();
    let text = String::from_utf8_lossy(&output.stdout);
    assert!(output.status.success(), "{text}");
    assert!(text.contains("no stage «nowhere»"), "{text}");
    assert!(text.contains("belongs to arrival"), "{text}");
    let photos = shop.json(&["photo", "list"]);
    assert_eq!(photos["photos"][0]["stage"], "arrival");
}

#[test]
fn the_socket_belongs_to_the_user_only() {
    let shop = Shop::with_job();
    let _owner = Owner::start(&shop);
    let socket = socket(&shop);
    let folder = socket.parent().unwrap();
    let mode = |path: &std::path::Path| std::fs::metadata(path).unwrap().permissions().mode();
    assert_eq!(mode(folder) & 0o777, 0o700);
    assert_eq!(mode(&shop.folder().join("owner")) & 0o777, 0o600);
    let mine = std::fs::metadata(shop.folder()).unwrap().uid();
    assert_eq!(std::fs::metadata(folder).unwrap().uid(), mine);
}

#[test]
fn garbage_at_the_socket_harms_nobody() {
    let shop = Shop::with_job();
    let _owner = Owner::start(&shop);
    for garbage in [&b"\n"[..], b"{}\n", b"[1,2", &[0xff; 9000]] {
        let mut stream = std::os::unix::net::UnixStream::connect(socket(&shop)).unwrap();
        stream.write_all(garbage).unwrap();
    }
    // One that connects and says nothing.
    let _silent = std::os::unix::net::UnixStream::connect(socket(&shop)).unwrap();
    shop.ok(&["note", "add", "still there"]);
}
