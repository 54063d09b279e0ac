//! How far along each member the structure moved.
//!
//! What a shop needs to know before it orders parts: did everything behind the collapsed section
//! stay? Each member is a chain of control points. From the middle of the reference points outwards,
//! forward and rearward, every point is tested for *movement*, which is not the same as being
//! outside a limit: T = d' S^-1 d against chi-square with three degrees of freedom at alpha / n
//! (Bonferroni over all n points tested), with the covariance S that holds the build spread.
//!
//! A point whose T is small has not thereby been shown to have stayed: its uncertainty may hide a
//! move. The smallest move that the test finds four times in five is sqrt(L / least eigenvalue of
//! S^-1) in the worst direction, L the non-centrality (Baarda 1968). Where that is more than the
//! point's tightest limit (or a stated size), the point *can't be told*, and no sentence claims
//! that what lies behind it stayed.
//!
//! ```
//! use datumtrail_geometry::damage::{Measured, MeasuredPoint, Zone};
//! use datumtrail_geometry::extent::{self, Options, words};
//! use datumtrail_geometry::frame::{Side, Vec3};
//! use datumtrail_geometry::verdict::Verdict;
//! use nalgebra::DMatrix;
//!
//! let point = |name: &str, x: f64, moved: f64, is_reference: bool| MeasuredPoint {
//!     name: name.into(),
//!     side: Side::Left,
//!     spec: Vec3::new(x, -450.0, 200.0),
//!     deviation: Vec3::new(moved, 0.0, 0.0),
//!     limits: [Some(3.0); 3],
//!     verdicts: [if moved > 3.0 { Verdict::Outside } else { Verdict::Inside }; 3],
//!     is_reference,
//!     zone: Zone::Front,
//!     member: "left rail".into(),
//! };
//! let chain = vec![
//!     point("H", -550.0, 11.8, false), point("A", 0.0, 0.4, false), point("G", 900.0, 0.0, true),
//! ];
//! let measured = Measured::new(chain, DMatrix::identity(9, 9) * 0.25)?;
//! let extent = extent::read(&measured, None, Options::default());
//! assert_eq!(
//!     words::conclusion(&extent[0]),
//!     "left rail, forward: everything measured behind H (A) stayed and is inside its limits; \
//!      the section ahead of it, H included, moved."
//! );
//! # Ok::<(), datumtrail_geometry::damage::DamageError>(())
//! ```

pub mod words;

use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;

use crate::damage::{Layout, Measured, MeasuredPoint};
use crate::frame::{Side, Vec3};
use crate::stats::{chi2_critical, noncentrality};
use crate::verdict::Verdict;

/// How often the smallest detectable move is found.
const POWER: f64 = 0.8;

/// Which way along the member, away from the reference points.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Direction {
    Forward,
    Rearward,
}

/// How strict to be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Options {
    /// The probability of calling anything moved on an undamaged vehicle.
    pub alpha: f64,
    /// A move of this size must not stay hidden (mm); `None`: the point's tightest limit, and
    /// where it has no limit, no size is asked for.
    pub relevant_mm: Option<f64>,
}

impl Default for Options {
    fn default() -> Self {
        Options {
            alpha: 0.05,
            relevant_mm: None,
        }
    }
}

/// What is known about one point's movement.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Movement {
    /// A reference point: trusted as undamaged, checked by the other reference points.
    Reference,
    /// No movement found, and one of `hides_mm` would have been, four times in five.
    Stayed { hides_mm: f64 },
    /// Moved.
    Moved,
    /// No movement found, but one of up to `hides_mm` could be hidden, and `relevant_mm` must not.
    CannotTell { hides_mm: f64, relevant_mm: f64 },
}

/// One point of a chain.
#[derive(Clone, Debug, PartialEq)]
pub struct ChainPoint {
    pub name: String,
    pub side: Side,
    /// mm, vehicle frame.
    pub deviation: Vec3,
    pub movement: Movement,
    pub verdicts: [Verdict; 3],
}

impl ChainPoint {
    fn moved(&self) -> bool {
        self.movement == Movement::Moved
    }

    fn cannot_be_told(&self) -> bool {
        matches!(self.movement, Movement::CannotTell { .. })
    }

    /// Inside on every axis that has a limit, and one has.
    pub fn inside(&self) -> bool {
        let fine = |v: &Verdict| matches!(v, Verdict::Inside | Verdict::NoLimitGiven);
        self.verdicts.iter().all(fine) && self.verdicts.contains(&Verdict::Inside)
    }
}

/// One member in one direction.
#[derive(Clone, Debug, PartialEq)]
pub struct Extent {
    pub member: String,
    pub direction: Direction,
    /// The measured points from the middle of the reference points outwards.
    pub chain: Vec<ChainPoint>,
    /// Points of the sheet on this stretch that were not measured.
    pub not_measured: Vec<String>,
}

impl Extent {
    /// The place in the chain of the innermost point that moved.
    pub fn first_moved(&self) -> Option<usize> {
        self.chain.iter().position(ChainPoint::moved)
    }

    /// The points that lie inwards of what moved; all where nothing did.
    pub fn behind(&self) -> &[ChainPoint] {
        let end = self.first_moved().unwrap_or(self.chain.len());
        self.chain.get(..end).unwrap_or_default()
    }

    /// The points that block the sentence "everything behind stayed".
    pub fn blocked_by(&self) -> Vec<&ChainPoint> {
        self.behind()
            .iter()
            .filter(|p| p.cannot_be_told())
            .collect()
    }

    /// Whether it is shown that everything measured behind stayed. Needs at least one point.
    pub fn behind_stayed(&self) -> bool {
        !self.behind().is_empty() && self.blocked_by().is_empty()
    }

    /// Whether everything measured behind is also inside its limits.
    pub fn behind_is_inside(&self) -> bool {
        self.behind().iter().all(ChainPoint::inside)
    }

    /// Points further out than the first that moved, and that did not: the damage is not one
    /// stretch.
    pub fn stayed_beyond(&self) -> Vec<&ChainPoint> {
        let beyond = self.first_moved().and_then(|k| self.chain.get(k + 1..));
        let beyond = beyond.unwrap_or_default().iter();
        beyond.filter(|p| !p.moved()).collect()
    }
}

/// Reads the extent along every member, forward and rearward; a stretch without a measured point is
/// left out. With a layout, the points of the sheet that were not measured are named. O(n log n).
pub fn read(measured: &Measured, layout: Option<&Layout>, options: Options) -> Vec<Extent> {
    let points = measured.points();
    let tested = points.iter().filter(|p| !p.is_reference).count().max(1);
    let test = Test {
        critical: chi2_critical(options.alpha / tested as f64, 3),
        noncentrality: noncentrality(options.alpha / tested as f64, 3, POWER),
        options,
    };
    let middle = middle(points);
    let members: BTreeSet<&str> = points.iter().map(|p| p.member.as_str()).collect();
    let mut extents = Vec::new();
    for member in members {
        for direction in [Direction::Forward, Direction::Rearward] {
            let outwards = |x: f64| match direction {
                Direction::Forward => middle - x,
                Direction::Rearward => x - middle,
            };
            // A point exactly in the middle belongs to one stretch only.
            let lies_here = |x: f64| match direction {
                Direction::Forward => x < middle,
                Direction::Rearward => x >= middle,
            };
            let mut here: Vec<usize> = (0..points.len())
                .filter(|&i| points[i].member == member && lies_here(points[i].spec.x))
                .collect();
            here.sort_by(|&a, &b| {
                let (a, b) = (&points[a], &points[b]);
                let by_length = outwards(a.spec.x).total_cmp(&outwards(b.spec.x));
                by_length.then_with(|| a.name.cmp(&b.name))
            });
            if here.is_empty() {
                continue;
            }
            let on_sheet = layout.into_iter().flat_map(Layout::places);
            let not_measured = on_sheet
                .filter(|(_, place)| place.member == member && lies_here(place.spec.x))
                .filter(|(name, _)| !points.iter().any(|p| p.name == *name))
                .map(|(name, _)| name.to_string());
            extents.push(Extent {
                member: member.to_string(),
                direction,
                chain: here.iter().map(|&i| test.of(measured, i)).collect(),
                not_measured: not_measured.collect(),
            });
        }
    }
    extents
}

/// The length from which outwards is reckoned: the mean of the reference points, or of all.
fn middle(points: &[MeasuredPoint]) -> f64 {
    let references = points.iter().filter(|p| p.is_reference);
    let x: Vec<f64> = references.map(|p| p.spec.x).collect();
    let x = if x.is_empty() {
        points.iter().map(|p| p.spec.x).collect()
    } else {
        x
    };
    x.iter().sum::<f64>() / x.len().max(1) as f64
}

struct Test {
    critical: f64,
    noncentrality: f64,
    options: Options,
}

impl Test {
    fn of(&self, measured: &Measured, i: usize) -> ChainPoint {
        let p = &measured.points()[i];
        ChainPoint {
            name: p.name.clone(),
            side: p.side,
            deviation: p.deviation,
            movement: self.movement(measured, i, p),
            verdicts: p.verdicts,
        }
    }

    fn movement(&self, measured: &Measured, i: usize, p: &MeasuredPoint) -> Movement {
        if p.is_reference {
            return Movement::Reference;
        }
        let tightest = p.limits.iter().flatten().copied().reduce(f64::min);
        let relevant = self.options.relevant_mm.or(tightest);
        let Some(distance) = measured.distance_squared(i) else {
            // Without a sound covariance nothing is known.
            return Movement::CannotTell {
                hides_mm: f64::INFINITY,
                relevant_mm: relevant.unwrap_or(0.0),
            };
        };
        if distance > self.critical {
            return Movement::Moved;
        }
        let largest = measured.covariance_of(i).symmetric_eigenvalues().max();
        let hides_mm = (self.noncentrality * largest).sqrt();
        match relevant {
            Some(relevant_mm) if hides_mm > relevant_mm => Movement::CannotTell {
                hides_mm,
                relevant_mm,
            },
            _ => Movement::Stayed { hides_mm },
        }
    }
}
