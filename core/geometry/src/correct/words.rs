//! Moves in words and millimetres, as a technician needs them.
//!
//! One decimal; what rounds below [`NOTHING_MM`] is not said. A turn is told twice: as how far the
//! part's ends go and in which direction, and as an angle.

use super::afterwards::{Afterwards, Move};
use super::compare::AchievedPoint;
use super::freedoms::{Allowed, LeftAlone};
use super::minimax::Minimax;
use super::part::{Part, PartPoint};
use super::proof::Proof;
use crate::frame::{Axis, Side, Vec3, direction};

/// Below this nothing is said (mm): one decimal would print 0.0.
pub const NOTHING_MM: f64 = 0.05;

/// "7.2 mm rearward, 0.4 mm inboard and 3.6 mm up", or `None` if every component is nothing.
pub fn displacement(v: Vec3, side: Side) -> Option<String> {
    let components = Axis::ALL.map(|axis| (axis, v[axis.index()]));
    let said = components
        .iter()
        .filter(|(_, c)| c.abs() >= NOTHING_MM)
        .map(|&(axis, c)| format!("{:.1} mm {}", c.abs(), direction(axis, c, side)));
    join(said.collect())
}

/// Where a deviation puts a point: "1.2 mm too far rearward and 0.4 mm too high".
pub fn deviation(v: Vec3, side: Side) -> Option<String> {
    let components = Axis::ALL.map(|axis| (axis, v[axis.index()]));
    let said = components
        .iter()
        .filter(|(_, c)| c.abs() >= NOTHING_MM)
        .map(|&(axis, c)| format!("{:.1} mm {}", c.abs(), too_far(axis, c, side)));
    join(said.collect())
}

/// "too far rearward", "too high".
pub fn too_far(axis: Axis, component: f64, side: Side) -> String {
    match (axis, component >= 0.0) {
        (Axis::Height, true) => "too high".into(),
        (Axis::Height, false) => "too low".into(),
        _ => format!("too far {}", direction(axis, component, side)),
    }
}

/// The push, as one sentence: how far the middle of the part goes.
pub fn push(part: &Part, answer: &Move) -> String {
    match displacement(answer.rigid.translation, part.side()) {
        Some(way) => format!("Push the part {way}."),
        None => "The middle of the part stays where it is.".into(),
    }
}

/// The turn, as one sentence for each axis about which it moves any point by a tenth; empty for a
/// pure push.
pub fn turn(part: &Part, answer: &Move) -> Vec<String> {
    let centre = part.centroid();
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

/// The answer of the minimax move: possible and how closely, or impossible and why.
pub fn minimax(part: &Part, answer: &Minimax) -> Vec<String> {
    let what = allowed(&answer.best.allowed);
    match &answer.impossible {
        None => vec![format!(
            "Possible: {what} can bring every reading with a limit inside; the worst then uses {:.0} % of its limit.",
            answer.worst * 100.0
        )],
        Some(proof) => {
            let mut said = vec![format!(
                "Impossible: {what} can't bring every reading inside; at best the worst is {:.1} times its limit.",
                answer.worst
            )];
            said.extend(why_not(part, proof));
            said
        }
    }
}

/// The readings that contradict, one sentence each.
pub fn why_not(part: &Part, proof: &Proof) -> Vec<String> {
    let of_reading = |r: &super::Contradiction| {
        let p = part.points().get(r.point)?;
        Some((p, r.axis, p.limit(r.axis)?, r.weight.signum()))
    };
    let readings: Vec<_> = proof.readings.iter().filter_map(of_reading).collect();
    let off = |p: &PartPoint, axis: Axis, limit: f64| {
        let d = p.deviation()[axis.index()];
        format!(
            "{} is {:.1} mm {} (limit {limit:.1} mm)",
            p.name,
            d.abs(),
            too_far(axis, d, p.side)
        )
    };
    if let [(p, axis, limit, _)] = readings[..] {
        return vec![format!(
            "{}, and {} does not change its {}.",
            off(p, axis, limit),
            allowed(&proof.allowed),
            axis.word()
        )];
    }
    let mut said = vec!["These readings contradict each other:".to_string()];
    let slide = match proof.allowed {
        Allowed::Slide { along } => Some(along.normalize()),
        _ => None,
    };
    said.extend(readings.iter().map(|&(p, axis, limit, sign)| {
        let now = off(p, axis, limit);
        match slide.and_then(|along| needs(p, axis, limit, sign, along)) {
            Some(needs) => format!("{now}, so {needs}."),
            None => format!("{now}; it must not stay {}.", too_far(axis, sign, p.side)),
        }
    }));
    said
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

/// What a reading asks of a slide: at least, or at most, so many millimetres along it.
fn needs(p: &PartPoint, axis: Axis, limit: f64, sign: f64, along: Vec3) -> Option<String> {
    let per_mm = along[axis.index()];
    if per_mm.abs() < 1e-9 {
        return None;
    }
    // sign * (d + per_mm * s) <= limit, solved for s.
    let bound = (sign * limit - p.deviation()[axis.index()]) / per_mm;
    let at_most = sign * per_mm > 0.0;
    let forward = if bound >= 0.0 { along } else { -along };
    let way = way_in_words(forward);
    Some(match (at_most, bound >= 0.0) {
        (true, true) => format!("the slide may go at most {bound:.1} mm {way}"),
        (true, false) => format!("the slide must go at least {:.1} mm {way}", -bound),
        (false, true) => format!("the slide must go at least {bound:.1} mm {way}"),
        (false, false) => format!("the slide may go at most {:.1} mm {way}", -bound),
    })
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

fn main_axis(v: Vec3) -> Option<Axis> {
    let v = v.try_normalize(0.0)?;
    Axis::ALL
        .into_iter()
        .find(|axis| v[axis.index()].abs() > 1.0 - 1e-6)
}

/// "the length", or the direction spelled out.
fn line_in_words(v: Vec3) -> String {
    match main_axis(v) {
        Some(axis) => format!("the {}", axis.word()),
        None => format!("the line {}", way_in_words(v)),
    }
}

/// "rearward", or "along 98 % rearward, 17 % right".
fn way_in_words(v: Vec3) -> String {
    if let Some(axis) = main_axis(v) {
        return direction(axis, v[axis.index()], Side::Centre).into();
    }
    let v = v.normalize();
    let shares = Axis::ALL
        .into_iter()
        .filter(|axis| v[axis.index()].abs() >= 0.005)
        .map(|axis| {
            let share = v[axis.index()];
            format!(
                "{:.2} {}",
                share.abs(),
                direction(axis, share, Side::Centre)
            )
        });
    let shares: Vec<String> = shares.collect();
    format!("({} for each mm)", shares.join(", "))
}

/// "a, b and c"; `None` for an empty list.
pub(crate) fn join(mut items: Vec<String>) -> Option<String> {
    let last = items.pop()?;
    if items.is_empty() {
        return Some(last);
    }
    Some(format!("{} and {last}", items.join(", ")))
}
