//! Which shape explains an end of the vehicle: generalised least squares and a choice of models.

use std::collections::BTreeSet;

use nalgebra::DMatrix;

use super::end::{End, Fit};
use super::kinds::{DamageReading, readings};
use super::layout::Zone;
use super::measured::{DamageError, Measured, MeasuredPoint};
use super::shape::{Scope, Shape};
use crate::frame::{Side, Vec3};
use crate::stats::chi2_exceeds;

/// Two explanations are told apart when they differ by this: 19 to 1.
const TOLD_APART: f64 = 5.9;

/// What moved, as one explanation.
#[derive(Clone, Debug, PartialEq)]
pub struct Explanation {
    pub shape: Shape,
    pub scope: Scope,
    /// The members it is confined to; none: all of that scope.
    pub members: Vec<String>,
    /// The points that moved, from the passenger cell outwards.
    pub points: Vec<String>,
    /// Where it begins: the points of the innermost station that moved.
    pub from: Vec<String>,
    /// Whether these are all points of that scope in the end, so that nothing shows where it began.
    pub whole_end: bool,
    /// Misfit of the explanation: chi-square and its degrees of freedom.
    pub chi2: f64,
    pub dof: usize,
    /// The number of parameters.
    pub parameters: usize,
    /// The turn of a block (rotation vector, radians), where the points determine it.
    pub turn: Option<Vec3>,
    /// Size and uncertainty of each kind that the shape can carry.
    pub readings: Vec<DamageReading>,
}

/// A point that moved by itself: without it the rest could be undamaged.
#[derive(Clone, Debug, PartialEq)]
pub struct MovedPoint {
    pub name: String,
    pub side: Side,
    /// Its deviation, mm, and the standard uncertainty for asking whether it moved.
    pub deviation: Vec3,
    pub u: Vec3,
}

/// What became of a zone.
#[derive(Clone, Debug, PartialEq)]
pub enum Finding {
    /// No point apart from reference points was measured there.
    NotMeasured,
    /// What was measured is what an undamaged zone could show.
    NothingMoved,
    /// One cause explains all of it. Others that can't be told apart from it are listed.
    Moved {
        by: Explanation,
        or_by: Vec<Explanation>,
    },
    /// Something moved, but no single cause explains it better than these points one by one.
    Points(Vec<MovedPoint>),
}

/// One zone's answer.
#[derive(Clone, Debug, PartialEq)]
pub struct ZoneDamage {
    pub zone: Zone,
    /// The points that were used: all measured ones but reference points.
    pub points: Vec<String>,
    /// Chi-square and degrees of freedom of "nothing moved".
    pub chi2: f64,
    pub dof: usize,
    pub finding: Finding,
    /// The reference points contradict each other ([`Measured::doubtful`]), and so this finding is
    /// in doubt.
    pub doubtful: bool,
}

/// Reads the damage of each zone.
///
/// For each end of the vehicle the candidates are every [`Shape`] on both sides, the left one or
/// the right one, of all members or of one line of members (a rail and its opposite), beginning at
/// each station (a group of points at about the same length) and reaching to the outer end. Each
/// is fitted by generalised least squares with the joint covariance. The passenger cell in between has no outer end: its points are tested one by one.
///
/// * *Nothing moved* stands unless chi-square rejects it, or one candidate improves on it by more
///   than chance would in any of them (Bonferroni). Together they reject an undamaged vehicle
///   with probability `alpha` at most, over all zones.
/// * Otherwise, of the candidates that chi-square accepts, the one with the least chi-square plus
///   parameters times ln(readings) is the cause (Schwarz 1978): a simple one is preferred, but not
///   against the readings. Taking the first accepted in a fixed order would let a poor fit with
///   three parameters hide a good one with six.
/// * Candidates less than 5.9 above it by that measure can't be told apart from it (19 to 1), and
///   are listed too, unless they only add freedom to the same explanation.
/// * The points that must have moved by themselves for the rest to have stayed compete by the same
///   measure, three parameters each; they are listed where they win, or nothing else is accepted.
///
/// Sources: Aitken 1935 for generalised least squares; Schwarz, "Estimating the dimension of a
/// model", Annals of Statistics 6, 1978 (both from memory). O(stations n^2) for each zone.
///
/// # Errors
/// A covariance that is not positive definite, or an alpha that is no probability.
pub fn read(measured: &Measured, alpha: f64) -> Result<Vec<ZoneDamage>, DamageError> {
    if !(alpha > 0.0 && alpha < 1.0) {
        return Err(DamageError::Alpha { given: alpha });
    }
    let used = |zone: Zone| -> Vec<usize> {
        let points = measured.points().iter().enumerate();
        let here = points.filter(|(_, p)| p.zone == zone && !p.is_reference);
        here.map(|(i, _)| i).collect()
    };
    let zones = Zone::ALL.map(|zone| (zone, used(zone)));
    let measured_zones = zones.iter().filter(|(_, used)| !used.is_empty()).count();
    let alpha = alpha / measured_zones.max(1) as f64;
    let answers = zones.into_iter().map(|(zone, used)| {
        if used.is_empty() {
            return Ok(ZoneDamage {
                zone,
                points: Vec::new(),
                chi2: 0.0,
                dof: 0,
                finding: Finding::NotMeasured,
                doubtful: measured.doubtful(),
            });
        }
        End::new(measured, zone, used)?.answer(alpha)
    });
    answers.collect()
}

impl End<'_> {
    fn answer(&self, alpha: f64) -> Result<ZoneDamage, DamageError> {
        let white = self.whiten(DMatrix::from_columns(std::slice::from_ref(
            &self.deviations,
        )));
        let chi2 = white.norm_squared();
        let dof = self.deviations.len();
        let fits = self.candidates(&white);
        let share = alpha / 2.0 / fits.len().max(1) as f64;
        let improves = |fit: &Fit| chi2_exceeds(chi2 - fit.chi2, fit.laid.parameters()) < share;
        let rejected = chi2_exceeds(chi2, dof) < alpha / 2.0;
        let finding = if rejected || fits.iter().any(improves) {
            self.explain(fits, &white, alpha)
        } else {
            Finding::NothingMoved
        };
        Ok(ZoneDamage {
            zone: self.zone,
            points: self
                .used
                .iter()
                .map(|&i| self.point(i).name.clone())
                .collect(),
            chi2,
            dof,
            finding,
            doubtful: self.measured.doubtful(),
        })
    }

    fn explain(&self, fits: Vec<Fit>, white: &DMatrix<f64>, alpha: f64) -> Finding {
        let price = (self.deviations.len() as f64).ln();
        let cost = |fit: &Fit| fit.chi2 + fit.laid.parameters() as f64 * price;
        let mut accepted: Vec<Fit> = fits
            .into_iter()
            .filter(|fit| chi2_exceeds(fit.chi2, self.dof(fit)) > alpha)
            .collect();
        accepted.sort_by(|a, b| cost(a).total_cmp(&cost(b)));
        let (alone, alone_chi2) = self.points_alone(white, alpha);
        let alone_cost = alone_chi2 + 3.0 * alone.len() as f64 * price;
        let mut accepted = accepted.into_iter();
        let best = match accepted.next() {
            Some(best) if cost(&best) < alone_cost => best,
            _ => return Finding::Points(alone.into_iter().map(|k| self.moved_point(k)).collect()),
        };
        let alike = |fit: &Fit| cost(fit) < cost(&best) + TOLD_APART && !self.includes(fit, &best);
        let or_by = accepted.filter(alike).map(|fit| self.explanation(&fit));
        Finding::Moved {
            or_by: or_by.collect(),
            by: self.explanation(&best),
        }
    }

    /// Degrees of freedom; the search for the station where it begins costs one.
    fn dof(&self, fit: &Fit) -> usize {
        let searched = usize::from(self.stations.len() > 1);
        (self.deviations.len() - fit.laid.parameters())
            .saturating_sub(searched)
            .max(1)
    }

    fn explanation(&self, fit: &Fit) -> Explanation {
        let name = |k: &usize| self.point(self.used[*k]).name.clone();
        let first = fit.moved.first().copied().unwrap_or(0);
        // Inwards of it nothing of the same scope and members is left.
        let whole_end = self.covered(0, fit.laid.scope, &fit.members).first() == Some(&first);
        let member = |k: &usize| self.point(self.used[*k]).member.clone();
        let members: BTreeSet<String> = match fit.members.is_empty() {
            true => BTreeSet::new(),
            false => fit.moved.iter().map(member).collect(),
        };
        let next = self.stations.iter().copied().find(|s| *s > first);
        let next = next.unwrap_or(self.used.len());
        let turn = (fit.laid.shape == Shape::Block && fit.laid.parameters() == 6).then(|| {
            let all = &fit.laid.basis * &fit.parameters;
            Vec3::new(all[3], all[4], all[5]) / fit.laid.radius
        });
        let outermost = self.stations.last().copied().unwrap_or(0);
        let at_end: Vec<&MeasuredPoint> = fit
            .moved
            .iter()
            .filter(|k| **k >= outermost)
            .map(|&k| self.point(self.used[k]))
            .collect();
        let last = fit.moved.last().map(|&k| self.point(self.used[k]));
        Explanation {
            shape: fit.laid.shape,
            scope: fit.laid.scope,
            members: members.into_iter().collect(),
            points: fit.moved.iter().map(name).collect(),
            from: fit.moved.iter().filter(|k| **k < next).map(name).collect(),
            whole_end,
            chi2: fit.chi2,
            dof: self.dof(fit),
            parameters: fit.laid.parameters(),
            turn,
            readings: readings(
                &fit.laid,
                &fit.parameters,
                &fit.covariance,
                &if at_end.is_empty() {
                    last.into_iter().collect()
                } else {
                    at_end
                },
            ),
        }
    }

    /// The points that must have moved by themselves for the rest to have stayed, and the
    /// chi-square left: the point that explains most is let go first, until the rest is accepted.
    fn points_alone(&self, white: &DMatrix<f64>, alpha: f64) -> (Vec<usize>, f64) {
        let n = self.deviations.len();
        let mut alone: Vec<usize> = Vec::new();
        let mut chi2 = white.norm_squared();
        while 3 * alone.len() < n && chi2_exceeds(chi2, n - 3 * alone.len()) < alpha / 2.0 {
            let left = (0..self.used.len()).filter(|k| !alone.contains(k));
            let let_go = left.filter_map(|k| {
                let mut design = DMatrix::zeros(n, 3 * alone.len() + 3);
                for (c, k) in alone.iter().chain([&k]).enumerate() {
                    design
                        .fixed_view_mut::<3, 3>(3 * k, 3 * c)
                        .fill_diagonal(1.0);
                }
                Some((k, self.solve(design, white)?.2))
            });
            match let_go.min_by(|a, b| a.1.total_cmp(&b.1)) {
                Some((k, left)) => {
                    alone.push(k);
                    chi2 = left;
                }
                None => break,
            }
        }
        alone.sort_unstable();
        (alone, chi2)
    }

    fn moved_point(&self, k: usize) -> MovedPoint {
        let p = self.point(self.used[k]);
        let covariance = self.measured.covariance_of(self.used[k]);
        MovedPoint {
            name: p.name.clone(),
            side: p.side,
            deviation: p.deviation,
            u: covariance.diagonal().map(|v| v.max(0.0).sqrt()),
        }
    }
}
