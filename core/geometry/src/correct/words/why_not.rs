//! Whether the limits can be met, and if not, why not.

use super::{allowed, too_far, way_in_words};
use crate::correct::{Allowed, Contradiction, Minimax, Part, PartPoint, Proof};
use crate::frame::{Axis, Vec3};

/// The answer of the minimax move: possible and how closely, or impossible and why.
pub fn minimax(part: &Part, answer: &Minimax) -> Vec<String> {
    let what = allowed(&answer.best.allowed);
    let mut said = vec![match answer.possible() {
        Some(true) => format!(
            "Possible: {what} can bring every reading with a limit inside; the worst then uses {:.0} % of its limit.",
            answer.worst * 100.0
        ),
        Some(false) => format!(
            "Impossible: {what} can't bring every reading inside; at best the worst is {:.2} times its limit.",
            answer.worst
        ),
        None => format!(
            "Not decided: {what} brings the worst reading to {:.2} times its limit; none was found that does better, and none is ruled out.",
            answer.worst
        ),
    }];
    if let Some(proof) = &answer.impossible {
        said.extend(why_not(part, proof));
    }
    said
}

/// The readings that contradict, one sentence each.
pub fn why_not(part: &Part, proof: &Proof) -> Vec<String> {
    let of_reading = |r: &Contradiction| {
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

#[cfg(test)]
mod tests {
    use super::super::tests::part;
    use super::*;
    use crate::correct::minimax_move;
    use crate::frame::Side;

    #[test]
    fn an_impossible_slide_names_the_reading_it_cannot_touch() {
        let p = part(
            Side::Right,
            &[[-7.0, 0.0, 4.0], [-7.0, 0.0, 0.0], [-7.0, 0.0, 0.0]],
        );
        let answer = minimax_move(&p, &Allowed::slide_along(Axis::Length)).unwrap();
        assert_eq!(
            minimax(&p, &answer),
            [
                "Impossible: a slide along the length can't bring every reading inside; at best the worst is 1.33 times its limit.",
                "R7 is 4.0 mm too high (limit 3.0 mm), and a slide along the length does not change its height.",
            ]
        );
    }

    #[test]
    fn contradicting_readings_say_what_each_of_them_needs() {
        let p = part(
            Side::Right,
            &[[-9.0, 0.0, 0.0], [1.0, 0.0, 0.0], [-5.0, 0.0, 0.0]],
        );
        let answer = minimax_move(&p, &Allowed::slide_along(Axis::Length)).unwrap();
        let lines = minimax(&p, &answer);
        assert_eq!(lines[1], "These readings contradict each other:");
        assert_eq!(
            lines[2],
            "R7 is 9.0 mm too far forward (limit 3.0 mm), so the slide must go at least 6.0 mm rearward."
        );
        assert_eq!(
            lines[3],
            "R8 is 1.0 mm too far rearward (limit 3.0 mm), so the slide may go at most 2.0 mm rearward."
        );
        let ok = minimax_move(&p, &Allowed::slide_along(Axis::Length)).unwrap();
        let weights: Vec<&Contradiction> = ok.impossible.iter().flat_map(|p| &p.readings).collect();
        assert_eq!(weights.len(), 2);
    }
}
