//! A shop with nothing but a tram gauge: from its distances to positions, deviations from the
//! sheet, and what they rest on.
//!
//! # The method
//!
//! The trusted reference points hold the network at their sheet positions, as well as the sheet
//! knows them: S = print rounding + build spread. Every other point starts from its sheet position
//! without weight. With the adjusted position x, its covariance Q, and the sheet's p and S:
//!
//! - a point that is no reference: deviation x - p, covariance Q + S.
//! - a reference point is judged by the others, as in a set-up ([`crate::fit`]): the network is
//!   adjusted once more without holding it there, and the same formula applies.
//! - an axis is determined when the figures fix it, not bent over its own uncertainty
//!   ([`super::Why`]), and no other position that fits nearly as well differs along it, unless the
//!   sheet rules that one out by [`RULED_OUT_MM`].
//!
//! # Which is wrong, the reading or the reference point?
//!
//! A reference point that moved makes good readings look wrong. So where a figure is contradicted
//! or a reference point fails its test, two kinds of explanation compete by the same score: chi
//! square of what is kept, plus the critical value of each figure left out and of each reference
//! point that no longer holds. The better one is taken when it leads by 5.9, a likelihood of 19 to
//! 1; otherwise the suspects are named and nothing is settled. At least three reference points and
//! more than half keep holding. Half of alpha goes to the figures, half to the reference points.
//!
//! Sources: the tests are those of [`super`]; comparing alternative hypotheses of different
//! dimension by what they explain beyond their critical values is the generalised likelihood ratio
//! with Bonferroni levels (Teunissen, Testing theory).
//!
//! Cost: one adjustment, one more a reference point, and one a reference point for each round of
//! doubt: 20 points of which 6 are references, some tens of milliseconds.
//!
//! ```
//! use datumtrail_geometry::frame::{Axis, Mat3, Vec3};
//! use datumtrail_geometry::fit::Belief;
//! use datumtrail_geometry::network::{Observation, Quantity, SheetEnd, TramPoint, survey};
//! use datumtrail_geometry::verdict::{Verdict, judge};
//!
//! let sheet = [
//!     ("A", 0.0, -400.0, 30.0), ("A'", 0.0, 400.0, 30.0), ("B", 900.0, -450.0, 120.0),
//!     ("B'", 900.0, 450.0, 250.0), ("P", -800.0, 350.0, 200.0),
//! ].map(|(name, x, y, z)| (name, Vec3::new(x, y, z)));
//! let points: Vec<TramPoint> = sheet.iter()
//!     .map(|&(name, position)| {
//!         let point = TramPoint::on_sheet(name, SheetEnd { position, covariance: Mat3::identity() / 12.0 });
//!         if name == "P" { point } else { point.reference() }
//!     })
//!     .collect();
//! // P was driven back by 9 mm; it was measured from all four, and its height above the datum plane.
//! let p = sheet[4].1 + Vec3::new(9.0, 0.0, 0.0);
//! let mut readings: Vec<Observation> = (0..4)
//!     .map(|from| {
//!         let mm = (sheet[from].1 - p).norm();
//!         Observation::new(Quantity::TrueDistance { from, to: 4 }, mm, 0.5)
//!     })
//!     .collect();
//! readings.push(Observation::new(Quantity::height(4), p.z, 1.0));
//! let survey = survey(&points, &readings, 0.05).unwrap();
//! let (mm, u) = survey.points[4].axis(Axis::Length).unwrap();
//! assert!((mm - 9.0).abs() < 0.01 && u < 1.0);
//! let verdict = judge(mm, Some(u), Some(3.0), Belief::Normal).verdict;
//! assert_eq!(verdict, Verdict::Outside);
//! // Nobody measured between the reference points: nothing checks their heights.
//! assert!(survey.points[0].axis(Axis::Height).is_none());
//! ```

mod screening;
mod words;

use super::model::{NetworkError, Observation};
use super::solution::{Located, Solution, Undetermined};
use super::tram::SheetEnd;
use crate::frame::{Axis, Mat3, Side, Vec3};
use screening::Job;

/// An alternative position this far from the sheet, millimetres, is not believed (common practice:
/// what is measured for a sectional repair is not out by more). The solution still lists it.
pub const RULED_OUT_MM: f64 = 100.0;

/// A control point in a tram survey.
#[derive(Clone, Debug, PartialEq)]
pub struct TramPoint {
    pub name: String,
    pub side: Option<Side>,
    /// Where the sheet has it, with the covariance of its print and, where stated, of the build
    /// spread. None: a point that only helps, such as a bolt on the bench.
    pub sheet: Option<SheetEnd>,
    /// Whether it is trusted as undamaged and holds the network.
    pub is_reference: bool,
}

impl TramPoint {
    /// A control point of the sheet.
    pub fn on_sheet(name: impl Into<String>, sheet: SheetEnd) -> TramPoint {
        TramPoint {
            name: name.into(),
            side: None,
            sheet: Some(sheet),
            is_reference: false,
        }
    }

    /// A point that the sheet does not have.
    pub fn helper(name: impl Into<String>) -> TramPoint {
        TramPoint {
            name: name.into(),
            side: None,
            sheet: None,
            is_reference: false,
        }
    }

    /// The side of the vehicle that it is on.
    pub fn on(mut self, side: Side) -> TramPoint {
        self.side = Some(side);
        self
    }

    /// Trusted as undamaged.
    pub fn reference(mut self) -> TramPoint {
        self.is_reference = true;
        self
    }
}

/// Why a tram survey cannot be computed.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum SurveyError {
    #[error(
        "no reading touches a reference point; name trusted reference points, three or more that \
         do not lie in one line, and measure from them"
    )]
    NoReferences,
    #[error("reference point {name} has no position on the sheet; choose a point that has one")]
    ReferenceWithoutPosition { name: String },
    #[error(
        "the sheet's uncertainty of {name} is not a covariance (finite, symmetric, no negative \
         variance); state it again"
    )]
    BadSheetCovariance { name: String },
    #[error(transparent)]
    Network(#[from] NetworkError),
}

/// What a tram survey says.
#[derive(Clone, Debug)]
pub struct TramSurvey {
    /// One for each of the caller's points, in order.
    pub points: Vec<SurveyedPoint>,
    /// The adjusted network of the measured points, for the judgement of every figure (in the
    /// caller's order) and the best extra reading. Its points are numbered by
    /// [`SurveyedPoint::place`].
    pub solution: Solution,
    /// Reference points found to have moved, by the caller's places; they no longer hold.
    pub moved: Vec<usize>,
    /// Reference points that may have moved: they, or the figures left out, explain what
    /// contradicts nearly equally well. Not empty: nothing is settled.
    pub suspects: Vec<usize>,
    /// Something contradicts and is not explained: no axis may be called inside.
    pub doubtful: bool,
}

/// What a point is in the survey.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Standing {
    /// It holds the network; its deviation is what the others say.
    Reference,
    /// A reference point that moved; it no longer holds.
    MovedReference,
    /// Measured.
    Measured,
    /// No reading touches it.
    NotMeasured,
}

/// A point of the survey.
#[derive(Clone, Debug, PartialEq)]
pub struct SurveyedPoint {
    pub name: String,
    pub side: Option<Side>,
    pub standing: Standing,
    /// Its place in the solution; None where no reading touches it.
    pub place: Option<usize>,
    /// Millimetres, in the vehicle's frame, with its covariance in square millimetres; without
    /// meaning along an axis that is not determined.
    pub position: Option<(Vec3, Mat3)>,
    /// Position less sheet with its covariance, the sheet's own included. Without meaning along an
    /// axis that is not determined. None where the sheet does not have the point.
    pub deviation: Option<(Vec3, Mat3)>,
    /// Length, width, height: whether the readings determine it.
    pub determined: [bool; 3],
    /// The directions they leave open or bend, weakest first.
    pub undetermined: Vec<Undetermined>,
    /// Where else it may be: positions that fit nearly as well.
    pub elsewhere: Vec<Vec3>,
}

impl SurveyedPoint {
    /// The deviation along an axis with its standard uncertainty, as [`crate::verdict::judge`]
    /// takes them; None where the readings do not determine it or the sheet does not have it.
    pub fn axis(&self, axis: Axis) -> Option<(f64, f64)> {
        let i = axis.index();
        let (deviation, covariance) = self.deviation.filter(|_| self.determined[i])?;
        Some((deviation[i], covariance[(i, i)].max(0.0).sqrt()))
    }
}

/// Solves for the positions of a tram survey and compares them with the sheet.
///
/// `figures` name points by their places in `points`. `alpha` is the chance that a faultless
/// survey is doubted anywhere: 0.05 is what screens use. Millimetres, in the vehicle's frame.
///
/// # Errors
/// [`SurveyError`]; a figure is named by its place.
pub fn survey(
    points: &[TramPoint],
    figures: &[Observation],
    alpha: f64,
) -> Result<TramSurvey, SurveyError> {
    let job = Job::new(points, figures, alpha)?;
    let screened = job.screen()?;
    let surveyed = (points.iter().enumerate())
        .map(|(place, point)| {
            let Some(at) = job.place_of(place) else {
                return not_measured(point);
            };
            let freed = screened.freed.contains(&at);
            if point.is_reference && !freed {
                match job.without(at, &screened) {
                    Ok(others) => surveyed(point, Standing::Reference, at, &others),
                    // The others alone do not settle: they say nothing about it.
                    Err(_) => SurveyedPoint {
                        determined: [false; 3],
                        ..surveyed(point, Standing::Reference, at, &screened.solution)
                    },
                }
            } else {
                let standing = match freed {
                    true => Standing::MovedReference,
                    false => Standing::Measured,
                };
                surveyed(point, standing, at, &screened.solution)
            }
        })
        .collect();
    let callers = |places: &[usize]| places.iter().map(|&at| job.callers_place(at)).collect();
    Ok(TramSurvey {
        points: surveyed,
        moved: callers(&screened.freed),
        suspects: callers(&screened.suspects),
        doubtful: screened.doubtful,
        solution: screened.solution,
    })
}

fn not_measured(point: &TramPoint) -> SurveyedPoint {
    SurveyedPoint {
        name: point.name.clone(),
        side: point.side,
        standing: Standing::NotMeasured,
        place: None,
        position: None,
        deviation: None,
        determined: [false; 3],
        undetermined: Vec::new(),
        elsewhere: Vec::new(),
    }
}

/// A point in a network that does not hold it where the sheet has it.
fn surveyed(
    point: &TramPoint,
    standing: Standing,
    at: usize,
    solution: &Solution,
) -> SurveyedPoint {
    let Some(located) = solution.points.get(at) else {
        return not_measured(point);
    };
    let elsewhere = elsewhere(solution, at);
    let believed: Vec<Vec3> = (elsewhere.iter())
        .filter(|other| {
            (point.sheet).is_none_or(|sheet| (*other - sheet.position).norm() < RULED_OUT_MM)
        })
        .copied()
        .collect();
    SurveyedPoint {
        name: point.name.clone(),
        side: point.side,
        standing,
        place: Some(at),
        position: Some((located.position, located.covariance)),
        deviation: point.sheet.map(|sheet| {
            (
                located.position - sheet.position,
                located.covariance + sheet.covariance,
            )
        }),
        determined: Axis::ALL.map(|axis| is_determined(solution, located, at, axis, &believed)),
        undetermined: located.undetermined.clone(),
        elsewhere,
    }
}

/// Other positions of the point that fit nearly as well.
fn elsewhere(solution: &Solution, at: usize) -> Vec<Vec3> {
    let mirrored =
        (solution.blind_axes.iter()).filter_map(|axis| solution.mirrored(*axis).get(at).copied());
    (solution.alternatives.iter())
        .flat_map(|alternative| &alternative.points)
        .filter(|(place, _)| *place == at)
        .map(|(_, position)| *position)
        .chain(mirrored)
        .collect()
}

fn is_determined(
    solution: &Solution,
    located: &Located,
    at: usize,
    axis: Axis,
    elsewhere: &[Vec3],
) -> bool {
    let coordinate = super::Quantity::Coordinate { point: at, axis };
    // The second also covers a network that the reference points leave free to turn.
    let fixed = (located.u_mm(axis)).filter(|_| solution.derived(coordinate).is_some());
    let i = axis.index();
    fixed.is_some_and(|u| {
        (elsewhere.iter()).all(|other| (other[i] - located.position[i]).abs() <= 4.0 * u)
    })
}
