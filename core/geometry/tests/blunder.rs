//! Blunders made on purpose on a published sheet.

mod vehicle;

use datumtrail_geometry::blunder::{Blunder, OtherSheet, Proposal, corrected, propose};
use datumtrail_geometry::check::{Reading, Request, Target, check};
use datumtrail_geometry::frame::{Mat3, Vec3};
use vehicle::{Instrument, Noise, names, published_sheet, readings, six_references};

/// An honest survey, uncertain by 0.4 mm, with the front driven in.
fn survey(seed: u64) -> (Vec<Target>, Vec<Reading>) {
    let targets = published_sheet(3.0);
    let mut noise = Noise::seeded(seed);
    let mut list = readings(&targets, &Instrument::somewhere(), Some(0.4), |p| match p {
        "H" => Vec3::new(14.0, 6.0, -3.0),
        "C" => Vec3::new(9.0, 2.0, 1.0),
        _ => Vec3::zeros(),
    });
    for r in &mut list {
        r.position_mm += noise.vector() * 0.4;
    }
    (targets, list)
}

fn at(list: &mut [Reading], point: &str) -> usize {
    list.iter()
        .position(|r| r.point == point)
        .expect("a reading")
}

fn found(targets: &[Target], list: &[Reading]) -> Vec<Proposal> {
    let references = six_references();
    propose(&Request::new(list, targets, &references), &[]).expect("an answer")
}

/// The best proposal, whose correction must make the survey sound.
fn assert_proposed(targets: &[Target], list: &[Reading], blunder: &Blunder) {
    let proposals = found(targets, list);
    let best = proposals
        .first()
        .unwrap_or_else(|| panic!("nothing for {blunder:?}"));
    assert_eq!(best.blunder, *blunder, "{proposals:#?}");
    assert!(best.after < 4.0 && best.before > 16.0 * best.after);
    assert!(best.rms_after_mm < 2.0);
    let references = six_references();
    let set_right = corrected(&best.blunder, list, targets);
    let answer = check(&Request::new(&set_right, targets, &references)).expect("an answer");
    assert!(!answer.setup.doubtful);
    assert!(
        answer
            .points
            .iter()
            .all(|p| p.distance_mm.is_some_and(|mm| mm < 20.0))
    );
}

#[test]
fn honest_surveys_call_for_nothing() {
    for seed in 0..60 {
        let (targets, list) = survey(seed);
        assert_eq!(found(&targets, &list), []);
    }
    // Nor does a single reference point that moved.
    for seed in 0..60 {
        let (targets, mut list) = survey(seed);
        let g = at(&mut list, "G");
        list[g].position_mm += Noise::seeded(seed + 1000).vector().normalize() * 9.0;
        assert_eq!(found(&targets, &list), [], "{seed}");
    }
}

#[test]
fn labels_of_two_references_swapped() {
    let (targets, mut list) = survey(1);
    let (a, b) = (at(&mut list, "A"), at(&mut list, "B'"));
    list[a].point = "B'".into();
    list[b].point = "A".into();
    let (a, b) = ("A".to_string(), "B'".to_string());
    assert_proposed(&targets, &list, &Blunder::LabelsSwapped { a, b });
}

#[test]
fn labels_of_a_reference_and_another_point_swapped() {
    let (targets, mut list) = survey(2);
    let (b, b1) = (at(&mut list, "B"), at(&mut list, "B1"));
    list[b].point = "B1".into();
    list[b1].point = "B".into();
    let (a, b) = ("B".to_string(), "B1".to_string());
    assert_proposed(&targets, &list, &Blunder::LabelsSwapped { a, b });
}

#[test]
fn labels_of_two_other_points_swapped() {
    let (targets, mut list) = survey(3);
    let (d, j) = (at(&mut list, "D"), at(&mut list, "J"));
    list[d].point = "J".into();
    list[j].point = "D".into();
    let (a, b) = ("D".to_string(), "J".to_string());
    assert_proposed(&targets, &list, &Blunder::LabelsSwapped { a, b });
    assert!(!found(&targets, &list)[0].concerns_set_up);
}

#[test]
fn inches_and_other_units() {
    for (typed, factor) in [
        (25.4, 25.4),
        (10.0, 10.0),
        (1000.0, 1000.0),
        (1.0 / 25.4, 1.0 / 25.4),
    ] {
        let (targets, mut list) = survey(4);
        for r in &mut list {
            r.position_mm /= typed;
        }
        assert_proposed(&targets, &list, &Blunder::Units { factor });
    }
}

#[test]
fn an_axis_with_the_wrong_sign_or_sides_exchanged() {
    let (targets, mut list) = survey(5);
    let mirror = Mat3::from_diagonal(&Vec3::new(1.0, 1.0, -1.0));
    for r in &mut list {
        r.position_mm = mirror * r.position_mm;
    }
    // The reference points are symmetrical, so exchanged labels would explain it as well.
    let kinds: Vec<Blunder> = found(&targets, &list)
        .into_iter()
        .map(|p| p.blunder)
        .collect();
    assert_eq!(kinds.len(), 2, "{kinds:?}");
    assert!(kinds.contains(&Blunder::AxisSign) && kinds.contains(&Blunder::SidesExchanged));

    let (targets, mut list) = survey(6);
    for r in &mut list {
        r.point = match r.point.strip_suffix('\'') {
            Some(left) => left.to_string(),
            None if r.point == "M" => r.point.clone(),
            None => format!("{}'", r.point),
        };
    }
    let proposals = found(&targets, &list);
    let exchanged = proposals
        .iter()
        .find(|p| p.blunder == Blunder::SidesExchanged)
        .expect("proposed");
    assert!(exchanged.after < 4.0);
    let back = corrected(&exchanged.blunder, &list, &targets);
    let references = six_references();
    let answer = check(&Request::new(&back, &targets, &references)).expect("an answer");
    assert!(!answer.setup.doubtful);
    // J and L are not symmetrical: they tell exchanged labels from a mirrored frame.
    assert!(
        answer
            .point("J")
            .expect("J")
            .distance_mm
            .is_some_and(|mm| mm < 3.0)
    );
}

#[test]
fn a_decimal_point_shifted() {
    for (point, coordinate, factor) in [("G'", 1, 10.0), ("B", 0, 0.1), ("L", 2, 10.0)] {
        let (targets, mut list) = survey(7);
        let k = at(&mut list, point);
        list[k].position_mm[coordinate] /= factor;
        let point = point.to_string();
        let blunder = Blunder::DecimalShifted {
            point,
            coordinate,
            factor,
        };
        assert_proposed(&targets, &list, &blunder);
    }
}

#[test]
fn a_sign_lost_and_one_reading_in_inches() {
    let (targets, mut list) = survey(8);
    let k = at(&mut list, "A'");
    list[k].position_mm[1] *= -1.0;
    let point = "A'".to_string();
    assert_proposed(
        &targets,
        &list,
        &Blunder::ReadingSign {
            point,
            coordinate: 1,
        },
    );

    let (targets, mut list) = survey(9);
    let k = at(&mut list, "J'");
    list[k].position_mm /= 25.4;
    let point = "J'".to_string();
    assert_proposed(
        &targets,
        &list,
        &Blunder::ReadingUnits {
            point,
            factor: 25.4,
        },
    );
}

#[test]
fn the_sheet_of_another_vehicle() {
    let (targets, list) = survey(10);
    // A stretched and widened sister of the vehicle.
    let other: Vec<Target> = targets
        .iter()
        .map(|t| Target {
            position_mm: t.position_mm.component_mul(&Vec3::new(1.06, 1.02, 1.0)),
            ..t.clone()
        })
        .collect();
    let references = six_references();
    let request = Request::new(&list, &other, &references);
    let sheets = [OtherSheet {
        name: "the short one",
        targets: &targets,
    }];
    let proposals = propose(&request, &sheets).expect("an answer");
    let sheet = "the short one".to_string();
    assert_eq!(proposals[0].blunder, Blunder::OtherSheet { sheet });
    assert!(proposals[0].to_string().contains("the short one"));
    // Without it, nothing else explains the misfit.
    assert_eq!(propose(&request, &[]).expect("an answer"), []);
}

#[test]
fn without_stated_uncertainty_too() {
    let (targets, mut list) = survey(11);
    for r in &mut list {
        r.covariance_mm2 = None;
    }
    let (a, g) = (at(&mut list, "A"), at(&mut list, "G"));
    list[a].point = "G".into();
    list[g].point = "A".into();
    let (a, b) = ("A".to_string(), "G".to_string());
    assert_eq!(
        found(&targets, &list)[0].blunder,
        Blunder::LabelsSwapped { a, b }
    );
}

#[test]
fn refused_as_a_check_is() {
    let (targets, list) = survey(12);
    let references = names(&["A", "A'", "nowhere"]);
    assert!(propose(&Request::new(&list, &targets, &references), &[]).is_err());
    let references = names(&["A", "A'"]);
    assert!(propose(&Request::new(&list, &targets, &references), &[]).is_err());
}
