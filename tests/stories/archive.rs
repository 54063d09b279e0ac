//! What leaves the shop, through the real program: sealed, changed, exported, verified, opened
//! elsewhere, and copied for others.

use std::process::Command;

use datumtrail_tests::{Shop, flat, picture, program};
use serde_json::Value;

const SHEET: &str = "point,side,what,x,y,z\nA,left,a,0,-400,0\nA',right,a,0,400,0\n\
                     B,left,b,2000,-400,10\nB',right,b,2000,400,10\nC,left,c,1000,-600,0\n\
                     C',right,c,1000,600,0\nH,left,h,2900,-450,200\n";
const READINGS: &str = "point,x,y,z\nA,0,-400,0\nA',0,400,0\nB,2000,-400,10\nB',2000,400,10\n\
                        C,1000,-600,0\nC',1000,600,0\nH,2907.4,-450,200\n";
const SECRET: &str = "The hours are our own business.";

/// A job with a closed stage: a survey, two photos, a note.
fn shop() -> Shop {
    let shop = Shop::with_job();
    shop.load_sheet(SHEET);
    shop.ok(&["stage", "open", "as-found-survey"]);
    let readings = shop.file("readings.csv", READINGS);
    shop.ok(&[
        "survey",
        "add",
        &readings,
        "--stage",
        "as-found-survey",
        "--refs",
        "A,A',B,B',C,C'",
        "--u",
        "0.4",
    ]);
    let photos = [
        shop.file("one.jpg", picture(1)),
        shop.file("two.jpg", picture(2)),
    ];
    shop.ok(&[
        "photo",
        "add",
        &photos[0],
        &photos[1],
        "--stage",
        "as-found-survey",
    ]);
    shop.ok(&[
        "note",
        "add",
        "The rail is folded at H.",
        "--stage",
        "as-found-survey",
    ]);
    shop
}

fn path(shop: &Shop, name: &str) -> String {
    shop.dir
        .path()
        .join(name)
        .to_str()
        .expect("a plain path")
        .to_owned()
}

fn last_digits(id: &Value) -> String {
    let id = id.as_str().expect("an identity");
    id[id.len() - 8..].to_owned()
}

#[test]
fn sealed_changed_exported_opened_elsewhere_and_merged() {
    let shop = shop();
    let said = flat(&shop.fails(1, &["seal", "as-found-survey"]));
    assert!(said.contains("still open"), "{said}");
    shop.ok(&["stage", "close", "as-found-survey"]);
    shop.fails(1, &["seal", "no-such-stage"]);
    let said = flat(&shop.ok(&["--as", "Ina Farrow", "seal", "as-found-survey"]));
    assert!(said.contains("Sealed as-found-survey"), "{said}");
    let said = flat(&shop.fails(1, &["seal", "as-found-survey"]));
    assert!(said.contains("nothing has changed since"), "{said}");
    assert!(flat(&shop.ok(&["stage", "list"])).contains("unchanged"));

    shop.ok(&[
        "note",
        "add",
        "Looked again: H is dry.",
        "--stage",
        "as-found-survey",
    ]);
    let said = flat(&shop.ok(&["seal", "list"]));
    assert!(said.contains("Ina Farrow"), "{said}");
    assert!(
        said.contains("The note «Looked again: H is dry.»"),
        "{said}"
    );
    let seal = &shop.json(&["seal", "list"])["seals"][0];
    assert_eq!(seal["standing"], "changed_since");
    assert!(flat(&shop.ok(&["stage", "list"])).contains("1 change"));
    assert!(flat(&shop.ok(&["job", "show"])).contains("1 change since"));

    let archive = path(&shop, "order.zip");
    shop.ok(&["export", &archive, "--for", "shop"]);
    let said = flat(&shop.ok(&["verify", &archive]));
    assert!(
        said.contains("is whole") && said.contains("Signed as a whole by"),
        "{said}"
    );
    assert!(said.contains("1 change was made since"), "{said}");

    // Another shop carries on.
    let there = Shop::new();
    let said = flat(&there.ok(&["open", &archive]));
    assert!(said.contains("2 taken in"), "{said}");
    let said = flat(&there.ok(&["job", "show"]));
    assert!(said.contains("7 readings, 2 photos, 2 notes"), "{said}");
    assert_eq!(
        there.json(&["seal", "list"])["seals"][0]["standing"],
        "changed_since"
    );
    let photo = &there.json(&["photo", "list"])["photos"][0];
    let saved = path(&there, "original.jpg");
    there.ok(&["photo", "save", &last_digits(&photo["id"]), &saved]);
    let bytes = std::fs::read(&saved).expect("the original");
    assert!(bytes == picture(1) || bytes == picture(2));

    // Both write on; nothing of either is lost.
    there.ok(&[
        "note",
        "add",
        "Written there.",
        "--stage",
        "as-found-survey",
    ]);
    let back = path(&there, "back.zip");
    there.ok(&["export", &back]);
    shop.ok(&["note", "add", "Written here.", "--stage", "as-found-survey"]);
    let said = flat(&shop.ok(&["open", &back]));
    assert!(said.contains("Merged the archive"), "{said}");
    let notes = shop.ok(&["note", "list"]);
    assert!(
        notes.contains("Written there.") && notes.contains("Written here."),
        "{notes}"
    );
    let said = flat(&shop.ok(&["open", &back]));
    assert!(said.contains("brings nothing new"), "{said}");
}

#[test]
fn a_copy_for_the_owner_leaves_out_and_says_what() {
    let shop = shop();
    let note = shop.json(&["note", "add", SECRET, "--internal"]);
    let photo = last_digits(&shop.json(&["photo", "list"])["photos"][0]["id"]);
    let said = flat(&shop.ok(&[
        "note",
        "support",
        &last_digits(&note["id"]),
        "--operation",
        "replace",
        "--part",
        "rail end",
        "--reason",
        "folded",
        "--photo",
        &photo,
    ]));
    assert!(said.contains("for the shop alone"), "{said}");
    let open = shop.json(&["note", "list"])["notes"][0]["id"].clone();
    shop.ok(&[
        "note",
        "support",
        &last_digits(&open),
        "--operation",
        "align",
        "--part",
        "rail",
        "--reason",
        "=it is 7.4 mm off",
    ]);
    assert!(flat(&shop.ok(&["note", "supports"])).contains("align: rail"));
    shop.ok(&["stage", "close", "as-found-survey"]);
    shop.ok(&["seal", "as-found-survey"]);

    let said = flat(&shop.ok(&["export", &path(&shop, "record")]));
    assert!(said.contains("1 note for the shop alone"), "{said}");
    let said = flat(&shop.ok(&["export", &path(&shop, "owner"), "--for", "owner"]));
    assert!(
        said.contains("Left out") && said.contains("(1 note)"),
        "{said}"
    );
    for (name, whole) in [("record", true), ("owner", false)] {
        let data = shop.dir.path().join(name).join("data");
        let read = |file: &str| std::fs::read_to_string(data.join(file)).expect(file);
        for file in ["job.json", "timeline.html", "estimate-notes.csv"] {
            assert_eq!(read(file).contains(SECRET), whole, "{name}/{file}");
        }
        assert!(read("estimate-notes.csv").contains(",'=it is 7.4 mm off,"));
        assert!(read("README.txt").contains("Left out of it:"), "{name}");
        shop.ok(&["verify", &path(&shop, name)]);
    }
    // The seal covers the note, so the owner's copy can't have it, and says so.
    let owner: Value = serde_json::from_str(
        &std::fs::read_to_string(shop.dir.path().join("owner/data/job.json")).expect("job.json"),
    )
    .expect("JSON");
    assert_eq!(owner["seals"].as_array().map(Vec::len), Some(0));
    assert_eq!(owner["copy"]["seals"][0]["stage"], "as-found-survey");
    let said = flat(&Shop::new().fails(1, &["open", &path(&shop, "owner")]));
    assert!(said.contains("copy for the owner"), "{said}");
    shop.fails(
        1,
        &[
            "export",
            &path(&shop, "x.zip"),
            "--for",
            "owner",
            "--with-location",
        ],
    );
}

#[test]
fn a_damaged_archive_is_named_and_taken_only_when_asked() {
    let shop = shop();
    let archive = path(&shop, "order");
    shop.ok(&["export", &archive, "--for", "shop"]);
    let photos = shop.dir.path().join("order/data/photos/02-as-found-survey");
    let one = std::fs::read_dir(&photos)
        .expect("photos")
        .next()
        .expect("one");
    let one = one.expect("a photo").path();
    let mut bytes = std::fs::read(&one).expect("bytes");
    let last = bytes.len() - 1;
    bytes[last] ^= 1;
    std::fs::write(&one, bytes).expect("written");
    let verified = Command::new(program())
        .args(["verify", &archive])
        .output()
        .expect("it runs");
    assert_eq!(verified.status.code(), Some(3));
    let name = one
        .file_name()
        .expect("a name")
        .to_string_lossy()
        .into_owned();
    assert!(flat(&String::from_utf8_lossy(&verified.stdout)).contains(&name));

    let there = Shop::new();
    let said = flat(&there.fails(3, &["open", &archive]));
    assert!(said.contains("--damaged"), "{said}");
    let opened = there.json(&["open", &archive, "--damaged"]);
    assert_eq!(opened["originals"], 1);
    assert_eq!(opened["missing"].as_array().map(Vec::len), Some(1));
    // The whole one mends it.
    let whole = path(&shop, "whole.zip");
    shop.ok(&["export", &whole, "--for", "shop"]);
    let opened = there.json(&["open", &whole]);
    assert_eq!(
        (&opened["originals"], &opened["already"]),
        (&1.into(), &1.into())
    );
}
