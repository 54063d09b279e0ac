//! Trying the blunders out.

use super::kinds::{Blunder, corrected, scaled};
use super::misfit::{Distance, Misfit, Survey, distance, misfit, root_mean_square};
use super::{LARGEST_REST, LEAST_GAIN, OtherSheet, Proposal};
use crate::check::{self, CheckError, Options, Reading, Request, Target};
use crate::fit::set_up;
use crate::frame::Vec3;

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
        // Readings in metres are so near each other that no set-up is accepted, and mirrored ones
        // may fit none.
        Err(CheckError::Fit(error)) => {
            let survey = Survey::new(request, true);
            let before = survey.misfit_of_the_nearest().ok_or(error)?;
            whole_survey(&survey, &before, others, &mut found);
            swapped_references(&survey, &before, &mut found);
            one_reference(&survey, &before, &mut found);
        }
        Err(error) => return Err(error),
    }
    found.sort_by(|a, b| {
        // Below a mean square of 1 a fit is as good as it can be.
        let rest = |p: &Proposal| p.after.max(1.0) / p.before;
        let all = |p: &Proposal| p.all_points_after_mm.unwrap_or(0.0);
        b.concerns_set_up
            .cmp(&a.concerns_set_up)
            .then(rest(a).total_cmp(&rest(b)))
            .then(all(a).total_cmp(&all(b)))
    });
    Ok(found)
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
        all_points_after_mm: None,
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
            let all = survey.all_points_rms(&readings, targets);
            let proposal = propose(blunder, Vec::new(), true, before, &after);
            found.extend(proposal.map(|p| Proposal {
                all_points_after_mm: all,
                ..p
            }));
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
