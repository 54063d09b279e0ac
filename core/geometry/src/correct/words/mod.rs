//! Moves in words and millimetres, as a technician needs them.
//!
//! One decimal; what rounds below [`NOTHING_MM`] is not said. A turn is told twice: as how far the
//! part's ends go and in which direction, and as an angle.

mod phrases;
mod why_not;

pub(crate) use phrases::join;
pub use phrases::{NOTHING_MM, deviation, displacement, too_far};
use phrases::{line_in_words, main_axis, way_in_words};
pub use why_not::{minimax, why_not};

use super::{AchievedPoint, Afterwards, Allowed, LeftAlone, Move, Part, PartPoint};
use crate::frame::{Axis, Vec3, direction};

/// The push, as one sentence: how far the middle of the part goes. A slide that is not along one of
/// the vehicle's axes is told along its own line first.
pub fn push(part: &Part, answer: &Move) -> String {
    match answer.allowed {
        Allowed::Slide { along } if main_axis(along).is_none() => {
            slide(part, answer, "the slide", "the slide")
        }
        _ => match displacement(answer.rigid.translation, part.side()) {
            Some(way) => format!("Push the part {way}."),
            None => "The middle of the part stays where it is.".into(),
        },
    }
}

/// The slide along a line between two named points, given to [`Allowed::along`] in this order:
/// "Push the part 6.2 mm along the line from A to H: 6.0 mm rearward and 1.5 mm up." Towards the
/// first point it is the line from H to A. Where a turn is allowed too, this is the slide alone.
/// For a free move, what [`push`] says.
pub fn push_along(part: &Part, answer: &Move, from: &str, to: &str) -> String {
    match answer.allowed {
        Allowed::Free => push(part, answer),
        _ => slide(
            part,
            answer,
            &format!("the line from {from} to {to}"),
            &format!("the line from {to} to {from}"),
        ),
    }
}

fn slide(part: &Part, answer: &Move, forth: &str, back: &str) -> String {
    let push = match answer.allowed {
        Allowed::SlideAndTurn { through, .. } => answer.rigid.displacement(through),
        _ => answer.rigid.translation,
    };
    let size = answer.slide_mm().unwrap_or(0.0);
    if size.abs() < NOTHING_MM {
        return format!("The part stays where it is along {forth}.");
    }
    let line = if size > 0.0 { forth } else { back };
    let way = displacement(push, part.side()).map_or(String::new(), |way| format!(": {way}"));
    format!("Push the part {:.1} mm along {line}{way}.", size.abs())
}

/// The turn, as one sentence for each axis about which it moves any point by a tenth; empty for a
/// pure push. A turn about a stated axis that is none of the vehicle's is one sentence, with the
/// point that it takes farthest.
pub fn turn(part: &Part, answer: &Move) -> Vec<String> {
    let centre = part.centroid();
    if let Allowed::SlideAndTurn { axis, .. } = answer.allowed
        && main_axis(axis).is_none()
    {
        return turn_about_its_axis(part, answer).into_iter().collect();
    }
    let about = |axis: Axis| {
        let spin = axis.unit() * answer.rigid.rotation[axis.index()];
        let (along, effect) = ends_to_watch(part, axis);
        let (low, high) = extremes(part, along)?;
        let end = |p: &PartPoint| {
            let goes = spin.cross(&(p.position - centre))[effect.index()];
            (goes.abs() >= NOTHING_MM).then(|| {
                let way = direction(effect, goes, p.side);
                let part_end =
                    name_of_end(along, p.position[along.index()] > centre[along.index()]);
                format!("{} ({part_end}) goes {:.1} mm {way}", p.name, goes.abs())
            })
        };
        let said = join([end(low), end(high)].into_iter().flatten().collect())?;
        Some(format!(
            "Turn it {:.2}\u{b0} about the {} axis, so that {said}.",
            answer.rigid.rotation[axis.index()].abs().to_degrees(),
            axis.word(),
        ))
    };
    Axis::ALL.into_iter().filter_map(about).collect()
}

fn turn_about_its_axis(part: &Part, answer: &Move) -> Option<String> {
    let goes = |p: &PartPoint| answer.rigid.rotation.cross(&(p.position - part.centroid()));
    let by_size = |a: &&PartPoint, b: &&PartPoint| goes(a).norm().total_cmp(&goes(b).norm());
    let farthest = part.points().iter().max_by(by_size)?;
    let way = displacement(goes(farthest), farthest.side)?;
    Some(format!(
        "Turn it {:.2}\u{b0} about the stated axis, so that {} goes {way}.",
        answer.rigid.angle().to_degrees(),
        farthest.name
    ))
}

/// How far each point goes in all, push and turn together.
pub fn at_each_point(answer: &Move) -> Vec<String> {
    let line = |p: &Afterwards| match displacement(p.displacement, p.side) {
        Some(way) => format!("At {}: {way}.", p.name),
        None => format!("{} stays where it is.", p.name),
    };
    answer.points.iter().map(line).collect()
}

/// What each point should read afterwards, and whether that is inside its limits.
pub fn expected(answer: &Move) -> Vec<String> {
    let line = |p: &Afterwards| {
        let place = match deviation(p.deviation, p.side) {
            Some(off) => format!("{} should then be {off}", p.name),
            None => format!("{} should then be on its dimension", p.name),
        };
        let good_to = p.u.map_or("uncertainty not stated".to_string(), |u| {
            format!("good to {:.1} mm", 2.0 * u.amax())
        });
        let outside: Vec<String> = Axis::ALL
            .into_iter()
            .filter(|&axis| p.inside(axis) == Some(false))
            .map(|axis| axis.word().to_string())
            .collect();
        let unlimited = Axis::ALL.into_iter().all(|axis| p.inside(axis).is_none());
        let verdict = match join(outside) {
            Some(axes) => format!("outside in {axes}"),
            None if unlimited => "no limit given".into(),
            None => "inside".into(),
        };
        format!("{place} ({good_to}): {verdict}.")
    };
    answer.points.iter().map(line).collect()
}

/// What the points could not determine, in words; empty where all was determined.
pub fn left_alone(answer: &Move) -> Vec<String> {
    let turns: Vec<Vec3> = answer
        .left_alone
        .iter()
        .filter_map(|l| match l {
            LeftAlone::Turn(axis) => Some(*axis),
            LeftAlone::Slide(_) => None,
        })
        .collect();
    let mut said = Vec::new();
    match turns.as_slice() {
        [] => {}
        [axis] => said.push(format!(
            "The points don't say how the part is turned about {}: that turn is left alone. \
             A further point away from that line would settle it.",
            line_in_words(*axis)
        )),
        _ => said.push(
            "The points don't say how the part is turned: only the push is computed. \
             Two further points, not in one line, would settle it."
                .into(),
        ),
    }
    for l in &answer.left_alone {
        if let LeftAlone::Slide(way) = l {
            said.push(format!(
                "No reading that counts says where the part sits along {}: that slide is left alone.",
                line_in_words(*way)
            ));
        }
    }
    said
}

/// What was allowed: "a slide along the length".
pub fn allowed(allowed: &Allowed) -> String {
    match allowed {
        Allowed::Free => "a free push and turn".into(),
        Allowed::Slide { along } => format!("a slide along {}", line_in_words(*along)),
        Allowed::SlideAndTurn { along, axis, .. } => format!(
            "a slide along {} with a turn about {}",
            line_in_words(*along),
            line_in_words(*axis)
        ),
    }
}

/// One sentence for each point: what was asked, what was made of it.
pub fn achieved(points: &[AchievedPoint]) -> Vec<String> {
    let line = |p: &AchievedPoint| {
        let asked = displacement(p.asked, p.side).unwrap_or("nothing".into());
        let made = displacement(p.made, p.side).unwrap_or("did not move".into());
        let verdict = match Axis::ALL.map(|axis| p.as_predicted(axis)) {
            [Some(true), Some(true), Some(true)] => "as predicted".to_string(),
            known => {
                let difference = deviation(p.difference(), p.side)
                    .map_or("on the prediction".into(), |d| {
                        format!("{d} against the prediction")
                    });
                if known.contains(&None) {
                    format!("{difference} (uncertainty not stated)")
                } else {
                    difference
                }
            }
        };
        format!("{}: asked {asked}; made {made}; {verdict}.", p.name)
    };
    points.iter().map(line).collect()
}

/// Which ends to watch in a turn about an axis, and along which axis they then go: the longer way
/// across the part shows the turn best.
fn ends_to_watch(part: &Part, about: Axis) -> (Axis, Axis) {
    let (first, second) = match about {
        Axis::Length => (Axis::Width, Axis::Height),
        Axis::Width => (Axis::Length, Axis::Height),
        Axis::Height => (Axis::Length, Axis::Width),
    };
    let across = |axis: Axis| {
        extremes(part, axis).map_or(0.0, |(low, high)| {
            high.position[axis.index()] - low.position[axis.index()]
        })
    };
    if across(second) > across(first) {
        (second, first)
    } else {
        (first, second)
    }
}

fn extremes(part: &Part, axis: Axis) -> Option<(&PartPoint, &PartPoint)> {
    let by = |a: &&PartPoint, b: &&PartPoint| {
        a.position[axis.index()].total_cmp(&b.position[axis.index()])
    };
    let points = part.points();
    points.iter().min_by(by).zip(points.iter().max_by(by))
}

fn name_of_end(along: Axis, positive: bool) -> &'static str {
    match (along, positive) {
        (Axis::Length, true) => "rear end",
        (Axis::Length, false) => "front end",
        (Axis::Width, true) => "right end",
        (Axis::Width, false) => "left end",
        (Axis::Height, true) => "top",
        (Axis::Height, false) => "bottom",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::correct::best_move;
    use crate::frame::Side;
    use nalgebra::{DMatrix, Rotation3};

    pub(super) fn part(side: Side, off: &[[f64; 3]]) -> Part {
        let targets = [
            [3200.0, 530.0, 410.0],
            [3600.0, 530.0, 410.0],
            [3400.0, 490.0, 510.0],
        ];
        let points = targets.iter().zip(off).enumerate();
        let points = points.map(|(i, (target, off))| PartPoint {
            name: format!("R{}", i + 7),
            side,
            position: Vec3::from(*target) + Vec3::from(*off),
            target: Vec3::from(*target),
            limits: [Some(3.0); 3],
        });
        Part::new(points.collect(), None).unwrap()
    }

    #[test]
    fn a_push_names_only_what_can_be_seen() {
        let p = part(Side::Right, &[[-7.2, 0.4, -3.6]; 3]);
        let answer = best_move(&p, &Allowed::Free).unwrap();
        assert_eq!(
            push(&p, &answer),
            "Push the part 7.2 mm rearward, 0.4 mm inboard and 3.6 mm up."
        );
        assert!(turn(&p, &answer).is_empty());
        let p = part(Side::Left, &[[0.04, 0.4, 0.0]; 3]);
        let answer = best_move(&p, &Allowed::Free).unwrap();
        assert_eq!(push(&p, &answer), "Push the part 0.4 mm outboard.");
        let p = part(Side::Centre, &[[0.0; 3]; 3]);
        let answer = best_move(&p, &Allowed::Free).unwrap();
        assert_eq!(
            push(&p, &answer),
            "The middle of the part stays where it is."
        );
    }

    #[test]
    fn a_turn_says_which_end_goes_where() {
        // Turned by 0.01 rad about the height axis, and so to be turned back.
        let still = part(Side::Right, &[[0.0; 3]; 3]);
        let centre = still.centroid();
        let off = still.points().iter().map(|p| {
            let arm = p.target - centre;
            <[f64; 3]>::from(Rotation3::new(Vec3::z() * 0.01) * arm - arm)
        });
        let p = part(Side::Right, &off.collect::<Vec<_>>());
        let answer = best_move(&p, &Allowed::Free).unwrap();
        assert_eq!(
            turn(&p, &answer),
            ["Turn it 0.57\u{b0} about the height axis, so that \
              R7 (front end) goes 2.0 mm outboard and R8 (rear end) goes 2.0 mm inboard."]
        );
        assert_eq!(
            at_each_point(&answer)[0],
            "At R7: 0.1 mm rearward and 2.0 mm outboard."
        );
    }

    #[test]
    fn what_to_expect_carries_its_uncertainty_and_the_limit() {
        let p = part(
            Side::Right,
            &[[-7.0, 0.0, 4.0], [-7.0, 0.0, 0.0], [-7.0, 0.0, 0.0]],
        );
        let stated = Part::new(p.points().to_vec(), Some(DMatrix::identity(9, 9) * 0.04)).unwrap();
        let slide = Allowed::slide_along(Axis::Length);
        let lines = expected(&best_move(&stated, &slide).unwrap());
        assert_eq!(
            lines[0],
            "R7 should then be 4.0 mm too high (good to 0.4 mm): outside in height."
        );
        assert_eq!(
            lines[1],
            "R8 should then be on its dimension (good to 0.4 mm): inside."
        );
        let lines = expected(&best_move(&p, &slide).unwrap());
        assert!(lines[1].contains("uncertainty not stated"), "{}", lines[1]);
    }

    #[test]
    fn an_oblique_slide_is_told_along_its_own_line() {
        // 6.0 mm rearward and 1.5 mm up: 6.2 mm along a line that climbs one in four.
        let p = part(Side::Right, &[[-6.0, 0.0, -1.5]; 3]);
        let (a, h) = (
            Vec3::new(3200.0, 530.0, 410.0),
            Vec3::new(3600.0, 530.0, 510.0),
        );
        let answer = best_move(&p, &Allowed::along(a, h).unwrap()).unwrap();
        assert!((answer.slide_mm().unwrap() - 38.25_f64.sqrt()).abs() < 1e-9);
        assert_eq!(answer.turn_rad(), None);
        let way = "6.0 mm rearward and 1.5 mm up.";
        assert_eq!(
            push_along(&p, &answer, "A", "H"),
            format!("Push the part 6.2 mm along the line from A to H: {way}")
        );
        assert_eq!(
            push(&p, &answer),
            format!("Push the part 6.2 mm along the slide: {way}")
        );
        let answer = best_move(&p, &Allowed::along(h, a).unwrap()).unwrap();
        assert!(answer.slide_mm().unwrap() < 0.0);
        assert_eq!(
            push_along(&p, &answer, "H", "A"),
            format!("Push the part 6.2 mm along the line from A to H: {way}")
        );
        let p = part(Side::Right, &[[0.0; 3]; 3]);
        let answer = best_move(&p, &Allowed::along(h, a).unwrap()).unwrap();
        assert_eq!(
            push_along(&p, &answer, "H", "A"),
            "The part stays where it is along the line from H to A."
        );
    }

    #[test]
    fn a_slide_with_a_turn_is_told_in_its_own_terms() {
        // About an oblique hinge by 0.01 rad, and 5 mm along the length: to be undone.
        let still = part(Side::Right, &[[0.0; 3]; 3]);
        let (from, to) = (
            Vec3::new(3200.0, 530.0, 410.0),
            Vec3::new(3200.0, 630.0, 510.0),
        );
        let turn = Rotation3::new((to - from).normalize() * 0.01);
        let off = still.points().iter().map(|p| {
            let slid_back = p.target - from - Vec3::x() * 5.0;
            <[f64; 3]>::from(from + turn * slid_back - p.target)
        });
        let p = part(Side::Right, &off.collect::<Vec<_>>());
        let allowed = Allowed::slide_along(Axis::Length)
            .turning_about(from, to)
            .unwrap();
        let answer = best_move(&p, &allowed).unwrap();
        assert!(answer.points.iter().all(|p| p.deviation.norm() < 1e-6));
        assert!(
            (answer.slide_mm().unwrap() - 5.0).abs() < 1e-6,
            "{:?}",
            answer.slide_mm()
        );
        assert!((answer.turn_rad().unwrap() + 0.01).abs() < 1e-6);
        let said = turn_of(&p, &answer);
        assert!(
            said.starts_with("Turn it 0.57\u{b0} about the stated axis, so that R"),
            "{said}"
        );
        assert!(
            push_along(&p, &answer, "A", "H").starts_with("Push the part 5.0 mm along"),
            "{}",
            push_along(&p, &answer, "A", "H")
        );
        assert!(Allowed::Free.turning_about(from, from).is_err());
    }

    fn turn_of(part: &Part, answer: &Move) -> String {
        turn(part, answer).remove(0)
    }

    #[test]
    fn what_the_points_leave_open_is_said() {
        let p = part(Side::Right, &[[1.0, 0.0, 0.0], [1.0, 0.0, 0.0]]);
        let said = left_alone(&best_move(&p, &Allowed::Free).unwrap());
        assert_eq!(said.len(), 1);
        assert!(said[0].contains("turned about the length"), "{}", said[0]);
        let p = part(Side::Right, &[[1.0, 0.0, 0.0]]);
        let said = left_alone(&best_move(&p, &Allowed::Free).unwrap());
        assert!(said[0].contains("only the push"), "{}", said[0]);
        let along = Vec3::new(0.8, 0.0, 0.6);
        assert_eq!(
            allowed(&Allowed::Slide { along }),
            "a slide along the line (0.80 rearward, 0.60 up for each mm)"
        );
    }
}
