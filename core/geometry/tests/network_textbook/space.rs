//! A point in space from distances, and networks of heights.

use super::keep_all;
use datumtrail_geometry::frame::{Axis, Vec3};
use datumtrail_geometry::network::{Network, Observation, Options, Point, Quantity};

/// J. Blankenbach and V. Willert (2009), Robuster raeumlicher Bogenschnitt, AVN 8-9, 320-327: one
/// point in space from eight distances, two of which (to 51 and to 103) are blunders.
#[test]
fn blankenbach_willert_2009_both_blunders_are_named() {
    let held = [
        ("51", -8.62, 27.42, 10.29, 8.20),
        ("37", -4.95, 27.30, 10.04, 3.85),
        ("31", -4.85, 20.69, 10.51, 4.35),
        ("102", 0.52, 22.59, 9.77, 3.51),
        ("331", -6.12, 25.48, 10.92, 3.98),
        ("35", 0.45, 27.39, 10.75, 4.37),
        ("103", 0.61, 17.19, 9.71, 8.17),
        ("101", -7.88, 22.45, 10.16, 5.73),
    ];
    let mut points: Vec<Point> = (held.iter())
        .map(|&(n, x, y, z, _)| Point::new(n).known(Vec3::new(x, y, z) * 1000.0, 0.0))
        .collect();
    points.push(Point::new("MS").about(Vec3::new(-2.59, 24.22, 9.62) * 1000.0));
    let figures: Vec<Observation> = (held.iter().enumerate())
        .map(|(from, &(.., d))| {
            Observation::new(Quantity::TrueDistance { from, to: 8 }, 1000.0 * d, 50.0)
        })
        .collect();
    let network = Network::new(points, figures).expect("a valid network");
    // Published: all eight distances together.
    let all = network.adjust(&keep_all()).expect("a solution");
    let s0 = (all.fit.chi2 / all.fit.dof as f64).sqrt();
    let ms = &all.points[8];
    for (axis, metres, centimetres) in [
        (0, -2.3042, 29.914),
        (1, 24.3101, 33.222),
        (2, 9.5248, 119.427),
    ] {
        assert!(
            (ms.position[axis] / 1000.0 - metres).abs() < 6e-5,
            "{}",
            ms.position
        );
        let sigma = ms.covariance[(axis, axis)].sqrt() * s0 / 10.0;
        assert!(
            (sigma - centimetres).abs() < 6e-3,
            "{sigma} against {centimetres}"
        );
    }
    // Ours: the two blunders found and left out.
    let tested = network.adjust(&Options::default()).expect("a solution");
    let mut named: Vec<Option<usize>> = tested.contradictions.iter().map(|c| c.named()).collect();
    named.sort_unstable();
    assert_eq!(named, [Some(0), Some(6)], "{:?}", tested.contradictions);
}

/// C. D. Ghilani (2010), Ex. 12.6: levelling from one held height; Krumm 2.1 with chi-square
/// 1.27212, heights, standard deviations and residuals. Height differences only, so everything
/// across and along is open, and said to be.
#[test]
fn ghilani_12_6_heights() {
    let lines = [
        (0, 1, 10.509, 0.006),
        (0, 2, 15.881, 0.012),
        (1, 2, 5.360, 0.004),
        (1, 3, -3.167, 0.004),
        (2, 3, -8.523, 0.005),
        (3, 0, -7.348, 0.003),
    ];
    let mut points = vec![Point::new("A").known(Vec3::new(0.0, 0.0, 437_596.0), 0.0)];
    points.extend(["B", "C", "D"].map(|n| Point::new(n).about(Vec3::new(0.0, 0.0, 440_000.0))));
    let figures = (lines.iter())
        .map(|&(from, to, metres, sigma)| {
            let quantity = Quantity::HeightDifference { from, to };
            Observation::new(quantity, 1000.0 * metres, 1000.0 * sigma)
        })
        .collect();
    let solution = Network::new(points, figures)
        .and_then(|n| n.adjust(&keep_all()))
        .expect("a solution");
    assert_eq!(solution.fit.dof, 3);
    assert!(
        (solution.fit.chi2 - 1.27212).abs() < 6e-6,
        "{}",
        solution.fit.chi2
    );
    let s0 = (solution.fit.chi2 / 3.0).sqrt();
    for (point, (height, sigma)) in
        solution.points[1..]
            .iter()
            .zip([(448.10871, 2.30), (453.46847, 2.64), (444.94361, 1.76)])
    {
        assert!(
            (point.position.z / 1000.0 - height).abs() < 6e-6,
            "{}",
            point.position.z
        );
        let u = point.u_mm(Axis::Height).expect("determined") * s0;
        assert!((u - sigma).abs() < 6e-3, "{u} against {sigma}");
        assert_eq!(point.undetermined_axes(), [Axis::Length, Axis::Width]);
    }
    for (figure, v) in solution
        .figures
        .iter()
        .zip([3.71, -8.53, -0.24, 1.89, -1.86, 0.39])
    {
        assert!((figure.adjusted_mm - figure.value_mm - v).abs() < 6e-3);
    }
}

/// W. Niemeier (2008), Ausgleichungsrechnung, pp. 153-156 and 268-269: levelling laid onto the
/// heights of three of six points (partial inner constraints). Standard deviation 1 mm for 1 km;
/// the file gives line lengths so that sigma^2 = length in kilometres.
#[test]
fn niemeier_heights_laid_onto_three_points() {
    let approximate = [68.927, 60.712, 63.193, 56.286, 44.324, 67.228];
    let lines = [
        (0, 1, -8.206, 0.621118012422360),
        (0, 2, -5.734, 1.204_819_277_108_43),
        (1, 2, 2.481, 0.450450450450450),
        (1, 3, -4.433, 0.8),
        (2, 3, -6.909, 1.0),
        (2, 4, -18.872, 1.098_901_098_901_1),
        (2, 5, 4.035, 0.440528634361233),
        (3, 4, -11.962, 0.719424460431655),
        (4, 5, 22.904, 0.833333333333333),
    ];
    // Along and across nothing was measured: the points are held there.
    let mut figures: Vec<Observation> = (lines.iter())
        .map(|&(from, to, metres, km)| {
            let quantity = Quantity::HeightDifference { from, to };
            Observation::new(quantity, 1000.0 * metres, f64::sqrt(km))
        })
        .collect();
    for point in 0..6 {
        for axis in [Axis::Length, Axis::Width] {
            let quantity = Quantity::Coordinate { point, axis };
            let value = 100.0 * (point as f64) * if axis == Axis::Width { -1.0 } else { 1.0 };
            figures.push(Observation::new(quantity, value, 1.0));
        }
    }
    let points = (approximate.iter().enumerate())
        .map(|(i, h)| {
            let along = 100.0 * i as f64;
            Point::new((i + 1).to_string()).about(Vec3::new(along, -along, 1000.0 * h))
        })
        .collect();
    let options = Options {
        laid_onto: vec![0, 2, 4],
        ..keep_all()
    };
    let solution = Network::new(points, figures)
        .and_then(|n| n.adjust(&options))
        .expect("a solution");
    // published: height in metres, standard deviation in millimetres
    let s0 = (solution.fit.chi2 / solution.fit.dof as f64).sqrt();
    for (point, (height, sigma)) in solution.points.iter().zip([
        (68.9249, 1.75),
        (60.7167, 1.65),
        (63.1952, 1.13),
        (56.2852, 1.94),
        (44.3240, 1.60),
        (67.2294, 2.00),
    ]) {
        assert!(
            (point.position.z / 1000.0 - height).abs() < 6e-5,
            "{}",
            point.position.z
        );
        let u = point.covariance[(2, 2)].sqrt() * s0;
        assert!((u - sigma).abs() < 6e-3, "{u} against {sigma}");
    }
}
