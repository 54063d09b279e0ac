//! Each figure judged by the others: redundancy numbers, data snooping, smallest detectable
//! blunder (Baarda 1968, "A testing procedure for use in geodetic networks"; Foerstner 1987;
//! Teunissen, Testing theory).
//!
//! For figure i with value l, standard uncertainty u, derivative j and adjusted value f:
//!
//! - s = j Q j', the variance of the adjusted value; r = 1 - s / u^2, its redundancy number. The
//!   redundancy numbers add up to the degrees of freedom.
//! - w = (l - f) / (u sqrt(r)), standard normal if nothing is wrong anywhere. The others alone
//!   expect l - (l - f) / r.
//! - a figure left out: w = (l - f) / sqrt(u^2 + s), and r = u^2 / (u^2 + s) as if it were in use.
//! - smallest detectable blunder: u delta / sqrt(r) with delta the critical value plus the normal
//!   quantile of the power (the far tail of the two-sided test adds nothing at the powers used).
//!   For one test at 0.1 % with 80 % power delta = 4.13, Baarda's value.
//! - undetected, it would shift the positions by Q j' / u^2 times the blunder.
//!
//! Tests: m figures, each at alpha / m, so that a network without blunders is doubted with
//! probability alpha at most (Bonferroni).

use super::model::Observation;
use super::settle::System;
use super::solution::Shift;
use super::spectrum::Spectrum;
use crate::frame::{Mat3, Vec3};

/// Below this share of its own error that shows, a figure is unchecked: its smallest detectable
/// blunder would exceed forty standard uncertainties.
pub(super) const UNCHECKED: f64 = 0.01;

/// Figures whose squared w is this near to the largest could each explain it: a likelihood of 19
/// to 1, 2 ln 19 = 5.9.
pub(super) const RIVAL: f64 = 5.9;

/// A figure that changes by less than this part of an open motion of unit length is blind to it.
pub(super) const OPEN_CHANGE: f64 = 1e-5;

/// One figure's numbers at the adjusted positions.
#[derive(Clone, Copy, Debug)]
pub(super) struct Judged {
    pub adjusted: f64,
    pub redundancy: f64,
    pub w: Option<f64>,
    pub expected: Option<f64>,
}

/// Judges every figure, in use or not.
pub(super) fn judge(system: &System, at: &[Vec3], spectrum: &Spectrum) -> Vec<Judged> {
    (system.network.observations().iter().zip(&system.used))
        .map(|(o, used)| {
            let adjusted = o.quantity.predict(at);
            let s = variance_of(o, system, at, spectrum);
            let u2 = o.u_mm * o.u_mm;
            let residual = o.value_mm - adjusted;
            let (redundancy, deviation) = if *used {
                let r = (1.0 - s / u2).clamp(0.0, 1.0);
                (r, residual / r)
            } else {
                (u2 / (u2 + s), residual)
            };
            let reaches_out = !used && is_open(o, system, at, spectrum);
            let checked = redundancy >= UNCHECKED && !reaches_out;
            Judged {
                adjusted,
                redundancy: if reaches_out { 0.0 } else { redundancy },
                // residual / (u sqrt r) in use, residual / sqrt(u^2 + s) left out: both are this
                w: checked.then(|| deviation * redundancy.sqrt() / o.u_mm),
                expected: checked.then_some(o.value_mm - deviation),
            }
        })
        .collect()
}

/// Two figures' covariance through the positions, j_a Q j_b'.
fn through(a: &Observation, b: &Observation, system: &System, at: &[Vec3], q: &Spectrum) -> f64 {
    let mut sum = 0.0;
    for (pa, ga) in a.quantity.gradient(at).parts() {
        let Some(ca) = system.column[pa] else {
            continue;
        };
        for (pb, gb) in b.quantity.gradient(at).parts() {
            let Some(cb) = system.column[pb] else {
                continue;
            };
            sum += ga.dot(&(q.block(ca, cb) * gb));
        }
    }
    sum
}

pub(super) fn variance_of(
    o: &Observation,
    system: &System,
    at: &[Vec3],
    spectrum: &Spectrum,
) -> f64 {
    through(o, o, system, at, spectrum)
}

/// Whether a figure that is not in use reaches into what the figures in use leave open.
fn is_open(o: &Observation, system: &System, at: &[Vec3], spectrum: &Spectrum) -> bool {
    [&spectrum.lost, &spectrum.rigid].into_iter().any(|space| {
        space.column_iter().any(|motion| {
            let change: f64 = (o.quantity.gradient(at).parts())
                .filter_map(|(place, g)| {
                    let c = system.column[place]?;
                    Some(g.dot(&motion.fixed_rows::<3>(c)))
                })
                .sum();
            change.abs() > OPEN_CHANGE
        })
    })
}

/// The figure with the largest |w| above the critical value, with its rivals, by falling |w|.
pub(super) fn worst(judged: &[Judged], used: &[bool], critical: f64) -> Option<Vec<usize>> {
    let mut by_w: Vec<(f64, usize)> = (judged.iter().enumerate())
        .filter(|&(i, _)| used[i])
        .filter_map(|(i, j)| j.w.map(|w| (w.abs(), i)))
        .collect();
    by_w.sort_by(|a, b| b.0.total_cmp(&a.0));
    let top = by_w.first()?.0;
    (top > critical).then(|| {
        (by_w.into_iter())
            .take_while(|(w, _)| top * top - w * w < RIVAL)
            .map(|(_, i)| i)
            .collect()
    })
}

/// The figures in use that could be wrong in place of one that is left out: putting it back, they
/// would have a squared w within [`RIVAL`] of its own. By falling |w|.
///
/// With c = j_i Q j_k' and t = u_i^2 + s_i, putting figure i back moves the adjusted value of k by
/// c e_i / t and lowers its variance by c^2 / t.
pub(super) fn rivals(
    left_out: usize,
    judged: &[Judged],
    system: &System,
    at: &[Vec3],
    spectrum: &Spectrum,
) -> Vec<usize> {
    let all = system.network.observations();
    let own = &all[left_out];
    let Some(own_w) = judged[left_out].w else {
        return Vec::new();
    };
    let t = own.u_mm * own.u_mm + variance_of(own, system, at, spectrum);
    let residual = own.value_mm - judged[left_out].adjusted;
    let mut found: Vec<(f64, usize)> = (system.used())
        .filter_map(|(k, o)| {
            let c = through(own, o, system, at, spectrum);
            let variance = variance_of(o, system, at, spectrum) - c * c / t;
            let r = 1.0 - variance / (o.u_mm * o.u_mm);
            let v = o.value_mm - judged[k].adjusted - c * residual / t;
            let w = v / (o.u_mm * r.max(UNCHECKED).sqrt());
            (r >= UNCHECKED && own_w * own_w - w * w < RIVAL).then_some((w.abs(), k))
        })
        .collect();
    found.sort_by(|a, b| b.0.total_cmp(&a.0));
    found.into_iter().map(|(_, k)| k).collect()
}

/// Whether the network would still be determined, and still be checked, without these figures:
/// the least eigenvalue of their block of R = I - U^-1 J Q J' U^-1.
pub(super) fn can_spare(
    figures: &[usize],
    system: &System,
    at: &[Vec3],
    spectrum: &Spectrum,
) -> bool {
    let all = system.network.observations();
    let block = nalgebra::DMatrix::from_fn(figures.len(), figures.len(), |i, k| {
        let (a, b) = (&all[figures[i]], &all[figures[k]]);
        let unit = if i == k { 1.0 } else { 0.0 };
        unit - through(a, b, system, at, spectrum) / (a.u_mm * b.u_mm)
    });
    block.symmetric_eigenvalues().min() >= UNCHECKED
}

/// The largest shift of any point by an unfound error of this size in a used figure.
pub(super) fn worst_shift(
    o: &Observation,
    blunder_mm: f64,
    system: &System,
    at: &[Vec3],
    spectrum: &Spectrum,
) -> Option<Shift> {
    let gradient = o.quantity.gradient(at);
    (system.column.iter().enumerate())
        .filter_map(|(point, column)| {
            let c = (*column)?;
            let pull: Vec3 = (gradient.parts())
                .filter_map(|(place, g)| Some(spectrum.block(c, system.column[place]?) * g))
                .sum();
            let mm = pull.norm() * blunder_mm / (o.u_mm * o.u_mm);
            Some(Shift { point, mm })
        })
        .max_by(|a, b| a.mm.total_cmp(&b.mm))
}

/// Chi-square of a known point's move v with covariance S - Q, with its rank. Directions in which
/// the figures say nothing have no covariance and no move, and do not count.
pub(super) fn known_move(v: Vec3, s: Mat3, q: Mat3) -> (f64, usize) {
    let eigen = (s - q).symmetric_eigen();
    let floor = 1e-6 * s.abs().max();
    let mut t = 0.0;
    let mut rank = 0;
    for (lambda, e) in eigen
        .eigenvalues
        .iter()
        .zip(eigen.eigenvectors.column_iter())
    {
        if *lambda > floor {
            t += e.dot(&v).powi(2) / lambda;
            rank += 1;
        }
    }
    (t, rank)
}
