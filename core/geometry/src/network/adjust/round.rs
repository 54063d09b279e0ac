//! One adjustment of the figures in use: settled, laid onto its frame, judged.

use super::Onto;
use super::located::{blind, judge_known, locate};
use crate::frame::Vec3;
use crate::network::flips;
use crate::network::judge::{self, Judged};
use crate::network::model::{NetworkError, Observation};
use crate::network::settle::{Loss, System};
use crate::network::solution::{Checked, Contradiction, Fit, Solution, State};
use crate::network::spectrum::Spectrum;
use crate::stats;

/// One adjustment of the figures in use.
#[derive(Clone)]
pub(super) struct Round {
    pub chi2: f64,
    pub spectrum: Spectrum,
    pub judged: Vec<Judged>,
}

impl Round {
    /// Settles and judges. Which frame a free network lies in changes no judgement, so it is laid
    /// only in the end.
    pub fn run(system: &System, at: &mut Vec<Vec3>) -> Result<Round, NetworkError> {
        let chi2 = system.settle(at, Loss::Square)?;
        let spectrum = Spectrum::of(system, at, system.normal(at, Loss::Square).0);
        let judged = judge::judge(system, at, &spectrum);
        Ok(Round {
            chi2,
            spectrum,
            judged,
        })
    }

    /// Lays a free network onto the stated positions.
    pub fn lay(
        &mut self,
        system: &System,
        at: &mut Vec<Vec3>,
        onto: &Onto,
    ) -> Result<(), NetworkError> {
        if self.spectrum.rigid.ncols() == 0 {
            return Ok(());
        }
        // Laying moves every point along straight lines; a second pass takes up their bend.
        for _ in 0..10 {
            let twist = self.spectrum.twist(system, at, &onto.stated);
            if twist.amax() < 1e-8 {
                break;
            }
            *at = system.moved(at, &twist);
            self.chi2 = system.settle(at, Loss::Square)?;
            self.spectrum = Spectrum::of(system, at, system.normal(at, Loss::Square).0);
        }
        match self.spectrum.laid_onto(system, &onto.places) {
            Some(laid) => self.spectrum = laid,
            None if onto.asked => {
                return Err(NetworkError::CannotLay {
                    freedoms: self.spectrum.rigid.ncols(),
                });
            }
            None => {}
        }
        self.judged = judge::judge(system, at, &self.spectrum);
        Ok(())
    }

    /// All that is said about the network, from its last adjustment.
    pub fn finish(
        self,
        system: &System,
        at: &[Vec3],
        critical: f64,
        power: f64,
        contradictions: Vec<Contradiction>,
    ) -> Solution {
        let spectrum = self.spectrum;
        let points = locate(system, at, &spectrum);
        let observations = system.network.observations();
        let delta = critical + stats::phi_inverse(power);
        let figures = (observations.iter().zip(&self.judged).zip(&system.used))
            .enumerate()
            .map(|(i, ((o, judged), used))| {
                let doubted = contradictions.iter().any(|c| c.figures.contains(&i));
                let mut checked = checked(o, judged, delta, doubted);
                checked.shift = (checked.smallest_blunder_mm.filter(|_| *used))
                    .and_then(|blunder| judge::worst_shift(o, blunder, system, at, &spectrum));
                checked
            })
            .collect();
        let dof = system.dof(&spectrum);
        let (blind_axes, mirror_planes) = blind(system, at);
        Solution {
            figures,
            fit: Fit {
                chi2: self.chi2,
                dof,
                p: (dof > 0).then(|| stats::chi2_exceeds(self.chi2, dof)),
            },
            critical_w: critical,
            contradictions,
            known: judge_known(system, at, &spectrum),
            open_motions: spectrum.rigid.ncols(),
            blind_axes,
            alternatives: flips::alternatives(system, at, &spectrum, &points, self.chi2),
            points,
            column: system.column.clone(),
            mirror_planes,
            spectrum,
        }
    }
}

/// A figure with its verdict, all but the shift that an unfound error would cause. `delta` is the
/// smallest detectable blunder of a figure that the others know exactly, in its own standard
/// uncertainties.
fn checked(o: &Observation, judged: &Judged, delta: f64, doubted: bool) -> Checked {
    Checked {
        quantity: o.quantity,
        value_mm: o.value_mm,
        u_mm: o.u_mm,
        adjusted_mm: judged.adjusted,
        redundancy: judged.redundancy,
        w: judged.w,
        expected_mm: judged.expected,
        smallest_blunder_mm: judged.w.map(|_| o.u_mm * delta / judged.redundancy.sqrt()),
        shift: None,
        state: match judged.w {
            _ if doubted => State::Contradicts,
            Some(_) => State::Agrees,
            None => State::Unchecked,
        },
    }
}
