//! Worked examples from textbooks and papers, with their published answers.
//!
//! All numbers come from the example files that GNU Gama distributes in `tests/krumm/`: input and
//! adjusted coordinates as published by Friedhelm Krumm, "Geodetic Network Adjustment Examples",
//! Geodaetisches Institut, Universitaet Stuttgart, Rev. 3.5 (2020), each with the book or paper it
//! was taken from. Metres there, millimetres here. Published standard deviations are a posteriori:
//! ours times sqrt(chi-square / degrees of freedom).

use datumtrail_geometry::frame::{Axis, Vec3};
use datumtrail_geometry::network::{Network, Observation, Options, Point, Quantity, Solution};

/// A plane network: held points, new points with first positions, distances. Metres.
struct Plane<'a> {
    held: &'a [(&'a str, f64, f64)],
    new: &'a [(&'a str, f64, f64)],
    distances: &'a [(&'a str, &'a str, f64, f64)],
}

impl Plane<'_> {
    fn solve(&self, options: &Options) -> Solution {
        let origin = self.held.first().or(self.new.first()).expect("a point");
        let origin = (origin.1, origin.2);
        let at = |x: f64, y: f64| Vec3::new(1000.0 * (x - origin.0), 1000.0 * (y - origin.1), 0.0);
        let held = self
            .held
            .iter()
            .map(|&(n, x, y)| Point::new(n).known(at(x, y), 0.0));
        let new = self
            .new
            .iter()
            .map(|&(n, x, y)| Point::new(n).about(at(x, y)));
        let points: Vec<Point> = held.chain(new).collect();
        let place = |name: &str| points.iter().position(|p| p.name == name).expect("a name");
        let mut figures: Vec<Observation> = (self.distances.iter())
            .map(|&(a, b, metres, sigma)| {
                let quantity = Quantity::LevelDistance {
                    from: place(a),
                    to: place(b),
                };
                Observation::new(quantity, 1000.0 * metres, 1000.0 * sigma)
            })
            .collect();
        // A plane network knows no heights: state them.
        for p in self.held.len()..points.len() {
            figures.push(Observation::new(Quantity::height(p), 0.0, 1.0));
        }
        let network = Network::new(points, figures).expect("a valid network");
        network.adjust(options).expect("a solution")
    }

    /// Compares with (name, x, y in metres, sigma x, sigma y in centimetres), each within the last
    /// printed digit and a little more for the digits of the input.
    fn agrees(&self, solution: &Solution, published: &[(&str, f64, f64, f64, f64)]) {
        let origin = self.held.first().or(self.new.first()).expect("a point");
        let s0 = (solution.fit.chi2 / solution.fit.dof as f64).sqrt();
        for &(name, x, y, sx, sy) in published {
            let point = solution
                .points
                .iter()
                .find(|p| p.name == name)
                .expect("a name");
            let ours = (
                point.position.x / 1000.0 + origin.1,
                point.position.y / 1000.0 + origin.2,
            );
            assert!(
                (ours.0 - x).abs() < 6e-5,
                "{name} x: {} against {x}",
                ours.0
            );
            assert!(
                (ours.1 - y).abs() < 6e-5,
                "{name} y: {} against {y}",
                ours.1
            );
            for (axis, s) in [(Axis::Length, sx), (Axis::Width, sy)] {
                let u = point.u_mm(axis).expect("determined") * s0 / 10.0;
                assert!(
                    (u - s).abs() < 6e-4 * s.max(1.0),
                    "{name} {axis:?}: {u} against {s} cm"
                );
            }
        }
    }
}

fn keep_all() -> Options {
    Options {
        leave_out_blunders: false,
        ..Options::default()
    }
}

/// W. Benning (2011), Statistik in Geodaesie, Geoinformation und Bauwesen, Ex. 8-2, p. 256; Krumm
/// 3.1.1, with the a posteriori standard deviation of unit weight 6.882 mm and the residuals.
#[test]
fn benning_8_2_two_points_held() {
    let plane = Plane {
        held: &[("1", 0.0, 1000.0), ("2", 1000.0, 1000.0)],
        new: &[("3", 0.0, 0.0), ("4", 1000.0, 0.0)],
        distances: &[
            ("1", "3", 1000.02, 0.01),
            ("1", "4", 1414.20, 0.01),
            ("2", "3", 1414.24, 0.01),
            ("2", "4", 999.98, 0.01),
            ("3", "4", 1000.00, 0.01),
        ],
    };
    let solution = plane.solve(&keep_all());
    assert_eq!(solution.fit.dof, 1);
    let s0 = 10.0 * (solution.fit.chi2 / solution.fit.dof as f64).sqrt();
    assert!((s0 - 6.882).abs() < 6e-4, "{s0}");
    let published = [
        ("3", -0.0096, -0.0226, 0.901, 0.637),
        ("4", 999.9930, 0.0174, 0.901, 0.637),
    ];
    plane.agrees(&solution, &published);
    // adjusted less observed, centimetres
    for (figure, v) in solution
        .figures
        .iter()
        .zip([0.260, -0.368, -0.368, 0.260, 0.260])
    {
        let ours = (figure.adjusted_mm - figure.value_mm) / 10.0;
        assert!((ours - v).abs() < 6e-4, "{ours} against {v}");
    }
}

/// C. D. Ghilani (2010), Adjustment Computations, 5th ed., Ex. 14.5, p. 251.
#[test]
fn ghilani_14_5_two_points_held() {
    let plane = Plane {
        held: &[
            ("Badger", 2410000.000, 390000.000),
            ("Bucky", 2411820.000, 386881.222),
        ],
        new: &[
            ("Wisconsin", 2415776.819, 391043.461),
            ("Campus", 2416892.670, 387603.450),
        ],
        distances: &[
            ("Badger", "Wisconsin", 5870.302, 0.01),
            ("Badger", "Campus", 7297.588, 0.01),
            ("Wisconsin", "Campus", 3616.434, 0.01),
            ("Wisconsin", "Bucky", 5742.878, 0.01),
            ("Campus", "Bucky", 5123.760, 0.01),
        ],
    };
    let solution = plane.solve(&keep_all());
    let published = [
        ("Wisconsin", 2415776.9044, 391043.2945, 14.879, 22.061),
        ("Campus", 2416892.6955, 387603.2551, 10.378, 27.054),
    ];
    plane.agrees(&solution, &published);
    // One degree of freedom: every figure is off by the same number of standard uncertainties, so
    // none can be named.
    let tested = plane.solve(&Options::default());
    let [contradiction] = &tested.contradictions[..] else {
        panic!("{:?}", tested.contradictions);
    };
    assert_eq!(contradiction.figures.len(), 5);
    assert!(!contradiction.left_out && contradiction.named().is_none());
    assert!(!tested.is_sound(0.05));
}

/// G. Strang and K. Borre (1997), Linear Algebra, Geodesy, and GPS, Ex. 12.4, p. 411: a free
/// network with inner constraints.
#[test]
fn strang_borre_12_4_free() {
    let plane = Plane {
        held: &[],
        new: &[
            ("P", 170.71, 170.71),
            ("1", 170.71, 270.71),
            ("2", 100.00, 100.00),
            ("3", 241.42, 100.00),
        ],
        distances: &[
            ("1", "P", 100.01, 0.01),
            ("2", "P", 100.02, 0.01),
            ("3", "P", 100.03, 0.01),
            ("1", "2", 184.785, 0.01),
            ("2", "3", 141.44, 0.01),
            ("1", "3", 184.805, 0.01),
        ],
    };
    let solution = plane.solve(&keep_all());
    assert_eq!((solution.open_motions, solution.fit.dof), (3, 1));
    let published = [
        ("P", 170.7123, 170.7185, 1.079, 0.682),
        ("1", 170.7032, 270.7213, 0.810, 0.551),
        ("2", 99.9912, 99.9971, 0.641, 0.705),
        ("3", 241.4333, 99.9830, 0.640, 0.705),
    ];
    plane.agrees(&solution, &published);
}

/// J. Weiss et al. (2010), Detection of erroneous values in the measurement of local geodetic
/// networks, Acta Montanistica Slovaca 15 (1), 62-70: four points held, 24 distances of unequal
/// weight.
#[test]
fn weiss_2010_four_points_held() {
    let plane = Plane {
        held: &[
            ("1", 4506.299, 9001.123),
            ("2", 2798.622, 9502.490),
            ("3", 3803.973, 9894.233),
            ("8", 4904.569, 9413.376),
        ],
        new: &[
            ("4", 3299.980, 9100.838),
            ("5", 3697.824, 9400.545),
            ("6", 3080.370, 9775.900),
            ("7", 4393.265, 9842.503),
            ("9", 4251.061, 9546.226),
        ],
        distances: &[
            ("4", "6", 709.927, 1.30384048104053),
            ("2", "6", 392.550, 0.774596669241483),
            ("2", "4", 642.409, 1.14017542509914),
            ("3", "4", 939.941, 1.09544511501033),
            ("3", "9", 566.555, 0.894427190999916),
            ("4", "9", 1050.204, 1.04880884817015),
            ("1", "4", 1210.478, 0.894427190999916),
            ("1", "5", 901.755, 0.894427190999916),
            ("5", "8", 1206.806, 1.0),
            ("4", "8", 1634.747, 1.14017542509914),
            ("4", "5", 498.107, 1.26491106406735),
            ("2", "5", 904.962, 1.18321595661992),
            ("2", "7", 1630.454, 1.04880884817015),
            ("1", "7", 849.005, 0.894427190999916),
            ("1", "9", 601.906, 1.09544511501033),
            ("8", "9", 666.874, 1.14017542509914),
            ("7", "8", 667.595, 0.774596669241483),
            ("5", "7", 823.990, 1.26491106406735),
            ("5", "6", 722.631, 1.14017542509914),
            ("6", "9", 1193.036, 0.836660026534076),
            ("5", "9", 572.094, 0.836660026534076),
            ("3", "5", 504.968, 1.30384048104053),
            ("3", "7", 591.506, 1.26491106406735),
            ("7", "9", 328.667, 0.948683298050514),
        ],
    };
    // The published weights are relative, one metre for the unit: take millimetres for metres, so
    // that the a posteriori figures come out the same and the positions are sharply determined.
    let distances: Vec<_> = plane
        .distances
        .iter()
        .map(|&(a, b, d, s)| (a, b, d, s / 1000.0))
        .collect();
    let plane = Plane {
        distances: &distances,
        ..plane
    };
    let solution = plane.solve(&keep_all());
    assert_eq!(solution.fit.dof, 14);
    let published = [
        ("4", 3299.9644, 9100.8289, 0.752, 1.121),
        ("5", 3697.8223, 9400.5394, 0.670, 1.207),
        ("6", 3080.3184, 9775.8943, 0.924, 1.193),
        ("7", 4393.2160, 9842.5618, 0.817, 0.879),
        ("9", 4251.0495, 9546.2298, 0.728, 1.016),
    ];
    plane.agrees(&solution, &published);
}

/// W. Hoepke (1980), Fehlerlehre und Ausgleichungsrechnung, Ex. 35.5, pp. 120-123, network
/// Sattenhausen: free, eight points, 27 distances, one of which the book's list gives 50 mm longer
/// than its results do.
fn hoepke(last: f64) -> [(&'static str, &'static str, f64, f64); 27] {
    [
        ("86", "1006", 2962.832, 0.001),
        ("86", "87", 1765.657, 0.001),
        ("86", "1087", 1021.768, 0.001),
        ("86", "75", 1021.536, 0.001),
        ("86", "1011", 1830.646, 0.001),
        ("86", "20", 4012.921, 0.001),
        ("86", "1059", 2572.516, 0.001),
        ("1087", "87", 824.863, 0.001),
        ("1087", "20", 3466.722, 0.001),
        ("1087", "1059", 2644.789, 0.001),
        ("1087", "75", 1720.130, 0.001),
        ("1087", "1006", 2117.134, 0.001),
        ("1087", "1011", 1380.633, 0.001),
        ("1006", "75", 3075.373, 0.001),
        ("1006", "20", 1737.824, 0.001),
        ("1006", "1059", 2562.134, 0.001),
        ("1006", "1011", 1395.459, 0.001),
        ("1006", "87", 2071.154, 0.001),
        ("1011", "87", 1894.263, 0.001),
        ("1011", "75", 1701.824, 0.001),
        ("1011", "1059", 1483.088, 0.001),
        ("1011", "20", 2186.853, 0.001),
        ("1059", "20", 2259.167, 0.001),
        ("1059", "75", last, 0.001),
        ("1059", "87", 3315.630, 0.001),
        ("20", "87", 3684.782, 0.001),
        ("20", "75", 3670.735, 0.001),
    ]
}

const HOEPKE_POINTS: [(&str, f64, f64); 8] = [
    ("20", 3579041.416, 5707194.412),
    ("75", 3575403.277, 5707682.612),
    ("86", 3575322.061, 5708700.952),
    ("87", 3576581.778, 5709938.106),
    ("1006", 3578284.289, 5708758.641),
    ("1011", 3577052.332, 5708103.204),
    ("1059", 3576852.894, 5706633.642),
    ("1087", 3576213.699, 5709199.889),
];

#[test]
fn hoepke_35_5_free() {
    let distances = hoepke(1789.449);
    let plane = Plane {
        held: &[],
        new: &HOEPKE_POINTS,
        distances: &distances,
    };
    let solution = plane.solve(&keep_all());
    assert_eq!((solution.open_motions, solution.fit.dof), (3, 14));
    let published = [
        ("20", 3579041.4042, 5707194.4039, 0.209, 0.265),
        ("75", 3575403.2853, 5707682.6565, 0.232, 0.265),
        ("86", 3575322.0203, 5708700.9554, 0.211, 0.240),
        ("87", 3576581.7857, 5709938.0995, 0.279, 0.226),
        ("1006", 3578284.2920, 5708758.6275, 0.203, 0.268),
        ("1011", 3577052.3287, 5708103.2070, 0.240, 0.273),
        ("1059", 3576852.9606, 5706633.5764, 0.247, 0.212),
        ("1087", 3576213.6691, 5709199.9319, 0.241, 0.227),
    ];
    plane.agrees(&solution, &published);
}

/// With the distance as the book's list has it, the figure that is 50 mm off is found. The
/// distances get the scatter that the book's own adjustment shows, some five times its 1 mm.
#[test]
fn hoepke_35_5_the_listed_distance_is_named() {
    let solve = |last: f64, u: f64| {
        let distances = hoepke(last).map(|(a, b, d, _)| (a, b, d, u));
        let plane = Plane {
            held: &[],
            new: &HOEPKE_POINTS,
            distances: &distances,
        };
        plane.solve(&Options::default())
    };
    let book = solve(1789.449, 1.0);
    let s0 = (book.fit.chi2 / book.fit.dof as f64).sqrt();
    let clean = solve(1789.449, s0);
    assert_eq!(clean.contradictions, []);
    let listed = solve(1789.499, s0);
    let [contradiction] = &listed.contradictions[..] else {
        panic!("{:?}", listed.contradictions);
    };
    assert_eq!(contradiction.named(), Some(23));
    let expected = listed.figures[23].expected_mm.expect("checked");
    assert!((expected - 1_789_449.0).abs() < 15.0, "{expected}");
}

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
