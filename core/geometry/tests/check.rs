//! Whole surveys on a published sheet.

mod vehicle;

use datumtrail_geometry::check::{
    Check, CheckError, Options, Reading, Request, Target, Warning, check,
};
use datumtrail_geometry::fit::FitError;
use datumtrail_geometry::frame::{Axis, Mat3, Vec3};
use datumtrail_geometry::rule::{Failure, Rule, meets};
use datumtrail_geometry::verdict::Verdict;
use nalgebra::DVector;
use vehicle::{Instrument, Noise, names, published_sheet, readings, six_references};

fn still(_: &str) -> Vec3 {
    Vec3::zeros()
}

fn deviation(answer: &Check, point: &str) -> Vec3 {
    let p = answer.point(point).expect("on the sheet");
    Vec3::from_iterator(Axis::ALL.map(|a| p.axis(a).deviation_mm.expect("measured")))
}

/// Without noise, a known transform and known displacements come back to 1e-6 mm.
#[test]
fn published_sheet_exactly() {
    let targets = published_sheet(3.0);
    let displaced = |point: &str| match point {
        "H" => Vec3::new(12.5, -3.25, 6.0),
        "C" => Vec3::new(4.0, 0.5, -1.0),
        "J'" => Vec3::new(-7.5, 2.0, 0.125),
        _ => Vec3::zeros(),
    };
    let survey = readings(&targets, &Instrument::somewhere(), Some(0.5), displaced);
    let references = six_references();
    let answer = check(&Request::new(&survey, &targets, &references)).expect("an answer");

    assert_eq!(answer.points.len(), 23);
    assert!(answer.setup.rms_mm < 1e-6);
    assert_eq!(answer.setup.dof, 12);
    for t in &targets {
        let off = deviation(&answer, &t.point) - displaced(&t.point);
        assert!(off.amax() < 1e-6, "{}: {off}", t.point);
    }
    assert_eq!(
        answer.point("H").expect("H").length.verdict,
        Verdict::Outside
    );
    assert_eq!(answer.point("L").expect("L").width.verdict, Verdict::Inside);
    assert!(answer.point("A").expect("A").is_reference);
}

/// Even a reference point that moved 10 mm is measured exactly by the five others.
#[test]
fn a_moved_reference_is_judged_by_the_others() {
    let targets = published_sheet(3.0);
    let moved = Vec3::new(10.0, 0.0, 2.0);
    let displaced = |p: &str| if p == "G" { moved } else { Vec3::zeros() };
    let survey = readings(&targets, &Instrument::somewhere(), Some(0.5), displaced);
    let references = six_references();
    let request = Request {
        options: Options {
            screen: false,
            ..Options::default()
        },
        ..Request::new(&survey, &targets, &references)
    };
    let answer = check(&request).expect("an answer");
    assert!((deviation(&answer, "G") - moved).amax() < 1e-6);
    let g = answer.point("G").expect("G");
    let residual = Vec3::from(g.residual_mm.expect("a reference"));
    assert!(residual.norm() < 0.85 * moved.norm(), "{residual}");

    // The set-up cannot be trusted, so nothing is inside and no rule is met.
    assert!(answer.setup.doubtful);
    assert!(matches!(
        answer.setup.warnings[0],
        Warning::SetUpTestFailed { .. }
    ));
    let inside = |p: &datumtrail_geometry::check::PointResult| {
        Axis::ALL
            .iter()
            .any(|&a| p.axis(a).verdict == Verdict::Inside)
    };
    assert!(!answer.points.iter().any(inside));
    let asked = meets(Rule::Simple, &answer, &["L"]);
    assert_eq!(asked.failures[0], Failure::SetUpTestFailed);
}

/// Within the stated uncertainty, for a thousand seeds: the 95 % intervals of all axes of all
/// points, reference points included, hold the truth in 93 to 97 % of the cases, and so do the
/// joint 95 % regions of all other points together.
#[test]
fn coverage_over_a_thousand_seeds() {
    let targets = published_sheet(3.0);
    let instrument = Instrument::somewhere();
    let references = six_references();
    let displaced = |point: &str| match point {
        "H" => Vec3::new(12.5, -3.25, 6.0),
        "C" => Vec3::new(4.0, 0.5, -1.0),
        _ => Vec3::zeros(),
    };
    // An instrument that is worse in one of its own directions.
    let own = Mat3::from_diagonal(&Vec3::new(0.09, 0.09, 0.64));
    let truth: Vec<Vec3> = targets.iter().map(|t| displaced(&t.point)).collect();
    let (mut held, mut asked) = (0u32, 0u32);
    let (mut held_reference, mut asked_reference) = (0u32, 0u32);
    let mut held_jointly = 0u32;
    for seed in 0..1000 {
        let mut noise = Noise::seeded(seed);
        // The print is the truth, rounded: its error has the variance of rounding.
        let printed: Vec<Target> = targets
            .iter()
            .map(|t| Target {
                position_mm: t.position_mm + noise.with(&t.print_covariance_mm2),
                ..t.clone()
            })
            .collect();
        let survey: Vec<Reading> = targets
            .iter()
            .zip(&truth)
            .map(|(t, d)| Reading {
                point: t.point.clone(),
                position_mm: instrument.sees(t.position_mm + d) + noise.with(&own),
                covariance_mm2: Some(own),
            })
            .collect();
        let answer = check(&Request::new(&survey, &printed, &references)).expect("an answer");
        for (p, d) in answer.points.iter().zip(&truth) {
            for axis in Axis::ALL {
                let on_axis = p.axis(axis);
                let (Some(found), Some(u)) = (on_axis.deviation_mm, on_axis.u_mm) else {
                    panic!("{} was measured", p.point);
                };
                let hit = u32::from((found - d[axis.index()]).abs() <= 1.959_964 * u);
                if p.is_reference {
                    held_reference += hit;
                    asked_reference += 1;
                } else {
                    held += hit;
                    asked += 1;
                }
            }
        }
        let all = answer.deviations().expect("stated");
        let others: Vec<usize> = (0..all.points.len())
            .filter(|&i| !all.points[i].is_reference)
            .flat_map(|i| [3 * i, 3 * i + 1, 3 * i + 2])
            .collect();
        let true_values: Vec<f64> = truth.iter().flat_map(|d| [d.x, d.y, d.z]).collect();
        let off = DVector::from_iterator(
            others.len(),
            others.iter().map(|&k| all.values[k] - true_values[k]),
        );
        let covariance = all.covariance.select_rows(&others).select_columns(&others);
        let solved = covariance
            .cholesky()
            .expect("positive definite")
            .solve(&off);
        let critical = datumtrail_geometry::stats::chi2_critical(0.05, others.len());
        held_jointly += u32::from(off.dot(&solved) <= critical);
    }
    let share = |a: u32, b: u32| f64::from(a) / f64::from(b);
    let single = share(held, asked);
    assert!((0.93..=0.97).contains(&single), "{single}");
    let reference = share(held_reference, asked_reference);
    assert!((0.93..=0.97).contains(&reference), "{reference}");
    let joint = share(held_jointly, 1000);
    assert!((0.93..=0.97).contains(&joint), "{joint}");
    println!("coverage: {single:.4}, references {reference:.4}, joint {joint:.4}");
}

/// Common practice: a replacement rail section sits 7 to 8 mm too deep in its joint while all
/// behind the joint is in place. Only the measurement finds it, and it must call it outside.
#[test]
fn a_rail_section_too_deep_is_outside() {
    let targets = published_sheet(3.0);
    // Front section H and C, pushed rearward into the joint.
    let displaced = |point: &str| match point {
        "H" | "C" => Vec3::new(7.5, 0.0, 0.0),
        _ => Vec3::zeros(),
    };
    let mut noise = Noise::seeded(11);
    let mut survey = readings(&targets, &Instrument::somewhere(), Some(0.4), displaced);
    for r in &mut survey {
        r.position_mm += noise.vector() * 0.4;
    }
    let references = six_references();
    let answer = check(&Request::new(&survey, &targets, &references)).expect("an answer");
    assert!(!answer.setup.doubtful);
    for p in &answer.points {
        let expected = if ["H", "C"].contains(&p.point.as_str()) {
            Verdict::Outside
        } else {
            Verdict::Inside
        };
        assert_eq!(p.length.verdict, expected, "{}", p.point);
    }
    let h = answer.point("H").expect("H");
    let (d, u) = (h.length.deviation_mm.expect("d"), h.length.u_mm.expect("u"));
    assert!((d - 7.5).abs() < 3.0 * u, "{d} +- {u}");

    let simple = meets(Rule::Simple, &answer, &["H", "C", "H'", "C'"]);
    assert!(!simple.met);
    assert_eq!(simple.failures.len(), 2);
    assert!(simple.failures.iter().all(|f| matches!(
        f,
        Failure::BeyondLimit {
            axis: Axis::Length,
            ..
        }
    )));
    assert!(meets(Rule::Simple, &answer, &["H'", "C'"]).met);
}

#[test]
fn without_stated_uncertainty_the_comparison_is_plain() {
    let targets = published_sheet(3.0);
    let displaced = |p: &str| Vec3::x() * if p == "H" { 3.5 } else { 0.0 };
    let survey = readings(&targets, &Instrument::somewhere(), None, displaced);
    let references = six_references();
    let answer = check(&Request::new(&survey, &targets, &references)).expect("an answer");
    assert_eq!((answer.setup.chi2, answer.setup.p), (None, None));
    assert!(
        answer
            .setup
            .warnings
            .contains(&Warning::UncertaintyNotStated)
    );
    assert!(answer.deviations().is_none());
    let h = answer.point("H").expect("H");
    assert_eq!(h.length.verdict, Verdict::Outside);
    assert!(!h.length.uncertainty_stated && h.length.u_mm.is_none());
    assert_eq!(
        answer.point("L").expect("L").length.verdict,
        Verdict::Inside
    );
    let asked = meets(Rule::Simple, &answer, &["L"]);
    assert!(matches!(
        asked.failures[0],
        Failure::UncertaintyNotStated { .. }
    ));

    // One reading without an uncertainty among others with one.
    let mut mixed = readings(&targets, &Instrument::somewhere(), Some(0.4), displaced);
    mixed
        .iter_mut()
        .find(|r| r.point == "L")
        .expect("L")
        .covariance_mm2 = None;
    let answer = check(&Request::new(&mixed, &targets, &references)).expect("an answer");
    let l = answer.point("L").expect("L");
    assert!(l.length.u_mm.is_none() && !l.length.uncertainty_stated);
    assert!(answer.point("H").expect("H").length.u_mm.is_some());
    let points = names(&["L"]);
    assert!(
        answer
            .setup
            .warnings
            .contains(&Warning::UncertaintyNotStatedFor { points })
    );
}

#[test]
fn points_missing_on_either_side() {
    let targets = published_sheet(3.0);
    let mut survey = readings(&targets, &Instrument::somewhere(), Some(0.4), still);
    survey.retain(|r| r.point != "L");
    let seen = Instrument::somewhere().sees(Vec3::new(100.0, 200.0, 300.0));
    survey.push(Reading::new("strut tower", seen.into(), Some(0.4)));
    let references = six_references();
    let answer = check(&Request::new(&survey, &targets, &references)).expect("an answer");
    let l = answer.point("L").expect("L");
    assert_eq!(l.height.verdict, Verdict::NotMeasured);
    assert_eq!((l.reading_mm, l.distance_mm), (None, None));
    let [tower] = &answer.not_on_sheet[..] else {
        panic!("one stranger");
    };
    assert!((Vec3::from(tower.reading_mm) - Vec3::new(100.0, 200.0, 300.0)).amax() < 1e-6);
    assert!(
        tower
            .u_mm
            .expect("stated")
            .iter()
            .all(|&u| u > 0.4 && u < 1.0)
    );
    let failures = meets(Rule::Guarded, &answer, &["L", "strut tower"]).failures;
    assert!(matches!(failures[0], Failure::NotMeasured { .. }));
    assert!(matches!(failures[1], Failure::NotOnSheet { .. }));
}

#[test]
fn three_references_are_unchecked_where_the_others_cannot_speak() {
    let targets = published_sheet(3.0);
    let survey = readings(&targets, &Instrument::somewhere(), Some(0.4), still);
    let references = names(&["A", "A'", "B"]);
    let answer = check(&Request::new(&survey, &targets, &references)).expect("an answer");
    assert_eq!(answer.setup.dof, 3);
    let b = answer.point("B").expect("B");
    assert_eq!(b.height.verdict, Verdict::Unchecked);
    assert_eq!((b.height.deviation_mm, b.distance_mm), (None, None));
    assert!(b.reading_mm.is_some());
    assert!(answer.setup.warnings.iter().any(|w| matches!(
        w,
        Warning::UncheckedReferences { points } if points.contains(&"B".to_string())
    )));
    assert!(answer.setup.warnings.contains(&Warning::FewReferences {
        used: 3,
        recommended: 6
    }));
    let failures = meets(Rule::Simple, &answer, &["B"]).failures;
    assert!(
        failures
            .iter()
            .any(|f| matches!(f, Failure::Unchecked { .. }))
    );
}

#[test]
fn the_rules() {
    let mut targets = published_sheet(3.0);
    targets[20].limits_mm = [Some(3.0), None, Some(0.5)];
    let point = targets[20].point.clone();
    let displaced = |p: &str| Vec3::x() * if p == "H" { 2.6 } else { 0.0 };
    let survey = readings(&targets, &Instrument::somewhere(), Some(0.4), displaced);
    let references = six_references();
    let answer = check(&Request::new(&survey, &targets, &references)).expect("an answer");

    // 2.6 of 3 mm: the simple rule passes it and lists it, the guarded one does not pass it.
    let simple = meets(Rule::Simple, &answer, &["H"]);
    assert!(simple.met);
    assert_eq!(simple.too_close_to_call.len(), 1);
    let guarded = meets(Rule::Guarded, &answer, &["H"]);
    assert!(matches!(
        guarded.failures[..],
        [Failure::NotSureEnough {
            axis: Axis::Length,
            ..
        }]
    ));
    assert!(meets(Rule::Guarded, &answer, &["H'"]).met);

    // No limit on one axis, and an uncertainty above a third of the limit on another.
    let failures = meets(Rule::Simple, &answer, &[&point]).failures;
    assert!(matches!(
        failures[..],
        [
            Failure::NoLimit {
                axis: Axis::Width,
                ..
            },
            Failure::TooUncertain {
                axis: Axis::Height,
                ..
            }
        ]
    ));
    assert!(answer.setup.warnings.iter().any(|w| matches!(
        w,
        Warning::CannotDecide { entries } if entries.len() == 1 && entries[0].point == point
    )));
    let nothing: [&str; 0] = [];
    assert_eq!(
        meets(Rule::Simple, &answer, &nothing).failures,
        [Failure::NothingChosen]
    );
}

#[test]
fn build_spread_loosens_the_set_up_only() {
    let targets = published_sheet(3.0);
    let survey = readings(&targets, &Instrument::somewhere(), Some(0.4), still);
    let references = six_references();
    let plain = Request::new(&survey, &targets, &references);
    let spread = Request {
        build_spread_mm: Some(1.0),
        ..plain
    };
    let without = check(&plain).expect("an answer");
    let with = check(&spread).expect("an answer");
    assert!(
        without
            .setup
            .warnings
            .contains(&Warning::BuildSpreadNotStated)
    );
    assert!(!with.setup.warnings.contains(&Warning::BuildSpreadNotStated));

    // The own part of a point, 0.4^2 + 1/12, stays; the set-up's part grows as the references'
    // covariance does, by (0.4^2 + 1/12 + 1) / (0.4^2 + 1/12).
    let own = 0.16 + 1.0 / 12.0;
    let part = |c: &Check, p: &str| c.point(p).expect("p").length.u_mm.expect("u").powi(2) - own;
    for point in ["H", "L", "A"] {
        let ratio = part(&with, point) / part(&without, point);
        assert!((ratio - (own + 1.0) / own).abs() < 1e-6, "{point}: {ratio}");
    }
    let joint = with.deviations().expect("stated");
    let movement = joint.covariance_for_movement();
    for (i, p) in joint.points.iter().enumerate() {
        let added = movement[(3 * i, 3 * i)] - joint.covariance[(3 * i, 3 * i)];
        assert!((added - if p.is_reference { 0.0 } else { 1.0 }).abs() < 1e-12);
    }
}

#[test]
fn the_instrument_may_be_called_worse_than_stated() {
    let targets = published_sheet(3.0);
    let mut noise = Noise::seeded(5);
    let mut survey = readings(&targets, &Instrument::somewhere(), Some(0.1), still);
    for r in &mut survey {
        r.position_mm += noise.vector();
    }
    let references = six_references();
    let plain = Request::new(&survey, &targets, &references);
    assert!(check(&plain).expect("an answer").setup.doubtful);
    let chosen = Request {
        options: Options {
            instrument_worse_than_stated: true,
            ..Options::default()
        },
        ..plain
    };
    let answer = check(&chosen).expect("an answer");
    assert!(!answer.setup.doubtful);
    let factor = answer.setup.warnings.iter().find_map(|w| match w {
        Warning::InstrumentScaled { factor, dof: 12 } => Some(*factor),
        _ => None,
    });
    let factor = factor.expect("said so");
    let before = check(&plain).expect("an answer");
    let u = |c: &Check| c.point("H").expect("H").height.u_mm.expect("u");
    assert!((u(&answer) / u(&before) - factor).abs() < 1e-9);
}

#[test]
fn what_is_refused_and_why() {
    let targets = published_sheet(3.0);
    let survey = readings(&targets, &Instrument::somewhere(), Some(0.4), still);
    let references = six_references();
    let refused = |survey: &[Reading], targets: &[Target], references: &[String]| {
        let error = check(&Request::new(survey, targets, references)).expect_err("refused");
        assert!(error.to_string().len() > 30);
        error
    };
    let point = |p: &str| p.to_string();

    let twice: Vec<Reading> = survey.iter().chain(&survey[..1]).cloned().collect();
    assert_eq!(
        refused(&twice, &targets, &references),
        CheckError::ReadTwice { point: point("A") }
    );
    let twice: Vec<Target> = targets.iter().chain(&targets[1..2]).cloned().collect();
    assert_eq!(
        refused(&survey, &twice, &references),
        CheckError::OnSheetTwice { point: point("A'") }
    );
    assert_eq!(
        refused(&survey, &targets, &names(&["A", "A'", "B", "A"])),
        CheckError::ReferenceTwice { point: point("A") }
    );
    assert_eq!(
        refused(&survey, &targets, &names(&["A", "A'", "Q"])),
        CheckError::ReferenceNotOnSheet { point: point("Q") }
    );
    assert_eq!(
        refused(&survey[1..], &targets, &references),
        CheckError::ReferenceNotMeasured { point: point("A") }
    );
    assert_eq!(
        refused(&survey, &targets, &names(&["A", "A'"])),
        CheckError::Fit(FitError::TooFew { given: 2 })
    );
    let mut broken = survey.clone();
    broken[3].position_mm.y = f64::INFINITY;
    let broken_at = broken[3].point.clone();
    assert_eq!(
        refused(&broken, &targets, &references),
        CheckError::BadReading { point: broken_at }
    );
    let mut broken = targets.clone();
    broken[3].position_mm.y = f64::NAN;
    assert!(matches!(
        refused(&survey, &broken, &references),
        CheckError::BadSheetPosition { .. }
    ));
    let mut broken = targets.clone();
    broken[3].limits_mm[1] = Some(0.0);
    assert!(matches!(
        refused(&survey, &broken, &references),
        CheckError::BadLimit {
            axis: Axis::Width,
            ..
        }
    ));
    let mut broken = survey.clone();
    broken[3].covariance_mm2 = Some(Mat3::new(1.0, 2.0, 0.0, 2.0, 1.0, 0.0, 0.0, 0.0, 1.0));
    assert!(matches!(
        refused(&broken, &targets, &references),
        CheckError::BadCovariance {
            what: "reading",
            ..
        }
    ));
    let request = Request {
        build_spread_mm: Some(-1.0),
        ..Request::new(&survey, &targets, &references)
    };
    assert_eq!(
        check(&request),
        Err(CheckError::BadBuildSpread { given_mm: -1.0 })
    );
}

#[test]
fn the_json_has_the_documented_names() {
    let targets = published_sheet(3.0);
    let survey = readings(&targets, &Instrument::somewhere(), Some(0.4), still);
    let references = six_references();
    let answer = check(&Request::new(&survey, &targets, &references)).expect("an answer");
    let json = serde_json::to_value(&answer).expect("JSON");
    for key in ["rms_mm", "dof", "chi2", "used", "moved", "warnings"] {
        assert!(json["setup"].get(key).is_some(), "{key}");
    }
    let h = &json["points"].as_array().expect("points")[0];
    for key in ["point", "side", "reading_mm", "spec_mm", "distance_mm"] {
        assert!(h.get(key).is_some(), "{key}");
    }
    for axis in ["length", "width", "height"] {
        for key in ["deviation_mm", "u_mm", "limit_mm", "p_inside", "verdict"] {
            assert!(h[axis].get(key).is_some(), "{axis} {key}");
        }
    }
    assert_eq!(h["length"]["verdict"], "inside");
}
