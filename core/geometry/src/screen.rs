//! Which reference point moved.
//!
//! # The method
//! If reference point i alone moved, freeing it lowers the fit's weighted sum of squares by
//!
//! ```text
//! T_i = r_i' (S_i - J_i C J_i')^+ r_i
//! ```
//!
//! which follows chi-square with the rank of that matrix when nothing moved (the outlier test of
//! Baarda, "A testing procedure for use in geodetic networks", Netherlands Geodetic Commission,
//! 1968, for three coordinates at once). Two tests share the chance of a false alarm, [`ALPHA`]:
//! the global chi-square test takes one half, the largest of the n statistics the other
//! (each against `ALPHA / 2n`).
//!
//! Where a test fails, the likelihood of "i moved" against "j moved" is `exp((T_i - T_j) / 2)`. So
//! point i is *named* only when it leads the next by [`LEAD`], which is 19 to 1; otherwise every
//! point within that lead is listed, and nothing is named. A named point is left out, the set-up
//! is found again, and the question repeated, as long as at least four points and more than half
//! stay.
//!
//! # What it assumes, and what it does about that
//! Most reference points stayed, and those that moved did not move together. Where no single point
//! explains the failure, or where three or more left the set-up, the reference points are
//! searched for two groups that each fit the sheet on their own: then both are shown and a person
//! decides. Whenever the failure stays unexplained, [`Screening::is_settled`] is false, and
//! nothing may be called inside.
//!
//! # How much to expect
//! Measured by simulation, committed as `examples/screening_table.rs`:
#![doc = include_str!("../screening.md")]
//!
//! Cost: one set-up a round; the search for groups, only after a failure, one set-up for each
//! triple of points.
//!
//! ```
//! use datumtrail_geometry::fit::Reference;
//! use datumtrail_geometry::frame::{Mat3, Vec3};
//! use datumtrail_geometry::screen::{Outcome, screen};
//!
//! let sheet = [
//!     [200.0, -400.0, 70.0],
//!     [200.0, 400.0, 70.0],
//!     [880.0, -370.0, 10.0],
//!     [880.0, 370.0, 10.0],
//!     [1960.0, -634.0, 70.0],
//!     [1960.0, 634.0, 70.0],
//! ];
//! let mut references = sheet.map(|p| Reference {
//!     reading: p.into(),
//!     reading_covariance: Mat3::identity() * 0.25,
//!     target: p.into(),
//!     target_covariance: Mat3::identity() / 12.0,
//! });
//! references[2].reading.x += 8.0; // one point is 8 mm rearward
//! let found = screen(&references)?;
//! assert_eq!(found.outcome, Outcome::Named);
//! assert_eq!(found.moved, [2]);
//! assert!(found.is_settled());
//! # Ok::<(), datumtrail_geometry::fit::FitError>(())
//! ```

mod further;
mod groups;

use crate::fit::{FitError, Reference, SetUp, set_up};
use crate::stats;

pub use further::{Further, further, tells_apart};
pub use groups::{Group, TwoGroups};

/// The chance of a false alarm that the tests on a survey's reference points share.
pub const ALPHA: f64 = 0.05;

/// The lead in T that makes one explanation 19 times as likely as the next: 2 ln 19.
pub const LEAD: f64 = 5.9;

/// At least this many reference points stay, and more than half of those given.
pub const FEWEST_KEPT: usize = 4;

/// Redundancies below this part of one are rounding: the direction is not checked by the others.
const NO_REDUNDANCY: f64 = 1e-6;

/// What one reference point has against it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Statistic {
    /// The point's place among the references given.
    pub index: usize,
    /// T_i.
    pub t: f64,
    /// In how many directions the others check this point: 3 but for special geometries.
    pub rank: usize,
    /// What T_i must exceed to fail.
    pub critical: f64,
}

/// One set-up of the screening.
#[derive(Clone, Debug, PartialEq)]
pub struct Round {
    pub chi2: f64,
    pub degrees_of_freedom: usize,
    /// The probability of so large a sum or larger.
    pub p: f64,
    /// One for each point still in, the largest T first.
    pub statistics: Vec<Statistic>,
}

impl Round {
    /// Whether either of the two tests failed.
    pub fn failed(&self) -> bool {
        self.p < ALPHA / 2.0 || self.statistics.iter().any(|s| s.t > s.critical)
    }
}

/// What the screening found.
#[derive(Clone, Debug, PartialEq)]
pub enum Outcome {
    /// The reference points fit the sheet as well as their uncertainties promise.
    Passed,
    /// [`Screening::moved`] were named and left out, and the others pass.
    Named,
    /// One point stands out, but leaving it out would leave too few to be sure.
    TooFewLeft { suspect: usize },
    /// Something is wrong, and these points cannot be told apart: the most suspect first.
    Undecided { candidates: Vec<usize> },
    /// Two groups, each of which fits the sheet on its own.
    TwoGroups(TwoGroups),
}

/// The answer of a screening; points are given by their place among the references.
#[derive(Clone, Debug, PartialEq)]
pub struct Screening {
    pub outcome: Outcome,
    /// Named and left out, in that order.
    pub moved: Vec<usize>,
    /// Those the set-up rests on, in the order given.
    pub kept: Vec<usize>,
    /// The first round has all points.
    pub rounds: Vec<Round>,
    /// The set-up from those kept.
    pub set_up: SetUp,
}

impl Screening {
    /// A set-up that was taken as it came.
    pub(crate) fn unscreened(set_up: SetUp) -> Screening {
        Screening {
            outcome: Outcome::Passed,
            moved: Vec::new(),
            kept: (0..set_up.references().len()).collect(),
            rounds: Vec::new(),
            set_up,
        }
    }

    /// Whether the reference points now pass, so that verdicts may be given.
    pub fn is_settled(&self) -> bool {
        matches!(self.outcome, Outcome::Passed | Outcome::Named)
    }
}

/// Screens reference points.
///
/// # Errors
/// Those of [`set_up`], for all points given or for what is left of them.
pub fn screen(references: &[Reference]) -> Result<Screening, FitError> {
    let mut kept: Vec<usize> = (0..references.len()).collect();
    let mut moved = Vec::new();
    let mut rounds = Vec::new();
    let all = set_up(references)?;
    let mut fitted = all.clone();
    let fewest = FEWEST_KEPT.max(references.len() / 2 + 1);
    let outcome = loop {
        let round = test(&fitted, &kept);
        let failed = round.failed();
        let judgement = weigh(&round);
        rounds.push(round);
        if !failed {
            break if moved.is_empty() {
                Outcome::Passed
            } else {
                Outcome::Named
            };
        }
        match judgement {
            Judgement::OneStandsOut(suspect) if kept.len() > fewest => {
                let rest: Vec<usize> = kept.iter().copied().filter(|&i| i != suspect).collect();
                match set_up(&pick(references, &rest)) {
                    Ok(without) => fitted = without,
                    Err(_) => break Outcome::TooFewLeft { suspect },
                }
                moved.push(suspect);
                kept = rest;
            }
            Judgement::OneStandsOut(suspect) => break Outcome::TooFewLeft { suspect },
            Judgement::Undecided(candidates) => break Outcome::Undecided { candidates },
        }
    };

    let in_question = match &outcome {
        Outcome::Passed => false,
        Outcome::Named => moved.len() >= groups::SMALLEST,
        _ => !one_point_explains(references, &all),
    };
    if in_question && let Some(two) = groups::find(references) {
        return Ok(Screening {
            outcome: Outcome::TwoGroups(two),
            moved: Vec::new(),
            kept: (0..references.len()).collect(),
            rounds,
            set_up: all,
        });
    }
    Ok(Screening {
        outcome,
        moved,
        kept,
        rounds,
        set_up: fitted,
    })
}

/// The two tests on one set-up, whose references are the `kept` of those given.
fn test(fitted: &SetUp, kept: &[usize]) -> Round {
    let level = ALPHA / 2.0 / kept.len() as f64;
    let mut statistics: Vec<Statistic> = kept
        .iter()
        .enumerate()
        .filter_map(|(place, &index)| {
            let (t, rank) = outlier_statistic(fitted, place)?;
            Some(Statistic {
                index,
                t,
                rank,
                critical: stats::chi2_critical(level, rank),
            })
        })
        .collect();
    statistics.sort_by(|a, b| b.t.total_cmp(&a.t).then(a.index.cmp(&b.index)));
    Round {
        chi2: fitted.chi2,
        degrees_of_freedom: fitted.degrees_of_freedom,
        p: fitted.chi2_probability(),
        statistics,
    }
}

/// T and its rank for the reference at `place`; `None` when there is none.
///
/// In units of the point's own uncertainty the matrix has eigenvalues between 0 (the others say
/// nothing) and 1 (the others say all): the redundancies of three directions.
pub fn outlier_statistic(fitted: &SetUp, place: usize) -> Option<(f64, usize)> {
    let residual = fitted.residuals.get(place)?;
    let own = fitted.own_covariance(place)?;
    let unit = own.cholesky()?.l().try_inverse()?;
    let redundancy = unit * fitted.residual_covariance(place, place)? * unit.transpose();
    let eigen = redundancy.symmetric_eigen();
    let projected = eigen.eigenvectors.transpose() * (unit * residual);
    let mut t = 0.0;
    let mut rank = 0;
    for (value, z) in eigen.eigenvalues.iter().zip(projected.iter()) {
        if *value > NO_REDUNDANCY {
            t += z * z / value;
            rank += 1;
        }
    }
    Some((t, rank))
}

enum Judgement {
    OneStandsOut(usize),
    Undecided(Vec<usize>),
}

fn weigh(round: &Round) -> Judgement {
    let near: Vec<usize> = match round.statistics.first() {
        Some(top) => round
            .statistics
            .iter()
            .filter(|s| top.t - s.t < LEAD)
            .map(|s| s.index)
            .collect(),
        None => Vec::new(),
    };
    match (round.statistics.first(), near.as_slice()) {
        (Some(top), [alone]) if top.t > top.critical => Judgement::OneStandsOut(*alone),
        _ => Judgement::Undecided(near),
    }
}

/// Whether some single point, left out, leaves a set-up that passes the global test.
fn one_point_explains(references: &[Reference], all: &SetUp) -> bool {
    (0..references.len()).any(|i| {
        let Some((t, rank)) = outlier_statistic(all, i) else {
            return false;
        };
        let rest = all.degrees_of_freedom.saturating_sub(rank);
        rest > 0 && stats::chi2_exceeds((all.chi2 - t).max(0.0), rest) >= ALPHA
    })
}

fn pick(references: &[Reference], keep: &[usize]) -> Vec<Reference> {
    keep.iter()
        .filter_map(|&i| references.get(i).copied())
        .collect()
}
