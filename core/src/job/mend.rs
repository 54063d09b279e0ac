//! Blunders in a survey: proposed with what they would explain, and mended by corrections.
//!
//! Nothing is mended silently. A proposal comes with the command that applies it; applying writes
//! new readings that name the ones they replace and say why, and the old ones stay on record.

use datumtrail_geometry::blunder::{self, Blunder, OtherSheet, Proposal};
use datumtrail_geometry::check::{Reading, Request, Target};
use serde::Serialize;

use super::gather;
use super::measure::{self, Measured};
use super::record::{self, RecordId};
use super::view::{Entry, JobView};
use crate::error::{Error, Result};

/// No coordinate of a reading lies farther out.
pub const MOST_COORDINATE_MM: f64 = 1e6;

/// A blunder that would explain what is wrong, and how to mend it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Suspicion {
    /// The sentence for a screen.
    pub words: String,
    #[serde(flatten)]
    pub proposal: Proposal,
    /// What to type if it is so.
    pub command: String,
}

/// A sheet of this shop that the readings might belong to, by the name of its job.
#[derive(Clone, Debug)]
pub struct Candidate {
    pub job: String,
    pub targets: Vec<Target>,
}

/// What is suspected in a survey, the one that explains most first.
pub fn suspicions(
    measured: &Measured,
    survey: &record::Survey,
    others: &[Candidate],
) -> Vec<Suspicion> {
    let targets = measure::targets(&measured.sheet);
    let request = Request {
        build_spread_mm: survey.build_spread_mm,
        common: measured.gathered.common.as_ref(),
        ..Request::new(&measured.gathered.readings, &targets, &survey.refs)
    };
    search(&measured.survey, &request, others)
}

/// What is suspected in a survey that can't be set up as it stands.
pub fn suspicions_without_set_up(
    view: &JobView,
    survey: &Entry<record::Survey>,
    others: &[Candidate],
) -> Result<Vec<Suspicion>> {
    let sheet = measure::sheet_of(view)?;
    let gathered = gather::gather(view, survey)?;
    let targets = measure::targets(&sheet);
    let request = Request {
        build_spread_mm: survey.body.build_spread_mm,
        common: gathered.common.as_ref(),
        ..Request::new(&gathered.readings, &targets, &survey.body.refs)
    };
    Ok(search(&survey.id, &request, others))
}

fn search(survey: &RecordId, request: &Request, others: &[Candidate]) -> Vec<Suspicion> {
    let others: Vec<OtherSheet<'_>> = others
        .iter()
        .map(|other| OtherSheet {
            name: &other.job,
            targets: &other.targets,
        })
        .collect();
    // What can't be checked can't be searched either; the check has said why.
    let found = blunder::propose(request, &others).unwrap_or_default();
    found
        .into_iter()
        .map(|proposal| Suspicion {
            words: proposal.to_string(),
            command: command(survey, &proposal.blunder),
            proposal,
        })
        .collect()
}

/// The command that mends a blunder.
fn command(survey: &RecordId, blunder: &Blunder) -> String {
    let survey = survey.short();
    let options = match blunder {
        Blunder::LabelsSwapped { a, b } => format!("--swap \"{a},{b}\""),
        Blunder::SidesExchanged => "--swap-sides".to_owned(),
        Blunder::AxisSign => "--mirror".to_owned(),
        Blunder::Units { factor } => format!("--times {factor}"),
        Blunder::ReadingUnits { point, factor } => format!("--times {factor} --point \"{point}\""),
        Blunder::DecimalShifted {
            point,
            coordinate,
            factor,
        } => format!(
            "--times {factor} --point \"{point}\" --coordinate {}",
            letter(*coordinate)
        ),
        Blunder::ReadingSign { point, coordinate } => {
            let letter = letter(*coordinate);
            format!("--times -1 --point \"{point}\" --coordinate {letter}")
        }
        Blunder::OtherSheet { sheet } => {
            return format!("datumtrail sheet take --from \"{sheet}\"");
        }
    };
    format!("datumtrail survey correct {survey} {options}")
}

fn letter(coordinate: usize) -> char {
    ['x', 'y', 'z'].get(coordinate).copied().unwrap_or('z')
}

/// The readings that would replace a survey's own, each with the one that it replaces.
///
/// # Errors
/// [`Error::Invalid`] where the blunder would change nothing, or would put a reading where no
/// vehicle is.
pub fn corrections(
    view: &JobView,
    survey: &Entry<record::Survey>,
    blunder: &Blunder,
) -> Result<Vec<record::Reading>> {
    let sheet = measure::sheet_of(view)?;
    let stored: Vec<_> = view.readings_of(&survey.id).collect();
    let before: Vec<Reading> = stored
        .iter()
        .map(|entry| gather::reading(&survey.body, &entry.body))
        .collect();
    let after = blunder::corrected(blunder, &before, &measure::targets(&sheet));
    let mut replacements = Vec::new();
    for ((entry, old), new) in stored.iter().zip(&before).zip(&after) {
        if old == new {
            continue;
        }
        let position = new.position_mm;
        if position
            .iter()
            .any(|c| !c.is_finite() || c.abs() > MOST_COORDINATE_MM)
        {
            return Err(Error::invalid(
                format!(
                    "the reading of {} would lie where no vehicle is",
                    entry.body.point
                ),
                "look at the factor",
            ));
        }
        replacements.push(record::Reading {
            point: new.point.clone(),
            x: position.x,
            y: position.y,
            z: position.z,
            replaces: Some(entry.id.clone()),
            why: Some(reason(blunder)),
            ..entry.body.clone()
        });
    }
    if replacements.is_empty() {
        return Err(Error::invalid(
            format!(
                "no reading of the survey {} would change by that",
                survey.id.short()
            ),
            "look at the point names: datumtrail survey show",
        ));
    }
    Ok(replacements)
}

/// Why a reading was replaced, as the record says it.
fn reason(blunder: &Blunder) -> String {
    match blunder {
        Blunder::LabelsSwapped { a, b } => format!("the labels of {a} and {b} were swapped"),
        Blunder::SidesExchanged => "left and right labels were exchanged".into(),
        Blunder::AxisSign => "one axis had the wrong sign".into(),
        Blunder::Units { factor } | Blunder::ReadingUnits { factor, .. } => {
            format!("the unit was wrong: times {factor}")
        }
        Blunder::DecimalShifted {
            coordinate, factor, ..
        } => {
            let letter = letter(*coordinate);
            format!("the decimal point of {letter} was shifted: times {factor}")
        }
        Blunder::ReadingSign { coordinate, .. } => {
            format!("the sign of {} was wrong", letter(*coordinate))
        }
        Blunder::OtherSheet { sheet } => format!("the sheet was that of {sheet}"),
    }
}
