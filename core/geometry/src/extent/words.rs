//! The extent of the damage in the sentences a shop needs.

use super::{ChainPoint, Direction, Extent, Movement};
use crate::correct::words::{displacement, join};
use crate::verdict::Verdict;

/// The sentence that a shop needs, where it is true: everything inwards of the innermost point that
/// moved has stayed and is inside its limits, and nothing further out was found in place. `None`
/// where that can't be said; [`conclusion`] then says why.
pub fn sentence(extent: &Extent) -> Option<String> {
    let first = said_of(extent)?;
    let (behind, ahead) = behind_and_ahead(extent.direction);
    Some(format!(
        "Everything measured {behind} {first} is inside; the section {ahead} it moved."
    ))
}

/// The innermost point that moved, where [`sentence`] is true of it.
fn said_of(extent: &Extent) -> Option<&str> {
    let first = extent.chain.get(extent.first_moved()?)?;
    let true_of_it = !extent.doubtful
        && extent.behind_stayed()
        && extent.behind_is_inside()
        && extent.stayed_beyond().is_empty();
    true_of_it.then_some(first.name.as_str())
}

fn behind_and_ahead(direction: Direction) -> (&'static str, &'static str) {
    match direction {
        Direction::Forward => ("behind", "ahead of"),
        Direction::Rearward => ("ahead of", "behind"),
    }
}

/// The conclusion for one member and direction.
pub fn conclusion(extent: &Extent) -> String {
    let (behind, ahead) = behind_and_ahead(extent.direction);
    let direction = match extent.direction {
        Direction::Forward => "forward",
        Direction::Rearward => "rearward",
    };
    let place = format!("{}, {direction}", extent.member);
    if extent.doubtful {
        return format!(
            "{place}: the reference points contradict each other, so nothing can be said about \
             what stayed."
        );
    }
    let listed = names(extent.behind().iter());
    if let Some(first) = said_of(extent) {
        return format!(
            "{place}: everything measured {behind} {first} is inside; the section {ahead} it \
             moved. {listed} stayed; {first} is the innermost point that moved."
        );
    }
    let stayed = format!("stayed{}", but_not_inside(extent));
    let blocked = join(extent.blocked_by().into_iter().map(why_not_told).collect());
    let Some(first) = extent.first_moved().and_then(|k| extent.chain.get(k)) else {
        return match blocked {
            Some(why) => format!("{place}: no movement found, but {why}."),
            None => format!("{place}: everything measured ({listed}) {stayed}."),
        };
    };
    let first = &first.name;
    let mut said = if extent.behind().is_empty() {
        format!(
            "{place}: {first} moved, and no point {behind} it was measured: how far in the damage \
             goes is open"
        )
    } else if let Some(why) = blocked {
        format!(
            "{place}: {first} moved; whether everything {behind} it stayed can't be said, because \
             {why}"
        )
    } else {
        format!("{place}: {first} moved; everything measured {behind} it ({listed}) {stayed}")
    };
    let beyond = extent.stayed_beyond().into_iter();
    if let Some(beyond) = join(beyond.map(|p| p.name.clone()).collect()) {
        said.push_str(&format!(". No movement was found further out, at {beyond}"));
    }
    said.push('.');
    said
}

/// What the limits say about the points that stayed: " and is inside", or which are not shown to be.
fn but_not_inside(extent: &Extent) -> String {
    let no_limit = |p: &&&ChainPoint| p.verdicts.iter().all(|v| *v == Verdict::NoLimitGiven);
    let not_inside = extent.behind_not_inside();
    let (unlimited, open): (Vec<&ChainPoint>, Vec<_>) =
        not_inside.iter().partition(|p| no_limit(p));
    let all = |points: Vec<&ChainPoint>| names(points.into_iter());
    match (unlimited.len(), open.len()) {
        (0, 0) => " and is inside".into(),
        (n, 0) if n == extent.behind().len() => " (no limits given)".into(),
        (_, 0) => format!(" (no limit given for {})", all(unlimited)),
        (_, 1) => format!(", but {} is not shown to be inside its limits", all(open)),
        _ => format!(
            ", but {} are not shown to be inside their limits",
            all(open)
        ),
    }
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
            "{}: no movement found; no more than {hides_mm:.1} mm can be hidden (95 %).",
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

fn names<'a>(points: impl Iterator<Item = &'a ChainPoint>) -> String {
    join(points.map(|p| p.name.clone()).collect()).unwrap_or_default()
}
