//! How badly reference points or single readings fit, for comparing before with after.

use crate::check::{Reading, Request, Target};
use crate::fit::{Reference, SetUp, set_up};
use crate::frame::Mat3;
use std::collections::HashMap;

/// How badly something fits.
#[derive(Clone, Copy)]
pub(super) struct Misfit {
    /// Sum of squares in units of the uncertainties, and over how many degrees of freedom.
    pub sum: f64,
    pub freedom: f64,
    pub rms: f64,
}

impl Misfit {
    pub fn mean(&self) -> f64 {
        self.sum / self.freedom
    }
}

/// The request, with one millimetre for uncertainties that nobody stated.
pub(super) struct Survey<'a> {
    pub request: &'a Request<'a>,
    stated: bool,
    pub readings: HashMap<&'a str, &'a Reading>,
}

impl<'a> Survey<'a> {
    pub fn new(request: &'a Request<'a>, stated: bool) -> Survey<'a> {
        Survey {
            request,
            stated,
            readings: by_name(request.readings),
        }
    }

    fn reading_covariance(&self, reading: &Reading) -> Mat3 {
        match reading.covariance_mm2 {
            Some(c) if self.stated => c,
            _ => Mat3::identity(),
        }
    }

    fn reference(&self, reading: &Reading, target: &Target) -> Reference {
        let build = self.request.build_spread_mm.unwrap_or(0.0);
        Reference {
            reading: reading.position_mm,
            reading_covariance: self.reading_covariance(reading),
            target: target.position_mm,
            target_covariance: if self.stated {
                target.print_covariance_mm2 + Mat3::identity() * (build * build)
            } else {
                Mat3::zeros()
            },
        }
    }

    /// The reference points that readings and sheet both have.
    pub fn references(&self, readings: &[Reading], targets: &[Target]) -> Vec<Reference> {
        let readings = by_name(readings);
        targets
            .iter()
            .filter(|t| self.request.references.contains(&t.point))
            .filter_map(|t| Some(self.reference(readings.get(t.point.as_str())?, t)))
            .collect()
    }

    /// How the reference points fit; `None` where they cannot be fitted at all.
    pub fn misfit(&self, readings: &[Reading], targets: &[Target]) -> Option<Misfit> {
        misfit(&self.references(readings, targets))
    }

    /// The same for readings that are too near each other for their uncertainty: set up as if they
    /// were certain, then measured in the uncertainty they have.
    pub fn misfit_at_any_size(&self) -> Option<Misfit> {
        let mut references = self.references(self.request.readings, self.request.targets);
        let n = references.len() as f64;
        let variance = references
            .iter()
            .map(|r| (r.reading_covariance + r.target_covariance).trace() / 3.0 / n)
            .sum::<f64>();
        for r in &mut references {
            r.reading_covariance = Mat3::identity() * 1e-12;
            r.target_covariance = Mat3::zeros();
        }
        let fitted = set_up(&references).ok()?;
        Some(Misfit {
            sum: n * fitted.rms * fitted.rms / variance,
            freedom: fitted.degrees_of_freedom as f64,
            rms: fitted.rms,
        })
    }
}

fn by_name(readings: &[Reading]) -> HashMap<&str, &Reading> {
    readings.iter().map(|r| (r.point.as_str(), r)).collect()
}

pub(super) fn misfit(references: &[Reference]) -> Option<Misfit> {
    let fitted = set_up(references).ok()?;
    Some(Misfit {
        sum: fitted.chi2,
        freedom: fitted.degrees_of_freedom as f64,
        rms: fitted.rms,
    })
}

/// How far a reading is from a sheet position.
#[derive(Clone, Copy)]
pub(super) struct Distance {
    pub mm: f64,
    /// In units of the uncertainty, squared.
    pub square: f64,
}

pub(super) fn distance(
    survey: &Survey,
    fitted: &SetUp,
    reading: &Reading,
    target: &Target,
) -> Option<Distance> {
    let r = survey.reference(reading, target);
    let placed = fitted.place(r.reading, r.reading_covariance);
    let deviation = placed.position - r.target;
    let covariance = placed.covariance + r.target_covariance;
    Some(Distance {
        mm: deviation.norm(),
        square: deviation.dot(&covariance.cholesky()?.solve(&deviation)),
    })
}

/// Over the references of a set-up and one more point.
pub(super) fn root_mean_square(others: &SetUp, one_more_mm: f64) -> f64 {
    let n = others.residuals.len() as f64;
    ((n * others.rms * others.rms + one_more_mm * one_more_mm) / (n + 1.0)).sqrt()
}
