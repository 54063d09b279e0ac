//! Verdicts and distributions against scipy, and the worked cases of JCGM 106:2012.

use datumtrail_geometry::fit::Belief;
use datumtrail_geometry::stats;
use datumtrail_geometry::verdict::{
    Statement, Verdict, combine, judge, largest_u_that_can_decide, probability_between,
    rounding_variance,
};
use serde_json::Value;

/// Made by `tests/reference/verdict.py` with scipy.stats.
const SCIPY: &str = include_str!("reference/verdict.json");

fn rows(key: &str) -> Vec<Vec<f64>> {
    let all: Value = serde_json::from_str(SCIPY).expect("verdict.json");
    let list = all[key].as_array().expect("a list");
    assert!(!list.is_empty());
    let row = |r: &Value| {
        let numbers = r.as_array().expect("a row").iter();
        numbers.map(|v| v.as_f64().expect("a number")).collect()
    };
    list.iter().map(row).collect()
}

fn close(a: f64, b: f64, relative: f64) -> bool {
    (a - b).abs() <= relative * b.abs() + 1e-15
}

#[test]
fn probabilities_agree_with_scipy() {
    for r in rows("inside_normal") {
        let p = judge(r[0], Some(r[1]), Some(r[2]), Belief::Normal).p_inside;
        let p = p.expect("a probability");
        // scipy subtracts near one, so small probabilities agree absolutely only.
        assert!((p - r[3]).abs() < 2e-15, "{r:?}: {p}");
    }
    for r in rows("inside_student") {
        let belief = Belief::StudentT {
            degrees_of_freedom: r[3] as usize,
        };
        let p = judge(r[0], Some(r[1]), Some(r[2]), belief).p_inside;
        assert!(
            (p.expect("a probability") - r[4]).abs() < 1e-12,
            "{r:?}: {p:?}"
        );
    }
}

#[test]
fn distributions_agree_with_scipy() {
    for r in rows("phi") {
        assert!(close(stats::phi(r[0]), r[1], 1e-13), "{r:?}");
    }
    for r in rows("phi_inverse") {
        assert!(close(stats::phi_inverse(r[0]), r[1], 1e-12), "{r:?}");
    }
    for r in rows("chi2_exceeds") {
        let p = stats::chi2_exceeds(r[0], r[1] as usize);
        assert!(close(p, r[2], 1e-9), "{r:?}: {p}");
    }
    for r in rows("chi2_critical") {
        let x = stats::chi2_critical(r[0], r[1] as usize);
        assert!(close(x, r[2], 1e-10), "{r:?}: {x}");
    }
    for r in rows("student_t_inverse") {
        let t = stats::student_t_inverse(r[0], r[1] as usize);
        assert!((t - r[2]).abs() < 1e-10, "{r:?}: {t}");
    }
}

/// JCGM 106:2012, from memory, not looked up: table 1 of clause 7 pairs a conformance probability
/// for a one-sided tolerance with z = (limit - estimate) / u, and the worked case of a Zener
/// diode's breakdown voltage (estimate -5.47 V, u = 0.05 V, upper limit -5.40 V) gives 92 %.
#[test]
fn jcgm_106_from_memory() {
    for (p, z) in [
        (0.80, 0.84),
        (0.90, 1.28),
        (0.95, 1.64),
        (0.99, 2.33),
        (0.999, 3.09),
    ] {
        let found = probability_between(0.0, 1.0, f64::NEG_INFINITY, z, Belief::Normal);
        // The table rounds z to two decimals.
        assert!((found - p).abs() < 0.005 * 0.4, "{z}: {found}");
    }
    let zener = probability_between(-5.47, 0.05, f64::NEG_INFINITY, -5.40, Belief::Normal);
    assert!((zener - 0.92).abs() < 0.005, "{zener}");
}

#[test]
fn the_borders_of_the_verdicts() {
    // One-sided to all practical purposes: p = Phi((T - d) / u), 95 % at 1.6449.
    let at = |d: f64| judge(d, Some(0.1), Some(3.0), Belief::Normal).verdict;
    assert_eq!(at(3.0 - 0.1645), Verdict::Inside);
    assert_eq!(at(3.0 - 0.1644), Verdict::TooCloseToCall);
    assert_eq!(at(3.0 + 0.1644), Verdict::TooCloseToCall);
    assert_eq!(at(3.0 + 0.1645), Verdict::Outside);
    assert_eq!(at(-3.0 - 0.1645), Verdict::Outside);

    // At zero deviation, the largest u that can decide is a border too.
    for belief in [
        Belief::Normal,
        Belief::StudentT {
            degrees_of_freedom: 6,
        },
    ] {
        let u = largest_u_that_can_decide(3.0, belief);
        let at = |u| judge(0.0, Some(u), Some(3.0), belief).verdict;
        assert_eq!(at(u * 0.9999), Verdict::Inside);
        assert_eq!(at(u * 1.0001), Verdict::TooCloseToCall);
    }
    assert!((largest_u_that_can_decide(1.96, Belief::Normal) - 1.0).abs() < 1e-4);
}

#[test]
fn without_uncertainty_or_limit() {
    let plain = judge(2.9, None, Some(3.0), Belief::Normal);
    assert_eq!(
        (plain.verdict, plain.uncertainty_stated),
        (Verdict::Inside, false)
    );
    assert_eq!(plain.p_inside, None);
    let plain = judge(-3.1, None, Some(3.0), Belief::Normal);
    assert_eq!(plain.verdict, Verdict::Outside);
    let none = judge(50.0, Some(0.1), None, Belief::Normal);
    assert_eq!((none.verdict, none.p_inside), (Verdict::NoLimitGiven, None));
    // A certain number is on one side or the other.
    let certain = judge(3.0, Some(0.0), Some(3.0), Belief::Normal);
    assert_eq!(
        (certain.verdict, certain.p_inside),
        (Verdict::Inside, Some(1.0))
    );
}

#[test]
fn nonsense_is_never_inside() {
    let nan = f64::NAN;
    for (d, u, limit) in [
        (nan, Some(0.5), Some(3.0)),
        (0.0, Some(nan), Some(3.0)),
        (0.0, Some(-1.0), Some(3.0)),
        (0.0, Some(0.5), Some(nan)),
        (0.0, None, Some(-3.0)),
        (nan, None, Some(3.0)),
        (0.0, Some(f64::INFINITY), Some(3.0)),
        (f64::INFINITY, Some(0.5), Some(3.0)),
    ] {
        let verdict = judge(d, u, limit, Belief::Normal).verdict;
        assert_ne!(verdict, Verdict::Inside, "{d} {u:?} {limit:?}");
    }
}

#[test]
fn statements_of_instruments() {
    let u = |s: Statement| s.standard_uncertainty();
    let near = |a: Option<f64>, b: f64| (a.expect("a number") - b).abs() < 1e-12;
    assert!(near(u(Statement::StandardUncertainty(0.4)), 0.4));
    assert!(near(u(Statement::Expanded { value: 1.0, k: 2.0 }), 0.5));
    assert!(near(u(Statement::BoundPerAxis(1.0)), (1.0 / 3f64).sqrt()));
    assert!(near(u(Statement::BoundInSpace(1.0)), (1.0 / 5f64).sqrt()));
    for bad in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        assert_eq!(u(Statement::BoundPerAxis(bad)), None);
        assert_eq!(
            u(Statement::Expanded {
                value: 1.0,
                k: bad * 0.0
            }),
            None
        );
    }
    assert_eq!(combine(&[3.0, 4.0]), 5.0);
    assert_eq!(rounding_variance(1.0), 1.0 / 12.0);
}

/// The bound in space: points uniform in a ball, by a lattice, have the claimed variance.
#[test]
fn a_ball_has_a_fifth_of_its_radius_squared_along_each_axis() {
    let steps = 60;
    let (mut count, mut sum) = (0.0, 0.0);
    for i in -steps..=steps {
        for j in -steps..=steps {
            for k in -steps..=steps {
                let p = [i, j, k].map(|v| f64::from(v) / f64::from(steps));
                if p.iter().map(|v| v * v).sum::<f64>() <= 1.0 {
                    count += 1.0;
                    sum += p[0] * p[0];
                }
            }
        }
    }
    assert!((sum / count - 0.2f64).abs() < 1e-3, "{}", sum / count);
}

#[test]
fn verdicts_are_written_in_the_words_of_the_design() {
    let written = |v: Verdict| serde_json::to_value(v).expect("JSON");
    for (verdict, word) in [
        (Verdict::Inside, "inside"),
        (Verdict::Outside, "outside"),
        (Verdict::TooCloseToCall, "too_close_to_call"),
        (Verdict::NoLimitGiven, "no_limit_given"),
        (Verdict::NotMeasured, "not_measured"),
        (Verdict::Unchecked, "unchecked"),
    ] {
        assert_eq!(written(verdict), word);
        assert_eq!(verdict.words().replace(' ', "_"), word);
    }
}
