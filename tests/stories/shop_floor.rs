//! A repair by hand, command by command: hold points, corrections, releases, withdrawals.

use datumtrail_tests::{Shop, flat};
use serde_json::Value;

const SHEET: &str = "point,side,what,x,y,z\nA,left,a,0,-400,0\nA',right,a,0,400,0\n\
                     B,left,b,2000,-400,10\nB',right,b,2000,400,10\nC,left,c,1000,-600,0\n\
                     C',right,c,1000,600,0\nH,left,h,2900,-450,200\nJ,left,j,3100,-450,210\n";
const REFS: &str = "A,A',B,B',C,C'";

fn readings(h: f64, j: f64) -> String {
    format!(
        "point,x,y,z\nA,0,-400,0\nA',0,400,0\nB,2000,-400,10\nB',2000,400,10\nC,1000,-600,0\n\
         C',1000,600,0\nH,{},-450,200\nJ,{},-450,210\n",
        2900.0 + h,
        3100.0 + j
    )
}

fn shop() -> Shop {
    let shop = Shop::with_job();
    shop.load_sheet(SHEET);
    shop.ok(&["part", "set", "rail end", "--points", "H,J"]);
    shop
}

fn add_survey(shop: &Shop, stage: &str, h: f64, j: f64) {
    let file = shop.file("readings.csv", readings(h, j));
    shop.ok(&[
        "survey", "add", &file, "--stage", stage, "--refs", REFS, "--u", "0.4",
    ]);
}

fn hold(shop: &Shop, name: &str) -> Value {
    let all = shop.json(&["hold", "list"]);
    let holds = all["holds"].as_array().expect("holds");
    holds
        .iter()
        .find(|h| h["name"] == name)
        .expect("the hold point")
        .clone()
}

#[test]
fn only_evidence_opens_the_hold_before_welding() {
    let shop = shop();
    shop.ok(&["stage", "open", "fit-survey"]);
    add_survey(&shop, "fit-survey", 7.4, 7.4);
    let said = flat(&shop.fails(1, &["stage", "open", "hidden-welds"]));
    assert!(
        said.contains("Point H, length: 7.4 mm away, and 3 mm are allowed"),
        "{said}"
    );
    assert!(said.contains("photos of the test welds"), "{said}");
    // Nothing was opened.
    let stages = shop.json(&["stage", "list"]);
    let welds = stages["stages"]
        .as_array()
        .unwrap()
        .iter()
        .find(|s| s["name"] == "hidden-welds")
        .unwrap();
    assert_eq!(welds["state"], "not_yet");
    // A stage behind the one that the hold stands before is shut as well.
    shop.fails(1, &["stage", "open", "closing-panel"]);

    let moved = shop.json(&["move"]);
    assert!((moved["translation_mm"][0].as_f64().unwrap() + 7.4).abs() < 0.01);

    add_survey(&shop, "fit-survey", 0.3, 0.3);
    let need = &hold(&shop, "structural-welding")["needs"][0];
    assert_eq!(need["met"], true, "{need}");
    assert_eq!(hold(&shop, "structural-welding")["state"], "closed");
    shop.ok(&[
        "note",
        "add",
        "Coupons of the same sheet peel well.",
        "--stage",
        "test-welds",
    ]);
    let (a, b) = (picture(&shop, "a.jpg", 10), picture(&shop, "b.jpg", 20));
    shop.ok(&["photo", "add", &a, &b, "--stage", "test-welds"]);
    assert_eq!(
        hold(&shop, "structural-welding")["state"],
        "open_by_evidence"
    );
    shop.ok(&["stage", "open", "hidden-welds"]);

    // The next hold asks for photos of what the panel will hide.
    let said = flat(&shop.fails(1, &["stage", "open", "closing-panel"]));
    assert!(
        said.contains("photos of the welds that the panel will hide"),
        "{said}"
    );
    assert!(said.contains("0 photos are there"), "{said}");
}

#[test]
fn a_release_needs_a_name_and_a_reason_and_stays() {
    let shop = shop();
    shop.fails(2, &["hold", "release", "closing", "--name", "Ina Farrow"]);
    shop.fails(
        1,
        &["hold", "release", "closing", "--name", " ", "--reason", "x"],
    );
    shop.fails(
        1,
        &[
            "hold",
            "release",
            "closing",
            "--name",
            "Ina Farrow",
            "--reason",
            "",
        ],
    );
    shop.ok(&[
        "hold",
        "release",
        "closing",
        "--name",
        "Ina Farrow",
        "--reason",
        "camera broke",
    ]);
    let closing = hold(&shop, "closing");
    assert_eq!(closing["state"], "open_by_release");
    assert_eq!(closing["releases"][0]["name"], "Ina Farrow");
    assert_eq!(closing["releases"][0]["reason"], "camera broke");
    assert!(
        closing["releases"][0]["missing"][0]
            .as_str()
            .unwrap()
            .contains("photos")
    );
    let id = closing["releases"][0]["id"].as_str().unwrap();
    shop.fails(1, &["withdraw", id, "--reason", "never mind"]);
    assert_eq!(hold(&shop, "closing")["state"], "open_by_release");
}

#[test]
fn a_correction_replaces_and_a_withdrawal_removes_without_losing_anything() {
    let shop = shop();
    add_survey(&shop, "as-found-survey", 0.0, 30.0);
    let said = shop.fails(1, &["survey", "point", "J", "3100", "-450", "210"]);
    assert!(flat(&said).contains("already has a reading"), "{said}");
    shop.ok(&["survey", "point", "J", "3100", "-450", "210", "--correct"]);
    let check = shop.json(&["check"]);
    let j = check["points"]
        .as_array()
        .unwrap()
        .iter()
        .find(|p| p["point"] == "J")
        .unwrap();
    assert!(j["length"]["deviation_mm"].as_f64().unwrap().abs() < 1e-9);
    let all = shop.json(&["survey", "show"]);
    let of_j: Vec<&Value> = all["readings"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|r| r["point"] == "J")
        .collect();
    assert_eq!(of_j.len(), 2);
    assert!((of_j[0]["x"].as_f64().unwrap() - 3130.0).abs() < 1e-9);
    assert_eq!(of_j[0]["replaced_by"], of_j[1]["id"]);

    // The correction withdrawn, the first reading counts again.
    shop.ok(&[
        "withdraw",
        of_j[1]["id"].as_str().unwrap(),
        "--reason",
        "typed wrongly",
    ]);
    let check = shop.json(&["check"]);
    let j = check["points"]
        .as_array()
        .unwrap()
        .iter()
        .find(|p| p["point"] == "J")
        .unwrap();
    assert!((j["length"]["deviation_mm"].as_f64().unwrap() - 30.0).abs() < 1e-9);
}

#[test]
fn every_record_says_who_and_when() {
    let shop = shop();
    shop.ok(&[
        "--as",
        "Ina Farrow",
        "note",
        "add",
        "Arrived on a trailer.",
        "--stage",
        "arrival",
    ]);
    let note = &shop.json(&["note", "list"])["notes"][0];
    assert_eq!(note["person"], "Ina Farrow");
    assert_eq!(note["by"].as_str().map(str::len), Some(64));
    let at: jiff::Timestamp = note["at"].as_str().unwrap().parse().unwrap();
    assert!(at.duration_until(jiff::Timestamp::now()).as_secs() < 60);
    assert!(note["at"].as_str().unwrap().ends_with("+00:00"));
}

#[test]
fn photos_fall_into_stages_by_their_times_once_the_clock_is_known() {
    let shop = shop();
    for (stage, from, to) in [
        ("arrival", "2026-03-04T08:00:00", "2026-03-04T09:00:00"),
        (
            "as-found-survey",
            "2026-03-04T09:00:00",
            "2026-03-04T11:00:00",
        ),
    ] {
        shop.ok(&["stage", "open", stage, "--at", from]);
        shop.ok(&["stage", "close", stage, "--at", to]);
    }
    // The camera is 1 h 40 min slow: it says 08:30 at ten past ten.
    let file = dated(&shop, "P1.JPG", "2026-03-04T08:30:00");
    shop.ok(&["photo", "add", &file]);
    let stage = |shop: &Shop| shop.json(&["photo", "list"])["photos"][0]["stage"].clone();
    assert_eq!(stage(&shop), "arrival");
    let id = shop.json(&["photo", "list"])["photos"][0]["id"]
        .as_str()
        .unwrap()
        .to_owned();
    shop.ok(&[
        "photo",
        "clock",
        "Pocket",
        "--photo",
        &id,
        "--was",
        "2026-03-04T10:10:00",
    ]);
    assert_eq!(stage(&shop), "as-found-survey");
    let photo = &shop.json(&["photo", "list"])["photos"][0];
    assert_eq!(photo["taken_exif"], "2026-03-04T08:30:00");
    assert_eq!(photo["taken"], "2026-03-04T10:10:00+00:00");
    // A person's word wins over every clock.
    shop.ok(&["photo", "tie", &id, "strip-down"]);
    assert_eq!(stage(&shop), "strip-down");
}

#[test]
fn a_photo_comes_back_to_the_byte() {
    let shop = shop();
    let file = picture(&shop, "a.jpg", 77);
    shop.ok(&["photo", "add", &file]);
    let id = shop.json(&["photo", "list"])["photos"][0]["id"]
        .as_str()
        .unwrap()
        .to_owned();
    let out = shop.dir.path().join("out.jpg");
    shop.ok(&["photo", "save", &id, out.to_str().unwrap()]);
    assert_eq!(std::fs::read(&out).unwrap(), std::fs::read(&file).unwrap());
    // Never over something that is there.
    shop.fails(1, &["photo", "save", &id, out.to_str().unwrap()]);
}

fn jpeg(shade: u8) -> Vec<u8> {
    let mut bytes = Vec::new();
    jpeg_encoder::Encoder::new(&mut bytes, 85)
        .encode(
            &vec![shade; 96 * 64 * 3],
            96,
            64,
            jpeg_encoder::ColorType::Rgb,
        )
        .expect("a picture");
    bytes
}

fn picture(shop: &Shop, name: &str, shade: u8) -> String {
    shop.file(name, jpeg(shade))
}

fn dated(shop: &Shop, name: &str, time: &str) -> String {
    let fields = datumtrail_photo::write::ExifFields {
        date_time_original: Some(time.parse().expect("a time")),
        make: Some("Invented".into()),
        model: Some("Pocket".into()),
        ..Default::default()
    };
    let bytes = datumtrail_photo::write::with_exif(&jpeg(50), &fields).expect("Exif");
    shop.file(name, bytes)
}
