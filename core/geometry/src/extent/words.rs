//! The extent of the damage in the sentences a shop needs.

use super::{ChainPoint, Direction, Extent, Movement};
use crate::correct::words::{displacement, join};

/// The conclusion for one member and direction, as one sentence.
pub fn conclusion(extent: &Extent) -> String {
    let (direction, behind, ahead) = match extent.direction {
        Direction::Forward => ("forward", "behind", "ahead of"),
        Direction::Rearward => ("rearward", "ahead of", "behind"),
    };
    let place = format!("{}, {direction}", extent.member);
    let listed = names(extent.behind().iter());
    let also_inside = match (extent.behind_is_inside(), all_without_limit(extent)) {
        (true, _) => "stayed and is inside its limits",
        (false, true) => "stayed (no limits given)",
        (false, false) => "stayed, though not all of it is inside its limits",
    };
    let blocked = join(extent.blocked_by().into_iter().map(why_not_told).collect());
    let Some(first) = extent.first_moved().and_then(|k| extent.chain.get(k)) else {
        return match blocked {
            Some(why) => format!("{place}: no movement found, but {why}."),
            None => format!("{place}: everything measured ({listed}) {also_inside}."),
        };
    };
    let mut said = if extent.behind().is_empty() {
        format!(
            "{place}: {} moved, and no point {behind} it was measured: how far in the damage goes is open",
            first.name
        )
    } else if let Some(why) = blocked {
        format!(
            "{place}: {} moved; whether everything {behind} it stayed can't be said, because {why}",
            first.name
        )
    } else {
        format!(
            "{place}: everything measured {behind} {} ({listed}) {also_inside}; the section {ahead} it, {} included, moved",
            first.name, first.name
        )
    };
    if let Some(beyond) = join(
        extent
            .stayed_beyond()
            .iter()
            .map(|p| p.name.clone())
            .collect(),
    ) {
        said.push_str(&format!(", but no movement was found at {beyond}"));
    }
    said.push('.');
    said
}

/// One line for each point of the chain.
pub fn points(extent: &Extent) -> Vec<String> {
    let line = |p: &ChainPoint| match p.movement {
        Movement::Reference => format!("{}: reference point.", p.name),
        Movement::Moved => format!(
            "{}: moved, {}.",
            p.name,
            displacement(p.deviation, p.side).unwrap_or("by less than 0.05 mm".into())
        ),
        Movement::Stayed { hides_mm } => format!(
            "{}: no movement found; {hides_mm:.1} mm would have been, four times in five.",
            p.name
        ),
        Movement::CannotTell { .. } => format!("Not told: {}.", why_not_told(p)),
    };
    let mut said: Vec<String> = extent.chain.iter().map(line).collect();
    if let Some(missing) = join(extent.not_measured.clone()) {
        said.push(format!("Not measured: {missing}."));
    }
    said
}

fn why_not_told(p: &ChainPoint) -> String {
    match p.movement {
        Movement::CannotTell {
            hides_mm,
            relevant_mm,
        } if hides_mm.is_finite() => format!(
            "{} could hide a move of {hides_mm:.1} mm, and {relevant_mm:.1} mm matters",
            p.name
        ),
        _ => format!("nothing sound is known of {}", p.name),
    }
}

fn all_without_limit(extent: &Extent) -> bool {
    use crate::verdict::Verdict::NoLimitGiven;
    let mut verdicts = extent.behind().iter().flat_map(|p| p.verdicts);
    verdicts.all(|v| v == NoLimitGiven)
}

fn names<'a>(points: impl Iterator<Item = &'a ChainPoint>) -> String {
    join(points.map(|p| p.name.clone()).collect()).unwrap_or_default()
}
