//! The readings of a survey as the geometry takes them.
//!
//! In this order, set-up by set-up: each reading with its uncertainty (its own or the survey's,
//! and what seating adds); brought to 20 degrees where a temperature is stated; repeats averaged
//! and tested. Then the further set-ups are joined through the points they share.

use datumtrail_geometry::check::Reading;
use datumtrail_geometry::frame::Mat3;
use datumtrail_geometry::join::{self, Common, Joint, Part};
use datumtrail_geometry::repeat::{self, Repeat};
use datumtrail_geometry::temperature;
use datumtrail_geometry::verdict::{Statement, combine};
use serde::Serialize;

use super::record::{self, RecordId};
use super::view::{Entry, JobView};
use crate::error::{Error, Result};

/// One reading a point, all in the frame of the survey's own set-up.
#[derive(Clone, Debug)]
pub struct Gathered {
    pub readings: Vec<Reading>,
    pub repeats: Vec<Repeat>,
    pub joints: Vec<Joint>,
    /// What points share through the joints; none for a single set-up.
    pub common: Option<Common>,
    pub corrected_to_20: Vec<AtTwenty>,
}

/// A set-up whose readings were brought to 20 degrees.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct AtTwenty {
    pub survey: RecordId,
    #[serde(flatten)]
    pub temperature: record::Temperature,
    /// Every length was multiplied with it.
    pub factor: f64,
}

/// Gathers a survey with the set-ups that join it.
///
/// # Errors
/// [`Error::Measurement`] where repeats can't be averaged or set-ups can't be joined.
pub fn gather(view: &JobView, survey: &Entry<record::Survey>) -> Result<Gathered> {
    let mut gathered = Gathered {
        readings: Vec::new(),
        repeats: Vec::new(),
        joints: Vec::new(),
        common: None,
        corrected_to_20: Vec::new(),
    };
    let set_ups = std::iter::once(survey).chain(view.joined_to(&survey.id));
    let mut parts = Vec::new();
    for set_up in set_ups {
        let name = match set_up.body.instrument.as_deref() {
            Some(instrument) => format!("set-up {} ({instrument})", set_up.id.short()),
            None => format!("set-up {}", set_up.id.short()),
        };
        let readings = averaged(view, set_up, &mut gathered)?;
        parts.push(Part { name, readings });
    }
    if let [_] = parts.as_slice() {
        gathered.readings = parts.remove(0).readings;
        return Ok(gathered);
    }
    let joined = join::join(&parts).map_err(|e| {
        Error::Measurement(
            format!("the set-ups of survey {}: {e}", survey.id.short()),
            "read at least three points, better four or more, from both places".into(),
        )
    })?;
    gathered.readings = joined.readings;
    gathered.joints = joined.joints;
    gathered.common = Some(joined.common);
    Ok(gathered)
}

fn averaged(
    view: &JobView,
    set_up: &Entry<record::Survey>,
    gathered: &mut Gathered,
) -> Result<Vec<Reading>> {
    let mut readings: Vec<Reading> = (view.readings_of(&set_up.id))
        .map(|entry| reading(&set_up.body, &entry.body))
        .collect();
    if let Some(stated) = set_up.body.temperature {
        let at_20 = temperature::to_20_degrees(&readings, stated.material, stated.celsius);
        let factor = temperature::factor_to_20_degrees(stated.material, stated.celsius);
        let (Some(at_20), Some(factor)) = (at_20, factor) else {
            return Err(Error::Measurement(
                format!("no vehicle is measured at {} degrees", stated.celsius),
                "withdraw the survey and state the temperature in degrees Celsius".into(),
            ));
        };
        readings = at_20;
        gathered.corrected_to_20.push(AtTwenty {
            survey: set_up.id.clone(),
            temperature: stated,
            factor,
        });
    }
    let random = (set_up.body.repeatability_mm).map(|mm| Mat3::identity() * (mm * mm));
    let averaged = repeat::average(&readings, random).map_err(|e| {
        Error::Measurement(
            format!("the survey {}: {e}", set_up.id.short()),
            "correct a reading with survey point --correct, or withdraw one".into(),
        )
    })?;
    gathered.repeats.extend(averaged.repeats);
    Ok(averaged.readings)
}

/// A stored reading with its covariance.
pub(super) fn reading(survey: &record::Survey, stored: &record::Reading) -> Reading {
    let position = [stored.x, stored.y, stored.z];
    let mut reading = Reading::new(stored.point.clone(), position, general_u(survey));
    if let Some(own) = stored.u {
        let seating = survey.seating_mm.unwrap_or(0.0);
        let variances = own.map(|u| u * u + seating * seating);
        reading.covariance_mm2 = Some(Mat3::from_diagonal(&variances.into()));
    }
    reading
}

/// The standard uncertainty of each coordinate that the survey as a whole states, with what
/// seating adds.
pub fn general_u(survey: &record::Survey) -> Option<f64> {
    let instrument = match (survey.u_mm, survey.mpe_mm) {
        (Some(u), _) => Statement::StandardUncertainty(u).standard_uncertainty(),
        (None, Some(bound)) if survey.mpe_in_space => {
            Statement::BoundInSpace(bound).standard_uncertainty()
        }
        (None, Some(bound)) => Statement::BoundPerAxis(bound).standard_uncertainty(),
        (None, None) => None,
    };
    instrument.map(|u| combine(&[u, survey.seating_mm.unwrap_or(0.0)]))
}
