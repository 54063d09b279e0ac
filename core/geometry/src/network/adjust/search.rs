//! The search for figures that the others contradict: one at a time, the largest first, the rest
//! adjusted again.

use super::Onto;
use super::round::Round;
use crate::frame::Vec3;
use crate::network::judge::{self, Judged};
use crate::network::model::{Network, NetworkError};
use crate::network::settle::{Loss, System};
use crate::network::solution::{Contradiction, Solution};
use crate::network::start::near_enough;
use crate::stats;

/// How far off a figure must be, in standard uncertainties, to be set aside before the rest is
/// adjusted. It comes back if the rest confirms it.
const SET_ASIDE: f64 = 4.5;

/// After so many adjustments the search ends, with what still contradicts kept and said: a network
/// with so many wrong figures is past naming them.
const MOST_ADJUSTMENTS: usize = 100;

/// The search, with the latest adjustment.
#[derive(Clone)]
pub(super) struct Search<'a> {
    system: System<'a>,
    at: Vec<Vec3>,
    round: Round,
    critical: f64,
    contradictions: Vec<Contradiction>,
    adjustments: usize,
}

impl<'a> Search<'a> {
    pub(super) fn new(
        network: &'a Network,
        mut at: Vec<Vec3>,
        alpha: f64,
    ) -> Result<Search<'a>, NetworkError> {
        let system = System::new(network);
        let round = Round::run(&system, &mut at)?;
        let critical = critical_w(&round.judged, alpha);
        Ok(Search {
            system,
            at,
            round,
            critical,
            contradictions: Vec::new(),
            adjustments: 1,
        })
    }

    fn worst(&self) -> Option<Vec<usize>> {
        judge::worst(&self.round.judged, &self.system.used, self.critical)
    }

    fn w(&self, figure: usize) -> f64 {
        self.round.judged[figure].w.unwrap_or(0.0)
    }

    fn adjust(&mut self) -> Result<(), NetworkError> {
        self.adjustments += 1;
        self.round = Round::run(&self.system, &mut self.at)?;
        Ok(())
    }

    fn record(&mut self, figures: Vec<usize>, left_out: bool) {
        let w = figures.first().map_or(0.0, |&i| self.w(i));
        self.contradictions.push(Contradiction {
            figures,
            w,
            left_out,
        });
    }

    fn use_figures(&mut self, figures: &[usize], used: bool) {
        figures.iter().for_each(|&i| self.system.used[i] = used);
    }

    /// Says what is contradicted most, and keeps it in use.
    pub(super) fn only_record(&mut self) {
        if let Some(figures) = self.worst() {
            self.record(figures, false);
        }
    }

    /// Leaves out what the others contradict, in the cheaper of two ways.
    ///
    /// One wrong figure is found from the adjustment with all. Several can hide each other, and
    /// pull a flat network into another mix of ups and downs: a descent that they cannot pull then
    /// sets the gross ones aside first. But one sharp figure can also hold that descent against
    /// several blunter ones. So where one figure does not explain all, both ways are gone, and the
    /// one that fits better for what it leaves out is taken.
    pub(super) fn leave_out(&mut self, start: Vec<Vec3>) -> Result<(), NetworkError> {
        if self.worst().is_none() {
            return Ok(());
        }
        let mut robust = self.clone();
        let plain = self.leave_out_one_by_one();
        if plain.is_ok() && self.contradictions.len() <= 1 && self.worst().is_none() {
            return Ok(());
        }
        match robust.leave_out_robustly(start) {
            Ok(()) if plain.is_err() || robust.score() < self.score() => {
                *self = robust;
                Ok(())
            }
            Ok(()) => Ok(()),
            Err(_) => plain,
        }
    }

    /// Chi-square of what is kept, plus what each contradiction would have to explain at least.
    fn score(&self) -> f64 {
        self.round.chi2 + self.critical.powi(2) * self.contradictions.len() as f64
    }

    fn leave_out_robustly(&mut self, start: Vec<Vec3>) -> Result<(), NetworkError> {
        self.set_aside(start)?;
        for left_out in self.by_w(|used| !used) {
            let mut figures = vec![left_out];
            figures.extend(self.rivals(left_out));
            if !self.settle_contradiction(figures)? {
                return Ok(());
            }
        }
        self.leave_out_one_by_one()
    }

    fn leave_out_one_by_one(&mut self) -> Result<(), NetworkError> {
        while let Some(figures) = self.worst() {
            if self.adjustments >= MOST_ADJUSTMENTS {
                self.record(figures, false);
                return Ok(());
            }
            if !self.settle_contradiction(figures)? {
                return Ok(());
            }
        }
        Ok(())
    }

    fn rivals(&self, figure: usize) -> Vec<usize> {
        judge::rivals(
            figure,
            &self.round.judged,
            &self.system,
            &self.at,
            &self.round.spectrum,
        )
    }

    /// The figures whose use passes the test, by falling |w|.
    fn by_w(&self, wanted: impl Fn(bool) -> bool) -> Vec<usize> {
        let mut figures: Vec<usize> = (0..self.system.used.len())
            .filter(|&i| wanted(self.system.used[i]))
            .collect();
        figures.sort_by(|&a, &b| self.w(b).abs().total_cmp(&self.w(a).abs()));
        figures
    }

    /// Takes out of use what a robust descent finds far off, then brings back, the nearest first,
    /// what the rest confirms or nothing else checks.
    fn set_aside(&mut self, mut robust: Vec<Vec3>) -> Result<(), NetworkError> {
        for c in [30.0, 3.0] {
            near_enough(self.system.settle(&mut robust, Loss::Cauchy(c)))?;
        }
        let off: Vec<usize> = (self.system.used())
            .filter(|(_, o)| (o.value_mm - o.quantity.predict(&robust)).abs() > SET_ASIDE * o.u_mm)
            .map(|(i, _)| i)
            .collect();
        if off.is_empty() || off.len() > MOST_ADJUSTMENTS / 2 {
            return Ok(());
        }
        self.use_figures(&off, false);
        self.at = robust;
        self.adjust()?;
        for _ in 0..off.len() {
            let back = (self.by_w(|used| !used).into_iter().rev())
                .find(|&i| self.w(i).abs() <= self.critical);
            let Some(back) = back else {
                break;
            };
            self.use_figures(&[back], true);
            self.adjust()?;
        }
        Ok(())
    }

    /// Leaves out a figure and its rivals, or keeps them all where the network would fall apart.
    /// Says whether to go on.
    fn settle_contradiction(&mut self, figures: Vec<usize>) -> Result<bool, NetworkError> {
        let in_use: Vec<usize> = figures
            .iter()
            .copied()
            .filter(|&i| self.system.used[i])
            .collect();
        let spared = in_use.is_empty() || self.can_spare(&in_use);
        self.record(figures.clone(), spared);
        if spared && in_use.is_empty() {
            return Ok(true);
        }
        self.use_figures(&figures, !spared);
        self.adjust()?;
        Ok(spared)
    }

    fn can_spare(&self, figures: &[usize]) -> bool {
        let spectrum = &self.round.spectrum;
        // More figures than the network has to spare cannot all be checked by the rest.
        figures.len() <= self.system.dof(spectrum)
            && judge::can_spare(figures, &self.system, &self.at, spectrum)
    }

    /// Lays the network and says all there is to say. `power`: the chance with which a smallest
    /// detectable blunder is found.
    pub(super) fn finish(mut self, onto: &Onto, power: f64) -> Result<Solution, NetworkError> {
        self.round.lay(&self.system, &mut self.at, onto)?;
        Ok((self.round).finish(
            &self.system,
            &self.at,
            self.critical,
            power,
            self.contradictions,
        ))
    }
}

/// Every figure that something checks is tested at its share of alpha.
fn critical_w(judged: &[Judged], alpha: f64) -> f64 {
    let tests = judged.iter().filter(|j| j.w.is_some()).count().max(1);
    stats::phi_inverse(1.0 - alpha / (2.0 * tests as f64))
}
