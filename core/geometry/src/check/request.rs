//! What goes into a check, and why it may be refused.

use crate::fit::{FitError, Reference};
use crate::frame::{Axis, Mat3, Side, Vec3};
use crate::join::Common;
use crate::verdict::rounding_variance;
use std::collections::{HashMap, HashSet};

/// One reading of one point.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    pub point: String,
    /// mm, in the instrument's frame.
    pub position_mm: Vec3,
    /// mm^2, in the instrument's frame; `None` when no uncertainty was stated.
    pub covariance_mm2: Option<Mat3>,
}

impl Reading {
    /// A reading with the same standard uncertainty (mm) on each axis, or none stated.
    pub fn new(point: impl Into<String>, position_mm: [f64; 3], u_mm: Option<f64>) -> Reading {
        Reading {
            point: point.into(),
            position_mm: position_mm.into(),
            covariance_mm2: u_mm.map(|u| Mat3::identity() * (u * u)),
        }
    }
}

/// One control point of the sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct Target {
    pub point: String,
    pub side: Side,
    /// mm, in the vehicle's frame.
    pub position_mm: Vec3,
    /// mm^2: the rounding of the print.
    pub print_covariance_mm2: Mat3,
    /// The limit of each axis (length, width, height), mm; `None` where none is given.
    pub limits_mm: [Option<f64>; 3],
}

impl Target {
    /// A control point printed with the same step (mm) on each axis, without limits.
    pub fn new(
        point: impl Into<String>,
        side: Side,
        position_mm: [f64; 3],
        print_step_mm: f64,
    ) -> Target {
        Target {
            point: point.into(),
            side,
            position_mm: position_mm.into(),
            print_covariance_mm2: Mat3::identity() * rounding_variance(print_step_mm),
            limits_mm: [None; 3],
        }
    }

    /// The same point with one limit (mm) for all axes.
    pub fn with_limit(mut self, limit_mm: f64) -> Target {
        self.limits_mm = [Some(limit_mm); 3];
        self
    }
}

/// Choices a person makes explicitly.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Options {
    /// Screen the reference points for one that moved ([`crate::screen`]); the default. Without
    /// it, only the global test is made.
    pub screen: bool,
    /// "The instrument is worse than stated": scale every covariance by the scatter that the
    /// reference points show, and use Student's t. Nothing is screened then: the tests would need
    /// an uncertainty that is known.
    pub instrument_worse_than_stated: bool,
}

impl Default for Options {
    fn default() -> Options {
        Options {
            screen: true,
            instrument_worse_than_stated: false,
        }
    }
}

/// A survey, a sheet and the reference points.
#[derive(Clone, Copy, Debug)]
pub struct Request<'a> {
    /// At most one reading a point; average repeats before.
    pub readings: &'a [Reading],
    pub targets: &'a [Target],
    /// Names of the reference points.
    pub references: &'a [String],
    /// How far an undamaged vehicle may be from the sheet on each axis, as a standard uncertainty
    /// in mm; `None` when nobody stated it.
    pub build_spread_mm: Option<f64>,
    /// What joined readings share ([`crate::join`]); `None` for the readings of one set-up.
    pub common: Option<&'a Common>,
    pub options: Options,
}

impl<'a> Request<'a> {
    /// A request without a stated build spread, with the default options.
    pub fn new(
        readings: &'a [Reading],
        targets: &'a [Target],
        references: &'a [String],
    ) -> Request<'a> {
        Request {
            readings,
            targets,
            references,
            build_spread_mm: None,
            common: None,
            options: Options::default(),
        }
    }
}

/// Why a survey could not be checked.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum CheckError {
    #[error("point {point} has two readings: average or withdraw one before checking")]
    ReadTwice { point: String },
    #[error("point {point} is on the sheet twice: correct the sheet")]
    OnSheetTwice { point: String },
    #[error("reference point {point} is named twice: name it once")]
    ReferenceTwice { point: String },
    #[error("reference point {point} is not on the sheet: choose one of the sheet's points")]
    ReferenceNotOnSheet { point: String },
    #[error(
        "reference point {point} has no reading in this survey: measure it, or choose another \
         reference point"
    )]
    ReferenceNotMeasured { point: String },
    #[error(
        "the reading of point {point} is not three finite numbers below ten kilometres: enter it \
         again"
    )]
    BadReading { point: String },
    #[error(
        "the sheet's position of point {point} is not three finite numbers below ten kilometres: \
         correct the sheet"
    )]
    BadSheetPosition { point: String },
    #[error(
        "the uncertainty of the {what} of point {point} is not a covariance (symmetric, no \
         negative variance{zero}): state it again",
        zero = if *must_be_above_zero { ", above zero for a reference point" } else { "" }
    )]
    BadCovariance {
        point: String,
        what: &'static str,
        must_be_above_zero: bool,
    },
    #[error(
        "the {axis} limit of point {point} is {limit_mm} mm: a limit is a finite number above zero",
        axis = axis.word()
    )]
    BadLimit {
        point: String,
        axis: Axis,
        limit_mm: f64,
    },
    #[error(
        "the build spread is given as {given_mm} mm: state a number of millimetres, zero or above"
    )]
    BadBuildSpread { given_mm: f64 },
    #[error(transparent)]
    Fit(#[from] FitError),
}

/// A reading as the check uses it.
#[derive(Clone, Copy)]
pub(super) struct Read {
    pub position: Vec3,
    pub covariance: Option<Mat3>,
}

/// A point of the sheet with what was measured there.
pub(super) struct Measured<'a> {
    pub target: &'a Target,
    pub reading: Option<Read>,
    /// Its place among the references.
    pub reference_index: Option<usize>,
}

/// A reference point.
pub(super) struct Ref<'a> {
    pub target: &'a Target,
    pub reading: Vec3,
    pub covariance: Option<Mat3>,
}

/// A request, validated and in the order of the sheet.
pub(super) struct Survey<'a> {
    pub points: Vec<Measured<'a>>,
    pub references: Vec<Ref<'a>>,
    pub strangers: Vec<&'a Reading>,
}

impl Survey<'_> {
    /// The reference points as the fit takes them: with their uncertainties and the build spread
    /// (mm), or with equal weights where no uncertainty was stated.
    pub(super) fn for_the_fit(&self, stated: bool, build: f64) -> Vec<Reference> {
        let spread = Mat3::identity() * (build * build);
        self.references
            .iter()
            .map(|r| match r.covariance.filter(|_| stated) {
                Some(covariance) => Reference {
                    reading: r.reading,
                    reading_covariance: covariance,
                    target: r.target.position_mm,
                    target_covariance: r.target.print_covariance_mm2 + spread,
                },
                None => Reference {
                    reading: r.reading,
                    reading_covariance: Mat3::identity(),
                    target: r.target.position_mm,
                    target_covariance: Mat3::zeros(),
                },
            })
            .collect()
    }
}

pub(super) fn sort<'a>(request: &Request<'a>) -> Result<Survey<'a>, CheckError> {
    if let Some(given_mm) = request.build_spread_mm
        && !(0.0..=LARGEST_MM).contains(&given_mm)
    {
        return Err(CheckError::BadBuildSpread { given_mm });
    }
    let mut readings: HashMap<&str, &Reading> = HashMap::with_capacity(request.readings.len());
    for reading in request.readings {
        validate_reading(reading)?;
        if readings.insert(&reading.point, reading).is_some() {
            let point = reading.point.clone();
            return Err(CheckError::ReadTwice { point });
        }
    }
    let mut references: HashSet<&str> = HashSet::with_capacity(request.references.len());
    for point in request.references {
        if !references.insert(point) {
            let point = point.clone();
            return Err(CheckError::ReferenceTwice { point });
        }
    }

    let mut survey = Survey {
        points: Vec::with_capacity(request.targets.len()),
        references: Vec::with_capacity(references.len()),
        strangers: Vec::new(),
    };
    let mut on_sheet: HashSet<&str> = HashSet::with_capacity(request.targets.len());
    for target in request.targets {
        validate_target(target)?;
        let point = || target.point.clone();
        if !on_sheet.insert(&target.point) {
            return Err(CheckError::OnSheetTwice { point: point() });
        }
        let reading = readings.get(target.point.as_str()).map(|r| Read {
            position: r.position_mm,
            covariance: r.covariance_mm2,
        });
        let mut reference_index = None;
        if references.contains(target.point.as_str()) {
            let read =
                reading.ok_or_else(|| CheckError::ReferenceNotMeasured { point: point() })?;
            if let Some(covariance) = read.covariance
                && (covariance + target.print_covariance_mm2)
                    .cholesky()
                    .is_none()
            {
                return Err(CheckError::BadCovariance {
                    point: point(),
                    what: "reading",
                    must_be_above_zero: true,
                });
            }
            reference_index = Some(survey.references.len());
            survey.references.push(Ref {
                target,
                reading: read.position,
                covariance: read.covariance,
            });
        }
        survey.points.push(Measured {
            target,
            reading,
            reference_index,
        });
    }
    for point in request.references {
        if !on_sheet.contains(point.as_str()) {
            let point = point.clone();
            return Err(CheckError::ReferenceNotOnSheet { point });
        }
    }
    survey.strangers = request
        .readings
        .iter()
        .filter(|r| !on_sheet.contains(r.point.as_str()))
        .collect();
    survey.strangers.sort_by(|a, b| a.point.cmp(&b.point));
    Ok(survey)
}

fn validate_reading(reading: &Reading) -> Result<(), CheckError> {
    let point = || reading.point.clone();
    if !is_position(&reading.position_mm) {
        return Err(CheckError::BadReading { point: point() });
    }
    if reading.covariance_mm2.is_some_and(|c| !is_covariance(&c)) {
        return Err(CheckError::BadCovariance {
            point: point(),
            what: "reading",
            must_be_above_zero: false,
        });
    }
    Ok(())
}

fn validate_target(target: &Target) -> Result<(), CheckError> {
    let point = || target.point.clone();
    if !is_position(&target.position_mm) {
        return Err(CheckError::BadSheetPosition { point: point() });
    }
    if !is_covariance(&target.print_covariance_mm2) {
        return Err(CheckError::BadCovariance {
            point: point(),
            what: "sheet position",
            must_be_above_zero: false,
        });
    }
    for axis in Axis::ALL {
        if let Some(limit_mm) = target.limits_mm[axis.index()]
            && !(limit_mm > 0.0 && limit_mm <= LARGEST_MM)
        {
            return Err(CheckError::BadLimit {
                point: point(),
                axis,
                limit_mm,
            });
        }
    }
    Ok(())
}

/// Ten kilometres, mm: no instrument in a workshop reads more, and squares stay finite.
const LARGEST_MM: f64 = 1e7;

fn is_position(p: &Vec3) -> bool {
    p.iter().all(|v| v.abs() <= LARGEST_MM)
}

/// Finite, symmetric, and without a negative variance in any direction.
fn is_covariance(c: &Mat3) -> bool {
    if !c.iter().all(|v| v.abs() <= LARGEST_MM * LARGEST_MM) {
        return false;
    }
    let tolerance = 1e-9 * c.amax();
    (c - c.transpose()).amax() <= tolerance && c.symmetric_eigenvalues().min() >= -tolerance
}
