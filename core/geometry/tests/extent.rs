//! How far damage went along each member, on simulated surveys of an invented van.

mod damage_scenes;

use damage_scenes::*;
use datumtrail_geometry::damage::{Measured, MeasuredPoint, Zone};
use datumtrail_geometry::extent::{self, Direction, Extent, Movement, Options};
use datumtrail_geometry::frame::{Side, Vec3};
use datumtrail_geometry::verdict::Verdict;
use nalgebra::DMatrix;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

/// A point on the sheet, measured exactly there.
fn lone(name: &str, side: Side, x: f64) -> MeasuredPoint {
    let y = match side {
        Side::Left => -450.0,
        Side::Right => 450.0,
        Side::Centre => 0.0,
    };
    MeasuredPoint {
        name: name.into(),
        side,
        spec: Vec3::new(x, y, 200.0),
        deviation: Vec3::zeros(),
        limits: [Some(3.0); 3],
        verdicts: [Verdict::Inside; 3],
        is_reference: false,
        zone: Zone::Front,
        member: format!("{} rail", side.word()),
    }
}

/// The extents of the member that holds this point.
fn along(measured: &Measured, point: &str, options: Options) -> Extent {
    let extents = extent::read(measured, Some(&layout()), options);
    let holds = |e: &Extent| e.chain.iter().any(|p| p.name == point);
    extents.into_iter().find(holds).unwrap()
}

#[test]
fn the_extent_of_a_rear_corner_is_told_in_the_sentence_a_shop_needs() {
    let measured = wide_survey(rear_corner, 2, 0.3, ["A", "A'", "F", "F'"]);
    let left = along(&measured, "L", Options::default());
    let names: Vec<&str> = left.chain.iter().map(|p| p.name.as_str()).collect();
    assert_eq!(names, ["G", "M", "N", "D", "J", "L"]);
    assert_eq!(left.direction, Direction::Rearward);
    assert_eq!(left.first_moved(), Some(4));
    assert!(left.behind_stayed(), "{}", extent::words::conclusion(&left));
    let sentence = "Everything measured ahead of J is inside; the section behind it moved.";
    assert_eq!(extent::words::sentence(&left).as_deref(), Some(sentence));
    assert_eq!(
        extent::words::conclusion(&left),
        format!(
            "{}, rearward: everything measured ahead of J is inside; the section behind it moved. \
             G, M, N and D stayed; J is the innermost point that moved.",
            left.member
        )
    );
    let right = along(&measured, "L'", Options::default());
    assert_eq!(right.first_moved(), None);
    assert_eq!(extent::words::sentence(&right), None);
    let said = extent::words::conclusion(&right);
    assert!(
        said.ends_with("(G', M', N', D', J' and L') stayed and is inside."),
        "{said}"
    );
}

#[test]
fn the_extent_of_a_front_hit_is_told_for_each_member_and_for_the_whole() {
    let measured = wide_survey(rail_ends, 2, 0.3, ["D", "D'", "J", "J'"]);
    for (point, innermost) in [("H", "C"), ("H'", "C'")] {
        let said = extent::words::sentence(&along(&measured, point, Options::default()));
        let expected = format!(
            "Everything measured behind {innermost} is inside; the section ahead of it moved."
        );
        assert_eq!(said, Some(expected));
    }
    let whole = extent::whole(&measured, None, Options::default());
    assert_eq!(whole.len(), 2);
    assert_eq!(whole[0].direction, Direction::Forward);
    assert_eq!(whole[0].chain[whole[0].first_moved().unwrap()].name, "C");
    assert!(extent::words::sentence(&whole[0]).is_some());
    assert_eq!(whole[1].first_moved(), None);
}

#[test]
fn a_point_that_can_not_be_told_blocks_the_sentence() {
    let measured = wide_survey(rear_corner, 2, 0.3, ["A", "A'", "F", "F'"]);
    // A move of 1 mm is more than u = 0.8 mm can rule out.
    let strict = Options {
        relevant_mm: Some(1.0),
        ..Options::default()
    };
    let left = along(&measured, "L", strict);
    let blocked: Vec<&str> = left.blocked_by().iter().map(|p| p.name.as_str()).collect();
    assert_eq!(blocked, ["D"]);
    assert!(!left.behind_stayed());
    assert_eq!(extent::words::sentence(&left), None);
    let said = extent::words::conclusion(&left);
    assert!(
        said.contains("can't be said, because D could hide a move of"),
        "{said}"
    );
    assert!(!said.contains("is inside"), "{said}");
}

/// The deviations of one point, drawn anew around a true move: the move is within what is said to
/// be hidden at least as often as stated, and a point that stayed is called moved as rarely.
#[test]
fn what_is_said_to_be_hidden_covers_the_true_move() {
    let normal = StandardNormal;
    let mut dice = ChaCha8Rng::seed_from_u64(17);
    let runs = 4000;
    for truth in [0.0, 0.5, 1.5, 2.5] {
        let (mut covered, mut stayed, mut alarms) = (0, 0, 0);
        for _ in 0..runs {
            let mut noise = || -> f64 { 0.8 * Distribution::<f64>::sample(&normal, &mut dice) };
            let point = MeasuredPoint {
                deviation: Vec3::new(truth + noise(), noise(), noise()),
                limits: [Some(3.0), None, None],
                ..lone("A", Side::Left, 0.0)
            };
            let measured = Measured::new(vec![point], DMatrix::identity(3, 3) * 0.64).unwrap();
            let extents = extent::read(&measured, None, Options::default());
            match extents[0].chain[0].movement {
                Movement::Stayed { hides_mm } | Movement::CannotTell { hides_mm, .. } => {
                    stayed += 1;
                    covered += usize::from(truth <= hides_mm);
                }
                _ => alarms += 1,
            }
        }
        // A found move is not a hidden one.
        let share = (covered + alarms) as f64 / f64::from(runs);
        // Three standard deviations of the count below 95 %.
        assert!(share > 0.939, "{truth}: {share} of {stayed}");
        if truth == 0.0 {
            let alarms = alarms as f64 / f64::from(runs);
            assert!((0.039..0.061).contains(&alarms), "{alarms}");
        }
    }
}

#[test]
fn an_undamaged_van_has_a_moved_point_in_at_most_five_of_a_hundred_surveys() {
    let runs = 300;
    let alarmed = |seed: &u64| {
        let measured = survey(undamaged, *seed, 1.0);
        let extents = extent::whole(&measured, None, Options::default());
        extents.iter().any(|e| e.first_moved().is_some())
    };
    let alarms = (1000..1000 + runs).filter(alarmed).count() as f64 / runs as f64;
    assert!(alarms < 0.088, "{alarms}");
}
