//! The adjustment: from a stated network to its [`Solution`].

use super::flips;
use super::judge::{self, Judged};
use super::model::{Network, NetworkError, Options, Place};
use super::quantity::Quantity;
use super::settle::{Loss, System};
use super::solution::{
    Checked, Contradiction, Fit, KnownCheck, Located, Solution, State, Undetermined, Why,
};
use super::spectrum::Spectrum;
use super::start::{first_positions, near_enough};
use crate::frame::{Axis, Mat3, Vec3};
use crate::stats;

impl Network {
    /// Solves for the positions, judges every figure, and leaves out what the others contradict.
    ///
    /// Least squares as in [`super::settle`], covariance and open motions as in
    /// [`super::spectrum`], tests as in [`super::judge`]. Contradicting figures leave one at a
    /// time, the largest first, and the rest is adjusted again.
    ///
    /// Millimetres throughout. With 60 points and 400 distances: about 20 ms.
    ///
    /// # Errors
    /// [`NetworkError::BadOption`], [`NetworkError::Apart`] where first positions cannot be found,
    /// [`NetworkError::CannotLay`], [`NetworkError::NotSettled`].
    ///
    /// ```
    /// use datumtrail_geometry::frame::{Axis, Vec3};
    /// use datumtrail_geometry::network::{Network, Observation, Options, Point, Quantity};
    ///
    /// // Three points held, one found from its distances to them and one more to check them.
    /// let held = [(0.0, -400.0, 0.0), (0.0, 400.0, 0.0), (900.0, -350.0, 50.0), (900.0, 350.0, 300.0)];
    /// let truth = Vec3::new(500.0, 120.0, -200.0);
    /// let mut points: Vec<Point> = (held.iter().zip(["A", "B", "C", "D"]))
    ///     .map(|(&(x, y, z), name)| Point::new(name).known(Vec3::new(x, y, z), 0.0))
    ///     .collect();
    /// points.push(Point::new("P"));
    /// let readings = (0..4).map(|from| {
    ///     let (x, y, z) = held[from];
    ///     let distance = (truth - Vec3::new(x, y, z)).norm();
    ///     Observation::new(Quantity::TrueDistance { from, to: 4 }, distance, 0.5)
    /// });
    /// let network = Network::new(points, readings.collect()).unwrap();
    /// let solution = network.adjust(&Options::default()).unwrap();
    /// let p = &solution.points[4];
    /// assert!((p.position - truth).norm() < 1e-6);
    /// assert!(p.u_mm(Axis::Length).unwrap() < 1.0);
    /// assert_eq!(solution.fit.dof, 1);
    /// ```
    pub fn adjust(&self, options: &Options) -> Result<Solution, NetworkError> {
        check(options, self)?;
        let stated: Vec<Option<Vec3>> = self.points().iter().map(|p| p.stated()).collect();
        let onto = laid_onto(options, &stated);
        let start = first_positions(self)?;
        let mut search = Search::new(self, start.clone(), onto, options.alpha)?;
        if options.leave_out_blunders {
            search.leave_out(start)?;
        } else if let Some(figures) = search.worst() {
            search.record(figures, false);
        }
        Ok(search.finish(options))
    }
}

/// How far off a figure must be, in standard uncertainties, to be set aside before the rest is
/// adjusted. It comes back if the rest confirms it.
const SET_ASIDE: f64 = 4.5;

/// The search for figures that the others contradict.
struct Search<'a> {
    system: System<'a>,
    onto: Onto,
    at: Vec<Vec3>,
    round: Round,
    critical: f64,
    contradictions: Vec<Contradiction>,
}

impl<'a> Search<'a> {
    fn new(
        network: &'a Network,
        mut at: Vec<Vec3>,
        onto: Onto,
        alpha: f64,
    ) -> Result<Search<'a>, NetworkError> {
        let system = System::new(network);
        let round = Round::run(&system, &mut at, &onto)?;
        let critical = critical_w(&round.judged, alpha);
        Ok(Search {
            system,
            onto,
            at,
            round,
            critical,
            contradictions: Vec::new(),
        })
    }

    fn worst(&self) -> Option<Vec<usize>> {
        judge::worst(&self.round.judged, &self.system.used, self.critical)
    }

    fn w(&self, figure: usize) -> f64 {
        self.round.judged[figure].w.unwrap_or(0.0)
    }

    fn adjust(&mut self) -> Result<(), NetworkError> {
        self.round = Round::run(&self.system, &mut self.at, &self.onto)?;
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

    /// Leaves out what the others contradict. One wrong figure alone is found from the adjustment
    /// with all; but several can hide each other, and pull a flat network into another mix of ups
    /// and downs. So where anything is wrong, a descent that they cannot pull sets the gross ones
    /// aside first.
    fn leave_out(&mut self, start: Vec<Vec3>) -> Result<(), NetworkError> {
        if self.worst().is_none() {
            return Ok(());
        }
        self.set_aside(start)?;
        for left_out in self.by_w(|used| !used) {
            let mut figures = vec![left_out];
            figures.extend(self.rivals(left_out));
            if !self.settle_contradiction(figures)? {
                return Ok(());
            }
        }
        while let Some(figures) = self.worst() {
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
        if off.is_empty() {
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
        let spared = in_use.is_empty()
            || judge::can_spare(&in_use, &self.system, &self.at, &self.round.spectrum);
        self.record(figures.clone(), spared);
        if spared && in_use.is_empty() {
            return Ok(true);
        }
        self.use_figures(&figures, !spared);
        self.adjust()?;
        Ok(spared)
    }

    fn finish(self, options: &Options) -> Solution {
        let Search {
            system,
            at,
            round,
            critical,
            contradictions,
            ..
        } = self;
        round.finish(
            system.network,
            &system,
            at,
            options,
            critical,
            contradictions,
        )
    }
}

fn check(options: &Options, network: &Network) -> Result<(), NetworkError> {
    for (what, value) in [("alpha", options.alpha), ("power", options.power)] {
        if !(value > 0.0 && value < 1.0) {
            return Err(NetworkError::BadOption { what, value });
        }
    }
    let count = network.points().len();
    match options.laid_onto.iter().find(|&&place| place >= count) {
        Some(&place) => Err(NetworkError::NoSuchPoint {
            index: 0,
            place,
            count,
        }),
        None => Ok(()),
    }
}

/// Which points a free network is laid onto.
struct Onto {
    places: Vec<usize>,
    stated: Vec<(usize, Vec3)>,
    asked: bool,
}

fn laid_onto(options: &Options, stated: &[Option<Vec3>]) -> Onto {
    let asked = !options.laid_onto.is_empty();
    let with_position: Vec<usize> = (0..stated.len()).filter(|&p| stated[p].is_some()).collect();
    let places = if asked {
        options.laid_onto.clone()
    } else if with_position.is_empty() {
        (0..stated.len()).collect()
    } else {
        with_position
    };
    let stated = (places.iter())
        .filter_map(|&p| stated[p].map(|position| (p, position)))
        .collect();
    Onto {
        places,
        stated,
        asked,
    }
}

fn critical_w(judged: &[Judged], alpha: f64) -> f64 {
    let tests = judged.iter().filter(|j| j.w.is_some()).count().max(1);
    stats::phi_inverse(1.0 - alpha / (2.0 * tests as f64))
}

/// One adjustment of the figures in use.
struct Round {
    chi2: f64,
    spectrum: Spectrum,
    judged: Vec<Judged>,
}

impl Round {
    fn run(system: &System, at: &mut Vec<Vec3>, onto: &Onto) -> Result<Round, NetworkError> {
        let mut chi2 = system.settle(at, Loss::Square)?;
        let mut spectrum = Spectrum::of(system, at, system.normal(at, Loss::Square).0);
        if spectrum.rigid.ncols() > 0 {
            // Laying moves every point along straight lines; a second pass takes up their bend.
            for _ in 0..10 {
                let twist = spectrum.twist(system, at, &onto.stated);
                if twist.amax() < 1e-8 {
                    break;
                }
                *at = system.moved(at, &twist);
                chi2 = system.settle(at, Loss::Square)?;
                spectrum = Spectrum::of(system, at, system.normal(at, Loss::Square).0);
            }
            spectrum = match spectrum.laid_onto(system, &onto.places) {
                Some(laid) => laid,
                None if onto.asked => {
                    return Err(NetworkError::CannotLay {
                        freedoms: spectrum.rigid.ncols(),
                    });
                }
                None => spectrum,
            };
        }
        let judged = judge::judge(system, at, &spectrum);
        Ok(Round {
            chi2,
            spectrum,
            judged,
        })
    }

    fn finish(
        self,
        network: &Network,
        system: &System,
        at: Vec<Vec3>,
        options: &Options,
        critical: f64,
        contradictions: Vec<Contradiction>,
    ) -> Solution {
        let spectrum = self.spectrum;
        let points = locate(network, system, &at, &spectrum);
        let figures = (network.observations().iter().zip(&self.judged))
            .enumerate()
            .map(|(i, (o, judged))| {
                let doubted = contradictions.iter().any(|c| c.figures.contains(&i));
                let delta = critical + stats::phi_inverse(options.power);
                let blunder = judged.w.map(|_| o.u_mm * delta / judged.redundancy.sqrt());
                Checked {
                    quantity: o.quantity,
                    value_mm: o.value_mm,
                    u_mm: o.u_mm,
                    adjusted_mm: judged.adjusted,
                    redundancy: judged.redundancy,
                    w: judged.w,
                    expected_mm: judged.expected,
                    smallest_blunder_mm: blunder,
                    shift: (blunder.filter(|_| system.used[i]))
                        .and_then(|b| judge::worst_shift(o, b, system, &at, &spectrum)),
                    state: match judged.w {
                        _ if doubted => State::Contradicts,
                        Some(_) => State::Agrees,
                        None => State::Unchecked,
                    },
                }
            })
            .collect();
        let in_use = system.used.iter().filter(|used| **used).count();
        let rank = system.size - spectrum.rigid.ncols() - spectrum.lost.ncols();
        let dof = (in_use + 3 * system.priors().len()).saturating_sub(rank);
        let (blind_axes, mirror_planes) = blind(network, system, &at);
        Solution {
            figures,
            fit: Fit {
                chi2: self.chi2,
                dof,
                p: (dof > 0).then(|| stats::chi2_exceeds(self.chi2, dof)),
            },
            critical_w: critical,
            contradictions,
            known: judge_known(system, &at, &spectrum),
            open_motions: spectrum.rigid.ncols(),
            blind_axes,
            alternatives: flips::alternatives(system, &at, &spectrum, &points, self.chi2),
            points,
            column: system.column.clone(),
            quantities: network.observations().iter().map(|o| o.quantity).collect(),
            mirror_planes,
            spectrum,
        }
    }
}

fn locate(network: &Network, system: &System, at: &[Vec3], spectrum: &Spectrum) -> Vec<Located> {
    (network.points().iter().enumerate())
        .map(|(place, point)| {
            let (covariance, undetermined) = match system.column[place] {
                Some(c) => (spectrum.block(c, c), undetermined(system, at, spectrum, c)),
                None => (Mat3::zeros(), Vec::new()),
            };
            Located {
                name: point.name.clone(),
                position: at[place],
                covariance,
                undetermined,
            }
        })
        .collect()
}

/// Below this standard uncertainty no distance on a vehicle bends enough to matter.
const STRAIGHT_MM: f64 = 1.0;

fn undetermined(
    system: &System,
    at: &[Vec3],
    spectrum: &Spectrum,
    column: usize,
) -> Vec<Undetermined> {
    let open = spectrum.lost.fixed_rows::<3>(column);
    let spread: Mat3 = open * open.transpose();
    let eigen = spread.symmetric_eigen();
    let mut answers: Vec<Undetermined> = (eigen.eigenvalues.iter())
        .zip(eigen.eigenvectors.column_iter())
        // a motion of unit length in which this point takes a noticeable part
        .filter(|(lambda, _)| **lambda > 1e-8)
        .map(|(_, v)| Undetermined {
            direction: v.into_owned(),
            why: Why::Open,
        })
        .collect();
    let eigen = spectrum.block(column, column).symmetric_eigen();
    let mut bent: Vec<(f64, Vec3)> = (eigen.eigenvalues.iter())
        .zip(eigen.eigenvectors.column_iter())
        .map(|(variance, v)| (variance.max(0.0).sqrt(), v.into_owned()))
        .filter(|(u, v)| *u > STRAIGHT_MM && bends(system, at, spectrum, column, v, *u))
        .collect();
    bent.sort_by(|a, b| b.0.total_cmp(&a.0));
    answers.extend(bent.into_iter().map(|(u_mm, direction)| Undetermined {
        direction,
        why: Why::Bent { u_mm },
    }));
    answers
}

/// Whether chi-square departs from its parabola within two standard uncertainties: moving the
/// point by 2u along the direction, all others following as the covariance has it, should raise
/// chi-square by 4. Below 2 or above 8 on either side the parabola is no guide.
fn bends(
    system: &System,
    at: &[Vec3],
    spectrum: &Spectrum,
    column: usize,
    direction: &Vec3,
    u: f64,
) -> bool {
    let here = system.cost(at, Loss::Square);
    let regression = spectrum.q.fixed_columns::<3>(column) * direction / u;
    [-2.0, 2.0].into_iter().any(|t| {
        let there = system.moved(at, &(&regression * t));
        let rise = system.cost(&there, Loss::Square) - here;
        !(2.0..=8.0).contains(&rise)
    })
}

fn judge_known(system: &System, at: &[Vec3], spectrum: &Spectrum) -> Vec<KnownCheck> {
    (system.priors().iter())
        .filter_map(|&(point, position, weight)| {
            let c = system.column[point]?;
            let s = weight.try_inverse()?;
            let moved = at[point] - position;
            let (t, dof) = judge::known_move(moved, s, spectrum.block(c, c));
            Some(KnownCheck {
                point,
                moved,
                t,
                dof,
                p: (dof > 0).then(|| stats::chi2_exceeds(t, dof)),
            })
        })
        .collect()
}

/// The axes whose sense nothing tells, and for every axis the plane to mirror in.
fn blind(network: &Network, system: &System, at: &[Vec3]) -> (Vec<Axis>, [f64; 3]) {
    let known: Vec<Vec3> = (network.points().iter())
        .filter_map(|point| match point.place {
            Place::Known { position, .. } => Some(position),
            _ => None,
        })
        .collect();
    // Where one point stands for both sides, right is right by definition.
    let folded = network.observations().iter().any(|o| {
        matches!(
            o.quantity,
            Quantity::Span { .. } | Quantity::TrueDiagonal { .. } | Quantity::LevelDiagonal { .. }
        )
    });
    let mut planes = [0.0; 3];
    let axes = Axis::ALL.into_iter().filter(|axis| {
        let i = axis.index();
        let mean = |of: &[Vec3]| of.iter().map(|p| p[i]).sum::<f64>() / of.len() as f64;
        planes[i] = match axis {
            Axis::Width if folded => 0.0,
            _ if known.is_empty() => mean(at),
            _ => mean(&known),
        };
        let in_plane = known.iter().all(|p| (p[i] - planes[i]).abs() < 1e-6);
        let blind = system
            .used()
            .all(|(_, o)| o.quantity.is_blind_to_sign_of(*axis));
        in_plane && blind && !(folded && *axis == Axis::Width)
    });
    (axes.collect(), planes)
}
