//! A shop with nothing but a tram gauge, through the real program; and sheets that contradict
//! themselves. On dimensions that makers printed: see `core/sheet/tests/published/README.md`.

use datumtrail_tests::published::{printed, shop};
use datumtrail_tests::{Shop, number, point};
use serde_json::Value;

const REFS: [&str; 6] = ["A", "A'", "B", "B'", "G", "G'"];

/// Where a point is: as printed, but for the left rail end, which sits 12 mm too far back.
fn truth(name: &str) -> [f64; 3] {
    let mut at = printed()
        .into_iter()
        .find(|(n, _)| n == name)
        .expect("on the sheet")
        .1;
    if name == "H" || name == "C" {
        at[0] += 12.0;
    }
    at
}

fn distance(a: &str, b: &str, level: bool) -> f64 {
    let (a, b) = (truth(a), truth(b));
    let axes = if level { 2 } else { 3 };
    (0..axes).map(|k| (a[k] - b[k]).powi(2)).sum::<f64>().sqrt()
}

/// Distances from the rail ends to all reference points, among these, and the heights.
fn measured(shop: &Shop) -> String {
    let mut csv = "kind,a,b,value,u\n".to_owned();
    let mut row =
        |a: &str, b: &str| csv += &format!("true,{a},{b},{:.1},0.5\n", distance(a, b, false));
    for end in ["H", "H'", "C", "C'"] {
        REFS.iter().for_each(|r| row(end, r));
    }
    for (n, a) in REFS.iter().enumerate() {
        REFS[n + 1..].iter().for_each(|b| row(a, b));
    }
    for end in ["H", "H'", "C", "C'"] {
        csv += &format!("height,{end},,{:.1},1\n", truth(end)[2]);
    }
    shop.file("tram.csv", csv)
}

#[test]
fn distances_alone_give_positions_uncertainties_and_verdicts() {
    let shop = shop();
    let file = measured(&shop);
    assert_eq!(
        shop.json(&["tram", "import", &file, "--stage", "as-found-survey"])["readings"],
        43
    );
    let solve = ["tram", "solve", "--refs", &REFS.join(",")];
    let solved = shop.json(&solve);
    assert_eq!(solved["sound"], true);
    for (name, back) in [("H", 12.0), ("C", 12.0), ("H'", 0.0), ("C'", 0.0)] {
        let p = point(&solved, name);
        for (axis, due) in [("length", back), ("width", 0.0), ("height", 0.0)] {
            let (off, u) = (number(&p[axis]["deviation_mm"]), number(&p[axis]["u_mm"]));
            assert!(
                (off - due).abs() < 3.0 * u && u < 1.3,
                "{name} {axis}: {off} +- {u}"
            );
        }
    }
    assert_eq!(point(&solved, "H")["length"]["verdict"], "outside");
    assert_eq!(point(&solved, "H'")["length"]["verdict"], "inside");

    // One distance typed wrongly: named by the others, left out, and nothing moves by it.
    let wrong = distance("H'", "C'", false) + 25.0;
    shop.ok(&[
        "tram",
        "add",
        "H'",
        "C'",
        &format!("{wrong:.1}"),
        "--kind",
        "true",
        "--u",
        "0.5",
        "--stage",
        "as-found-survey",
    ]);
    let again = shop.json(&solve);
    let figures = again["figures"].as_array().unwrap();
    let contradicting: Vec<_> = figures
        .iter()
        .filter(|f| f["state"] == "contradicts")
        .collect();
    assert_eq!(contradicting.len(), 1, "{contradicting:?}");
    assert!((number(&contradicting[0]["value_mm"]) - wrong).abs() < 0.06);
    let moved = number(&point(&again, "H'")["length"]["deviation_mm"])
        - number(&point(&solved, "H'")["length"]["deviation_mm"]);
    assert!(moved.abs() < 0.01);
}

#[test]
fn what_the_distances_leave_open_is_said_and_the_next_reading_is_named() {
    let shop = shop();
    let file = measured(&shop);
    shop.ok(&["tram", "import", &file, "--stage", "as-found-survey"]);
    // F hangs on a single distance.
    let one = format!("{:.1}", distance("F", "A", false));
    shop.ok(&[
        "tram",
        "add",
        "F",
        "A",
        &one,
        "--kind",
        "true",
        "--u",
        "0.5",
        "--stage",
        "as-found-survey",
    ]);
    let solve = ["tram", "solve", "--refs", &REFS.join(",")];
    let solved = shop.json(&solve);
    let f = point(&solved, "F");
    for axis in ["length", "width", "height"] {
        assert_eq!(f[axis]["verdict"], "unchecked", "{axis}");
    }
    let figures = solved["figures"].as_array().unwrap();
    let last = figures.last().unwrap();
    assert_eq!(last["state"], "unchecked");
    assert!(number(&last["redundancy"]) < 1e-6);
    // Doing what is proposed, a few times, determines it.
    for _ in 0..6 {
        let solved = shop.json(&solve);
        if point(&solved, "F")["height"]["deviation_mm"].is_number() {
            break;
        }
        let next = &solved["next"][0];
        let (a, b) = (next["a"].as_str().unwrap(), next["b"].as_str());
        assert!(a == "F" || b == Some("F"), "{next}");
        let kind = next["kind"].as_str().unwrap();
        match b {
            Some(b) => {
                let value = format!("{:.1}", distance(a, b, kind == "level"));
                shop.ok(&[
                    "tram",
                    "add",
                    a,
                    b,
                    &value,
                    "--kind",
                    kind,
                    "--u",
                    "0.5",
                    "--stage",
                    "as-found-survey",
                ]);
            }
            None => {
                let value = format!("{:.1}", truth(a)[2]);
                shop.ok(&[
                    "tram",
                    "height",
                    a,
                    &value,
                    "--u",
                    "0.5",
                    "--stage",
                    "as-found-survey",
                ]);
            }
        }
    }
    let solved = shop.json(&solve);
    let f = point(&solved, "F");
    for axis in ["length", "width", "height"] {
        let (off, u) = (number(&f[axis]["deviation_mm"]), number(&f[axis]["u_mm"]));
        assert!(off.abs() < 3.0 * u && u < 5.0, "{axis}: {off} +- {u}");
    }
}

#[test]
fn a_level_distance_entered_as_true_is_questioned() {
    let shop = shop();
    let level = format!("{:.1}", distance("F'", "A'", true));
    let args = [
        "tram",
        "add",
        "F'",
        "A'",
        &level,
        "--kind",
        "true",
        "--u",
        "0.5",
        "--stage",
        "as-found-survey",
    ];
    let added = shop.json(&args);
    let question = added["against_sheet"]["question"]
        .as_str()
        .expect("a question");
    assert!(question.contains("Was the gauge held level?"), "{question}");
    let id = added["id"].as_str().unwrap();
    let mut right = args.to_vec();
    right[6] = "level";
    right.extend(["--corrects", id]);
    shop.ok(&right);
    let list = shop.json(&["tram", "list"]);
    assert_eq!(
        list["readings"].as_array().unwrap().len(),
        1,
        "the corrected one no longer counts"
    );
    assert!(list["readings"][0]["question"].is_null());
    assert!(number(&list["readings"][0]["deviation_mm"]).abs() < 0.06);
}

#[test]
fn the_diagonals_of_a_four_that_is_no_longer_symmetrical_stand_out() {
    let shop = shop();
    for (a, b) in [("H", "G'"), ("H'", "G"), ("A", "B'"), ("A'", "B")] {
        let value = format!("{:.1}", distance(a, b, false));
        shop.ok(&[
            "tram",
            "add",
            a,
            b,
            &value,
            "--kind",
            "true",
            "--u",
            "0.5",
            "--stage",
            "as-found-survey",
        ]);
    }
    let fours = shop.json(&["tram", "list"])["fours"].clone();
    let stands_out = |front: &str| {
        let four = fours
            .as_array()
            .unwrap()
            .iter()
            .find(|f| f["points"][0] == front);
        four.expect("the four")["stands_out"].clone()
    };
    assert_eq!(stands_out("H"), true);
    assert_eq!(stands_out("A"), false);
}

#[test]
fn bad_tram_readings_are_refused_whole() {
    let shop = shop();
    let file = shop.file(
        "bad.csv",
        "kind,a,b,value\ntrue,A,B,1778.2\nlevel,A,Q,900\ntrue,A,B,-5\n",
    );
    let said = shop.fails(1, &["tram", "import", &file, "--stage", "as-found-survey"]);
    assert!(said.contains("line 3") && said.contains("line 4"), "{said}");
    assert_eq!(
        shop.json(&["tram", "list"])["readings"],
        serde_json::json!([])
    );
    for wrong in [
        vec!["tram", "add", "A", "A", "900", "--kind", "true"],
        vec!["tram", "add", "A", "B", "0", "--kind", "true"],
        vec!["tram", "add", "A", "B", "nan", "--kind", "true"],
        vec!["tram", "solve", "--refs", "A,B"],
    ] {
        let mut args = wrong;
        if args[1] == "add" {
            args.extend(["--stage", "as-found-survey"]);
        }
        shop.fails(1, &args);
    }
    let said = shop.fails(1, &["tram", "add", "A", "B", "1778", "--kind", "true"]);
    assert!(said.contains("no stage is open"), "{said}");
}

fn audit(table: &str) -> Value {
    let shop = Shop::with_job();
    let file = format!(
        "{}/../core/sheet/tests/published/{table}",
        env!("CARGO_MANIFEST_DIR")
    );
    shop.ok(&[
        "sheet",
        "load",
        &file,
        "--source",
        "see published/README.md",
    ]);
    shop.json(&["sheet", "audit"])
}

/// Subaru, Tribeca (2008): its chains of projected lengths close.
#[test]
fn the_tribeca_sheet_closes() {
    let found = audit("tribeca-2008-centre.csv");
    assert_eq!(found["doubts"], serde_json::json!([]));
    assert!(number(&found["compared"]) >= 6.0);
}

/// Saab, 9-2X (2005): the diagonals of 82-83, 94-87 and 87-88 contradict D^2 = d^2 + a b, those of
/// 83-84 and 84-94 agree.
#[test]
fn the_saab_sheet_is_doubted_where_it_contradicts_itself() {
    let found = audit("saab-9-2x-2005-centre.csv");
    let doubted = |a: &str, b: &str| {
        found["doubts"].as_array().unwrap().iter().any(|d| {
            let starts =
                |k: usize, name: &str| d["points"][k].as_str().is_some_and(|p| p.starts_with(name));
            d["kind"] == "diagonal" && starts(0, a) && starts(1, b) && number(&d["w"]).abs() > 3.0
        })
    };
    assert!(doubted("82", "83") && doubted("94", "87") && doubted("87", "88"));
    assert!(!doubted("83", "84") && !doubted("84", "94"));
    let meaning = found["meaning"].as_str().unwrap();
    assert!(meaning.contains("projected lengths"), "{meaning}");
}
