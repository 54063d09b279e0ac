//! A shop with nothing but a tram gauge: the whole way from readings to deviations, under seeded
//! chance and in the cases that matter. All vehicles invented.

mod network_common;

use datumtrail_geometry::frame::{Axis, Mat3, Vec3};
use datumtrail_geometry::network::{
    Network, NetworkError, Observation, Options, Point, Quantity, SheetEnd, Standing, SurveyError,
    TramPoint, TramSurvey, survey,
};
use network_common::{Random, distances, heights, vehicle};

const PRINT: f64 = 1.0 / 12.0;
const BUILD: f64 = 0.16;
const REFERENCES: usize = 6;

/// A sheet of ten points, the six behind trusted, as it describes a vehicle that was built within
/// the build spread; the front four moved.
struct Scene {
    points: Vec<TramPoint>,
    /// Where each point was before the damage, and where it is now.
    built: Vec<Vec3>,
    now: Vec<Vec3>,
    figures: Vec<Observation>,
}

fn scene(seed: u64) -> Scene {
    let mut random = Random::new(seed);
    // Front to rear becomes rear to front: the references come first.
    let nominal: Vec<Vec3> = vehicle(5, &mut Random::new(99)).into_iter().rev().collect();
    let u = (PRINT + BUILD).sqrt();
    let built: Vec<Vec3> = (nominal.iter())
        .map(|p| p + Vec3::from_fn(|_, _| u * random.normal()))
        .collect();
    let now: Vec<Vec3> = (built.iter().enumerate())
        .map(|(i, p)| {
            let moved = if i < REFERENCES { 0.0 } else { 4.0 };
            p + Vec3::from_fn(|_, _| moved * random.normal())
        })
        .collect();
    let points = (nominal.iter().enumerate())
        .map(|(i, p)| {
            let covariance = Mat3::identity() * (PRINT + BUILD);
            let sheet = SheetEnd {
                position: *p,
                covariance,
            };
            let point = TramPoint::on_sheet(i.to_string(), sheet);
            if i < REFERENCES {
                point.reference()
            } else {
                point
            }
        })
        .collect();
    // The same pairs every time, read anew.
    let mut figures = distances(&now, 36, 4000.0, 0.5, &mut Random::new(7));
    let all: Vec<usize> = (0..10).collect();
    figures.extend(heights(&now, &all, 1.0, &mut random));
    for o in &mut figures {
        o.value_mm = o.quantity.predict(&now) + o.u_mm * random.normal();
    }
    Scene {
        points,
        built,
        now,
        figures,
    }
}

fn solve(scene: &Scene) -> TramSurvey {
    survey(&scene.points, &scene.figures, 0.05).expect("a survey")
}

/// The 95 % intervals hold what really moved, references included; a faultless survey is doubted
/// in 5 % of cases.
#[test]
fn intervals_hold_the_true_movement() {
    let runs = 150;
    let (mut inside, mut all, mut doubted) = ([0, 0], [0, 0], 0);
    for seed in 0..runs {
        let scene = scene(seed);
        let survey = solve(&scene);
        let clean = survey.moved.is_empty() && survey.solution.contradictions.is_empty();
        doubted += usize::from(!clean || !survey.suspects.is_empty());
        for (i, point) in survey.points.iter().enumerate() {
            let kind = usize::from(i < REFERENCES);
            for axis in Axis::ALL {
                let k = axis.index();
                let (mm, u) = point.axis(axis).expect("a well measured point");
                all[kind] += 1;
                let off = mm - (scene.now[i] - scene.built[i])[k];
                inside[kind] += usize::from(off.abs() <= 1.96 * u);
            }
        }
    }
    for kind in [0, 1] {
        let covered = inside[kind] as f64 / all[kind] as f64;
        assert!((0.93..0.97).contains(&covered), "{kind}: {covered}");
    }
    // 5 %, and two standard deviations of a count
    assert!(doubted as f64 <= 7.5 + 5.3, "{doubted} of {runs}");
}

/// A reference point that moved makes good readings look wrong: the point is named, no reading is
/// left out, and the rest comes out as if it had never been trusted.
#[test]
fn a_moved_reference_point_is_named_before_any_reading() {
    let (mut named, mut wrongly, mut read_out) = (0, 0, 0);
    for seed in 0..40 {
        let mut scene = scene(seed);
        let moved = seed as usize % REFERENCES;
        let step = Vec3::new(5.0, -4.0, 3.0);
        scene.now[moved] += step;
        for o in &mut scene.figures {
            if o.quantity.touches(moved) {
                let before: Vec<Vec3> = (scene.now.iter().enumerate())
                    .map(|(i, p)| if i == moved { p - step } else { *p })
                    .collect();
                o.value_mm += o.quantity.predict(&scene.now) - o.quantity.predict(&before);
            }
        }
        let survey = solve(&scene);
        let right = survey.moved == [moved] && survey.suspects.is_empty();
        named += usize::from(right);
        wrongly += usize::from(survey.moved.iter().any(|m| *m != moved));
        read_out += usize::from(!survey.solution.contradictions.is_empty());
        if right {
            let point = &survey.points[moved];
            assert_eq!(point.standing, Standing::MovedReference);
            let (mm, u) = point.axis(Axis::Length).expect("measured");
            assert!((mm - 5.0).abs() < 4.0 * u, "{mm} with {u}");
            assert!(survey.notes()[0].contains(&format!("Reference point {moved} is not where")));
        }
    }
    assert!(named >= 36, "named {named} of 40");
    assert!(wrongly <= 1 && read_out <= 3, "{wrongly} {read_out}");
}

/// One wrong reading is named, and no reference point is blamed for it.
#[test]
fn a_wrong_reading_is_no_moved_reference_point() {
    let (mut named, mut blamed) = (0, 0);
    for seed in 0..40 {
        let mut scene = scene(seed + 100);
        let wrong = (seed as usize * 7) % 36;
        scene.figures[wrong].value_mm += 10.0;
        let survey = solve(&scene);
        let contradictions = &survey.solution.contradictions;
        named += usize::from(contradictions.iter().any(|c| c.named() == Some(wrong)));
        blamed += usize::from(!survey.moved.is_empty());
    }
    assert!(named >= 34 && blamed <= 1, "named {named}, blamed {blamed}");
}

/// With the references held rigidly nothing else is done than the adjustment does.
#[test]
fn rigid_references_give_the_plain_adjustment() {
    let mut scene = scene(5);
    for point in &mut scene.points {
        let sheet = point.sheet.as_mut().expect("on the sheet");
        if point.is_reference {
            sheet.covariance = Mat3::zeros();
        }
    }
    for o in &mut scene.figures {
        let mut at = scene.now.clone();
        for (i, p) in at.iter_mut().enumerate().take(REFERENCES) {
            *p = scene.points[i].sheet.expect("on the sheet").position;
        }
        o.value_mm = o.quantity.predict(&at);
    }
    let ours = solve(&scene);
    let points = (scene.points.iter())
        .map(|p| {
            let at = p.sheet.expect("on the sheet").position;
            let point = Point::new(p.name.clone());
            if p.is_reference {
                point.known(at, 0.0)
            } else {
                point.about(at)
            }
        })
        .collect();
    let plain = Network::new(points, scene.figures.clone())
        .and_then(|n| n.adjust(&Options::default()))
        .expect("a solution");
    for (a, b) in ours.points.iter().zip(&plain.points).skip(REFERENCES) {
        let (position, covariance) = a.position.expect("measured");
        assert!((position - b.position).norm() < 1e-6);
        assert!((covariance - b.covariance).amax() < 1e-9);
    }
}

/// What nothing fixes is said, axis by axis; what nobody measured too.
#[test]
fn what_is_open_has_no_deviation() {
    let mut scene = scene(11);
    // 6 from level distances alone, 7 from a single distance, 8 and 9 not at all.
    scene.figures.retain(|o| {
        let (a, b) = o.quantity.points();
        a.max(b.unwrap_or(0)) < REFERENCES
    });
    let now = scene.now.clone();
    let mut read = |quantity: Quantity| {
        scene
            .figures
            .push(Observation::new(quantity, quantity.predict(&now), 0.5));
    };
    for from in 0..4 {
        read(Quantity::LevelDistance { from, to: 6 });
    }
    read(Quantity::TrueDistance { from: 3, to: 7 });
    let survey = solve(&scene);
    let p = &survey.points[6];
    assert_eq!(p.determined, [true, true, false]);
    assert!(p.axis(Axis::Length).is_some() && p.axis(Axis::Height).is_none());
    assert_eq!(survey.points[7].determined, [false; 3]);
    for i in [8, 9] {
        assert_eq!(survey.points[i].standing, Standing::NotMeasured);
        assert_eq!(survey.points[i].place, None);
        assert_eq!(survey.points[i].axis(Axis::Width), None);
    }
    let notes = survey.notes().join("\n");
    assert!(notes.contains("Undetermined in height: 6"), "{notes}");
    let best = survey.solution.best_extra(&Default::default(), 1);
    let words = survey.solution.extra_words(&best[0]);
    assert!(words.starts_with("Measure the "), "{words}");
    assert!(words.contains(" 7,") || words.contains(" 6,"), "{words}");
}

/// Reference points in one plane, true distances only: up or down, nobody knows. A position that
/// the sheet rules out is listed and does not count.
#[test]
fn a_flat_set_of_references_leaves_up_or_down_open() {
    let plane = [
        (0.0, -500.0),
        (0.0, 500.0),
        (1400.0, -450.0),
        (1500.0, 600.0),
    ];
    let run = |height: f64| {
        let at = Vec3::new(700.0, 150.0, height);
        let mut all: Vec<Vec3> = plane.iter().map(|&(x, y)| Vec3::new(x, y, 0.0)).collect();
        all.push(at);
        let points: Vec<TramPoint> = (all.iter().enumerate())
            .map(|(i, p)| {
                let covariance = Mat3::identity() * PRINT;
                let sheet = SheetEnd {
                    position: *p,
                    covariance,
                };
                let point = TramPoint::on_sheet(i.to_string(), sheet);
                if i < 4 { point.reference() } else { point }
            })
            .collect();
        let figures: Vec<Observation> = (0..4)
            .map(|from| {
                let quantity = Quantity::TrueDistance { from, to: 4 };
                Observation::new(quantity, quantity.predict(&all), 0.3)
            })
            .collect();
        survey(&points, &figures, 0.05).expect("a survey")
    };
    let near = run(45.0);
    assert_eq!(near.points[4].determined, [true, true, false]);
    assert!(
        near.points[4]
            .elsewhere
            .iter()
            .any(|p| (p.z + 45.0).abs() < 1.0)
    );
    let far = run(200.0);
    assert_eq!(far.points[4].determined, [true; 3]);
    assert!(
        far.points[4]
            .elsewhere
            .iter()
            .any(|p| (p.z + 200.0).abs() < 1.0)
    );
}

/// With three reference points none can be judged by the other two alone, and none can be given
/// up: a contradiction between readings and references leaves everything doubtful.
#[test]
fn too_few_references_settle_nothing() {
    let mut scene = scene(21);
    for (i, point) in scene.points.iter_mut().enumerate() {
        point.is_reference = i < 3;
    }
    scene.now[1] += Vec3::new(12.0, 0.0, 0.0);
    let now = scene.now.clone();
    for o in &mut scene.figures {
        o.value_mm = o.quantity.predict(&now);
    }
    let survey = solve(&scene);
    assert!(survey.doubtful && survey.moved.is_empty());
    assert!(!survey.suspects.is_empty());
    assert!(survey.notes()[0].contains("nothing tells which is wrong"));
}

#[test]
fn unusable_surveys_are_refused() {
    let scene = scene(1);
    let refused = |points: &[TramPoint], figures: &[Observation]| {
        survey(points, figures, 0.05).expect_err("refused")
    };
    let mut none: Vec<TramPoint> = scene.points.clone();
    none.iter_mut().for_each(|p| p.is_reference = false);
    assert_eq!(refused(&none, &scene.figures), SurveyError::NoReferences);
    assert_eq!(refused(&scene.points, &[]), SurveyError::NoReferences);
    let mut nowhere = scene.points.clone();
    nowhere[0].sheet = None;
    assert!(matches!(
        refused(&nowhere, &scene.figures),
        SurveyError::ReferenceWithoutPosition { .. }
    ));
    let mut bad = scene.points.clone();
    bad[7].sheet.as_mut().expect("on the sheet").covariance[(1, 1)] = f64::NAN;
    assert!(matches!(
        refused(&bad, &scene.figures),
        SurveyError::BadSheetCovariance { .. }
    ));
    let mut figures = scene.figures.clone();
    figures[3].quantity = Quantity::TrueDistance { from: 2, to: 400 };
    assert!(matches!(
        refused(&scene.points, &figures),
        SurveyError::Network(NetworkError::NoSuchPoint { index: 3, .. })
    ));
    figures[3] = Observation::new(Quantity::height(2), f64::NAN, 0.5);
    assert!(matches!(
        refused(&scene.points, &figures),
        SurveyError::Network(NetworkError::BadValue { index: 3, .. })
    ));
    assert!(survey(&scene.points, &scene.figures, 2.0).is_err());
}
