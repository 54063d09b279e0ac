//! The edges: sizes, degenerate networks, and numbers that are none.

mod network_common;

use datumtrail_geometry::audit::{AuditError, Sheet, Station, audit};
use datumtrail_geometry::frame::{Mat3, Vec3};
use datumtrail_geometry::network::{
    Diagonals, MOST_FIGURES, MOST_POINTS, Network, NetworkError, Observation, Options, Point,
    Quantity, SheetEnd, TramKind, Wanted, compare, cross_diagonals, diagonals,
};
use network_common::{Random, distances, vehicle};

fn adjust(points: Vec<Point>, figures: Vec<Observation>) -> Result<(), NetworkError> {
    let solution = Network::new(points, figures)?.adjust(&Options::default())?;
    let _ = (solution.notes(), solution.best_extra(&Wanted::default(), 3));
    Ok(())
}

#[test]
fn more_than_the_stated_sizes_is_refused() {
    let figure = Observation::new(Quantity::TrueDistance { from: 0, to: 1 }, 10.0, 0.5);
    let points = |count: usize| (0..count).map(|i| Point::new(i.to_string())).collect();
    let refused = Network::new(points(MOST_POINTS + 1), vec![figure]).expect_err("refused");
    assert!(matches!(
        refused,
        NetworkError::TooMany { what: "points", .. }
    ));
    let refused = Network::new(points(2), vec![figure; MOST_FIGURES + 1]).expect_err("refused");
    assert!(matches!(
        refused,
        NetworkError::TooMany {
            what: "figures",
            ..
        }
    ));
    assert!(Network::new(points(2), vec![figure; MOST_FIGURES]).is_ok());
    let sheet = Sheet {
        stations: (0..5_000)
            .map(|i| Station::new(i.to_string(), 1.0))
            .collect(),
        figures: Vec::new(),
    };
    assert_eq!(audit(&sheet, 0.05), Err(AuditError::Empty));
    let mut sheet = sheet;
    sheet.stations[0].left = Some(Vec3::zeros());
    assert!(matches!(
        audit(&sheet, 0.05),
        Err(AuditError::TooMany {
            what: "stations",
            ..
        })
    ));
}

/// Nothing can move: there is nothing to solve, and the figures are still judged.
#[test]
fn a_network_of_rigid_points_only_is_judged() {
    let points = vec![
        Point::new("A").known(Vec3::zeros(), 0.0),
        Point::new("B").known(Vec3::new(1000.0, 0.0, 0.0), 0.0),
    ];
    let read = |mm| Observation::new(Quantity::TrueDistance { from: 0, to: 1 }, mm, 0.5);
    let solution = Network::new(points, vec![read(1000.2), read(1006.0)])
        .and_then(|n| n.adjust(&Options::default()))
        .expect("nothing to solve");
    assert_eq!(solution.contradictions[0].named(), Some(1));
    assert_eq!(solution.figures[0].expected_mm, Some(1000.0));
    assert_eq!(solution.best_extra(&Wanted::default(), 1), []);
}

/// Points on one spot, on one line, and a figure that contradicts itself a hundred times over.
#[test]
fn degenerate_networks_do_not_panic() {
    let spot = || {
        vec![
            Point::new("A").about(Vec3::zeros()),
            Point::new("B").about(Vec3::zeros()),
        ]
    };
    let between = |mm, u| Observation::new(Quantity::TrueDistance { from: 0, to: 1 }, mm, u);
    let _ = adjust(spot(), vec![between(10.0, 0.5)]);
    let _ = adjust(spot(), vec![between(0.0, 0.5)]);
    let _ = adjust(
        spot(),
        (0..100)
            .map(|i| between(10.0 * f64::from(i), 0.1))
            .collect(),
    );
    let line = (0..5).map(|i| Point::new(i.to_string()).about(Vec3::x() * 100.0 * f64::from(i)));
    let figures = (0..5)
        .flat_map(|to| (0..to).map(move |from| Quantity::TrueDistance { from, to }))
        .map(|q| {
            let (a, b) = q.points();
            Observation::new(q, 100.0 * (b.expect("two ends") - a) as f64, 0.5)
        })
        .collect();
    let _ = adjust(line.collect(), figures);
    let wide = [between(1.0, 1e-4), between(2.0, 1e6)];
    let _ = adjust(spot(), wide.to_vec());
}

/// Half of all figures gross: the search ends, and says that nothing is settled.
#[test]
fn hopeless_networks_end() {
    let mut random = Random::new(3);
    let truth = vehicle(6, &mut random);
    let mut figures = distances(&truth, 60, 4000.0, 0.5, &mut random);
    for o in figures.iter_mut().step_by(2) {
        o.value_mm += random.uniform(50.0, 400.0);
    }
    let points = (truth.iter().enumerate())
        .map(|(i, p)| Point::new(i.to_string()).about(*p))
        .collect();
    match Network::new(points, figures).and_then(|n| n.adjust(&Options::default())) {
        Ok(solution) => assert!(!solution.contradictions.is_empty()),
        Err(error) => assert!(matches!(error, NetworkError::NotSettled { .. })),
    }
}

#[test]
fn readings_that_are_no_numbers_are_not_compared() {
    let end = |x: f64| SheetEnd {
        position: Vec3::new(x, 0.0, 0.0),
        covariance: Mat3::zeros(),
    };
    let nan_covariance = SheetEnd {
        covariance: Mat3::from_element(f64::NAN),
        ..end(900.0)
    };
    let kind = TramKind::True;
    assert!(compare(900.0, 0.5, kind, end(0.0), end(900.0)).is_some());
    for (mm, u, q) in [
        (f64::NAN, 0.5, end(900.0)),
        (f64::INFINITY, 0.5, end(900.0)),
        (900.0, 0.0, end(900.0)),
        (900.0, f64::NAN, end(900.0)),
        (900.0, 0.5, end(f64::NAN)),
        (900.0, 0.5, end(f64::INFINITY)),
        (900.0, 0.5, nan_covariance),
        (900.0, 0.5, end(0.0)),
    ] {
        assert_eq!(compare(mm, u, kind, end(0.0), q), None, "{mm} {u} {q:?}");
    }
    let four = Diagonals {
        left_to_right: (1280.0, 0.5),
        right_to_left: (1280.0, 0.5),
        sheet_difference_mm: f64::NAN,
        widths: (800.0, 800.0),
        length_mm: 1000.0,
    };
    assert_eq!(diagonals(&four), None);
    let sheet = [Some(end(0.0)), None];
    let readings = [Observation::new(kind.quantity(0, 7), 5.0, 0.5)];
    assert_eq!(cross_diagonals(&sheet, &[(0, 1), (5, 9)], &readings), []);
}
