//! Bad input: a clear error with what to do, the right exit code, and nothing half-applied.

use datumtrail_tests::{Shop, flat};

const SHEET: &str = "point,side,what,x,y,z\nA,left,a,0,-400,0\nA',right,a,0,400,0\n\
                     B,left,b,2000,-400,10\nB',right,b,2000,400,10\nH,left,h,2900,-450,200\n";

fn with_sheet() -> Shop {
    let shop = Shop::with_job();
    shop.load_sheet(SHEET);
    shop
}

#[test]
fn sheets_that_are_wrong_name_line_and_column_and_load_nothing() {
    let cases: [(&str, &[u8], &str); 8] = [
        (
            "twice.csv",
            b"point,x,y,z\nA,0,-400,0\nA,1,-400,0\n",
            "line 3",
        ),
        (
            "number.csv",
            b"point,x,y,z\nA,0,-4oo,0\n",
            "line 2, column 3 (y)",
        ),
        (
            "nan.csv",
            b"point,x,y,z\nA,0,NaN,0\n",
            "line 2, column 3 (y)",
        ),
        (
            "inf.csv",
            b"point,x,y,z\nA,inf,1,0\n",
            "line 2, column 2 (x)",
        ),
        ("empty.csv", b"", "empty"),
        (
            "binary.csv",
            b"point,x,y,z\n\0\xff\xfe,1,2,3\n",
            "binary.csv",
        ),
        ("head.csv", b"point,x,y\nA,1,2\n", "z"),
        ("short.csv", b"point,x,y,z\nA,1,2\n", "line 2"),
    ];
    for (name, content, expected) in cases {
        let shop = Shop::with_job();
        let file = shop.file(name, content);
        let said = flat(&shop.fails(1, &["sheet", "load", &file, "--source", "invented"]));
        assert!(said.contains(expected), "{name}: {said}");
        assert!(said.contains("What to do:"), "{name}: {said}");
        let said = flat(&shop.fails(1, &["sheet", "show"]));
        assert!(said.contains("no dimension sheet yet"), "{name}: {said}");
    }
}

#[test]
fn a_limit_without_a_source_is_refused() {
    let shop = Shop::with_job();
    let file = shop.file("sheet.csv", SHEET);
    let said = flat(&shop.fails(
        1,
        &["sheet", "load", &file, "--source", "x", "--limit", "3"],
    ));
    assert!(said.contains("source"), "{said}");
}

#[test]
fn reference_points_that_fix_nothing_are_refused() {
    let shop = with_sheet();
    let readings = shop.file(
        "readings.csv",
        "point,x,y,z\nA,0,-400,0\nA',0,400,0\nB,2000,-400,10\nB',2000,400,10\nH,2900,-450,200\n",
    );
    let add = |refs: &str| {
        let args = [
            "survey",
            "add",
            &readings,
            "--stage",
            "as-found-survey",
            "--refs",
            refs,
            "--u",
            "0.3",
        ];
        flat(&shop.fails(1, &args))
    };
    assert!(add("A,A'").contains("2 reference points"));
    assert!(add("A,A',Q").contains("Q"));
    // In one line: A, B and a third between them.
    let line = shop.file(
        "line.csv",
        "point,side,what,x,y,z\nA,left,a,0,-400,0\nC,left,c,1000,-400,5\n\
                                      B,left,b,2000,-400,10\nH,left,h,2900,-450,200\n",
    );
    shop.ok(&["sheet", "load", &line, "--source", "invented"]);
    let on_line = shop.file(
        "on-line.csv",
        "point,x,y,z\nA,0,-400,0\nC,1000,-400,5\nB,2000,-400,10\n",
    );
    let said = flat(&shop.fails(
        1,
        &[
            "survey",
            "add",
            &on_line,
            "--stage",
            "as-found-survey",
            "--refs",
            "A,B,C",
            "--u",
            "0.3",
        ],
    ));
    assert!(said.contains("line"), "{said}");
    assert_eq!(
        shop.json(&["survey", "list"])["surveys"]
            .as_array()
            .map(Vec::len),
        Some(0)
    );
}

#[test]
fn unknown_names_are_said_with_what_there_is() {
    let shop = with_sheet();
    for (args, expected) in [
        (vec!["stage", "open", "welding"], "hidden-welds"),
        (
            vec!["hold", "release", "welding", "--name", "N", "--reason", "R"],
            "structural-welding",
        ),
        (vec!["--job", "nothing", "job", "show"], "job list"),
        (vec!["photo", "clock", "X", "--offset", "1h"], "no photos"),
        (vec!["part", "set", "p", "--points", "Z9"], "Z9"),
        (vec!["photo", "tie", "abcd1234", "arrival"], "identities"),
    ] {
        let said = flat(&shop.fails(1, &args));
        assert!(said.contains(expected), "{args:?}: {said}");
    }
}

#[test]
fn usage_errors_exit_with_2_and_damage_with_3() {
    let shop = Shop::with_job();
    shop.fails(2, &["sheet", "load"]);
    shop.fails(2, &["survey", "point", "H", "1", "two", "3"]);
    std::fs::write(shop.folder().join("shop.toml"), "format = [").unwrap();
    let said = shop.fails(3, &["job", "list"]);
    assert!(said.contains("shop.toml"), "{said}");
}

#[test]
fn json_errors_are_json() {
    let shop = Shop::new();
    let said = shop.fails(1, &["--json", "job", "show"]);
    let value: serde_json::Value = serde_json::from_str(said.trim()).unwrap();
    assert_eq!(value["error"]["code"], "invalid");
    assert!(value["error"]["todo"].as_str().unwrap().contains("job new"));
}

#[test]
fn photos_that_are_none_get_a_line_each_and_the_rest_go_in() {
    let shop = Shop::with_job();
    let mut jpeg = Vec::new();
    jpeg_encoder::Encoder::new(&mut jpeg, 80)
        .encode(&[90; 64 * 48 * 3], 64, 48, jpeg_encoder::ColorType::Rgb)
        .unwrap();
    shop.file("good.jpg", &jpeg);
    shop.file("cut.jpg", &jpeg[..jpeg.len() / 2]);
    shop.file("text.jpg", "not a picture at all");
    shop.file("nothing.jpg", "");
    let folder = shop.dir.path().join("in");
    std::fs::create_dir(&folder).unwrap();
    for name in ["good.jpg", "cut.jpg", "text.jpg", "nothing.jpg"] {
        std::fs::rename(shop.dir.path().join(name), folder.join(name)).unwrap();
    }
    let output = shop.run(&["--json", "photo", "add", folder.to_str().unwrap()]);
    assert_eq!(output.status.code(), Some(1));
    let value: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    let results: Vec<(&str, &str)> = value["photos"]
        .as_array()
        .unwrap()
        .iter()
        .map(|p| {
            (
                p["file"].as_str().unwrap().rsplit('/').next().unwrap(),
                p["result"].as_str().unwrap(),
            )
        })
        .collect();
    assert_eq!(
        results,
        [
            ("cut.jpg", "refused"),
            ("good.jpg", "added"),
            ("nothing.jpg", "refused"),
            ("text.jpg", "refused")
        ]
    );
    // The same once more is no new photo.
    let again = shop.json(&["photo", "add", folder.join("good.jpg").to_str().unwrap()]);
    assert_eq!(again["photos"][0]["result"], "already");
    assert_eq!(
        shop.json(&["photo", "list"])["photos"]
            .as_array()
            .map(Vec::len),
        Some(1)
    );
    // A photo without a time says so.
    assert_eq!(
        shop.json(&["photo", "list"])["photos"][0]["tie"]["tie"],
        "no_time"
    );
}

#[test]
fn a_shop_in_use_is_said_so() {
    let shop = Shop::with_job();
    let lock = std::fs::File::open(shop.folder().join("lock")).unwrap();
    lock.lock().unwrap();
    let said = flat(&shop.fails(1, &["job", "list"]));
    assert!(said.contains("in use"), "{said}");
}
