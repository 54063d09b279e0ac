//! The network adjustment against scipy and PyGeodesy: `reference/network.py` made the values and
//! says how; `reference/network.py --check` makes them again.

use datumtrail_geometry::frame::{Axis, Vec3};
use datumtrail_geometry::network::{
    Network, Observation, Options, Point, Quantity, Solution, three_spheres,
};
use datumtrail_geometry::stats;
use serde_json::Value;

fn stored() -> Value {
    serde_json::from_str(include_str!("reference/network.json")).expect("stored JSON")
}

fn number(v: &Value) -> f64 {
    v.as_f64().expect("a number")
}

fn list(v: &Value) -> &Vec<Value> {
    v.as_array().expect("a list")
}

fn vector(v: &Value) -> Vec3 {
    Vec3::from_iterator(list(v).iter().map(number))
}

fn places(v: &Value) -> Vec<usize> {
    list(v)
        .iter()
        .map(|p| p.as_u64().expect("a place") as usize)
        .collect()
}

fn quantity(figure: &Value) -> Quantity {
    let points = places(&figure["points"]);
    let (from, to) = (points[0], points.get(1).copied().unwrap_or(usize::MAX));
    let coordinate = |axis| Quantity::Coordinate { point: from, axis };
    match figure["kind"].as_str().expect("a kind") {
        "true_distance" => Quantity::TrueDistance { from, to },
        "level_distance" => Quantity::LevelDistance { from, to },
        "length" => Quantity::Length { from, to },
        "width" => Quantity::Width {
            left: from,
            right: to,
        },
        "height_difference" => Quantity::HeightDifference { from, to },
        "span" => Quantity::Span { point: from },
        "true_diagonal" => Quantity::TrueDiagonal { from, to },
        "level_diagonal" => Quantity::LevelDiagonal { from, to },
        "x" => coordinate(Axis::Length),
        "y" => coordinate(Axis::Width),
        "z" => coordinate(Axis::Height),
        other => panic!("unknown kind {other}"),
    }
}

fn solve(case: &Value) -> Solution {
    let points = (list(&case["points"]).iter().enumerate())
        .map(|(i, p)| {
            let point = Point::new(i.to_string());
            match p["u"].as_f64() {
                Some(u) => point.known(vector(&p["stated"]), u),
                None => point.about(vector(&p["stated"])),
            }
        })
        .collect();
    let figures = (list(&case["figures"]).iter())
        .map(|f| Observation::new(quantity(f), number(&f["value"]), number(&f["u"])))
        .collect();
    let options = Options {
        leave_out_blunders: false,
        laid_onto: places(&case["laid_onto"]),
        ..Options::default()
    };
    Network::new(points, figures)
        .and_then(|n| n.adjust(&options))
        .expect("scipy solved it")
}

fn near(ours: f64, theirs: &Value, tolerance: f64, what: &str) {
    let theirs = number(theirs);
    assert!(
        (ours - theirs).abs() <= tolerance * theirs.abs().max(1.0),
        "{what}: {ours} against {theirs}"
    );
}

#[test]
fn adjusted_networks_agree_with_scipy() {
    let stored = stored();
    for family in ["held", "folded", "free"] {
        for (i, case) in list(&stored[family]).iter().enumerate() {
            let (ours, theirs) = (solve(case), &case["answer"]);
            let what = format!("{family} {i}");
            near(ours.fit.chi2, &theirs["chi2"], 1e-7, &what);
            assert_eq!(
                ours.fit.dof as u64,
                theirs["dof"].as_u64().expect("dof"),
                "{what}"
            );
            near(ours.fit.p.expect("redundant"), &theirs["p"], 1e-6, &what);
            near(ours.critical_w, &theirs["critical_w"], 1e-9, &what);
            if let Some(open) = theirs["open_motions"].as_u64() {
                assert_eq!(ours.open_motions as u64, open, "{what}");
            }
            let movable = places(&theirs["movable"]);
            for (row, &a) in movable.iter().enumerate() {
                let position = vector(&theirs["positions"][row]);
                let apart = (ours.points[a].position - position).norm();
                assert!(apart < 1e-4, "{what} point {a}: {apart} mm apart");
                assert_eq!(ours.points[a].undetermined, [], "{what} point {a}");
                for (column, &b) in movable.iter().enumerate() {
                    let block = ours.covariance(a, b);
                    for k in 0..3 {
                        for l in 0..3 {
                            let value = &theirs["covariance"][3 * row + k][3 * column + l];
                            near(block[(k, l)], value, 2e-4, &format!("{what} cov {a} {b}"));
                        }
                    }
                }
            }
            for (k, figure) in ours.figures.iter().enumerate() {
                let what = format!("{what} figure {k}");
                near(figure.redundancy, &theirs["redundancy"][k], 1e-5, &what);
                match (figure.w, theirs["w"][k].as_f64()) {
                    (Some(_), Some(_)) | (None, None) => {}
                    other => panic!("{what}: {other:?}"),
                }
                if let Some((w, blunder)) = figure.w.zip(figure.smallest_blunder_mm) {
                    near(w, &theirs["w"][k], 1e-4, &what);
                    near(blunder, &theirs["blunder"][k], 1e-4, &what);
                }
            }
        }
    }
}

/// The redundancy numbers of figures and known coordinates add up to the degrees of freedom
/// (checked here where every known point is rigid or nothing is held).
#[test]
fn redundancy_numbers_add_up() {
    let stored = stored();
    for case in list(&stored["free"]) {
        let solution = solve(case);
        let sum: f64 = solution.figures.iter().map(|f| f.redundancy).sum();
        assert!((sum - solution.fit.dof as f64).abs() < 1e-6, "{sum}");
    }
}

#[test]
fn smallest_blunder_agrees_with_the_exact_power() {
    for case in list(&stored()["detectable"]) {
        let (alpha, tests) = (number(&case["alpha"]), number(&case["tests"]));
        let critical = stats::phi_inverse(1.0 - alpha / tests / 2.0);
        near(critical, &case["critical"], 1e-9, "critical value");
        // The exact value counts the far tail too: it adds less than 1e-5 at these powers.
        near(
            critical + stats::phi_inverse(0.8),
            &case["delta"],
            1e-5,
            "delta",
        );
    }
}

#[test]
fn three_spheres_agree_with_pygeodesy() {
    for case in list(&stored()["trilateration"]) {
        let centres: Vec<Vec3> = list(&case["centres"]).iter().map(vector).collect();
        let radii: Vec<f64> = list(&case["radii"]).iter().map(number).collect();
        let ours = three_spheres(
            [centres[0], centres[1], centres[2]],
            [radii[0], radii[1], radii[2]],
        )
        .expect("centres are spread");
        for theirs in list(&case["answers"]).iter().map(vector) {
            let apart = ours
                .iter()
                .map(|p| (p - theirs).norm())
                .fold(f64::INFINITY, f64::min);
            assert!(apart < 1e-3, "{apart} mm apart");
        }
    }
}
