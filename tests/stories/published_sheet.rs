//! The main job on dimensions that a maker printed, through the real program.
//!
//! The readings are made from it by a known rigid motion and known displacements, so what the
//! program must find is known without the program.

use datumtrail_tests::published::{self, SHEET};
use datumtrail_tests::{Shop, point};
use serde_json::Value;

const REFS: &str = "A,A',B,B',G,G'";

fn readings(moved: impl Fn(&str) -> [f64; 3]) -> String {
    published::csv(published::readings(moved))
}

fn survey(limit: &[&str], csv: &str) -> (Shop, Value) {
    let shop = Shop::with_job();
    let mut load = vec![
        "sheet",
        "load",
        SHEET,
        "--source",
        "Renault, workshop repair manual for the Mégane Scénic (from 1995), section 40",
    ];
    load.extend(limit);
    assert_eq!(shop.json(&load)["points"], 23);
    let file = shop.file("readings.csv", csv);
    shop.ok(&[
        "survey",
        "add",
        &file,
        "--stage",
        "as-found-survey",
        "--refs",
        REFS,
        "--u",
        "0.5",
    ]);
    let check = shop.json(&["check"]);
    (shop, check)
}

fn deviation(check: &Value, name: &str) -> [f64; 3] {
    ["length", "width", "height"].map(|axis| {
        point(check, name)[axis]["deviation_mm"]
            .as_f64()
            .expect("a deviation")
    })
}

const LIMIT: [&str; 4] = ["--limit", "3", "--limit-source", "invented for this test"];

#[test]
fn displacements_are_recovered_to_a_millionth() {
    let (_, check) = survey(
        &LIMIT,
        &readings(|name| match name {
            "H" => [7.5, -0.4, 1.2],
            "L'" => [-12.0, 3.0, 0.25],
            _ => [0.0; 3],
        }),
    );
    for (name, _) in published::printed() {
        let expected = match name.as_str() {
            "H" => [7.5, -0.4, 1.2],
            "L'" => [-12.0, 3.0, 0.25],
            _ => [0.0; 3],
        };
        for (found, expected) in deviation(&check, &name).into_iter().zip(expected) {
            assert!(
                (found - expected).abs() < 1e-6,
                "{name}: {found} and not {expected}"
            );
        }
    }
    assert_eq!(check["setup"]["used"].as_array().unwrap().len(), 6);
    assert_eq!(check["setup"]["dof"], 12);
    assert_eq!(point(&check, "H")["length"]["verdict"], "outside");
    assert_eq!(point(&check, "H")["width"]["verdict"], "inside");
    assert_eq!(
        point(&check, "H")["length"]["limit_source"],
        "invented for this test"
    );
}

/// Common practice: a replacement rail section can sit 7 to 8 mm too deep in its joint while
/// everything bolts up. With all behind the joint in place, it must be found, called outside, and
/// brought back.
#[test]
fn a_section_too_deep_in_its_joint_is_found_and_brought_back() {
    let deep = |name: &str| match name {
        // Too deep in a joint of the front rail is rearward.
        "C" | "H" => [7.5, 0.0, 0.0],
        _ => [0.0; 3],
    };
    let (shop, check) = survey(&LIMIT, &readings(deep));
    for name in ["C", "H"] {
        assert_eq!(
            point(&check, name)["length"]["verdict"],
            "outside",
            "{name}"
        );
    }
    assert_eq!(point(&check, "G")["length"]["verdict"], "inside");
    let moved = shop.json(&["move", "--points", "C,H", "--slide", "x"]);
    let [x, y, z] = [0, 1, 2].map(|k| moved["translation_mm"][k].as_f64().unwrap());
    assert!(
        (x + 7.5).abs() < 1e-6 && y.abs() < 1e-6 && z.abs() < 1e-6,
        "{x} {y} {z}"
    );
    assert!(
        moved["words"].as_str().unwrap().contains("7.5 mm forward"),
        "{}",
        moved["words"]
    );
    assert_eq!(moved["all_inside_afterwards"], true);
}

#[test]
fn without_a_limit_nothing_is_decided() {
    let (_, check) = survey(&[], &readings(|_| [0.0; 3]));
    assert_eq!(point(&check, "H")["length"]["verdict"], "no_limit_given");
    assert_eq!(point(&check, "H")["length"]["limit_mm"], Value::Null);
}

#[test]
fn inches_are_exactly_25_4_millimetres() {
    let shop = Shop::with_job();
    let sheet = shop.file(
        "sheet.csv",
        "point,x,y,z\nA,0,-10,0\nA',0,10,0\nB,80,-10,1\nB',80,10,1\nH,100,-12,5\n",
    );
    shop.ok(&[
        "sheet", "load", &sheet, "--source", "invented", "--units", "in",
    ]);
    let file = shop.file(
        "r.csv",
        "point,x,y,z\nA,0,-10,0\nA',0,10,0\nB,80,-10,1\nB',80,10,1\nH,101,-12,5\n",
    );
    shop.ok(&[
        "survey",
        "add",
        &file,
        "--stage",
        "as-found-survey",
        "--refs",
        "A,A',B,B'",
        "--u",
        "0.5",
        "--units",
        "in",
    ]);
    let check = shop.json(&["check"]);
    assert!((deviation(&check, "H")[0] - 25.4).abs() < 1e-9);
}
