//! How badly reference points or single readings fit, for comparing before with after.

use crate::check::{Reading, Request, Target};
use crate::fit::{Reference, SetUp, closed_form_rms, set_up};
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

    /// Root mean square distance from the sheet of every measured point, reference or not.
    pub fn all_points_rms(&self, readings: &[Reading], targets: &[Target]) -> Option<f64> {
        let fitted = set_up(&self.references(readings, targets)).ok()?;
        let readings = by_name(readings);
        let squares: Vec<f64> = targets
            .iter()
            .filter_map(|t| Some((t, readings.get(t.point.as_str())?)))
            .map(|(t, r)| (fitted.apply(r.position_mm) - t.position_mm).norm_squared())
            .collect();
        let n = squares.len().max(1) as f64;
        Some((squares.iter().sum::<f64>() / n).sqrt())
    }

    /// [`Survey::misfit`] for readings that no set-up fits: brought as near as a rigid motion brings them,
    /// then measured in the uncertainty they have.
    pub fn misfit_of_the_nearest(&self) -> Option<Misfit> {
        let references = self.references(self.request.readings, self.request.targets);
        let n = references.len() as f64;
        let variance = references
            .iter()
            .map(|r| (r.reading_covariance + r.target_covariance).trace() / 3.0 / n)
            .sum::<f64>();
        let rms = closed_form_rms(&references).ok()?;
        Some(Misfit {
            sum: n * rms * rms / variance,
            freedom: 3.0 * n - 6.0,
            rms,
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
