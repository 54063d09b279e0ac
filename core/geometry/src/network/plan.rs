//! Which single extra reading would help most.
//!
//! A new figure with derivative j and standard uncertainty u changes the covariance by
//! Q' = Q - Q j' j Q / (u^2 + j Q j') (the update of recursive least squares; Plackett 1950). For
//! every candidate the coordinates that are wanted are judged again: by the sum of their variances
//! (A-optimal) or by the largest variance in any direction (E-optimal; Pukelsheim, Optimal Design
//! of Experiments). Motions of the shape that are still open enter with a standard uncertainty of
//! [`OPEN_PRIOR_MM`], so that fixing them counts for much but for a finite amount; the frame of a
//! free network is no reading's business and stays out.
//!
//! First order only: where a distance lies in the plane of its neighbours it says nothing about
//! heights, and a height is proposed instead. Cost for 60 points: about 10 ms.

use nalgebra::{DMatrix, DVector};

use super::quantity::Quantity;
use super::solution::{Alternative, Solution};
use crate::frame::Vec3;

/// What an open direction counts as before it is measured.
pub const OPEN_PRIOR_MM: f64 = 100.0;

/// What is asked of an extra reading.
#[derive(Clone, Debug, PartialEq)]
pub struct Wanted {
    /// The points whose positions matter, by their places. Empty: all.
    pub points: Vec<usize>,
    /// What may be measured.
    pub kinds: Vec<Kind>,
    /// The standard uncertainty the new reading would have.
    pub u_mm: f64,
    /// The longest distance the gauge reaches, if it has a limit.
    pub reach_mm: Option<f64>,
    pub goal: Goal,
}

/// A kind of reading to consider.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    TrueDistance,
    LevelDistance,
    Height,
}

/// What "help most" means.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Goal {
    /// The wanted points as a whole: the smallest sum of variances.
    Overall,
    /// The weakest of them in its weakest direction.
    Weakest,
}

impl Default for Wanted {
    fn default() -> Self {
        Wanted {
            points: Vec::new(),
            kinds: vec![Kind::TrueDistance, Kind::LevelDistance, Kind::Height],
            u_mm: 0.5,
            reach_mm: None,
            goal: Goal::Overall,
        }
    }
}

/// A reading to take next.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Extra {
    pub quantity: Quantity,
    /// What it should read if the network is right.
    pub expected_mm: f64,
    /// Overall: the root mean square standard uncertainty of a wanted coordinate. Weakest: the
    /// largest standard uncertainty in any direction, all wanted coordinates together.
    pub before_mm: f64,
    /// The same, with the reading.
    pub after_mm: f64,
}

/// A reading that decides between two positions.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Deciding {
    pub quantity: Quantity,
    /// What it reads if the network as given is right.
    pub here_mm: f64,
    /// What it reads if the alternative is right.
    pub there_mm: f64,
}

/// Below this share of improvement a reading is not worth asking for.
const WORTHWHILE: f64 = 0.01;
/// How many of the best are compared exactly for [`Goal::Weakest`].
const SHORTLIST: usize = 12;

impl Solution {
    /// The readings that would help most, best first, at most `count`. Empty when none of the
    /// allowed kinds improves anything by 1 % or more.
    ///
    /// ```
    /// use datumtrail_geometry::frame::Vec3;
    /// use datumtrail_geometry::network::*;
    ///
    /// // P hangs on two distances from the left: sideways it is known ten times worse than along.
    /// let corner = |x: f64, y: f64| Vec3::new(x, y, 0.0);
    /// let points = vec![
    ///     Point::new("A").known(corner(0.0, -50.0), 0.0),
    ///     Point::new("B").known(corner(0.0, 50.0), 0.0),
    ///     Point::new("C").known(corner(1000.0, 900.0), 0.0),
    ///     Point::new("P").about(corner(1000.0, 0.0)),
    /// ];
    /// let level = |from, mm| Observation::new(Quantity::LevelDistance { from, to: 3 }, mm, 0.5);
    /// let readings = vec![
    ///     level(0, 1_002_500f64.sqrt()),
    ///     level(1, 1_002_500f64.sqrt()),
    ///     Observation::new(Quantity::height(3), 0.0, 0.5),
    /// ];
    /// let solution = Network::new(points, readings).unwrap().adjust(&Options::default()).unwrap();
    /// let best = solution.best_extra(&Wanted::default(), 1);
    /// assert!(best[0].quantity.touches(2), "the distance from C, at right angles to the others");
    /// assert!(best[0].after_mm < 0.2 * best[0].before_mm);
    /// ```
    pub fn best_extra(&self, wanted: &Wanted, count: usize) -> Vec<Extra> {
        let rows = self.wanted_rows(wanted);
        if rows.is_empty() || !(wanted.u_mm > 0.0 && wanted.u_mm.is_finite()) {
            return Vec::new();
        }
        let at: Vec<Vec3> = self.points.iter().map(|p| p.position).collect();
        let judge = Judge {
            q: &self.spectrum.q
                + &self.spectrum.lost * self.spectrum.lost.transpose() * OPEN_PRIOR_MM.powi(2),
            rows,
            u2: wanted.u_mm * wanted.u_mm,
        };
        let candidates = self.candidates(wanted, &at);
        let shrink = |quantity: Quantity| judge.shrink(&self.sparse_row(quantity, &at));
        let mut scored = match wanted.goal {
            Goal::Overall => judge.overall(&candidates, shrink),
            Goal::Weakest => judge.weakest(&candidates, shrink),
        };
        scored.retain(|(_, before, after)| *after < (1.0 - WORTHWHILE) * before);
        // Equal candidates in a fixed order, whatever the order of the figures was.
        scored.sort_by(|a, b| a.2.total_cmp(&b.2).then(a.0.cmp(&b.0)));
        (scored.into_iter().take(count))
            .map(|(quantity, before_mm, after_mm)| Extra {
                quantity,
                expected_mm: quantity.predict(&at),
                before_mm,
                after_mm,
            })
            .collect()
    }

    /// The reading that tells best whether an alternative is right instead: its two predictions
    /// lie farthest apart. None where no reading tells them apart by four standard uncertainties.
    pub fn deciding(&self, alternative: &Alternative, wanted: &Wanted) -> Option<Deciding> {
        let here: Vec<Vec3> = self.points.iter().map(|p| p.position).collect();
        let mut there = here.clone();
        for (place, position) in &alternative.points {
            *there.get_mut(*place)? = *position;
        }
        (self.candidates(wanted, &here).into_iter())
            .map(|quantity| Deciding {
                quantity,
                here_mm: quantity.predict(&here),
                there_mm: quantity.predict(&there),
            })
            .filter(|d| (d.here_mm - d.there_mm).abs() > 4.0 * wanted.u_mm)
            .max_by(|a, b| {
                let apart = |d: &Deciding| (d.here_mm - d.there_mm).abs();
                apart(a)
                    .total_cmp(&apart(b))
                    .then(b.quantity.cmp(&a.quantity))
            })
    }

    fn wanted_rows(&self, wanted: &Wanted) -> Vec<usize> {
        let all: Vec<usize> = (0..self.points.len()).collect();
        let points = if wanted.points.is_empty() {
            &all
        } else {
            &wanted.points
        };
        (points.iter())
            .filter_map(|&p| self.column.get(p).copied().flatten())
            .flat_map(|c| c..c + 3)
            .collect()
    }

    /// Everything that may be measured, was not measured yet and is within reach.
    fn candidates(&self, wanted: &Wanted, at: &[Vec3]) -> Vec<Quantity> {
        let mut candidates = Vec::new();
        for to in 0..at.len() {
            for kind in &wanted.kinds {
                match kind {
                    Kind::Height => candidates.push(Quantity::height(to)),
                    Kind::TrueDistance => {
                        candidates.extend((0..to).map(|from| Quantity::TrueDistance { from, to }));
                    }
                    Kind::LevelDistance => {
                        candidates.extend((0..to).map(|from| Quantity::LevelDistance { from, to }));
                    }
                }
            }
        }
        let measured: std::collections::HashSet<Quantity> =
            self.figures.iter().map(|f| ordered(f.quantity)).collect();
        candidates.retain(|q| {
            let moves = |p: usize| self.column[p].is_some();
            let (a, b) = q.points();
            let in_reach = match (b, wanted.reach_mm) {
                (Some(_), Some(reach)) => q.predict(at) <= reach,
                _ => true,
            };
            (moves(a) || b.is_some_and(moves)) && in_reach && !measured.contains(q)
        });
        candidates
    }
}

/// A distance with its ends in the order the candidates have.
fn ordered(quantity: Quantity) -> Quantity {
    match quantity {
        Quantity::TrueDistance { from, to } if from > to => {
            Quantity::TrueDistance { from: to, to: from }
        }
        Quantity::LevelDistance { from, to } if from > to => {
            Quantity::LevelDistance { from: to, to: from }
        }
        other => other,
    }
}

/// A candidate with what is wanted of it, before and after.
type Scored = Vec<(Quantity, f64, f64)>;

/// The wanted part of the covariance, and how a new figure shrinks it.
struct Judge {
    /// Covariance of all movable coordinates, open directions with their prior.
    q: DMatrix<f64>,
    /// The wanted coordinates.
    rows: Vec<usize>,
    /// Variance of the new figure.
    u2: f64,
}

impl Judge {
    /// The vector b by which the wanted covariance shrinks: b b'. A figure touches two points at
    /// most, so its row is given by its few columns.
    fn shrink(&self, row: &[(usize, f64)]) -> DVector<f64> {
        let mut b = DVector::zeros(self.rows.len());
        let mut variance = 0.0;
        for &(column, g) in row {
            for (b, &wanted) in b.iter_mut().zip(&self.rows) {
                *b += g * self.q[(wanted, column)];
            }
            variance += (row.iter())
                .map(|&(other, h)| g * h * self.q[(column, other)])
                .sum::<f64>();
        }
        b / (self.u2 + variance.max(0.0)).sqrt()
    }

    fn overall(
        &self,
        candidates: &[Quantity],
        shrink: impl Fn(Quantity) -> DVector<f64>,
    ) -> Scored {
        let count = self.rows.len() as f64;
        let before: f64 = self.rows.iter().map(|&r| self.q[(r, r)]).sum();
        (candidates.iter())
            .map(|&quantity| {
                let after = (before - shrink(quantity).norm_squared()).max(0.0);
                (quantity, (before / count).sqrt(), (after / count).sqrt())
            })
            .collect()
    }

    fn weakest(
        &self,
        candidates: &[Quantity],
        shrink: impl Fn(Quantity) -> DVector<f64>,
    ) -> Scored {
        let block = self.q.select_rows(&self.rows).select_columns(&self.rows);
        let eigen = block.clone().symmetric_eigen();
        let before = eigen.eigenvalues.max().max(0.0).sqrt();
        let weak = eigen.eigenvectors.column(eigen.eigenvalues.imax());
        let mut order: Vec<(f64, Quantity)> = (candidates.iter())
            .map(|&quantity| (weak.dot(&shrink(quantity)).abs(), quantity))
            .collect();
        order.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        (order.into_iter().take(SHORTLIST))
            .map(|(_, quantity)| {
                let b = shrink(quantity);
                let after = (&block - &b * b.transpose()).symmetric_eigenvalues().max();
                (quantity, before, after.max(0.0).sqrt())
            })
            .collect()
    }
}
