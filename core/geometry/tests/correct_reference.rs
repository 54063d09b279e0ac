//! The moves against scipy: `reference/correct.py` made `reference/correct.json` with
//! `scipy.optimize.least_squares` and `scipy.optimize.linprog` (HiGHS).

use datumtrail_geometry::correct::{Allowed, Part, PartPoint, best_move, minimax_move};
use datumtrail_geometry::frame::{Side, Vec3};
use nalgebra::DMatrix;
use serde_json::Value;

fn numbers(v: &Value) -> Vec<f64> {
    v.as_array()
        .unwrap()
        .iter()
        .map(|x| x.as_f64().unwrap())
        .collect()
}

fn vectors(v: &Value) -> Vec<Vec3> {
    let rows = v.as_array().unwrap().iter();
    rows.map(|r| Vec3::from_vec(numbers(r))).collect()
}

fn case(v: &Value) -> (Part, Allowed) {
    let (position, target) = (vectors(&v["position"]), vectors(&v["target"]));
    let limits = v["limits"].as_array().unwrap();
    let points = (0..position.len()).map(|i| PartPoint {
        name: format!("P{i}"),
        side: Side::Right,
        position: position[i],
        target: target[i],
        limits: std::array::from_fn(|k| limits[i][k].as_f64()),
    });
    let rows: Vec<Vec<f64>> = v["covariance"]
        .as_array()
        .unwrap()
        .iter()
        .map(numbers)
        .collect();
    let covariance = DMatrix::from_fn(rows.len(), rows.len(), |i, j| rows[i][j]);
    // Rounding to six places may have cost the last digit of symmetry.
    let covariance = (&covariance + covariance.transpose()) / 2.0;
    let vector = |k: &str| Vec3::from_vec(numbers(&v["geometry"][k]));
    let allowed = match v["kind"].as_str().unwrap() {
        "free" => Allowed::Free,
        "slide" => Allowed::Slide {
            along: vector("along"),
        },
        "slide_and_turn" => Allowed::SlideAndTurn {
            along: vector("along"),
            axis: vector("axis"),
            through: vector("through"),
        },
        other => panic!("{other}"),
    };
    (
        Part::new(points.collect(), Some(covariance)).unwrap(),
        allowed,
    )
}

fn cases() -> Vec<Value> {
    let all: Value = serde_json::from_str(include_str!("reference/correct.json")).unwrap();
    all["cases"].as_array().unwrap().clone()
}

fn largest(a: impl Iterator<Item = Vec3>, b: &[Vec3]) -> f64 {
    a.zip(b).map(|(a, b)| (a - b).amax()).fold(0.0, f64::max)
}

#[test]
fn least_squares_moves_and_their_uncertainties_agree_with_scipy() {
    let cases = cases();
    assert_eq!(cases.len(), 36);
    for (number, v) in cases.iter().enumerate() {
        let (part, allowed) = case(v);
        let answer = best_move(&part, &allowed).unwrap();
        assert!(answer.left_alone.is_empty(), "case {number}");
        let best = &v["best"];
        let off = largest(
            answer.points.iter().map(|p| p.displacement),
            &vectors(&best["displacement"]),
        );
        assert!(
            off < 1e-6,
            "case {number} {allowed:?}: displacement off by {off}"
        );
        let u = answer.points.iter().map(|p| p.displacement_u.unwrap());
        let off = largest(u, &vectors(&best["displacement_u"]));
        assert!(
            off < 1e-6,
            "case {number}: displacement uncertainty off by {off}"
        );
        let u = answer.points.iter().map(|p| p.u_misfit.unwrap());
        let off = largest(u, &vectors(&best["misfit_u"]));
        assert!(off < 1e-6, "case {number}: misfit uncertainty off by {off}");
        if best["move_u"].is_array() {
            let ours = answer.covariance.unwrap().diagonal().map(f64::sqrt);
            for (a, b) in ours.iter().zip(numbers(&best["move_u"])).take(3) {
                assert!((a - b).abs() < 1e-6, "case {number}: push {a} {b}");
            }
            // scipy's parameters are the rotation vector itself, ours a turn after it; the two
            // covariances differ by half the angle at most.
            for (a, b) in ours.iter().zip(numbers(&best["move_u"])).skip(3) {
                assert!((a / b - 1.0).abs() < 0.02, "case {number}: turn {a} {b}");
            }
        }
    }
}

#[test]
fn minimax_moves_agree_with_scipy() {
    for (number, v) in cases().iter().enumerate() {
        let (part, allowed) = case(v);
        let answer = minimax_move(&part, &allowed).unwrap();
        let theirs = v["minimax"]["worst"].as_f64().unwrap();
        assert!(
            (answer.worst - theirs).abs() < 1e-6,
            "case {number}: {} {theirs}",
            answer.worst
        );
        let displacement = answer.best.points.iter().map(|p| p.displacement);
        let off = largest(displacement, &vectors(&v["minimax"]["displacement"]));
        assert!(
            off < 1e-4,
            "case {number} {allowed:?}: displacement off by {off}"
        );
        assert_eq!(answer.impossible.is_some(), theirs > 1.0, "case {number}");
        if let Some(proof) = answer.impossible {
            assert!(proof.holds(&part), "case {number}");
            assert!(
                (proof.bound - theirs).abs() < 1e-6,
                "case {number}: bound {}",
                proof.bound
            );
            assert!(
                proof.readings.len() <= allowed.freedoms() + 1,
                "case {number}"
            );
        }
    }
}
