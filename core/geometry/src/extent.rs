//! How far along each member the structure moved.
//!
//! What a shop needs to know before it orders parts: did everything behind the collapsed section
//! stay? Each member is a chain of control points. From the middle of the reference points outwards,
//! forward and rearward, every point is tested for *movement*, which is not the same as being
//! outside a limit: T = d' S^-1 d against chi-square with three degrees of freedom at alpha / n
//! (Bonferroni over all n points tested), with the covariance S that holds the build spread.
//!
//! A point whose T is small has not thereby been shown to have stayed: its uncertainty may hide a
//! move. Along each axis, the largest move that its reading does not rule out is the b with
//! F((b - d) / u) - F((-b - d) / u) = 95 %, F the standard normal distribution function: the same
//! probability as in a verdict (JCGM 106:2012, flat prior), turned round. Where b is more than the
//! limit of that axis (or a stated size), the point *can't be told*, and no sentence claims that
//! what lies behind it stayed. Where the reference points contradict each other, no point can.
//!
//! [`read()`] goes along each member; [`whole`] takes the structure as one chain, for the sentence
//! that a shop needs: "Everything measured behind H is inside; the section ahead of it moved."
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
//!     point("H", -550.0, 11.8, false), point("A", 0.0, 0.4, false),
//!     point("G", 900.0, 0.0, true), point("M", 1500.0, 0.0, true),
//! ];
//! let measured = Measured::new(chain, DMatrix::identity(12, 12) * 0.25)?;
//! let extent = extent::read(&measured, None, Options::default());
//! assert_eq!(
//!     words::conclusion(&extent[0]),
//!     "left rail, forward: everything measured behind H is inside; the section ahead of it moved. \
//!      G and A stayed; H is the innermost point that moved."
//! );
//! let whole = extent::whole(&measured, None, Options::default());
//! assert_eq!(
//!     words::sentence(&whole[0]).as_deref(),
//!     Some("Everything measured behind H is inside; the section ahead of it moved.")
//! );
//! # Ok::<(), datumtrail_geometry::damage::DamageError>(())
//! ```

pub mod words;

use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;

use crate::damage::{Layout, Measured, MeasuredPoint};
use crate::frame::{Axis, Side, Vec3};
use crate::stats::{chi2_critical, phi};
use crate::verdict::{CONFIDENCE, Verdict};

/// What [`whole`] calls its member.
pub const WHOLE: &str = "whole structure";

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
    /// The probability of calling anything moved on an undamaged vehicle, between 0 and 1; with
    /// any other number nothing can be told.
    pub alpha: f64,
    /// A move of this size must not stay hidden along any axis (mm); `None`: the limit of each
    /// axis, and where there is none, no size is asked for.
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
    /// No movement found, and along no axis more than `hides_mm` can be hidden (95 %).
    Stayed { hides_mm: f64 },
    /// Moved.
    Moved,
    /// No movement found, but along some axis one of up to `hides_mm` could be hidden (95 %), and
    /// `relevant_mm` must not. Infinite where nothing sound is known of the point.
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
    /// The reference points contradict each other ([`Measured::doubtful`]): nothing can be told.
    pub doubtful: bool,
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
        self.behind_not_inside().is_empty()
    }

    /// The points behind that are not shown to be inside their limits: outside, too close to call,
    /// unchecked, or without any limit.
    pub fn behind_not_inside(&self) -> Vec<&ChainPoint> {
        self.behind().iter().filter(|p| !p.inside()).collect()
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
/// left out. With a layout, the points of the sheet that were not measured are named. O(n log n)
/// for each member.
pub fn read(measured: &Measured, layout: Option<&Layout>, options: Options) -> Vec<Extent> {
    let members: BTreeSet<&str> = measured
        .points()
        .iter()
        .map(|p| p.member.as_str())
        .collect();
    let members = members.into_iter();
    members
        .flat_map(|member| along(measured, layout, options, Some(member)))
        .collect()
}

/// The extent over the whole structure as if it were one member ([`WHOLE`]), forward and rearward:
/// the innermost point that moved on any member, and what lies inwards of it on all of them.
pub fn whole(measured: &Measured, layout: Option<&Layout>, options: Options) -> Vec<Extent> {
    along(measured, layout, options, None)
}

/// Both stretches of one member, or of all of them.
fn along(
    measured: &Measured,
    layout: Option<&Layout>,
    options: Options,
    member: Option<&str>,
) -> Vec<Extent> {
    let points = measured.points();
    let tested = points.iter().filter(|p| !p.is_reference).count().max(1);
    let sound = options.alpha > 0.0 && options.alpha < 1.0;
    let alpha = if sound { options.alpha } else { f64::NAN };
    let test = Test {
        critical: chi2_critical(alpha / tested as f64, 3),
        options,
    };
    let middle = middle(points);
    let on_it = |of: &str| member.is_none_or(|member| of == member);
    let stretch = |direction: Direction| {
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
            .filter(|&i| on_it(&points[i].member) && lies_here(points[i].spec.x))
            .collect();
        here.sort_by(|&a, &b| {
            let (a, b) = (&points[a], &points[b]);
            let by_length = outwards(a.spec.x).total_cmp(&outwards(b.spec.x));
            by_length.then_with(|| a.name.cmp(&b.name))
        });
        let on_sheet = layout.into_iter().flat_map(Layout::places);
        let not_measured = on_sheet
            .filter(|(_, place)| on_it(&place.member) && lies_here(place.spec.x))
            .filter(|(name, _)| !points.iter().any(|p| p.name == *name))
            .map(|(name, _)| name.to_string());
        (!here.is_empty()).then(|| Extent {
            member: member.unwrap_or(WHOLE).to_string(),
            direction,
            chain: here.iter().map(|&i| test.of(measured, i)).collect(),
            not_measured: not_measured.collect(),
            doubtful: measured.doubtful(),
        })
    };
    let both = [Direction::Forward, Direction::Rearward];
    both.into_iter().filter_map(stretch).collect()
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
        let nothing_known = Movement::CannotTell {
            hides_mm: f64::INFINITY,
            relevant_mm: self.relevant(p).into_iter().flatten().fold(0.0, f64::max),
        };
        if measured.doubtful() {
            return nothing_known;
        }
        if p.is_reference {
            return Movement::Reference;
        }
        // Without a sound covariance or a sound test nothing is known either.
        let distance = measured.distance_squared(i).filter(|d| d.is_finite());
        let Some(distance) = distance.filter(|_| self.critical.is_finite()) else {
            return nothing_known;
        };
        if distance > self.critical {
            return Movement::Moved;
        }
        let variance = measured.covariance_of(i).diagonal();
        let hides = Axis::ALL.map(|axis| {
            let k = axis.index();
            largest_hidden(p.deviation[k], variance[k].max(0.0).sqrt())
        });
        let asked = hides.into_iter().zip(self.relevant(p));
        let asked = asked.filter_map(|(hides, relevant)| Some((hides, relevant?)));
        // The axis on which most of what matters could be hidden decides.
        let decides = asked.max_by(|a, b| (a.0 / a.1).total_cmp(&(b.0 / b.1)));
        match decides {
            None => Movement::Stayed {
                hides_mm: hides.into_iter().fold(0.0, f64::max),
            },
            Some((hides_mm, relevant_mm)) if hides_mm <= relevant_mm => {
                Movement::Stayed { hides_mm }
            }
            Some((hides_mm, relevant_mm)) => Movement::CannotTell {
                hides_mm,
                relevant_mm,
            },
        }
    }

    /// What must not stay hidden along each axis.
    fn relevant(&self, p: &MeasuredPoint) -> [Option<f64>; 3] {
        match self.options.relevant_mm {
            Some(stated) => [Some(stated); 3],
            None => p.limits,
        }
    }
}

/// The largest move that a deviation d with standard uncertainty u does not rule out (95 %).
fn largest_hidden(d: f64, u: f64) -> f64 {
    let d = d.abs();
    if u == 0.0 {
        return d;
    }
    let within = |b: f64| phi((b - d) / u) - phi((-b - d) / u);
    // Between the one-sided and the two-sided bound; 60 halvings reach rounding.
    let (mut low, mut high) = (d, d + 2.0 * u);
    for _ in 0..60 {
        let middle = (low + high) / 2.0;
        if within(middle) < CONFIDENCE {
            low = middle;
        } else {
            high = middle;
        }
    }
    high
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_can_be_hidden_is_the_normal_bound() {
        // Normal quantiles of 97.5 % (nothing found) and 95 % (far from zero), from tables.
        assert!((largest_hidden(0.0, 0.5) - 1.959_964 * 0.5).abs() < 1e-6);
        assert!((largest_hidden(-7.0, 0.5) - (7.0 + 1.644_854 * 0.5)).abs() < 1e-6);
        assert_eq!(largest_hidden(-0.3, 0.0), 0.3);
    }
}
