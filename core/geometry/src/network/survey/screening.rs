//! The networks behind a tram survey: the one with every trusted reference point, those without
//! one of them, and the choice between a moved reference point and a wrong reading.

use super::{SurveyError, TramPoint};
use crate::frame::Mat3;
use crate::network::judge::RIVAL;
use crate::network::model::{Network, NetworkError, Observation, Options, Place, Point};
use crate::network::solution::Solution;
use crate::stats;

/// The measured points and the figures between them, numbered by their places among these.
pub(super) struct Job<'a> {
    points: &'a [TramPoint],
    /// The caller's place of each measured point.
    measured: Vec<usize>,
    figures: Vec<Observation>,
    alpha: f64,
}

/// The outcome. Points by their places in the solution.
pub(super) struct Screened {
    pub solution: Solution,
    /// Reference points that no longer hold.
    pub freed: Vec<usize>,
    pub suspects: Vec<usize>,
    pub doubtful: bool,
}

struct Trial {
    solution: Solution,
    freed: Vec<usize>,
    score: f64,
}

impl<'a> Job<'a> {
    pub fn new(
        points: &'a [TramPoint],
        figures: &[Observation],
        alpha: f64,
    ) -> Result<Job<'a>, SurveyError> {
        for point in points {
            check(point)?;
        }
        let mut touched = vec![false; points.len()];
        for (index, figure) in figures.iter().enumerate() {
            let (a, b) = figure.quantity.points();
            for place in std::iter::once(a).chain(b) {
                *touched.get_mut(place).ok_or(NetworkError::NoSuchPoint {
                    index,
                    place,
                    count: points.len(),
                })? = true;
            }
        }
        let measured: Vec<usize> = (0..points.len()).filter(|&p| touched[p]).collect();
        let place = |p: usize| measured.binary_search(&p).ok();
        let figures = (figures.iter())
            .filter_map(|figure| {
                let quantity = figure.quantity.renumbered(place)?;
                Some(Observation {
                    quantity,
                    ..*figure
                })
            })
            .collect();
        let job = Job {
            points,
            measured,
            figures,
            alpha,
        };
        if job.references().next().is_none() {
            return Err(SurveyError::NoReferences);
        }
        Ok(job)
    }

    /// The place in the solution of one of the caller's points.
    pub fn place_of(&self, callers: usize) -> Option<usize> {
        self.measured.binary_search(&callers).ok()
    }

    /// The caller's place of a point of the solution.
    pub fn callers_place(&self, at: usize) -> usize {
        self.measured[at]
    }

    fn references(&self) -> impl Iterator<Item = usize> + '_ {
        (self.measured.iter().enumerate())
            .filter(|&(_, &callers)| self.points[callers].is_reference)
            .map(|(at, _)| at)
    }

    /// The network with these figures, held by all reference points but the freed ones.
    fn adjust(
        &self,
        freed: &[usize],
        figures: Vec<Observation>,
        leave_out_blunders: bool,
    ) -> Result<Solution, NetworkError> {
        let points = (self.measured.iter().enumerate())
            .map(|(at, &callers)| {
                let point = &self.points[callers];
                let place = match point.sheet {
                    None => Place::Unknown,
                    Some(sheet) if point.is_reference && !freed.contains(&at) => Place::Known {
                        position: sheet.position,
                        covariance: sheet.covariance,
                    },
                    Some(sheet) => Place::About(sheet.position),
                };
                Point {
                    name: point.name.clone(),
                    side: point.side,
                    place,
                }
            })
            .collect();
        let options = Options {
            alpha: self.alpha / 2.0,
            leave_out_blunders,
            ..Options::default()
        };
        Network::new(points, figures)?.adjust(&options)
    }

    /// The network as settled, without holding one reference point: what the others say of it.
    pub fn without(&self, reference: usize, settled: &Screened) -> Result<Solution, NetworkError> {
        let left_out = |index: &usize| {
            (settled.solution.contradictions.iter())
                .any(|c| c.left_out && c.figures.contains(index))
        };
        let figures = (self.figures.iter().enumerate())
            .filter(|(index, _)| !left_out(index))
            .map(|(_, figure)| *figure)
            .collect();
        let freed: Vec<usize> = settled.freed.iter().copied().chain([reference]).collect();
        self.adjust(&freed, figures, false)
    }

    fn trial(&self, freed: Vec<usize>) -> Result<Trial, NetworkError> {
        let solution = self.adjust(&freed, self.figures.clone(), true)?;
        let figures = solution.critical_w.powi(2) * solution.contradictions.len() as f64;
        let references = stats::chi2_critical(self.share(), 3) * freed.len() as f64;
        Ok(Trial {
            score: solution.fit.chi2 + figures + references,
            solution,
            freed,
        })
    }

    /// Each reference point's share of half of alpha.
    fn share(&self) -> f64 {
        self.alpha / 2.0 / self.references().count().max(1) as f64
    }

    /// The reference points that the figures would move, still held, by their places.
    fn failing(&self, solution: &Solution) -> Vec<usize> {
        (solution.known.iter())
            .filter(|check| check.p.is_some_and(|p| p < self.share()))
            .map(|check| check.point)
            .collect()
    }

    /// Settles which reference points hold.
    pub fn screen(&self) -> Result<Screened, NetworkError> {
        let mut best = self.trial(Vec::new())?;
        let mut suspects = Vec::new();
        loop {
            let failing = self.failing(&best.solution);
            let all_left_out = best.solution.contradictions.iter().all(|c| c.left_out);
            if failing.is_empty() && best.solution.contradictions.is_empty() {
                break;
            }
            let mut trials = self.freeing_one_more(&best.freed);
            if failing.is_empty() {
                // Only figures contradict. A freed point is another explanation where it spares
                // one of them; where it does not, it explains nothing and only fits noise.
                let contradictions = best.solution.contradictions.len();
                trials.retain(|t| t.solution.contradictions.len() < contradictions);
            }
            let Some(first) = trials.first().filter(|t| t.score < best.score + RIVAL) else {
                // No reference point explains it: figures do, or nothing does.
                suspects = failing;
                break;
            };
            let near = (trials.iter())
                .take_while(|t| t.score < first.score + RIVAL)
                .count();
            let figures_explain = failing.is_empty() && all_left_out;
            let figures_rival = figures_explain && best.score < first.score + RIVAL;
            let clear = near == 1 && !figures_rival && first.score < best.score;
            if clear && self.can_spare_another(&best.freed) {
                best = trials.swap_remove(0);
                continue;
            }
            suspects = (trials.iter().take(near))
                .filter_map(|t| t.freed.last().copied())
                .chain(failing)
                .collect();
            suspects.sort_unstable();
            suspects.dedup();
            break;
        }
        let settled =
            suspects.is_empty() && best.solution.contradictions.iter().all(|c| c.left_out);
        Ok(Screened {
            doubtful: !settled || !best.solution.is_sound(self.alpha / 2.0),
            solution: best.solution,
            freed: best.freed,
            suspects,
        })
    }

    /// Whether enough reference points hold without one more: three, and more than half.
    fn can_spare_another(&self, freed: &[usize]) -> bool {
        let all = self.references().count();
        let left = all.saturating_sub(freed.len() + 1);
        left >= 3 && 2 * left > all
    }

    /// One more reference point freed, each in turn, the best explanation first.
    fn freeing_one_more(&self, freed: &[usize]) -> Vec<Trial> {
        let mut trials: Vec<Trial> = (self.references())
            .filter(|r| !freed.contains(r))
            // A network that does not settle without it explains nothing.
            .filter_map(|r| self.trial(freed.iter().copied().chain([r]).collect()).ok())
            .collect();
        trials.sort_by(|a, b| a.score.total_cmp(&b.score));
        trials
    }
}

fn check(point: &TramPoint) -> Result<(), SurveyError> {
    let name = || point.name.clone();
    let Some(sheet) = point.sheet else {
        return match point.is_reference {
            true => Err(SurveyError::ReferenceWithoutPosition { name: name() }),
            false => Ok(()),
        };
    };
    if !is_covariance(&sheet.covariance) {
        return Err(SurveyError::BadSheetCovariance { name: name() });
    }
    Ok(())
}

/// Finite, symmetric, without a negative variance in any direction.
fn is_covariance(c: &Mat3) -> bool {
    if !c.iter().all(|v| v.is_finite()) {
        return false;
    }
    let tolerance = 1e-9 * c.amax();
    (c - c.transpose()).amax() <= tolerance && c.symmetric_eigenvalues().min() >= -tolerance
}
