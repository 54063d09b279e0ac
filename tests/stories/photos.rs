//! Photos from several cameras with clocks that are wrong, through the real program.

use std::process::Stdio;

use datumtrail_photo::timecode::TimeCode;
use datumtrail_photo::write::{ExifFields, with_exif};
use datumtrail_tests::{Shop, flat};
use jiff::Timestamp;
use jiff::tz::TimeZone;
use serde_json::Value;

/// A picture: stripes that differ from seed to seed, so that no two look alike.
fn pixels(seed: u32, width: u32, height: u32) -> Vec<u8> {
    let mut grey = Vec::new();
    for y in 0..height {
        for x in 0..width {
            let cell = (x * 8 / width) * 31 + (y * 8 / height) * 17 + seed * 101;
            let shade = (cell.wrapping_mul(2_654_435_761) >> 16) & 0xff;
            grey.push(u8::try_from(shade).unwrap_or(0));
        }
    }
    grey
}

fn encoded(grey: &[u8], width: u32, height: u32, quality: u8) -> Vec<u8> {
    let mut bytes = Vec::new();
    let size = |n: u32| u16::try_from(n).expect("a small picture");
    jpeg_encoder::Encoder::new(&mut bytes, quality)
        .encode(
            grey,
            size(width),
            size(height),
            jpeg_encoder::ColorType::Luma,
        )
        .expect("a picture");
    bytes
}

fn fields(time: &str) -> ExifFields {
    ExifFields {
        date_time_original: Some(time.parse().expect("a time")),
        make: Some("Invented".into()),
        model: Some("Pocket".into()),
        ..Default::default()
    }
}

fn photo(seed: u32, fields: &ExifFields) -> Vec<u8> {
    with_exif(&encoded(&pixels(seed, 640, 480), 640, 480, 88), fields).expect("Exif")
}

/// A photo of a screen that shows a time code, leaning a little.
fn of_a_code(code: &TimeCode, fields: &ExifFields) -> Vec<u8> {
    let (width, height, scale) = (1600_u32, 1200_u32, 14.0);
    let modules = code.modules();
    let side = modules.side() as f64;
    let (sin, cos) = 0.12_f64.sin_cos();
    let mut grey = Vec::new();
    for y in 0..height {
        for x in 0..width {
            let (dx, dy) = (f64::from(x) - 800.0, f64::from(y) - 600.0);
            let (u, v) = (cos * dx + sin * dy, cos * dy - sin * dx);
            let (column, row) = (u / scale + side / 2.0, v / scale + side / 2.0);
            let inside = column >= 0.0 && row >= 0.0 && column < side && row < side;
            let screen = column > -6.0 && row > -6.0 && column < side + 6.0 && row < side + 6.0;
            let dark = inside && modules.is_dark(column as usize, row as usize);
            grey.push(match (dark, screen) {
                (true, _) => 25,
                (false, true) => 235,
                (false, false) => 90,
            });
        }
    }
    with_exif(&encoded(&grey, width, height, 85), fields).expect("Exif")
}

fn shop() -> Shop {
    let shop = Shop::with_job();
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
    shop
}

fn photos(shop: &Shop) -> Vec<Value> {
    shop.json(&["photo", "list"])["photos"]
        .as_array()
        .expect("photos")
        .clone()
}

fn named(shop: &Shop, name: &str) -> Value {
    let found = photos(shop).into_iter().find(|p| p["name"] == name);
    found.unwrap_or_else(|| panic!("no {name}"))
}

#[test]
fn a_photographed_code_sets_the_clock_of_every_photo_of_that_camera() {
    let shop = shop();
    // The camera is 1 h 40 min slow: 08:30 by its clock was ten past ten.
    let file = shop.file("P1.JPG", photo(1, &fields("2026-03-04T08:30:00")));
    shop.ok(&["photo", "add", &file]);
    assert_eq!(named(&shop, "P1.JPG")["stage"], "arrival");

    let shown: Timestamp = "2026-03-04T10:20:00Z".parse().unwrap();
    let code = of_a_code(&TimeCode::showing(shown), &fields("2026-03-04T08:40:00"));
    let file = shop.file("P2.JPG", code);
    let said = flat(&shop.ok(&["photo", "add", &file]));
    assert!(
        said.contains("clock is 1h 40m") && said.contains("slow"),
        "{said}"
    );
    let first = named(&shop, "P1.JPG");
    assert_eq!(first["stage"], "as-found-survey", "tied anew by itself");
    assert_eq!(
        first["taken_exif"], "2026-03-04T08:30:00",
        "the file's own time stays"
    );
    let taken: Timestamp = first["taken"].as_str().unwrap().parse().unwrap();
    let due: Timestamp = "2026-03-04T10:10:00Z".parse().unwrap();
    let off = taken.duration_since(due).as_secs_f64();
    assert!(off.abs() < 1.0, "{off} s");
    assert!(first["taken_u_s"].as_f64().unwrap() < 5.0);
    // The photo is kept as the evidence of it.
    assert_eq!(named(&shop, "P2.JPG")["stage"], "as-found-survey");
    // A person's decision stays whatever the clock says.
    shop.ok(&["photo", "tie", first["id"].as_str().unwrap(), "arrival"]);
    shop.ok(&["photo", "clock", "Pocket", "--offset", "1h39m"]);
    assert_eq!(named(&shop, "P1.JPG")["stage"], "arrival");
}

#[test]
fn review_asks_only_about_the_doubtful_ones() {
    let shop = shop();
    for (name, seed, time) in [
        ("sure.jpg", 1, "2026-03-04T08:30:00"),
        ("border.jpg", 2, "2026-03-04T09:01:00"),
        ("before.jpg", 3, "2026-03-04T06:00:00"),
    ] {
        let file = shop.file(name, photo(seed, &fields(time)));
        shop.ok(&["photo", "add", &file]);
    }
    let doubtful = shop.json(&["photo", "review"]);
    assert_eq!(doubtful["photos"].as_array().unwrap().len(), 2);
    let mut asked = shop
        .command(&["photo", "review"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("the program runs");
    use std::io::Write;
    // A stage by number, a wrong word, a stage by name.
    let mut answers = asked.stdin.take().unwrap();
    answers
        .write_all(b"1\nnonsense\nas-found-survey\n")
        .unwrap();
    drop(answers);
    let out = asked.wait_with_output().expect("an end");
    let said = String::from_utf8_lossy(&out.stdout).into_owned();
    assert!(
        out.status.success() && said.contains("no stage «nonsense»"),
        "{said}"
    );
    assert_eq!(
        shop.json(&["photo", "review"])["photos"],
        serde_json::json!([])
    );
    assert_eq!(named(&shop, "sure.jpg")["stage"], "arrival");
    assert_eq!(named(&shop, "before.jpg")["stage"], "as-found-survey");
}

#[test]
fn the_same_shot_from_a_messenger_is_offered_as_a_copy() {
    let shop = shop();
    let original = photo(7, &fields("2026-03-04T08:30:00"));
    let file = shop.file("IMG_7.JPG", &original);
    let same = shop.file("again.jpg", &original);
    let sent = shop.file("sent.jpg", encoded(&pixels(7, 320, 240), 320, 240, 60));
    let other = shop.file("other.jpg", photo(8, &fields("2026-03-04T08:31:00")));
    shop.ok(&["photo", "add", &file, &same, &sent, &other]);
    let all = photos(&shop);
    assert_eq!(all.len(), 3, "the same bytes are one photo");
    let first = named(&shop, "IMG_7.JPG")["id"].clone();
    assert_eq!(named(&shop, "sent.jpg")["same_shot_as"], first);
    assert!(named(&shop, "other.jpg")["same_shot_as"].is_null());
    assert!(
        named(&shop, "IMG_7.JPG")["same_shot_as"].is_null(),
        "the original wins"
    );
}

#[test]
fn a_watched_folder_gives_each_file_once_and_reports_what_it_cannot_read() {
    let shop = shop();
    let inbox = shop.dir.path().join("inbox");
    std::fs::create_dir(&inbox).unwrap();
    std::fs::write(
        inbox.join("a.jpg"),
        photo(1, &fields("2026-03-04T08:30:00")),
    )
    .unwrap();
    std::fs::write(
        inbox.join("half.jpg"),
        &photo(2, &fields("2026-03-04T08:31:00"))[..900],
    )
    .unwrap();
    let watch = ["photo", "watch", inbox.to_str().unwrap(), "--once"];
    shop.run(&watch);
    assert_eq!(photos(&shop).len(), 1);
    // Started again: what is in stays in, what is new comes, under whatever name.
    std::fs::copy(inbox.join("a.jpg"), inbox.join("copy of a.jpg")).unwrap();
    std::fs::write(
        inbox.join("b.jpg"),
        photo(3, &fields("2026-03-04T08:32:00")),
    )
    .unwrap();
    shop.run(&watch);
    let names: Vec<Value> = photos(&shop).iter().map(|p| p["name"].clone()).collect();
    assert_eq!(names.len(), 2, "{names:?}");
    assert!(names.contains(&Value::from("b.jpg")));
    // Not a folder: said at once.
    let said = flat(&shop.fails(1, &["photo", "watch", "/nowhere/at/all", "--once"]));
    assert!(said.contains("can't be watched"), "{said}");
}

#[test]
fn what_leaves_the_shop_carries_no_position_and_no_covered_part() {
    let shop = shop();
    let mut with_position = fields("2026-03-04T08:30:00");
    with_position.gps = Some((12.5, 34.25));
    with_position.body_serial = Some("SN-4711-SECRET".into());
    let bytes = photo(1, &with_position);
    assert!(bytes.windows(14).any(|w| w == b"SN-4711-SECRET"));
    let file = shop.file("P1.JPG", &bytes);
    shop.ok(&["photo", "add", &file]);
    let id = named(&shop, "P1.JPG")["id"].as_str().unwrap().to_owned();
    let exported = |name: &str, more: &[&str]| -> (Value, Vec<u8>) {
        let out = shop.dir.path().join(name);
        let mut args = vec!["export", out.to_str().unwrap()];
        args.extend(more);
        shop.ok(&args);
        let verified = shop.json(&["verify", out.to_str().unwrap()]);
        assert_eq!(verified["findings"], serde_json::json!([]), "{verified}");
        let job: Value =
            serde_json::from_slice(&std::fs::read(out.join("data/job.json")).unwrap()).unwrap();
        let all = job.to_string();
        assert!(
            !all.contains("SN-4711"),
            "the serial number stays in the file"
        );
        let photo = job["photos"][0].clone();
        let copy = std::fs::read(out.join("data").join(photo["file"].as_str().unwrap())).unwrap();
        (photo, copy)
    };
    let (photo, copy) = exported("plain", &[]);
    let meta = datumtrail_photo::meta::read_meta_bytes(&copy).unwrap();
    assert!(!meta.has_gps && meta.camera.serial.is_none());
    assert!(meta.taken.is_some(), "the time stays");
    let differs = photo["copy"]["differs"].as_str().unwrap();
    assert!(differs.contains("position"), "{differs}");
    // The picture itself is untouched.
    let tail = |bytes: &[u8]| bytes[bytes.len() - 2000..].to_vec();
    assert_eq!(tail(&copy), tail(&bytes));

    let (_, copy) = exported("located", &["--with-location"]);
    let meta = datumtrail_photo::meta::read_meta_bytes(&copy).unwrap();
    assert!(meta.has_gps && meta.camera.serial.is_none());

    shop.ok(&["photo", "cover", &id, "0,0,640,480"]);
    let (photo, copy) = exported("covered", &[]);
    assert!(
        photo["copy"]["differs"]
            .as_str()
            .unwrap()
            .contains("covered")
    );
    assert!(
        copy.len() < bytes.len() / 2,
        "nothing is left of the picture: {}",
        copy.len()
    );
    // The original in the shop is what it was.
    let saved = shop.dir.path().join("saved.jpg");
    shop.ok(&["photo", "save", &id, saved.to_str().unwrap()]);
    assert_eq!(std::fs::read(&saved).unwrap(), bytes);
    for wrong in ["1,2,3", "0,0,0,5", "a,b,c,d"] {
        shop.fails(1, &["photo", "cover", &id, wrong]);
    }
}

#[test]
fn a_photo_taken_while_a_point_was_read_is_offered_as_its_picture() {
    let shop = shop();
    let sheet = "point,side,what,x,y,z\nA,left,a,0,-400,0\nA',right,a,0,400,0\nB,left,b,2000,-400,10\n\
                 B',right,b,2000,400,10\n";
    let sheet = shop.file("sheet.csv", sheet);
    shop.ok(&["sheet", "load", &sheet, "--source", "invented"]);
    let readings = "point,x,y,z,time\nA,0,-400,0,2026-03-04T09:30:00Z\nA',0,400,0,2026-03-04T09:32:00Z\n\
                    B,2000,-400,10,2026-03-04T09:34:00Z\nB',2000,400,10,2026-03-04T09:36:00Z\n";
    let readings = shop.file("readings.csv", readings);
    shop.ok(&[
        "survey",
        "add",
        &readings,
        "--stage",
        "as-found-survey",
        "--refs",
        "A,A',B,B'",
        "--u",
        "0.5",
    ]);
    let file = shop.file("P1.JPG", photo(1, &fields("2026-03-04T09:32:20")));
    shop.ok(&["photo", "add", &file]);
    let seen = named(&shop, "P1.JPG");
    assert_eq!(seen["at_readings"][0]["point"], "A'");
    assert_eq!(seen["at_readings"][0]["decided"], false);
    shop.ok(&["photo", "of", seen["id"].as_str().unwrap(), "B"]);
    let seen = named(&shop, "P1.JPG");
    assert_eq!(seen["at_readings"][0]["point"], "B");
    assert_eq!(seen["at_readings"][0]["decided"], true);
}

#[test]
fn the_hour_that_daylight_saving_repeats_is_not_guessed() {
    let shop = Shop::new();
    shop.ok(&["job", "new", "Order 1", "--zone", "Europe/Berlin"]);
    let zone = TimeZone::get("Europe/Berlin").unwrap();
    assert_eq!(zone.iana_name(), Some("Europe/Berlin"));
    shop.ok(&[
        "stage",
        "open",
        "arrival",
        "--at",
        "2025-10-26T02:10:00+02:00",
    ]);
    shop.ok(&[
        "stage",
        "close",
        "arrival",
        "--at",
        "2025-10-26T02:50:00+02:00",
    ]);
    shop.ok(&[
        "stage",
        "open",
        "as-found-survey",
        "--at",
        "2025-10-26T02:10:00+01:00",
    ]);
    shop.ok(&[
        "stage",
        "close",
        "as-found-survey",
        "--at",
        "2025-10-26T02:50:00+01:00",
    ]);
    let file = shop.file("P1.JPG", photo(1, &fields("2025-10-26T02:30:00")));
    shop.ok(&["photo", "add", &file]);
    let seen = named(&shop, "P1.JPG");
    assert!(seen["stage"].is_null(), "{seen}");
    assert!(seen["tie"].to_string().contains("ambiguous"), "{seen}");
}

#[test]
fn a_photo_on_one_device_is_said_to_be_on_one() {
    let shop = shop();
    let first = shop.file("a.jpg", photo(1, &fields("2026-03-04T08:30:00")));
    let second = shop.file("b.jpg", photo(2, &fields("2026-03-04T08:31:00")));
    shop.ok(&["photo", "add", &first, &second]);
    for seen in photos(&shop) {
        let devices = seen["on_devices"].as_array().expect("devices");
        assert_eq!(devices.len(), 1, "the receipt comes with the photo: {seen}");
        assert_eq!(devices[0], seen["by"], "and names the device that has it");
    }
    let screen = shop.ok(&["photo", "list"]);
    let heads: Vec<&str> = screen.lines().next().unwrap().split_whitespace().collect();
    let column = heads.iter().position(|head| *head == "on").expect("on");
    let row = screen.lines().find(|l| l.contains("a.jpg")).expect("a row");
    // Date and time stand in one column, so a row has a word more before it.
    let words: Vec<&str> = row.split_whitespace().collect();
    assert_eq!(words[column + 1], "1", "{screen}");
    assert!(
        flat(&screen).contains("All are on one device alone"),
        "{screen}"
    );
    for line in screen.lines() {
        assert!(line.chars().count() <= 80, "{line}");
    }
}

#[test]
fn the_satellites_time_contradicts_a_clock_and_moves_nothing() {
    let shop = shop();
    // By its clock, in the time zone that is assumed, an hour before the fix that it contains.
    let mut early = fields("2026-03-04T08:30:00");
    early.gps_time = Some("2026-03-04T09:29:50Z".parse().unwrap());
    let mut sound = fields("2026-03-04T08:40:00");
    sound.gps_time = Some("2026-03-04T08:39:30Z".parse().unwrap());
    let mut indoors = fields("2026-03-04T08:50:00");
    indoors.gps_time = Some("2026-03-04T07:10:00Z".parse().unwrap());
    let plain = fields("2026-03-04T08:55:00");
    let files: Vec<String> = [&early, &sound, &indoors, &plain]
        .iter()
        .zip(["early.jpg", "sound.jpg", "indoors.jpg", "plain.jpg"])
        .enumerate()
        .map(|(n, (fields, name))| shop.file(name, photo(n as u32 + 1, fields)))
        .collect();
    let mut args = vec!["photo", "add"];
    args.extend(files.iter().map(String::as_str));
    shop.ok(&args);
    let check = |name: &str| named(&shop, name)["gps_check"].clone();
    assert_eq!(check("early.jpg")["gps_check"], "before_fix");
    assert_eq!(check("early.jpg")["by_s"], 3590.0);
    assert_eq!(check("sound.jpg")["gps_check"], "confirmed");
    assert_eq!(check("indoors.jpg")["gps_check"], "after_fix");
    assert!(check("plain.jpg").is_null());
    // It ties by its own clock all the same.
    assert_eq!(named(&shop, "early.jpg")["stage"], "arrival");

    let doubtful = shop.json(&["photo", "review"])["photos"].clone();
    let names: Vec<&Value> = doubtful
        .as_array()
        .unwrap()
        .iter()
        .map(|p| &p["name"])
        .collect();
    assert_eq!(names, ["early.jpg"]);
    let mut asked = shop.command(&["photo", "review"]);
    let out = asked
        .stdin(Stdio::null())
        .output()
        .expect("the program runs");
    let said = flat(&String::from_utf8_lossy(&out.stdout));
    assert!(
        said.contains("satellites' time is 59m 50s later than its corrected time"),
        "{said}"
    );
    assert!(said.contains("with the offset -01 from UTC"), "{said}");
    assert!(
        flat(&shop.ok(&["photo", "list"])).contains("1 of 4 photos have a satellites' time"),
        "the list says so too"
    );
    // Once the clock is put right, nothing contradicts it.
    let said = flat(&shop.ok(&["photo", "clock", "Pocket", "--offset", "1h"]));
    assert!(
        said.contains("carry no serial number, so every camera called «Invented Pocket»"),
        "{said}"
    );
    assert_eq!(check("early.jpg")["gps_check"], "confirmed");
}
