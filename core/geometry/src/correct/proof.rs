//! Why no allowed move brings every reading inside.

use super::freedoms::{Allowed, Freedoms};
use super::part::Part;
use super::rigid::RigidMove;
use crate::frame::Axis;

/// How far the weighted sum may drift, in limits per mm of any freedom, and still count as fixed.
const NO_DRIFT: f64 = 1e-6;

/// One of the readings that contradict each other.
#[derive(Clone, Debug, PartialEq)]
pub struct Contradiction {
    /// The point's place in the part.
    pub point: usize,
    pub name: String,
    pub axis: Axis,
    /// Its weight in the sum; positive where the reading stays too far to the positive side. The
    /// sizes of a proof's weights sum to 1.
    pub weight: f64,
}

/// A weighted mean of deviations, each in units of its limit, that no allowed move can change.
///
/// The mean of numbers is never above the largest of them. So where a mean
/// sum(w_k d_k / T_k), sum(|w_k|) = 1, stays the same under every allowed move and is above 1, some
/// reading stays outside whatever is done. The weights are Farkas multipliers; at most one more
/// reading than freedoms is needed.
///
/// For a slide this holds without exception. A turn is not a linear motion, so there the mean is
/// unchanged only for small further turns, and [`Proof::turn_within`] says for how large a further
/// turn the proof is still good. Freedoms that were left alone as undetermined are not covered.
#[derive(Clone, Debug)]
pub struct Proof {
    pub readings: Vec<Contradiction>,
    /// What was allowed.
    pub allowed: Allowed,
    /// The place about which the proof is stated: where the minimax move takes the part.
    pub at: RigidMove,
    /// No allowed move brings the worst |deviation| / limit below this.
    pub bound: f64,
    /// For how large a further turn from `at` (radians) the proof holds; `None` for a pure slide,
    /// where it holds for every one.
    pub turn_within: Option<f64>,
}

impl Proof {
    pub(super) fn new(
        part: &Part,
        allowed: Allowed,
        at: RigidMove,
        readings: Vec<Contradiction>,
    ) -> Self {
        let mut proof = Proof {
            readings,
            allowed,
            at,
            bound: 0.0,
            turn_within: None,
        };
        proof.bound = proof.mean(part).unwrap_or(0.0);
        if !matches!(proof.allowed, Allowed::Slide { .. }) {
            proof.turn_within = Some(proof.turn_range(part));
        }
        proof
    }

    /// Checks the proof against the part from scratch: the weights' sizes sum to 1, no determined
    /// freedom changes the weighted mean, and the mean is the stated bound, above 1.
    pub fn holds(&self, part: &Part) -> bool {
        let sizes: f64 = self.readings.iter().map(|r| r.weight.abs()).sum();
        let Some(mean) = self.mean(part) else {
            return false;
        };
        let Some(drift) = self.drift(part) else {
            return false;
        };
        (sizes - 1.0).abs() < 1e-9
            && drift < NO_DRIFT
            && (mean - self.bound).abs() < 1e-6 * mean.abs()
            && mean > 1.0
    }

    /// The weighted mean at the stated place; `None` if a reading does not exist or has no limit.
    fn mean(&self, part: &Part) -> Option<f64> {
        self.readings.iter().try_fold(0.0, |sum, r| {
            let p = part.points().get(r.point)?;
            let deviation = (self.at.apply(p.position) - p.target)[r.axis.index()];
            Some(sum + r.weight * deviation / p.limit(r.axis)?)
        })
    }

    /// The most that a millimetre of any determined freedom changes the mean.
    fn drift(&self, part: &Part) -> Option<f64> {
        let limited = |i: usize, axis: Axis| part.points()[i].limit(axis).is_some();
        let freedoms = Freedoms::of(part, &self.allowed, limited).ok()?;
        let at = self.at.about(freedoms.pivot);
        let mut drift = nalgebra::RowDVector::zeros(freedoms.len());
        for r in &self.readings {
            let p = part.points().get(r.point)?;
            let row = freedoms.at_point(&at, p.position);
            drift += row.row(r.axis.index()) * (r.weight / p.limit(r.axis)?);
        }
        Some(drift.norm())
    }

    /// A further turn by b moves a point with arm a by b x a and at most |a| |b|^2 / 2 more, since
    /// |exp(i b) - 1 - i b| <= b^2 / 2.
    fn turn_range(&self, part: &Part) -> f64 {
        let bend: f64 = self
            .readings
            .iter()
            .filter_map(|r| {
                let p = part.points().get(r.point)?;
                Some(r.weight.abs() * self.at.arm(p.position).norm() / p.limit(r.axis)?)
            })
            .sum();
        (2.0 * (self.bound - 1.0).max(0.0) / bend)
            .sqrt()
            .min(std::f64::consts::PI)
    }
}
