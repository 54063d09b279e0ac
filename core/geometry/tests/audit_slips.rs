//! The audit on sheets with known faults, and on invented sheets without any.

mod network_common;

use datumtrail_geometry::audit::{AuditError, End, Figure, Kind, Printed, Sheet, Station, audit};
use datumtrail_geometry::frame::{Side, Vec3};
use network_common::Random;

/// Renault, workshop repair manual for the Mégane Scénic (from 1995): see `published/README.md`.
/// Rounded to 0.1 mm where it is not whole.
fn megane() -> Sheet {
    let table = include_str!("published/megane-scenic-1995-underbody.csv");
    let mut sheet = Sheet::default();
    for row in table
        .lines()
        .skip(1)
        .map(|line| line.split(',').collect::<Vec<_>>())
    {
        let [point, side, _, x, y, z] = row[..] else {
            continue;
        };
        let number = |cell: &str| cell.parse::<f64>().expect("a number");
        let position = Vec3::new(number(x), number(y), number(z));
        let name = point.trim_end_matches('\'');
        let place = sheet
            .stations
            .iter()
            .position(|s| s.name == name)
            .unwrap_or_else(|| {
                let names = (name.to_owned(), format!("{name}'"));
                let station = Station {
                    side_names: Some(names),
                    ..Station::new(name, 0.1)
                };
                sheet.stations.push(station);
                sheet.stations.len() - 1
            });
        match side {
            "left" => sheet.stations[place].left = Some(position),
            _ => sheet.stations[place].right = Some(position),
        }
    }
    sheet
}

fn station<'s>(sheet: &'s mut Sheet, name: &str) -> &'s mut Station {
    sheet
        .stations
        .iter_mut()
        .find(|s| s.name == name)
        .expect("a station")
}

/// J and L are really asymmetric: listed, not doubted.
#[test]
fn asymmetric_pairs_are_listed() {
    let found = audit(&megane(), 0.05).expect("a sheet to audit");
    assert_eq!(found.doubts, []);
    let listed: Vec<(&str, Vec3)> = found
        .asymmetric
        .iter()
        .map(|a| (a.station.as_str(), a.difference))
        .collect();
    let expected = [
        ("J", Vec3::new(38.0, 2.0, 0.0)),
        ("L", Vec3::new(21.0, -2.5, 0.0)),
    ];
    assert_eq!(listed, expected);
    // eleven pairs, three coordinates each
    assert_eq!(
        found
            .tests
            .iter()
            .filter(|t| t.kind == Kind::Mirror)
            .count(),
        33
    );
}

#[test]
fn swapped_digits_in_one_coordinate_are_doubted() {
    let mut sheet = megane();
    station(&mut sheet, "D")
        .left
        .as_mut()
        .expect("a position")
        .x = 2170.0;
    let found = audit(&sheet, 0.05).expect("a sheet to audit");
    let [doubt] = &found.doubts[..] else {
        panic!("{:?}", found.doubts);
    };
    assert_eq!(
        (doubt.kind, &doubt.points[..]),
        (Kind::Mirror, &["D".into(), "D'".into()][..])
    );
    assert_eq!(
        doubt.explanations[0],
        "D length 2170 instead of 2710 would be two digits swapped"
    );
}

#[test]
fn a_wrong_sign_is_doubted_once() {
    let mut sheet = megane();
    let right = station(&mut sheet, "F").right.as_mut().expect("a position");
    right.y = -right.y;
    let found = audit(&sheet, 0.05).expect("a sheet to audit");
    let [doubt] = &found.doubts[..] else {
        panic!("{:?}", found.doubts);
    };
    assert_eq!((doubt.kind, doubt.points[0].as_str()), (Kind::Side, "F'"));
    assert_eq!((doubt.printed_mm, doubt.expected_mm), (-610.8, 610.8));
}

#[test]
fn a_sheet_with_the_width_axis_turned_is_said_so_once() {
    let mut sheet = megane();
    for s in &mut sheet.stations {
        for p in [&mut s.left, &mut s.right].into_iter().flatten() {
            p.y = -p.y;
        }
    }
    let found = audit(&sheet, 0.05).expect("a sheet to audit");
    let [doubt] = &found.doubts[..] else {
        panic!("{:?}", found.doubts);
    };
    assert_eq!(doubt.points.len(), 23);
    assert!(doubt.explanations[0].contains("width axis points the other way"));
}

/// Distances printed beside positions: a wrong one is named, and so is a position that several
/// distances contradict.
#[test]
fn distances_are_compared_with_positions() {
    let mut sheet = megane();
    let place = |sheet: &Sheet, name: &str| {
        sheet
            .stations
            .iter()
            .position(|s| s.name == name)
            .expect("a station")
    };
    let (a, b, d) = (place(&sheet, "A"), place(&sheet, "B"), place(&sheet, "D"));
    let distance = |sheet: &Sheet, from: (usize, Side), to: (usize, Side)| {
        let at = |(s, side): (usize, Side)| sheet.stations[s].position(side).expect("a position");
        let end = |(station, side)| End {
            station,
            side: Some(side),
        };
        Figure {
            what: Printed::TrueDistance,
            a: end(from),
            b: Some(end(to)),
            value_mm: (at(from) - at(to)).norm().round(),
            step_mm: 1.0,
        }
    };
    use Side::{Left, Right};
    let all = [
        (a, Left),
        (a, Right),
        (b, Left),
        (b, Right),
        (d, Left),
        (d, Right),
    ];
    for (i, from) in all.into_iter().enumerate() {
        for to in all.into_iter().skip(i + 1) {
            if from.0 != to.0 {
                let figure = distance(&sheet, from, to);
                sheet.figures.push(figure);
            }
        }
    }
    let good = audit(&sheet, 0.05).expect("a sheet to audit");
    assert_eq!(good.doubts, []);

    let mut wrong = sheet.clone();
    wrong.figures[3].value_mm += 20.0;
    let found = audit(&wrong, 0.05).expect("a sheet to audit");
    let doubts: Vec<_> = found
        .doubts
        .iter()
        .filter(|d| d.kind != Kind::Diagonals)
        .collect();
    let [doubt] = doubts[..] else {
        panic!("{doubts:?}");
    };
    assert_eq!(doubt.kind, Kind::Figure);
    assert_eq!(doubt.points, wrong.labels(&wrong.figures[3]));
    assert!((doubt.expected_mm - sheet.figures[3].value_mm).abs() < 1.0);

    let mut wrong = sheet.clone();
    wrong.stations[b].left.as_mut().expect("a position").x += 20.0;
    let found = audit(&wrong, 0.05).expect("a sheet to audit");
    let position = found
        .doubts
        .iter()
        .find(|d| d.kind == Kind::Position)
        .expect("a position");
    assert_eq!(position.points, ["B"]);
    assert!(
        (position.expected_mm - 1966.0).abs() < 2.0,
        "{}",
        position.expected_mm
    );
}

/// An invented sheet of distances, every figure rounded to 1 mm, distances meant as stated.
fn invented(random: &mut Random, same_side: Printed, diagonal: Printed) -> Sheet {
    let mut x = 0.0;
    let places: Vec<(f64, f64, f64)> = (0..7)
        .map(|_| {
            x += random.uniform(150.0, 600.0);
            (x, random.uniform(300.0, 600.0), random.uniform(0.0, 300.0))
        })
        .collect();
    let mut sheet = Sheet {
        stations: (0..7).map(|i| Station::new(i.to_string(), 1.0)).collect(),
        figures: Vec::new(),
    };
    let end = |station, side| End { station, side };
    let mut push = |what, a, b, value: f64| {
        sheet.figures.push(Figure {
            what,
            a,
            b,
            value_mm: value.round(),
            step_mm: 1.0,
        });
    };
    for (i, &(xa, ya, za)) in places.iter().enumerate() {
        push(Printed::Height, end(i, None), None, za);
        push(Printed::Width, end(i, None), None, 2.0 * ya);
        for (k, &(xb, yb, zb)) in places.iter().enumerate().skip(i + 1).take(2) {
            let value = |what, across: f64| match what {
                Printed::Length => xb - xa,
                Printed::LevelDistance => (xb - xa).hypot(across),
                _ => (xb - xa).hypot(across).hypot(zb - za),
            };
            let b = Some(end(k, None));
            push(
                Printed::SameSide,
                end(i, None),
                b,
                value(same_side, yb - ya),
            );
            let b = Some(end(k, Some(Side::Right)));
            push(
                Printed::Diagonal,
                end(i, Some(Side::Left)),
                b,
                value(diagonal, yb + ya),
            );
        }
    }
    sheet
}

/// Sheets without a fault are doubted in at most 5 % of cases, whatever their distances mean, and
/// the meaning is found.
#[test]
fn faultless_sheets_are_rarely_doubted() {
    use Printed::{Length, LevelDistance, TrueDistance};
    let mut random = Random::new(5);
    let (mut doubted, mut right, mut all) = (0, 0, 0);
    for (same_side, diagonal) in [
        (TrueDistance, TrueDistance),
        (LevelDistance, LevelDistance),
        (Length, TrueDistance),
        (LevelDistance, TrueDistance),
    ] {
        for _ in 0..12 {
            let sheet = invented(&mut random, same_side, diagonal);
            let found = audit(&sheet, 0.05).expect("a sheet to audit");
            // the comparison of four points takes both distances for one kind: not a fault here
            let whole = found.doubts.iter().any(|d| d.kind != Kind::Diagonal);
            let best = found.readings[0].meaning;
            all += 1;
            doubted += usize::from(whole);
            right +=
                usize::from(best.same_side == Some(same_side) && best.diagonal == Some(diagonal));
        }
    }
    assert!(doubted as f64 <= 0.05 * all as f64, "{doubted} of {all}");
    assert!(right as f64 >= 0.97 * all as f64, "{right} of {all}");
}

/// A diagonal 5 mm off, in a sheet whose meaning has to be found first.
#[test]
fn a_wrong_diagonal_is_found() {
    let mut random = Random::new(6);
    let (mut found, mut named) = (0, 0);
    for _ in 0..24 {
        let mut sheet = invented(&mut random, Printed::Length, Printed::TrueDistance);
        let diagonals: Vec<usize> = (0..sheet.figures.len())
            .filter(|&i| sheet.figures[i].what == Printed::Diagonal)
            .collect();
        let wrong = diagonals[random.below(diagonals.len())];
        sheet.figures[wrong].value_mm += 5.0;
        let audit = audit(&sheet, 0.05).expect("a sheet to audit");
        let doubts: Vec<_> = audit
            .doubts
            .iter()
            .filter(|d| d.kind == Kind::Figure)
            .collect();
        let labels = sheet.labels(&sheet.figures[wrong]);
        found += usize::from(doubts.iter().any(|d| d.points == labels));
        named += usize::from(doubts.len() == 1 && doubts[0].points == labels);
    }
    assert!(
        found >= 22 && named >= 19,
        "found {found}, named {named} of 24"
    );
}

#[test]
fn unusable_sheets_are_refused_with_the_row() {
    let stations = vec![Station::new("A", 1.0), Station::new("B", 1.0)];
    let end = |station| End {
        station,
        side: None,
    };
    let figure = Figure {
        what: Printed::Length,
        a: end(0),
        b: Some(end(1)),
        value_mm: 10.0,
        step_mm: 1.0,
    };
    let with = |figure: Figure| Sheet {
        stations: stations.clone(),
        figures: vec![figure],
    };
    let refused = |sheet: &Sheet| audit(sheet, 0.05).expect_err("refused").to_string();
    assert_eq!(audit(&Sheet::default(), 0.05), Err(AuditError::Empty));
    assert!(
        refused(&with(Figure {
            b: Some(end(2)),
            ..figure
        }))
        .contains("names station 2")
    );
    assert!(
        refused(&with(Figure {
            b: Some(end(0)),
            ..figure
        }))
        .contains("two ends")
    );
    assert!(refused(&with(Figure { b: None, ..figure })).contains("two ends"));
    assert!(
        refused(&with(Figure {
            value_mm: f64::NAN,
            ..figure
        }))
        .contains("projected length")
    );
    assert!(
        refused(&with(Figure {
            value_mm: -1.0,
            ..figure
        }))
        .contains("-1 mm")
    );
    assert!(
        refused(&with(Figure {
            step_mm: 0.0,
            ..figure
        }))
        .contains("rounded to 0 mm")
    );
    assert_eq!(audit(&with(figure), 1.5), Err(AuditError::BadAlpha(1.5)));
}

/// A sheet may print the distance from a left point to its own right partner as a true distance:
/// 805 mm between A (y = -402.5) and A' (y = +402.5) of the published sheet.
#[test]
fn a_true_distance_across_one_pair_is_compared_like_a_width() {
    let across = |value_mm: f64| {
        let mut sheet = megane();
        let a = sheet
            .stations
            .iter()
            .position(|s| s.name == "A")
            .expect("A");
        let end = |side| End {
            station: a,
            side: Some(side),
        };
        sheet.figures.push(Figure {
            what: Printed::TrueDistance,
            a: end(Side::Left),
            b: Some(end(Side::Right)),
            value_mm,
            step_mm: 0.5,
        });
        audit(&sheet, 0.05).expect("a sheet to audit").doubts
    };
    assert_eq!(across(805.0), []);
    let doubts = across(850.0);
    assert!(
        doubts
            .iter()
            .any(|d| d.kind == Kind::Figure && d.printed_mm == 850.0),
        "{doubts:?}"
    );

    // Without positions: the pair's own width and the diagonals of the next pair tell.
    let sheet = |value_mm: f64| {
        let stations = ["P", "Q"].map(|name| Station::new(name, 0.1)).to_vec();
        let end = |station, side| End { station, side };
        let figure = |what, a, b, value_mm| Figure {
            what,
            a,
            b,
            value_mm,
            step_mm: 0.1,
        };
        let (left, right) = (Some(Side::Left), Some(Side::Right));
        // 800 mm wide at P, 600 at Q, 500 mm apart, level: D^2 = 500^2 + 700^2.
        let figures = vec![
            figure(Printed::Height, end(0, None), None, 0.0),
            figure(Printed::Height, end(1, None), None, 0.0),
            figure(Printed::Width, end(1, None), None, 600.0),
            figure(Printed::Length, end(0, None), Some(end(1, None)), 500.0),
            figure(
                Printed::TrueDistance,
                end(0, left),
                Some(end(0, right)),
                value_mm,
            ),
            figure(
                Printed::TrueDistance,
                end(0, left),
                Some(end(1, right)),
                860.2,
            ),
        ];
        Sheet { stations, figures }
    };
    let doubts = |value_mm| {
        audit(&sheet(value_mm), 0.05)
            .expect("a sheet to audit")
            .doubts
    };
    assert_eq!(doubts(800.0), []);
    assert!(!doubts(830.0).is_empty());
}
