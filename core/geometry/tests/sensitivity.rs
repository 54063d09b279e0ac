//! Smallest detectable moves and hidden shifts against scipy and simulation.

mod vehicle;

use datumtrail_geometry::check::{Request, check};
use datumtrail_geometry::fit::{Reference, SetUp, set_up};
use datumtrail_geometry::frame::{Axis, Mat3, Vec3};
use datumtrail_geometry::screen::outlier_statistic;
use datumtrail_geometry::sensitivity::{POWER, shift_at, smallest_detectable, worst_shift};
use datumtrail_geometry::stats;
use serde_json::Value;
use vehicle::{Instrument, Noise, names, published_sheet, readings, six_references};

/// Made by `tests/reference/screen.py` with scipy.stats.ncx2.
const SCIPY: &str = include_str!("reference/screen.json");

fn rows(key: &str) -> Vec<Vec<f64>> {
    let all: Value = serde_json::from_str(SCIPY).expect("screen.json");
    let list = all[key].as_array().expect("a list");
    assert!(!list.is_empty());
    let row = |r: &Value| {
        let numbers = r.as_array().expect("a row").iter();
        numbers.map(|v| v.as_f64().expect("a number")).collect()
    };
    list.iter().map(row).collect()
}

#[test]
fn noncentral_chi_square_agrees_with_scipy() {
    for r in rows("noncentral") {
        let p = stats::noncentral_chi2_exceeds(r[0], r[1] as usize, r[2]);
        assert!((p - r[3]).abs() < 1e-11, "{r:?}: {p}");
    }
    for r in rows("noncentrality") {
        let l = stats::noncentrality(r[0], r[1] as usize, r[2]);
        assert!((l - r[3]).abs() < 1e-8, "{r:?}: {l}");
    }
}

/// The non-centralities for 4, 5, 6, 8 and 12 points at 5 % over n, three degrees of freedom and
/// 80 %: 14.8, 15.5, 16.0, 16.7, 17.8.
#[test]
fn the_familiar_noncentralities() {
    for (n, l) in [(4, 14.8), (5, 15.5), (6, 16.0), (8, 16.7), (12, 17.8)] {
        let found = stats::noncentrality(0.05 / f64::from(n), 3, POWER);
        assert!((found - l).abs() < 0.051, "{n}: {found}");
    }
}

fn passenger_cell(n: usize) -> Vec<Reference> {
    let points = [
        [200.0, -400.0, 70.0],
        [200.0, 400.0, 70.0],
        [1500.0, -400.0, 20.0],
        [1500.0, 400.0, 20.0],
        [880.0, -620.0, 110.0],
        [880.0, 620.0, 110.0],
        [500.0, -370.0, 10.0],
        [500.0, 370.0, 10.0],
        [1200.0, -370.0, 10.0],
        [1200.0, 370.0, 10.0],
        [1800.0, -600.0, 90.0],
        [1800.0, 600.0, 90.0],
    ];
    let reference = |p: &[f64; 3]| Reference {
        reading: (*p).into(),
        reading_covariance: Mat3::identity() * 0.25,
        target: (*p).into(),
        target_covariance: Mat3::zeros(),
    };
    points.iter().take(n).map(reference).collect()
}

fn fitted(n: usize) -> SetUp {
    set_up(&passenger_cell(n)).expect("a set-up")
}

/// More reference points find smaller moves and shift the front less. The figures are our own,
/// for u = 0.5 mm, a point 800 mm in front of the reference points, and 5 % over n.
#[test]
fn six_and_twelve_points_hide_less_than_four() {
    let front = Vec3::new(-600.0, 450.0, 230.0);
    let figures = [4, 6, 12].map(|n| {
        let set_up = fitted(n);
        let alpha = 0.05 / n as f64;
        let worst = (0..n)
            .filter_map(|i| smallest_detectable(&set_up, i, alpha)?.worst_mm)
            .fold(0.0, f64::max);
        let shift = worst_shift(&set_up, front, alpha).and_then(|w| w.shift_mm);
        (worst, shift.expect("bounded"))
    });
    println!("hidden move and shift for 4, 6, 12 points: {figures:?}");
    assert!(figures[0].0 > figures[1].0 && figures[1].0 > figures[2].0);
    assert!(figures[0].1 > figures[1].1 && figures[1].1 > figures[2].1);
    assert!((figures[0].0 - 4.0).abs() < 0.3, "{figures:?}");
}

/// A move of the size claimed is found as often as claimed, in the worst direction and along
/// each axis.
#[test]
fn the_power_is_what_it_claims() {
    let n = 5;
    let alpha = 0.05 / n as f64;
    let exact = fitted(n);
    let critical = stats::chi2_critical(alpha, 3);
    let detectable = smallest_detectable(&exact, 2, alpha).expect("a reference");
    let mut moves = vec![detectable.worst_direction * detectable.worst_mm.expect("bounded")];
    for axis in Axis::ALL {
        moves.push(axis.unit() * detectable.along_mm[axis.index()].expect("bounded"));
    }
    let mut noise = Noise::seeded(31);
    for by in moves {
        let runs = 3000;
        let mut found = 0;
        for _ in 0..runs {
            let mut references = passenger_cell(n);
            for r in &mut references {
                r.reading += noise.vector() * 0.5;
            }
            references[2].reading += by;
            let set_up = set_up(&references).expect("a set-up");
            let (t, _) = outlier_statistic(&set_up, 2).expect("a reference");
            found += usize::from(t > critical);
        }
        // Standard error sqrt(0.8 * 0.2 / 3000) = 0.0073.
        let rate = found as f64 / runs as f64;
        assert!((rate - POWER).abs() < 4.0 * 0.0073, "{by}: {rate}");
    }
}

#[test]
fn the_shift_is_what_a_displaced_reference_does() {
    let n = 6;
    let at = Vec3::new(-600.0, 450.0, 230.0);
    let exact = fitted(n);
    for i in 0..n {
        let by = Vec3::new(0.6, -0.8, 1.1);
        let mut references = passenger_cell(n);
        references[i].reading += by;
        let shifted = set_up(&references).expect("a set-up").apply(at) - at;
        let claimed = shift_at(&exact, i, by, at).expect("a reference");
        assert!((shifted - claimed).norm() < 5e-3 * claimed.norm(), "{i}");
    }
}

/// No move on the border of detection shifts the point by more than the worst shift, and the move
/// given does shift it by that.
#[test]
fn the_worst_shift_is_the_worst() {
    let n = 6;
    let alpha = 0.05 / n as f64;
    let at = Vec3::new(-600.0, 450.0, 230.0);
    let exact = fitted(n);
    let worst = worst_shift(&exact, at, alpha).expect("references");
    let most = worst.shift_mm.expect("bounded");
    let done = shift_at(&exact, worst.reference, worst.by_move, at).expect("a reference");
    assert!((done.norm() - most).abs() < 1e-9);

    let needed = stats::noncentrality(alpha, 3, POWER);
    let mut noise = Noise::seeded(32);
    let mut nearest: f64 = 0.0;
    for k in 0..6000 {
        let i = k % n;
        let direction = noise.vector().normalize();
        let p = datumtrail_geometry::sensitivity::weight_block(&exact, i, i).expect("a block");
        let by = direction * (needed / direction.dot(&(p * direction))).sqrt();
        let shift = shift_at(&exact, i, by, at).expect("a reference").norm();
        assert!(shift <= most * (1.0 + 1e-9));
        nearest = nearest.max(shift);
    }
    assert!(nearest > 0.98 * most, "{nearest} {most}");
}

#[test]
fn with_three_points_any_move_hides_across_their_plane() {
    let set_up = set_up(&passenger_cell(3)).expect("a set-up");
    let detectable = smallest_detectable(&set_up, 0, 0.05 / 3.0).expect("a reference");
    assert_eq!(detectable.worst_mm, None);
    assert!(detectable.worst_direction.z.abs() > 0.99);
    let worst = worst_shift(&set_up, Vec3::zeros(), 0.05 / 3.0).expect("references");
    assert_eq!(worst.shift_mm, None);
    assert!(smallest_detectable(&set_up, 3, 0.05).is_none());
}

#[test]
fn a_check_says_what_could_be_hidden() {
    let targets = published_sheet(3.0);
    let survey = readings(&targets, &Instrument::somewhere(), Some(0.5), |_| {
        Vec3::zeros()
    });
    let references = six_references();
    let six = check(&Request::new(&survey, &targets, &references)).expect("an answer");
    let hidden = six.setup.hidden.as_ref().expect("stated");
    assert!(
        hidden
            .smallest_detectable_mm
            .is_some_and(|mm| (2.0..6.0).contains(&mm))
    );
    assert!(references.contains(&hidden.weakest_reference));
    assert!(hidden.to_string().contains("four times in five"));
    let three = names(&["A", "A'", "B"]);
    let few = check(&Request::new(&survey, &targets, &three)).expect("an answer");
    let hidden = few.setup.hidden.as_ref().expect("stated");
    assert_eq!(
        (hidden.smallest_detectable_mm, hidden.shift_mm),
        (None, None)
    );
    assert!(hidden.to_string().contains("any amount"));
    let said: Vec<String> = few.setup.warnings.iter().map(ToString::to_string).collect();
    assert!(
        said.iter().any(|w| w.starts_with("Weak geometry")),
        "{said:?}"
    );
}
