//! Photographs in groups: copies of one shot, and bursts.

use std::collections::HashMap;

use serde::{Deserialize, Serialize};

use super::{Resemblance, Shot, compare, nearer_original};

/// Successive shots of one camera at most this far apart may be a burst, in seconds.
///
/// Common practice, no source: nobody moves on, aims anew and shoots within two seconds; the
/// slowest bursts take one or two pictures a second, and cameras write whole seconds.
pub const BURST_GAP_S: f64 = 2.0;

/// One shot that came more than once.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Copies {
    /// The original, as an index into what was given.
    pub original: usize,
    /// The others, in the order given.
    pub copies: Vec<usize>,
}

/// Finds shots that came more than once, in the order of their first appearance.
///
/// Each copy goes to the best original that it is the same shot as, so that a chain of small
/// differences joins nothing. Every two are compared: a thousand photographs take half a
/// million comparisons, some ten milliseconds.
pub fn copies(shots: &[Shot<'_>]) -> Vec<Copies> {
    let mut best_first: Vec<usize> = (0..shots.len()).collect();
    // Stable, so that of equals the one given first is the original.
    best_first.sort_by(|a, b| match (shots.get(*a), shots.get(*b)) {
        (Some(a), Some(b)) => nearer_original(b, a),
        _ => std::cmp::Ordering::Equal,
    });
    let mut found: Vec<Copies> = Vec::new();
    for index in best_first {
        let Some(shot) = shots.get(index) else {
            continue;
        };
        let distance_to = |group: &Copies| match compare(shots.get(group.original)?, shot) {
            Resemblance::SameShot { distance } => Some(distance),
            _ => None,
        };
        let nearest = found
            .iter_mut()
            .filter_map(|group| Some((distance_to(group)?, group)))
            .min_by_key(|(distance, _)| *distance);
        match nearest {
            Some((_, group)) => group.copies.push(index),
            None => found.push(Copies {
                original: index,
                copies: Vec::new(),
            }),
        }
    }
    found.retain(|group| !group.copies.is_empty());
    for group in &mut found {
        group.copies.sort_unstable();
    }
    found.sort_by_key(|g| g.copies.first().map_or(g.original, |c| g.original.min(*c)));
    found
}

/// Finds bursts: each a list of indices in the order in which they were taken, two at least,
/// the bursts in the order of their beginnings.
///
/// Shots that name the same burst belong together. Others do where they are of one camera,
/// each within [`BURST_GAP_S`] of the one before, and look alike.
pub fn bursts(shots: &[Shot<'_>]) -> Vec<Vec<usize>> {
    let mut by_camera: HashMap<&str, Vec<(usize, &Shot<'_>)>> = HashMap::new();
    for (index, shot) in shots.iter().enumerate() {
        if let (Some(camera), Some(_)) = (shot.camera, shot.taken) {
            by_camera.entry(camera).or_default().push((index, shot));
        }
    }
    let mut found: Vec<Vec<usize>> = Vec::new();
    for (_, mut of_camera) in by_camera {
        of_camera.sort_by_key(|(index, shot)| (shot.taken.map(|t| t.civil), *index));
        let mut run: Vec<usize> = Vec::new();
        let mut before: Option<&Shot<'_>> = None;
        for (index, shot) in of_camera {
            if !before.is_some_and(|before| follows(before, shot)) {
                found.push(std::mem::take(&mut run));
            }
            run.push(index);
            before = Some(shot);
        }
        found.push(run);
    }
    found.retain(|burst| burst.len() > 1);
    found.sort_by_key(|burst| {
        let first = burst.first().and_then(|i| shots.get(*i));
        (
            first.and_then(|s| s.taken).map(|t| t.civil),
            burst.first().copied(),
        )
    });
    found
}

fn follows(before: &Shot<'_>, shot: &Shot<'_>) -> bool {
    match (before.burst, shot.burst) {
        (Some(one), Some(other)) => return one == other,
        (None, None) => {}
        _ => return false,
    }
    let (Some(from), Some(to)) = (before.taken, shot.taken) else {
        return false;
    };
    // One camera's clock face: no zone is needed for the difference.
    let apart_s = to.civil.duration_since(from.civil).as_secs_f64();
    apart_s <= BURST_GAP_S && compare(before, shot) != Resemblance::Different
}
