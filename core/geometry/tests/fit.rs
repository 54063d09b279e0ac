//! The set-up against scipy, and its covariances against simulation.

mod vehicle;

use datumtrail_geometry::fit::{FitError, Reference, SetUp, set_up};
use datumtrail_geometry::frame::{Mat3, Vec3};
use nalgebra::{DMatrix, Matrix6};
use serde_json::Value;
use vehicle::{Instrument, Noise, published_sheet};

/// Made by `tests/reference/fit.py` with scipy (Rotation.align_vectors, optimize.least_squares).
const SCIPY: &str = include_str!("reference/fit.json");

fn numbers(v: &Value) -> Vec<f64> {
    match v {
        Value::Array(list) => list.iter().flat_map(numbers).collect(),
        _ => vec![v.as_f64().expect("a number")],
    }
}

fn vector(v: &Value) -> Vec3 {
    Vec3::from_row_slice(&numbers(v))
}

fn matrix(v: &Value) -> Mat3 {
    Mat3::from_row_slice(&numbers(v))
}

fn cases(kind: &str) -> Vec<Value> {
    let all: Value = serde_json::from_str(SCIPY).expect("fit.json");
    all[kind].as_array().expect("a list").clone()
}

#[test]
fn equal_weights_agree_with_align_vectors() {
    let cases = cases("equal");
    assert_eq!(cases.len(), 6);
    for case in cases {
        let references: Vec<Reference> = case["reading"]
            .as_array()
            .expect("points")
            .iter()
            .zip(case["target"].as_array().expect("points"))
            .map(|(q, p)| Reference {
                reading: vector(q),
                reading_covariance: Mat3::identity(),
                target: vector(p),
                target_covariance: Mat3::zeros(),
            })
            .collect();
        let found = set_up(&references).expect("a set-up");
        assert!((found.rotation - matrix(&case["rotation"])).amax() < 1e-12);
        assert!((found.translation - vector(&case["translation"])).amax() < 1e-8);
    }
}

fn weighted_references(case: &Value) -> Vec<Reference> {
    let list = |key: &str| case[key].as_array().expect("points").clone();
    (list("reading").iter().zip(list("own")))
        .zip(list("target").iter().zip(list("printed")))
        .map(|((q, own), (p, printed))| Reference {
            reading: vector(q),
            reading_covariance: matrix(&own),
            target: vector(p),
            target_covariance: matrix(&printed),
        })
        .collect()
}

#[test]
fn full_weights_agree_with_least_squares() {
    let cases = cases("weighted");
    assert_eq!(cases.len(), 6);
    let mut judged_by_others = 0;
    for case in cases {
        let found = set_up(&weighted_references(&case)).expect("a set-up");
        let placed = found.rotation * Vec3::new(1000.0, 1000.0, 1000.0) + found.translation;
        let theirs = matrix(&case["rotation"]) * Vec3::new(1000.0, 1000.0, 1000.0)
            + vector(&case["translation"]);
        assert!((placed - theirs).amax() < 1e-6, "{}", placed - theirs);
        assert!((found.centroid - vector(&case["centroid"])).amax() < 1e-5);
        let chi2 = case["chi2"].as_f64().expect("a number");
        assert!((found.chi2 - chi2).abs() < 1e-8 * chi2);

        // Their Jacobian is by differences, so the covariance agrees to some parts per million.
        let theirs = Matrix6::from_row_slice(&numbers(&case["covariance"]));
        assert!(same_covariance(&found.covariance, &theirs, 1e-5));

        let without = &case["without"];
        if without.is_null() {
            continue;
        }
        judged_by_others += 1;
        let index = without["index"].as_u64().expect("an index") as usize;
        let judged = found.judge_by_the_others(index).expect("a reference");
        assert_eq!(judged.unchecked, [false; 3]);
        assert!((judged.deviation - vector(&without["deviation"])).amax() < 1e-5);
        // scipy's own covariance is turned by the full set-up's rotation and so is ours.
        let theirs = matrix(&without["covariance"]);
        assert!((judged.covariance() - theirs).amax() < 1e-4 * theirs.amax());
    }
    assert_eq!(judged_by_others, 5);
}

/// Equal within `part` of the standard uncertainties.
fn same_covariance(a: &Matrix6<f64>, b: &Matrix6<f64>, part: f64) -> bool {
    (0..6).all(|i| {
        (0..6).all(|k| (a[(i, k)] - b[(i, k)]).abs() < part * (b[(i, i)] * b[(k, k)]).sqrt())
    })
}

/// Reference points and one other on the published sheet, each reading uncertain by axis.
fn uneven_problem() -> (Vec<Reference>, Vec3, Mat3) {
    let sheet = published_sheet(3.0);
    let instrument = Instrument::somewhere();
    let own = |k: usize| {
        let k = k as f64;
        Mat3::from_diagonal(&Vec3::new(0.1 + 0.02 * k, 0.6, 1.2 - 0.1 * k)) // mm^2
    };
    let wanted = ["A", "A'", "G", "G'", "B"];
    let references = wanted
        .iter()
        .enumerate()
        .map(|(k, name)| {
            let t = sheet
                .iter()
                .find(|t| t.point == *name)
                .expect("on the sheet");
            Reference {
                reading: instrument.sees(t.position_mm),
                reading_covariance: own(k),
                target: t.position_mm,
                target_covariance: t.print_covariance_mm2,
            }
        })
        .collect();
    let other = sheet.iter().find(|t| t.point == "J").expect("on the sheet");
    (references, instrument.sees(other.position_mm), own(2))
}

/// The set-up with noise of the stated covariances on readings and sheet positions.
fn disturbed(references: &[Reference], noise: &mut Noise) -> SetUp {
    let list: Vec<Reference> = references
        .iter()
        .map(|r| Reference {
            reading: r.reading + noise.with(&r.reading_covariance),
            target: r.target + noise.with(&r.target_covariance),
            ..*r
        })
        .collect();
    set_up(&list).expect("a set-up")
}

/// Sample covariance about a known mean of zero.
fn sample_covariance(samples: &[Vec<f64>]) -> DMatrix<f64> {
    let size = samples[0].len();
    let mut sum = DMatrix::zeros(size, size);
    for s in samples {
        let v = nalgebra::DVector::from_column_slice(s);
        sum += &v * v.transpose();
    }
    sum / samples.len() as f64
}

/// Whether a sample covariance lies within `z` standard errors of the claimed one, everywhere:
/// the variance of a sample covariance of n normal draws is (s_ii s_kk + s_ik^2) / n.
fn assert_simulated(claimed: &DMatrix<f64>, sample: &DMatrix<f64>, n: usize, z: f64) {
    for i in 0..claimed.nrows() {
        for k in 0..claimed.ncols() {
            let c = |i: usize, k: usize| claimed[(i, k)];
            let error = ((c(i, i) * c(k, k) + c(i, k).powi(2)) / n as f64).sqrt();
            let off = (sample[(i, k)] - c(i, k)).abs();
            assert!(off < z * error, "({i}, {k}): {off} off, {error} expected");
        }
    }
}

#[test]
fn covariances_agree_with_simulation() {
    const RUNS: usize = 4000;
    let (references, other, other_own) = uneven_problem();
    let exact = set_up(&references).expect("a set-up");
    assert!(exact.rms < 1e-9);
    let truth = exact.apply(other);
    let mut noise = Noise::seeded(1);
    let mut together = Vec::with_capacity(RUNS);
    let mut by_others = Vec::with_capacity(RUNS);
    for _ in 0..RUNS {
        let found = disturbed(&references, &mut noise);
        let placed = found.apply(other + noise.with(&other_own)) - truth;
        let judged = found.judge_by_the_others(4).expect("a reference");
        let mut row: Vec<f64> = placed.iter().copied().collect();
        row.extend(found.residuals[0].iter().chain(found.residuals[3].iter()));
        together.push(row);
        by_others.push(judged.deviation.iter().copied().collect::<Vec<f64>>());
    }

    // Another point, two residuals, and nothing between the two kinds.
    let mut claimed = DMatrix::zeros(9, 9);
    let placed = exact.place(other, other_own);
    claimed
        .view_mut((0, 0), (3, 3))
        .copy_from(&placed.covariance);
    for (at, i) in [(3, 0), (6, 3)] {
        for (to, k) in [(3, 0), (6, 3)] {
            let mut block = -exact.covariance_between(references[i].target, references[k].target);
            if i == k {
                block += exact.reference_covariance(&references[i]);
            }
            claimed.view_mut((at, to), (3, 3)).copy_from(&block);
        }
    }
    assert_simulated(&claimed, &sample_covariance(&together), RUNS, 4.5);

    let judged = exact
        .judge_by_the_others(4)
        .expect("a reference")
        .covariance();
    let claimed = DMatrix::from_column_slice(3, 3, judged.as_slice());
    assert_simulated(&claimed, &sample_covariance(&by_others), RUNS, 4.5);
}

#[test]
fn chi_square_is_what_it_claims() {
    const RUNS: usize = 4000;
    let (references, ..) = uneven_problem();
    let mut noise = Noise::seeded(2);
    let mut sum = 0.0;
    let mut failed = 0;
    for _ in 0..RUNS {
        let found = disturbed(&references, &mut noise);
        sum += found.chi2;
        failed += usize::from(found.chi2_probability() < 0.05);
    }
    // 5 points: 9 degrees of freedom; the mean's standard error is sqrt(18 / 4000) = 0.067.
    let mean = sum / RUNS as f64;
    assert!((mean - 9.0).abs() < 4.0 * 0.067, "{mean}");
    // 5 % false alarms; the standard error is sqrt(0.05 * 0.95 / 4000) = 0.0034.
    let rate = failed as f64 / RUNS as f64;
    assert!((rate - 0.05).abs() < 4.0 * 0.0034, "{rate}");
}

#[test]
fn judging_by_the_others_is_the_printed_formula_to_first_order() {
    let (references, ..) = uneven_problem();
    let mut noise = Noise::seeded(3);
    let found = disturbed(&references, &mut noise);
    for (i, r) in references.iter().enumerate() {
        let x = found.apply(found.references()[i].reading);
        let s = found.reference_covariance(r);
        let own = s - found.covariance_between(x, x);
        let by_formula = s * own.try_inverse().expect("regular") * found.residuals[i];
        let judged = found.judge_by_the_others(i).expect("a reference");
        assert!(
            (judged.deviation - by_formula).amax() < 0.01,
            "{by_formula}"
        );
        let covariance = s * own.try_inverse().expect("regular") * s;
        assert!((judged.covariance() - covariance).amax() < 0.01 * covariance.amax());
    }
}

#[test]
fn three_references_leave_each_other_unchecked_across_their_plane() {
    // All three at one height, so that only height is open.
    let at = [[0.0, -400.0, 70.0], [0.0, 400.0, 70.0], [1900.0, 0.0, 70.0]];
    let references: Vec<Reference> = at
        .iter()
        .map(|&p| Reference {
            reading: p.into(),
            reading_covariance: Mat3::identity() * 0.25,
            target: p.into(),
            target_covariance: Mat3::zeros(),
        })
        .collect();
    let found = set_up(&references).expect("a set-up");
    for i in 0..3 {
        let judged = found.judge_by_the_others(i).expect("a reference");
        assert_eq!(judged.unchecked, [false, false, true], "point {i}");
    }
    assert!(found.judge_by_the_others(3).is_none());

    // In a tilted plane, the open turn moves a point along two axes.
    let tilted: Vec<Reference> = at
        .iter()
        .map(|&[x, y, _]| Reference {
            reading: Vec3::new(x, y, 0.2 * x),
            reading_covariance: Mat3::identity() * 0.25,
            target: Vec3::new(x, y, 0.2 * x),
            target_covariance: Mat3::zeros(),
        })
        .collect();
    let judged = set_up(&tilted)
        .expect("a set-up")
        .judge_by_the_others(2)
        .expect("a reference");
    assert_eq!(judged.unchecked, [true, false, true]);
}

#[test]
fn four_references_of_which_three_are_on_a_line() {
    let at = [
        [0.0, 0.0, 0.0],
        [900.0, 0.0, 0.0],
        [1900.0, 0.0, 0.0],
        [900.0, 600.0, 0.0],
    ];
    let references: Vec<Reference> = at
        .iter()
        .map(|&p| Reference {
            reading: p.into(),
            reading_covariance: Mat3::identity() * 0.25,
            target: p.into(),
            target_covariance: Mat3::zeros(),
        })
        .collect();
    let found = set_up(&references).expect("a set-up");
    let off_the_line = found.judge_by_the_others(3).expect("a reference");
    assert_eq!(off_the_line.unchecked, [false, false, true]);
    let on_the_line = found.judge_by_the_others(1).expect("a reference");
    assert_eq!(on_the_line.unchecked, [false; 3]);
}

#[test]
fn what_is_refused() {
    let good = |p: [f64; 3]| Reference {
        reading: p.into(),
        reading_covariance: Mat3::identity() * 0.25,
        target: p.into(),
        target_covariance: Mat3::zeros(),
    };
    let three = [[0.0, 0.0, 0.0], [1000.0, 0.0, 0.0], [0.0, 800.0, 0.0]].map(good);
    assert!(set_up(&three).is_ok());
    assert_eq!(set_up(&three[..2]), Err(FitError::TooFew { given: 2 }));
    assert_eq!(set_up(&[]), Err(FitError::TooFew { given: 0 }));
    assert_eq!(set_up(&[three[0]; 4]), Err(FitError::Coincident));

    let line = [0.0, 700.0, 2000.0].map(|x| good([x, 0.5 * x, 10.0]));
    assert_eq!(set_up(&line), Err(FitError::Collinear));

    // 20 mm off a line of 2 m at u = 0.5 mm: a turn uncertain by 0.5 / 20 / sqrt(2/3) = 1.75 degrees.
    let nearly = [[0.0, 0.0, 0.0], [1000.0, 20.0, 0.0], [2000.0, 0.0, 0.0]].map(good);
    let Err(FitError::NearlyCollinear { degrees }) = set_up(&nearly) else {
        panic!("accepted");
    };
    assert!((degrees - 1.75).abs() < 0.02, "{degrees}");
    // A better instrument may use the same points.
    let better = nearly.map(|r| Reference {
        reading_covariance: Mat3::identity() * 0.01,
        ..r
    });
    assert!(set_up(&better).is_ok());

    let mut broken = three;
    broken[1].reading.x = f64::NAN;
    assert_eq!(set_up(&broken), Err(FitError::NotFinite { index: 1 }));
    let mut certain = three;
    certain[2].reading_covariance = Mat3::zeros();
    assert_eq!(set_up(&certain), Err(FitError::BadCovariance { index: 2 }));
}

#[test]
fn a_mirrored_set_stays_a_rotation() {
    let (mut references, ..) = uneven_problem();
    for r in &mut references {
        r.reading.y = -r.reading.y;
    }
    let found = set_up(&references).expect("a set-up, however bad");
    assert!((found.rotation.determinant() - 1.0).abs() < 1e-12);
    assert!(found.chi2_probability() < 1e-6);
}

#[test]
fn scaling_uses_the_scatter_and_never_flatters() {
    let (references, other, own) = uneven_problem();
    let mut noise = Noise::seeded(4);
    let worse: Vec<Reference> = references
        .iter()
        .map(|r| Reference {
            reading: r.reading + noise.with(&(r.reading_covariance * 9.0)),
            ..*r
        })
        .collect();
    let found = set_up(&worse).expect("a set-up");
    let factor = found.chi2 / 9.0;
    assert!(factor > 2.0);
    let scaled = found.clone().scaled();
    assert!((scaled.variance_factor - factor).abs() < 1e-12);
    let before = found.place(other, own).covariance;
    let after = scaled.place(other, own).covariance;
    assert!((after - before * factor).amax() < 1e-9);
    assert_eq!(scaled.clone().scaled(), scaled);

    let exact = set_up(&references).expect("a set-up");
    assert_eq!(exact.scaled().variance_factor, 1.0);
}
