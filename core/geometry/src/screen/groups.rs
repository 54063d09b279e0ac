//! Two groups of reference points, each of which fits the sheet on its own.
//!
//! When a whole end of a vehicle moved as a block, its reference points agree with each other and
//! disagree with the rest; no single point explains that, and arithmetic cannot say which group
//! is the one that moved. The search starts from every triple of points, lets those join that
//! agree with it, and repeats from the joined group until it settles (concentration steps, as in
//! Rousseeuw and Van Driessen, "A fast algorithm for the minimum covariance determinant
//! estimator", Technometrics 41(3), 1999). A result counts when both the group and the points
//! outside it pass the global test.

use super::{ALPHA, pick};
use crate::fit::{Reference, SetUp, set_up};
use crate::frame::Vec3;
use crate::stats;
use std::collections::HashSet;

/// A group has at least as many points as a set-up.
pub(super) const SMALLEST: usize = 3;
/// Triples tried at most; with more reference points they are taken evenly from all.
const MOST_TRIPLES: usize = 500;
/// A point joins a group unless it disagrees at this level.
const DISAGREES: f64 = 0.01;

/// One of the two groups.
#[derive(Clone, Debug, PartialEq)]
pub struct Group {
    /// Places among the references given, ascending.
    pub members: Vec<usize>,
    pub chi2: f64,
    pub degrees_of_freedom: usize,
    /// The probability of so large a sum or larger, if the group did not move.
    pub p: f64,
    /// Root mean square of the lengths of its residuals, mm.
    pub rms: f64,
}

/// Two groups, the larger first.
#[derive(Clone, Debug, PartialEq)]
pub struct TwoGroups {
    pub groups: [Group; 2],
    /// The mean deviation of the second group's points when the set-up rests on the first, mm,
    /// vehicle frame.
    pub shift: Vec3,
}

/// The best division of the references into two consistent groups, if there is one.
pub(super) fn find(references: &[Reference]) -> Option<TwoGroups> {
    let n = references.len();
    if n < 2 * SMALLEST {
        return None;
    }
    let mut seen: HashSet<Vec<usize>> = HashSet::new();
    let mut best: Option<(f64, TwoGroups)> = None;
    for triple in triples(n) {
        let Some(members) = grow(references, triple) else {
            continue;
        };
        let outside: Vec<usize> = (0..n).filter(|i| !members.contains(i)).collect();
        if outside.len() < SMALLEST || !seen.insert(members.clone()) {
            continue;
        }
        let (Some((first, a)), Some((second, _))) = (
            consistent(references, members),
            consistent(references, outside),
        ) else {
            continue;
        };
        let total = first.chi2 + second.chi2;
        if best.as_ref().is_some_and(|(least, _)| *least <= total) {
            continue;
        }
        // The larger group is found from its own triples too; only that order is kept.
        if first.members.len() < second.members.len() {
            continue;
        }
        let shift = second
            .members
            .iter()
            .filter_map(|&i| references.get(i))
            .map(|r| a.apply(r.reading) - r.target)
            .sum::<Vec3>()
            / second.members.len() as f64;
        let groups = [first, second];
        best = Some((total, TwoGroups { groups, shift }));
    }
    best.map(|(_, two)| two)
}

/// Every triple of 0..n, or evenly chosen ones where there are too many.
fn triples(n: usize) -> impl Iterator<Item = [usize; 3]> {
    let all = n * (n - 1) * (n - 2) / 6;
    let stride = all.div_ceil(MOST_TRIPLES).max(1);
    (0..n)
        .flat_map(move |a| (a + 1..n).flat_map(move |b| (b + 1..n).map(move |c| [a, b, c])))
        .step_by(stride)
}

/// The group that a triple settles into.
fn grow(references: &[Reference], triple: [usize; 3]) -> Option<Vec<usize>> {
    let mut members = triple.to_vec();
    let critical = stats::chi2_critical(DISAGREES, 3);
    for _ in 0..8 {
        let fitted = set_up(&pick(references, &members)).ok()?;
        if fitted.chi2_probability() < DISAGREES {
            return None;
        }
        let agreeing: Vec<usize> = (0..references.len())
            .filter(|i| {
                let known = members.contains(i);
                known || distance(&fitted, references, *i).is_some_and(|d| d <= critical)
            })
            .collect();
        if agreeing == members {
            return Some(members);
        }
        members = agreeing;
    }
    None
}

/// The squared distance of a point outside the set-up from its sheet position, in units of its
/// uncertainty.
fn distance(fitted: &SetUp, references: &[Reference], index: usize) -> Option<f64> {
    let r = references.get(index)?;
    let placed = fitted.place(r.reading, r.reading_covariance);
    let deviation = placed.position - r.target;
    let covariance = placed.covariance + r.target_covariance;
    Some(deviation.dot(&covariance.cholesky()?.solve(&deviation)))
}

fn consistent(references: &[Reference], members: Vec<usize>) -> Option<(Group, SetUp)> {
    let fitted = set_up(&pick(references, &members)).ok()?;
    let p = fitted.chi2_probability();
    let group = Group {
        members,
        chi2: fitted.chi2,
        degrees_of_freedom: fitted.degrees_of_freedom,
        p,
        rms: fitted.rms,
    };
    (p >= ALPHA).then_some((group, fitted))
}
