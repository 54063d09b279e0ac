//! Least squares over the positions: the normal equations and the descent to their solution.
//!
//! The function to minimise is the sum over the used figures of ((l - f(x)) / u)^2, plus
//! (p - x)' S^-1 (p - x) for every known point with covariance S. Gauss-Newton with Levenberg's
//! step control (Levenberg 1944; Nocedal and Wright, Numerical Optimization, 10.3): the step solves
//! (N + mu I) dx = g with N = sum j j' / u^2; mu falls while steps gain what they promise and
//! rises when they don't. The damping with
//! the plain identity keeps every step free of what the figures leave open, so a free network
//! stays where its first positions put it (the minimum-norm step).
//!
//! Cost: one factorisation of a matrix of order 3n a step; 60 points settle in about a
//! millisecond a step.

use nalgebra::{DMatrix, DVector};

use super::model::{Network, NetworkError, Observation, Place};
use super::spectrum::Spectrum;
use crate::frame::{Mat3, Vec3};

/// The network with the figures that are in use and the layout of its unknowns.
#[derive(Clone)]
pub(super) struct System<'a> {
    pub network: &'a Network,
    /// Whether each figure is in use.
    pub used: Vec<bool>,
    /// The first of each point's three columns; None for a rigidly held point.
    pub column: Vec<Option<usize>>,
    /// Three times the number of points that can move.
    pub size: usize,
    /// Known points with a covariance: place, position, weight.
    priors: Vec<(usize, Vec3, Mat3)>,
}

/// How residuals are weighed.
#[derive(Clone, Copy, PartialEq)]
pub(super) enum Loss {
    /// Least squares.
    Square,
    /// Cauchy's loss c^2 ln(1 + (v/c)^2) with c in standard uncertainties: figures that contradict
    /// the rest lose their pull. Only used to find first positions.
    Cauchy(f64),
}

impl Loss {
    pub fn cost(self, v: f64) -> f64 {
        match self {
            Loss::Square => v * v,
            Loss::Cauchy(c) => c * c * (v / c).powi(2).ln_1p(),
        }
    }

    /// The weight that makes a least-squares step follow this loss.
    pub fn weight(self, v: f64) -> f64 {
        match self {
            Loss::Square => 1.0,
            Loss::Cauchy(c) => 1.0 / (1.0 + (v / c).powi(2)),
        }
    }
}

const MAX_STEPS: usize = 300;
/// Damping as a share of the mean of N's diagonal. The least keeps an open network solvable; a
/// step that disappoints is damped at least by a millionth.
const LEAST_DAMPING: f64 = 1e-12;
const MOST_DAMPING: f64 = 1e12;

fn raised(damping: f64) -> f64 {
    (10.0 * damping).max(1e-6)
}

/// A step this small, in millimetres, ends the descent.
const SMALL_STEP_MM: f64 = 1e-7;
/// A step that promises less than this of the chi-square ends it too: it moves nothing by more
/// than a hundred-thousandth of its standard uncertainty.
const SMALL_GAIN: f64 = 1e-10;
/// Where figures bend strongly the last steps are slow; after all of them this is near enough.
const ENOUGH_GAIN: f64 = 1e-4;

impl<'a> System<'a> {
    pub fn new(network: &'a Network) -> System<'a> {
        let mut size = 0;
        let column = (network.points().iter())
            .map(|point| {
                (!point.is_rigid()).then(|| {
                    size += 3;
                    size - 3
                })
            })
            .collect();
        let priors = (network.points().iter().enumerate())
            .filter_map(|(place, point)| match point.place {
                Place::Known {
                    position,
                    covariance,
                } => Some((place, position, covariance.try_inverse()?)),
                _ => None,
            })
            .collect();
        System {
            used: vec![true; network.observations().len()],
            network,
            column,
            size,
            priors,
        }
    }

    /// The used figures with their places.
    pub fn used(&self) -> impl Iterator<Item = (usize, &'a Observation)> + '_ {
        (self.network.observations().iter().enumerate()).filter(|&(index, _)| self.used[index])
    }

    /// Known points that carry a covariance.
    pub fn priors(&self) -> &[(usize, Vec3, Mat3)] {
        &self.priors
    }

    /// Figures in use, known coordinates included, beyond what the positions need.
    pub fn dof(&self, spectrum: &Spectrum) -> usize {
        let figures = self.used().count() + 3 * self.priors.len();
        let rank = self.size - spectrum.rigid.ncols() - spectrum.lost.ncols();
        figures.saturating_sub(rank)
    }

    pub fn cost(&self, at: &[Vec3], loss: Loss) -> f64 {
        let figures: f64 = (self.used())
            .map(|(_, o)| loss.cost((o.value_mm - o.quantity.predict(at)) / o.u_mm))
            .sum();
        let known: f64 = (self.priors.iter())
            .map(|(place, position, weight)| {
                let v = position - at[*place];
                v.dot(&(weight * v))
            })
            .sum();
        figures + known
    }

    /// N and g at these positions.
    pub fn normal(&self, at: &[Vec3], loss: Loss) -> (DMatrix<f64>, DVector<f64>) {
        let mut n = DMatrix::zeros(self.size, self.size);
        let mut g = DVector::zeros(self.size);
        for (_, o) in self.used() {
            let v = (o.value_mm - o.quantity.predict(at)) / o.u_mm;
            let weight = loss.weight(v);
            let gradient = o.quantity.gradient(at);
            for (a, ga) in gradient.parts() {
                let Some(ca) = self.column[a] else { continue };
                let ga = ga / o.u_mm;
                for i in 0..3 {
                    g[ca + i] += weight * ga[i] * v;
                }
                for (b, gb) in gradient.parts() {
                    let Some(cb) = self.column[b] else { continue };
                    let gb = gb / o.u_mm;
                    for i in 0..3 {
                        for k in 0..3 {
                            n[(ca + i, cb + k)] += weight * ga[i] * gb[k];
                        }
                    }
                }
            }
        }
        for (place, position, weight) in &self.priors {
            let Some(c) = self.column[*place] else {
                continue;
            };
            let pull = weight * (position - at[*place]);
            for i in 0..3 {
                g[c + i] += pull[i];
                for k in 0..3 {
                    n[(c + i, c + k)] += weight[(i, k)];
                }
            }
        }
        (n, g)
    }

    /// These positions, each moved by its part of `step`.
    pub fn moved(&self, at: &[Vec3], step: &DVector<f64>) -> Vec<Vec3> {
        (at.iter().zip(&self.column))
            .map(|(p, column)| match column {
                Some(c) => p + Vec3::new(step[*c], step[c + 1], step[c + 2]),
                None => *p,
            })
            .collect()
    }

    /// Descends from `at` to the nearest minimum and returns the cost there.
    ///
    /// # Errors
    /// [`NetworkError::NotSettled`] where 300 steps do not suffice.
    pub fn settle(&self, at: &mut Vec<Vec3>, loss: Loss) -> Result<f64, NetworkError> {
        let mut damping = LEAST_DAMPING;
        let mut cost = self.cost(at, loss);
        if self.size == 0 {
            return Ok(cost);
        }
        let mut last_mm = f64::INFINITY;
        let mut gain = f64::INFINITY;
        for steps in 0..MAX_STEPS {
            let (n, g) = self.normal(at, loss);
            let scale = n.diagonal().mean().max(f64::MIN_POSITIVE);
            loop {
                if damping > MOST_DAMPING {
                    // No step gains any more: rounding is all that is left, or the slope breaks.
                    return match gain.is_finite() {
                        true => Ok(cost),
                        false => Err(NetworkError::NotSettled { steps, last_mm }),
                    };
                }
                let mut damped = n.clone();
                for i in 0..self.size {
                    damped[(i, i)] += damping * scale;
                }
                let Some(factor) = damped.cholesky() else {
                    damping = raised(damping);
                    continue;
                };
                let step = factor.solve(&g);
                last_mm = step.amax();
                gain = step.dot(&g);
                if last_mm < SMALL_STEP_MM || gain < SMALL_GAIN {
                    return Ok(cost);
                }
                let next = self.moved(at, &step);
                let next_cost = self.cost(&next, loss);
                // What the parabola promised, and how much of it came true.
                let promised = gain + damping * scale * step.norm_squared();
                let kept = (cost - next_cost) / promised;
                if kept < 0.25 {
                    damping = raised(damping);
                } else if kept > 0.75 {
                    damping = (damping / 10.0).max(LEAST_DAMPING);
                }
                if next_cost < cost {
                    *at = next;
                    cost = next_cost;
                    break;
                }
            }
        }
        if gain < ENOUGH_GAIN {
            return Ok(cost);
        }
        Err(NetworkError::NotSettled {
            steps: MAX_STEPS,
            last_mm,
        })
    }
}
