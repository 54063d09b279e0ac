//! Networks of distances in a plane.

use super::keep_all;
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
