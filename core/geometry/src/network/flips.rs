//! Other positions that the figures allow nearly as well: up or down, this side or that.
//!
//! The whole network's mirror images are exact and found by looking at the kinds of figures (see
//! [`super::Solution::blind_axes`]). Here the partial ones are searched: every single point
//! reflected in the planes through its neighbours, the others held with their uncertainty; and all
//! points without a height of their own together, reflected in the plane through those that have
//! one. Other groups are not searched: it is a search for likely ambiguities, not a proof that
//! there are none.

use super::local::{Local, principal};
use super::model::{Observation, Place};
use super::quantity::Quantity;
use super::settle::{Loss, System};
use super::solution::{Alternative, Located, Why};
use super::spectrum::Spectrum;
use crate::frame::{Axis, Vec3};

/// At most 19 to 1 against the alternative.
const RISE: f64 = 5.9;

pub(super) fn alternatives(
    system: &System,
    at: &[Vec3],
    spectrum: &Spectrum,
    points: &[Located],
    chi2: f64,
) -> Vec<Alternative> {
    let mut answers: Vec<Alternative> = (0..at.len())
        .filter_map(|point| single(system, at, spectrum, &points[point], point))
        .collect();
    answers.extend(without_heights(system, at, chi2));
    answers
}

fn single(
    system: &System,
    at: &[Vec3],
    spectrum: &Spectrum,
    located: &Located,
    point: usize,
) -> Option<Alternative> {
    system.column[point]?;
    // A point that is open in some direction lies anywhere along it: nothing to choose between.
    if located.undetermined.iter().any(|u| u.why == Why::Open) {
        return None;
    }
    let far_variance = |_: usize, o: &Observation| -> f64 {
        (o.quantity.gradient(at).parts())
            .filter(|(place, _)| *place != point)
            .filter_map(|(place, g)| {
                let c = system.column[place]?;
                Some(g.dot(&(spectrum.block(c, c) * g)))
            })
            .sum()
    };
    let local = Local::new(system, point, far_variance);
    let mut there = at.to_vec();
    let base = local.settle(&mut there, Loss::Square);
    (local.reflections(at).into_iter())
        .filter_map(|candidate| {
            there[point] = candidate;
            let chi2_rise = (local.settle(&mut there, Loss::Square) - base).max(0.0);
            let away = there[point] - at[point];
            let e = away.try_normalize(1.0)?;
            let u = e.dot(&(located.covariance * e)).max(0.0).sqrt();
            // nearer than that it is the same position, or one already called bent
            let distinct = away.norm() > 4.0 * u;
            (distinct && chi2_rise < RISE).then(|| Alternative {
                points: vec![(point, there[point])],
                chi2_rise,
            })
        })
        .min_by(|a, b| a.chi2_rise.total_cmp(&b.chi2_rise))
}

fn without_heights(system: &System, at: &[Vec3], chi2: f64) -> Option<Alternative> {
    let mut has_height: Vec<bool> = (system.network.points().iter())
        .map(|p| matches!(p.place, Place::Known { .. }))
        .collect();
    for (_, o) in system.used() {
        match o.quantity {
            Quantity::Coordinate {
                point,
                axis: Axis::Height,
            } => has_height[point] = true,
            Quantity::HeightDifference { from, to } => {
                has_height[from] = true;
                has_height[to] = true;
            }
            _ => {}
        }
    }
    let with: Vec<Vec3> = (at.iter().zip(&has_height))
        .filter_map(|(p, has)| has.then_some(*p))
        .collect();
    let group: Vec<usize> = (0..at.len()).filter(|&p| !has_height[p]).collect();
    // One point alone is a single flip; without any height the whole is mirrored exactly.
    if with.is_empty() || group.len() < 2 {
        return None;
    }
    let (normal, _) = principal(&with).filter(|_| with.len() >= 3)?;
    let centre = with.iter().sum::<Vec3>() / with.len() as f64;
    let mut there = at.to_vec();
    for &p in &group {
        there[p] -= normal * (2.0 * normal.dot(&(at[p] - centre)));
    }
    let cost = system.settle(&mut there, Loss::Square).ok()?;
    let chi2_rise = (cost - chi2).max(0.0);
    let moved: Vec<(usize, Vec3)> = (group.into_iter())
        .map(|p| (p, there[p]))
        .filter(|(p, position)| (position - at[*p]).norm() > 1.0)
        .collect();
    (moved.len() >= 2 && chi2_rise < RISE).then_some(Alternative {
        points: moved,
        chi2_rise,
    })
}
