//! Trying the blunders out.

use super::kinds::{Blunder, corrected, scaled};
use super::{LARGEST_REST, LEAST_GAIN, OtherSheet, Proposal};
use crate::check::{self, CheckError, Options, Reading, Request, Target};
use crate::fit::{Reference, SetUp, set_up};
use crate::frame::{Mat3, Vec3};
use std::collections::HashMap;

/// What readings may have been multiplied with: inches, centimetres and metres taken for
/// millimetres, and each of them the other way round.
const UNIT_FACTORS: [f64; 6] = [25.4, 1.0 / 25.4, 10.0, 0.1, 1000.0, 0.001];
const DECIMAL_FACTORS: [f64; 4] = [10.0, 0.1, 100.0, 0.01];

pub(super) fn search(
    request: &Request,
    others: &[OtherSheet],
) -> Result<Vec<Proposal>, CheckError> {
    // The same refusals as a check, and the set-up as it is.
    let plain = check::check(&Request {
        options: Options {
            screen: false,
            ..request.options
        },
        ..*request
    });
    let mut found = Vec::new();
    match plain {
        Ok(plain) => {
            let survey = Survey::new(request, plain.setup.uncertainty_stated);
            if let Some(before) = survey.misfit(request.readings, request.targets) {
                whole_survey(&survey, &before, others, &mut found);
                swapped_references(&survey, &before, &mut found);
                one_reference(&survey, &before, &mut found);
            }
            other_points(&survey, &plain, &mut found);
        }
        // Readings in metres are so near each other that no set-up is accepted.
        Err(CheckError::Fit(error)) => {
            let survey = Survey::new(request, true);
            let before = survey.misfit_at_any_size().ok_or(error)?;
            whole_survey(&survey, &before, others, &mut found);
        }
        Err(error) => return Err(error),
    }
    found.sort_by(|a, b| {
        let rest = |p: &Proposal| p.after / p.before;
        b.concerns_set_up
            .cmp(&a.concerns_set_up)
            .then(rest(a).total_cmp(&rest(b)))
    });
    Ok(found)
}

/// How badly something fits.
#[derive(Clone, Copy)]
struct Misfit {
    /// Sum of squares in units of the uncertainties, and over how many degrees of freedom.
    sum: f64,
    freedom: f64,
    rms: f64,
}

impl Misfit {
    fn mean(&self) -> f64 {
        self.sum / self.freedom
    }
}

fn propose(
    blunder: Blunder,
    points: Vec<String>,
    concerns_set_up: bool,
    before: &Misfit,
    after: &Misfit,
) -> Option<Proposal> {
    let explained = after.mean() <= LARGEST_REST * before.mean()
        && before.sum - after.sum >= LEAST_GAIN
        && after.rms < before.rms;
    explained.then(|| Proposal {
        blunder,
        points,
        concerns_set_up,
        before: before.mean(),
        after: after.mean(),
        rms_before_mm: before.rms,
        rms_after_mm: after.rms,
    })
}

/// The request, with one millimetre for uncertainties that nobody stated.
struct Survey<'a> {
    request: &'a Request<'a>,
    stated: bool,
    readings: HashMap<&'a str, &'a Reading>,
}

impl<'a> Survey<'a> {
    fn new(request: &'a Request<'a>, stated: bool) -> Survey<'a> {
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
    fn references(&self, readings: &[Reading], targets: &[Target]) -> Vec<Reference> {
        let readings = by_name(readings);
        targets
            .iter()
            .filter(|t| self.request.references.contains(&t.point))
            .filter_map(|t| Some(self.reference(readings.get(t.point.as_str())?, t)))
            .collect()
    }

    /// How the reference points fit; `None` where they cannot be fitted at all.
    fn misfit(&self, readings: &[Reading], targets: &[Target]) -> Option<Misfit> {
        misfit(&self.references(readings, targets))
    }

    /// The same for readings that are too near each other for their uncertainty: set up as if they
    /// were certain, then measured in the uncertainty they have.
    fn misfit_at_any_size(&self) -> Option<Misfit> {
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

fn misfit(references: &[Reference]) -> Option<Misfit> {
    let fitted = set_up(references).ok()?;
    Some(Misfit {
        sum: fitted.chi2,
        freedom: fitted.degrees_of_freedom as f64,
        rms: fitted.rms,
    })
}

fn whole_survey(
    survey: &Survey,
    before: &Misfit,
    others: &[OtherSheet],
    found: &mut Vec<Proposal>,
) {
    let Request {
        readings, targets, ..
    } = *survey.request;
    let factors = UNIT_FACTORS.map(|factor| Blunder::Units { factor });
    let kinds = factors
        .into_iter()
        .chain([Blunder::AxisSign, Blunder::SidesExchanged]);
    for blunder in kinds {
        let readings = corrected(&blunder, readings, targets);
        if let Some(after) = survey.misfit(&readings, targets)
            && enough(before, &after)
        {
            found.extend(propose(blunder, Vec::new(), true, before, &after));
        }
    }
    for other in others {
        let Some(after) = survey.misfit(readings, other.targets) else {
            continue;
        };
        if !enough(before, &after) {
            continue;
        }
        let sheet = other.name.to_owned();
        let blunder = Blunder::OtherSheet { sheet };
        found.extend(propose(blunder, Vec::new(), true, before, &after));
    }
}

/// Relabelling can lose reference points: a good fit of what is left must not come from that.
fn enough(before: &Misfit, after: &Misfit) -> bool {
    after.freedom >= before.freedom.min(6.0)
}

fn swapped_references(survey: &Survey, before: &Misfit, found: &mut Vec<Proposal>) {
    let Request {
        readings, targets, ..
    } = *survey.request;
    let references = survey.references(readings, targets);
    let names: Vec<&str> = targets
        .iter()
        .map(|t| t.point.as_str())
        .filter(|name| survey.request.references.iter().any(|r| r == name))
        .collect();
    for (i, a) in names.iter().enumerate() {
        for (j, b) in names.iter().enumerate().skip(i + 1) {
            let (Some(first), Some(second)) = (references.get(i), references.get(j)) else {
                continue;
            };
            let mut swapped = references.clone();
            for (place, other) in [(i, second), (j, first)] {
                if let Some(r) = swapped.get_mut(place) {
                    r.reading = other.reading;
                    r.reading_covariance = other.reading_covariance;
                }
            }
            if let Some(after) = misfit(&swapped) {
                let points = vec![(*a).to_owned(), (*b).to_owned()];
                let blunder = Blunder::LabelsSwapped {
                    a: (*a).to_owned(),
                    b: (*b).to_owned(),
                };
                found.extend(propose(blunder, points, true, before, &after));
            }
        }
    }
}

/// Blunders of one reference point, seen from the set-up of the others: its own reading, or its
/// label swapped with that of a point that is no reference.
fn one_reference(survey: &Survey, before: &Misfit, found: &mut Vec<Proposal>) {
    let Request {
        readings, targets, ..
    } = *survey.request;
    for target in targets {
        let is_reference = |name: &str| survey.request.references.iter().any(|r| r == name);
        let Some(reading) = survey.readings.get(target.point.as_str()) else {
            continue;
        };
        if !is_reference(&target.point) {
            continue;
        }
        let rest: Vec<Reading> = readings
            .iter()
            .filter(|r| r.point != target.point)
            .cloned()
            .collect();
        let Ok(others) = set_up(&survey.references(&rest, targets)) else {
            continue;
        };
        let with = |d: &Distance| Misfit {
            sum: others.chi2 + d.square,
            freedom: others.degrees_of_freedom as f64 + 3.0,
            rms: root_mean_square(&others, d.mm),
        };
        for (blunder, changed) in single(reading) {
            if let Some(d) = distance(survey, &others, &changed, target) {
                let points = vec![target.point.clone()];
                found.extend(propose(blunder, points, true, before, &with(&d)));
            }
        }
        for other in targets.iter().filter(|t| !is_reference(&t.point)) {
            let Some(theirs) = survey.readings.get(other.point.as_str()) else {
                continue;
            };
            let swap = [
                distance(survey, &others, theirs, target),
                distance(survey, &others, reading, other),
                distance(survey, &others, theirs, other),
            ];
            let [Some(here), Some(there), Some(as_is)] = swap else {
                continue;
            };
            // The other point must be explained as well.
            if there.square > LARGEST_REST * as_is.square {
                continue;
            }
            let blunder = Blunder::LabelsSwapped {
                a: target.point.clone(),
                b: other.point.clone(),
            };
            let points = vec![target.point.clone(), other.point.clone()];
            found.extend(propose(blunder, points, true, before, &with(&here)));
        }
    }
}

/// Blunders of points that are no references, against the set-up as it is.
fn other_points(survey: &Survey, plain: &check::Check, found: &mut Vec<Proposal>) {
    let far: Vec<(&Target, &Reading, Distance)> = survey
        .request
        .targets
        .iter()
        .filter(|t| !survey.request.references.contains(&t.point))
        .filter_map(|t| {
            let reading = *survey.readings.get(t.point.as_str())?;
            let d = distance(survey, plain.set_up(), reading, t)?;
            (d.square >= LEAST_GAIN).then_some((t, reading, d))
        })
        .collect();
    let alone = |d: &Distance| Misfit {
        sum: d.square,
        freedom: 3.0,
        rms: d.mm,
    };
    let both = |a: &Distance, b: &Distance| Misfit {
        sum: a.square + b.square,
        freedom: 6.0,
        rms: ((a.mm * a.mm + b.mm * b.mm) / 2.0).sqrt(),
    };
    for (i, (target, reading, as_is)) in far.iter().enumerate() {
        for (blunder, changed) in single(reading) {
            if let Some(d) = distance(survey, plain.set_up(), &changed, target) {
                let points = vec![target.point.clone()];
                found.extend(propose(blunder, points, false, &alone(as_is), &alone(&d)));
            }
        }
        for (other, theirs, their_as_is) in far.iter().skip(i + 1) {
            let here = distance(survey, plain.set_up(), theirs, target);
            let there = distance(survey, plain.set_up(), reading, other);
            let (Some(here), Some(there)) = (here, there) else {
                continue;
            };
            let blunder = Blunder::LabelsSwapped {
                a: target.point.clone(),
                b: other.point.clone(),
            };
            let points = vec![target.point.clone(), other.point.clone()];
            let (before, after) = (both(as_is, their_as_is), both(&here, &there));
            found.extend(propose(blunder, points, false, &before, &after));
        }
    }
}

/// Everything that may be wrong with a single reading, and the reading without it.
fn single(reading: &Reading) -> Vec<(Blunder, Reading)> {
    let point = || reading.point.clone();
    let mut list = Vec::new();
    let mut push = |blunder, position_mm: Vec3| {
        let changed = Reading {
            position_mm,
            ..reading.clone()
        };
        list.push((blunder, changed));
    };
    for coordinate in 0..3 {
        for factor in DECIMAL_FACTORS {
            let blunder = Blunder::DecimalShifted {
                point: point(),
                coordinate,
                factor,
            };
            push(blunder, scaled(reading.position_mm, coordinate, factor));
        }
        let blunder = Blunder::ReadingSign {
            point: point(),
            coordinate,
        };
        push(blunder, scaled(reading.position_mm, coordinate, -1.0));
    }
    for factor in UNIT_FACTORS {
        let blunder = Blunder::ReadingUnits {
            point: point(),
            factor,
        };
        push(blunder, reading.position_mm * factor);
    }
    list
}

/// How far a reading is from a sheet position.
#[derive(Clone, Copy)]
struct Distance {
    mm: f64,
    /// In units of the uncertainty, squared.
    square: f64,
}

fn distance(
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
fn root_mean_square(others: &SetUp, one_more_mm: f64) -> f64 {
    let n = others.residuals.len() as f64;
    ((n * others.rms * others.rms + one_more_mm * one_more_mm) / (n + 1.0)).sqrt()
}
