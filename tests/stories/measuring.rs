//! What a technician asks of a survey, through the real program: which reference point moved, what
//! was mistyped, what is damaged, where to push, and what came of it. On a sheet that a maker
//! printed, with known displacements.

use datumtrail_tests::published::{SHEET, csv, readings, seen_by_the_instrument, shop};
use datumtrail_tests::{Shop, number, point};
use serde_json::Value;

const REFS: &str = "A,A',B,B',G,G',B1,B1'";
const STAGE: &str = "as-found-survey";
const STILL: [f64; 3] = [0.0; 3];

type Readings = Vec<(String, [f64; 3])>;

/// Adds a survey on the usual reference points.
fn add(shop: &Shop, stage: &str, seen: Readings, more: &[&str]) -> Value {
    let file = shop.file("readings.csv", csv(seen));
    let mut args = vec!["survey", "add", &file, "--stage", stage, "--u", "0.5"];
    if !more.contains(&"--joins") {
        args.extend(["--refs", REFS]);
    }
    args.extend(more);
    shop.json(&args)
}

fn rail_back(name: &str) -> [f64; 3] {
    match name {
        "H" | "C" => [12.0, 0.0, 0.0],
        _ => STILL,
    }
}

/// Runs a command that the program proposed, word by word as it stands.
fn obey(shop: &Shop, proposed: &str) {
    let words = proposed.strip_prefix("datumtrail ").expect("our command");
    let mut args: Vec<String> = Vec::new();
    for (n, quoted) in words.split('"').enumerate() {
        if n % 2 == 1 {
            args.push(quoted.to_owned());
        } else {
            args.extend(quoted.split_whitespace().map(str::to_owned));
        }
    }
    let args: Vec<&str> = args.iter().map(String::as_str).collect();
    shop.ok(&args);
}

#[test]
fn a_moved_reference_point_is_named_and_left_out() {
    let shop = shop();
    let moved = |name: &str| if name == "G'" { [0.0, 8.0, 0.0] } else { STILL };
    add(&shop, STAGE, readings(moved), &[]);
    let check = shop.json(&["check"]);
    assert_eq!(check["setup"]["moved"], serde_json::json!(["G'"]));
    // Without it the set-up is exact, and the point itself is judged like any other.
    assert!((number(&point(&check, "G'")["width"]["deviation_mm"]) - 8.0).abs() < 1e-6);
    assert_eq!(point(&check, "G'")["width"]["verdict"], "outside");
    assert_eq!(point(&check, "A")["width"]["verdict"], "inside");
    // Taken as it is, the same point drags everything with it, and nothing may be called inside.
    let plain = shop.json(&["check", "--no-screen"]);
    assert_eq!(plain["setup"]["moved"], serde_json::json!([]));
    assert_eq!(plain["setup"]["doubtful"], true);
    assert!(number(&point(&plain, "A")["width"]["deviation_mm"]).abs() > 0.5);
    assert_eq!(point(&plain, "A")["width"]["verdict"], "too_close_to_call");
    // The instrument taken as worse than stated: an explicit choice, with wider uncertainties.
    let worse = shop.json(&["check", "--instrument-worse"]);
    let u = |check: &Value| number(&point(check, "H")["length"]["u_mm"]);
    assert!(u(&worse) > 2.0 * u(&plain));
}

#[test]
fn blunders_are_proposed_and_mended_by_the_command_that_stands_there() {
    let swap = |name: &str| match name {
        "A" => "B".to_owned(),
        "B" => "A".to_owned(),
        other => other.to_owned(),
    };
    let swapped: Readings = readings(|_| STILL)
        .into_iter()
        .map(|(name, at)| (swap(&name), at))
        .collect();
    let mut shifted = readings(|_| STILL);
    shifted[2].1[0] /= 10.0;
    let mirrored: Readings = readings(|_| STILL)
        .into_iter()
        .map(|(name, [x, y, z])| (name, [x, -y, z]))
        .collect();
    let sides: Readings = readings(|_| STILL)
        .into_iter()
        .map(|(name, at)| match name.strip_suffix('\'') {
            Some(left) => (left.to_owned(), at),
            None if name == "M" => (name, at),
            None => (format!("{name}'"), at),
        })
        .collect();
    for (seen, kind) in [
        (swapped, "labels_swapped"),
        (shifted, "decimal_shifted"),
        (mirrored, "axis_sign"),
        (sides, "sides_exchanged"),
    ] {
        let shop = shop();
        let added = add(&shop, STAGE, seen, &[]);
        let cannot_be_set_up = !added["suspicions"].as_array().unwrap().is_empty();
        let said = if cannot_be_set_up {
            let refused = datumtrail_tests::flat(&shop.fails(1, &["check"]));
            assert!(
                refused.contains("If so: datumtrail survey correct"),
                "{refused}"
            );
            added
        } else {
            // Nothing is mended before somebody says so.
            let check = shop.json(&["check"]);
            let mistaken = number(&check["setup"]["rms_mm"]) > 3.0
                || !check["setup"]["moved"].as_array().unwrap().is_empty();
            assert!(mistaken, "{kind}");
            check
        };
        let first = &said["suspicions"][0];
        assert_eq!(first["blunder"]["kind"], kind, "{said}");
        assert!(number(&first["rms_after_mm"]) < 3.0, "{first}");

        let before = shop.json(&["survey", "show"])["readings"]
            .as_array()
            .unwrap()
            .len();
        obey(&shop, first["command"].as_str().unwrap());
        let after = shop.json(&["check"]);
        assert_eq!(after["suspicions"], serde_json::json!([]), "{kind}");
        assert!(number(&after["setup"]["rms_mm"]) < 0.01, "{kind}");
        // The old readings stay, each with its correction and the reason.
        let shown = shop.json(&["survey", "show"]);
        let all = shown["readings"].as_array().unwrap();
        let corrected: Vec<_> = all
            .iter()
            .filter(|r| r["replaced_by"].is_string())
            .collect();
        assert_eq!(all.len(), before + corrected.len(), "{kind}");
        assert!(!corrected.is_empty(), "{kind}");
        let why = all.iter().filter(|r| r["why"].is_string()).count();
        assert_eq!(why, corrected.len(), "{kind}");
    }
}

#[test]
fn readings_that_cannot_be_set_up_are_kept_where_a_blunder_explains_it() {
    let shop = shop();
    // Inches, with the errors that every reading has.
    let inches: Readings = readings(|name| [0.3, -0.2, 0.1].map(|c| c * name.len() as f64))
        .into_iter()
        .map(|(name, at)| (name, at.map(|c| c / 25.4)))
        .collect();
    let added = add(&shop, STAGE, inches, &[]);
    let said = added["suspicions"].clone();
    let suspicion = match said.as_array().and_then(|all| all.first()) {
        Some(first) => first.clone(),
        None => shop.json(&["check"])["suspicions"][0].clone(),
    };
    assert_eq!(suspicion["blunder"]["kind"], "units", "{said}");
    obey(&shop, suspicion["command"].as_str().unwrap());
    assert!(number(&shop.json(&["check"])["setup"]["rms_mm"]) < 1.0);

    // Where nothing explains it, nothing is recorded.
    let shop = datumtrail_tests::published::shop();
    let few: Readings = readings(|_| STILL).into_iter().skip(14).collect();
    let file = shop.file("few.csv", csv(few));
    let said = datumtrail_tests::flat(&shop.fails(
        1,
        &[
            "survey", "add", &file, "--stage", STAGE, "--refs", REFS, "--u", "0.5",
        ],
    ));
    assert!(said.contains("reference point A has no reading"), "{said}");
    assert_eq!(
        shop.json(&["survey", "list"])["surveys"],
        serde_json::json!([])
    );
}

#[test]
fn the_sheet_of_another_vehicle_is_found_among_the_shops_jobs() {
    let shop = shop();
    // The second job got a wrong sheet: the same names, other places.
    shop.ok(&["job", "new", "Order 2", "--zone", "Etc/UTC"]);
    let text = std::fs::read_to_string(SHEET).unwrap();
    let wrong: String = text
        .lines()
        .enumerate()
        .map(|(n, line)| {
            let mut cells: Vec<String> = line.split(',').map(str::to_owned).collect();
            if n > 0 {
                let x: f64 = cells[3].parse().unwrap();
                let z: f64 = cells[5].parse().unwrap();
                cells[3] = format!("{}", x * 1.06);
                cells[5] = format!("{}", z + 0.02 * x);
            }
            cells.join(",") + "\n"
        })
        .collect();
    let file = shop.file("wrong.csv", wrong);
    shop.ok(&["sheet", "load", &file, "--source", "invented"]);
    add(&shop, STAGE, readings(|_| STILL), &[]);
    let check = shop.json(&["check"]);
    let other = check["suspicions"]
        .as_array()
        .unwrap()
        .iter()
        .find(|s| s["blunder"]["kind"] == "other_sheet")
        .unwrap_or_else(|| panic!("{}", check["suspicions"]));
    assert_eq!(other["blunder"]["sheet"], "Order 1");
    obey(&shop, other["command"].as_str().unwrap());
    assert!(number(&shop.json(&["check"])["setup"]["rms_mm"]) < 0.01);
}

#[test]
fn a_set_up_can_be_planned_before_anyone_measures() {
    let shop = shop();
    let four = shop.json(&["setup", "plan", "--refs", "A,A',G,G'", "--u", "0.5"]);
    let eight = shop.json(&["setup", "plan", "--refs", REFS, "--u", "0.5"]);
    let hides = |plan: &Value| number(&plan["hidden"]["smallest_detectable_mm"]);
    assert!(
        hides(&four) > hides(&eight),
        "more reference points hide less"
    );
    let coarse = shop.json(&["setup", "plan", "--refs", REFS, "--mpe", "6"]);
    assert_eq!(point(&coarse, "H")["height"]["can_decide"], false);
    assert_eq!(point(&eight, "H")["height"]["can_decide"], true);
    // What was promised is what a survey then has.
    add(&shop, STAGE, readings(|_| STILL), &[]);
    let check = shop.json(&["check"]);
    let (planned, had) = (point(&eight, "H"), point(&check, "H"));
    for axis in ["length", "width", "height"] {
        let (planned, had) = (number(&planned[axis]["u_mm"]), number(&had[axis]["u_mm"]));
        assert!((planned - had).abs() < 1e-6, "{axis}");
    }
    let said = shop.fails(1, &["setup", "plan", "--refs", "A,B", "--u", "0.5"]);
    assert!(said.contains("three points"), "{said}");
}

#[test]
fn damage_is_read_and_its_extent_told() {
    let shop = shop();
    add(
        &shop,
        STAGE,
        readings(rail_back),
        &["--build-spread", "0.5", "--build-spread-source", "invented"],
    );
    let damage = shop.json(&["damage"]);
    let front = &damage["zones"][0];
    assert_eq!(front["zone"], "front");
    assert_eq!(front["cause"]["scope"], "left");
    let named: Vec<_> = front["cause"]["kinds"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|k| k["named"] == true)
        .collect();
    assert_eq!(named.len(), 1, "one cause is named once: {front}");
    assert_eq!(named[0]["kind"], "mash");
    assert!((number(&named[0]["size_mm"]) - 12.0).abs() < 3.0 * number(&named[0]["u_mm"]));
    assert_eq!(damage["zones"][2]["finding"], "nothing_moved");
    assert_eq!(damage["layout_proposed"], true);

    // A person says what the rail is; then the sentence names it.
    for place in ["H", "C", "A", "G"] {
        shop.ok(&[
            "sheet",
            "layout",
            "--set",
            &format!(
                "{place}={}/left rail",
                if place == "G" { "centre" } else { "front" }
            ),
        ]);
    }
    let damage = shop.json(&["damage"]);
    assert_eq!(damage["layout_proposed"], false);
    let rail = damage["extent"]
        .as_array()
        .unwrap()
        .iter()
        .find(|e| e["member"] == "left rail" && e["direction"] == "forward")
        .expect("the rail");
    assert_eq!(rail["behind_stayed"], true);
    assert_eq!(rail["behind_is_inside"], true);
    let words = rail["words"].as_str().unwrap();
    assert!(words.contains("everything measured behind H"), "{words}");

    let unstated = datumtrail_tests::published::shop();
    let file = unstated.file("readings.csv", csv(readings(rail_back)));
    unstated.ok(&["survey", "add", &file, "--stage", STAGE, "--refs", REFS]);
    let said = unstated.fails(1, &["damage"]);
    assert!(said.contains("uncertainty"), "{said}");
}

#[test]
fn a_move_is_decided_and_held_against_the_next_survey() {
    let shop = shop();
    let bent = |name: &str| match name {
        "H" => [12.0, 1.0, -4.0],
        "C" => [12.0, 1.0, -2.0],
        _ => STILL,
    };
    add(&shop, STAGE, readings(bent), &[]);
    shop.ok(&["part", "set", "left rail", "--points", "H,C"]);
    let slide = shop.json(&["move", "--slide", "x"]);
    assert!((number(&slide["translation_mm"][0]) + 12.0).abs() < 0.01);
    assert_eq!(
        slide["possible"], false,
        "4 mm low is beyond 3 mm, and a slide leaves it"
    );
    let why = slide["why_not"].to_string();
    assert!(why.contains('H') && why.contains("low"), "{why}");
    // Along the line through two points, as a vector, and with a turn.
    let along = shop.json(&["move", "--slide", "G,A"]);
    let vector = shop.json(&["move", "--slide", "-677,-33.5,64"]);
    for k in 0..3 {
        let (a, b) = (
            number(&along["translation_mm"][k]),
            number(&vector["translation_mm"][k]),
        );
        assert!((a - b).abs() < 1e-6, "A lies at (-677, -33.5, 64) from G");
    }
    let turned = shop.json(&["move", "--slide", "x", "--turn", "y"]);
    let rms = |m: &Value| -> f64 {
        let points = m["points"].as_array().unwrap();
        let squares = points
            .iter()
            .flat_map(|p| p["expected_mm"].as_array().unwrap());
        squares.map(|c| number(c).powi(2)).sum()
    };
    assert!(rms(&turned) < rms(&slide), "one freedom more");
    shop.fails(1, &["move", "--slide", "sideways"]);
    shop.fails(2, &["move", "--turn", "y"]);
    shop.fails(1, &["move", "--achieved"]);

    let decided = shop.json(&["move", "--decide"]);
    assert!(decided["decided"].is_string());
    let after = |name: &str| match name {
        "H" => [3.0, 0.0, 0.0],
        "C" => [3.0, 0.0, 0.0],
        _ => STILL,
    };
    add(&shop, "fit-survey", readings(after), &[]);
    let achieved = shop.json(&["move", "--achieved"]);
    let h = point(&achieved, "H");
    assert!((number(&h["made_mm"][0]) + 9.0).abs() < 0.01);
    assert!((number(&h["made_mm"][2]) - 4.0).abs() < 0.01);
    assert_eq!(h["as_predicted"][0], false, "3 mm short at u = 0.5 mm");
    assert_eq!(h["as_predicted"][1], true);
    let said = datumtrail_tests::flat(&shop.ok(&["check"]));
    assert!(
        said.contains("3.0 mm too far rearward against the prediction"),
        "{said}"
    );
}

#[test]
fn what_moved_between_two_surveys_does_not_depend_on_the_sheet() {
    let shop = shop();
    // Both surveys have a point that is not where the sheet says: it has not moved.
    let found = |name: &str| {
        if name == "J" {
            [0.0, 9.0, 0.0]
        } else {
            rail_back(name)
        }
    };
    let last = |name: &str| if name == "J" { [0.0, 9.0, 0.0] } else { STILL };
    add(&shop, STAGE, readings(found), &[]);
    add(&shop, "final-survey", readings(last), &[]);
    let compared = shop.json(&["compare", STAGE, "final-survey"]);
    assert_eq!(point(&compared, "J")["movement"], "not_seen_to_move");
    assert_eq!(point(&compared, "H")["movement"], "moved");
    assert!((number(&point(&compared, "H")["moved_mm"][0]) + 12.0).abs() < 1e-6);
    let back = shop.json(&["compare", "final-survey", STAGE]);
    assert!((number(&point(&back, "H")["moved_mm"][0]) - 12.0).abs() < 1e-6);
    let said = shop.fails(1, &["compare", STAGE, STAGE]);
    assert!(said.contains("same survey"), "{said}");
}

#[test]
fn set_ups_are_joined_repeats_averaged_and_temperature_corrected() {
    let shop = shop();
    // The first set-up sees everything but the rear end; the second stands elsewhere and sees it.
    let rear = ["J", "J'", "L", "L'"];
    let shared = ["D", "D'", "B", "B'", "B1"];
    let first: Readings = readings(|_| STILL)
        .into_iter()
        .filter(|(name, _)| !rear.contains(&name.as_str()))
        .collect();
    let second: Readings = readings(|name| if name == "J" { [0.0, 0.0, 7.0] } else { STILL })
        .into_iter()
        .filter(|(name, _)| rear.contains(&name.as_str()) || shared.contains(&name.as_str()))
        .map(|(name, at)| (name, seen_by_the_instrument(at)))
        .collect();
    let base = add(&shop, STAGE, first, &["--repeatability", "0.4"]);
    let id = base["id"].as_str().unwrap();
    assert_eq!(
        point(&shop.json(&["check"]), "J")["length"]["verdict"],
        "not_measured"
    );
    let alone: Readings = second
        .iter()
        .filter(|(n, _)| !shared[2..].contains(&n.as_str()))
        .cloned()
        .collect();
    let file = shop.file("two.csv", csv(alone));
    let said = shop.fails(
        1,
        &[
            "survey", "add", &file, "--stage", STAGE, "--u", "0.5", "--joins", id,
        ],
    );
    assert!(said.contains("three are"), "{said}");
    add(&shop, STAGE, second, &["--joins", id]);
    let check = shop.json(&["check"]);
    assert!((number(&point(&check, "J")["height"]["deviation_mm"]) - 7.0).abs() < 1e-6);
    assert_eq!(check["joints"][0]["settled"], true);
    // A joined point is less certain than one of the first set-up.
    let u = |name: &str| number(&point(&check, name)["height"]["u_mm"]);
    assert!(u("J'") > u("D'"));

    // Repeats of H: they average, and the mean is better known.
    let before = number(&point(&check, "H")["length"]["u_mm"]);
    let at = readings(|_| STILL)
        .into_iter()
        .find(|(name, _)| name == "H")
        .unwrap()
        .1;
    let add_h = |by: f64, how: &str| {
        let [x, y, z] = [at[0] + by, at[1], at[2]].map(|c| format!("{c}"));
        let point = ["survey", "point", "H", &x, &y, &z, "--survey", id];
        match how {
            "" => shop.fails(1, &point),
            how => shop.ok(&[&point[..], &[how]].concat()),
        }
    };
    assert!(add_h(0.3, "").contains("--repeat"));
    add_h(0.3, "--repeat");
    add_h(-0.3, "--repeat");
    let check = shop.json(&["check"]);
    assert_eq!(check["repeats"][0]["readings"], 3);
    assert_eq!(check["repeats"][0]["failed"], false);
    assert!(number(&point(&check, "H")["length"]["u_mm"]) < before);
    // One that is far off: the test fails, and nothing is called inside there any more.
    add_h(8.0, "--repeat");
    let check = shop.json(&["check"]);
    assert_eq!(check["repeats"][0]["failed"], true);
    assert_ne!(point(&check, "H")["length"]["verdict"], "inside");

    // A structure of aluminium, 20 degrees too warm: 23 ppm/K over five metres are 2.3 mm.
    let warm: Readings = readings(|_| STILL)
        .into_iter()
        .map(|(name, at)| (name, at.map(|c| c * (1.0 + 23e-6 * 20.0))))
        .collect();
    let shop = datumtrail_tests::published::shop();
    add(&shop, STAGE, warm.clone(), &[]);
    let plain = number(&shop.json(&["check"])["setup"]["rms_mm"]);
    add(
        &shop,
        "final-survey",
        warm,
        &["--temperature", "40", "--material", "aluminium"],
    );
    let check = shop.json(&["check"]);
    assert!(
        number(&check["setup"]["rms_mm"]) < 1e-6 && plain > 0.1,
        "{plain}"
    );
    assert_eq!(check["corrected_to_20"][0]["material"], "aluminium");
}
