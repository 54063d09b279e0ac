//! Surveys and readings.

use std::path::PathBuf;

use datumtrail_geometry::blunder::Blunder;
use datumtrail_geometry::check::Options;
use datumtrail_geometry::temperature::factor_to_20_degrees;
use datumtrail_sheet::{Sheet, Units};

use super::job::Job;
use super::sheets::known_points;
use crate::error::{Error, Result};
use crate::job::measure::{self, Measured};
use crate::job::mend::Suspicion;
use crate::job::record::{self, RecordId};
use crate::job::view::{self, Entry, JobView};
use crate::job::{edit, gather, mend};

/// A survey to be added, with or without a file of readings.
#[derive(Clone, Debug, Default)]
pub struct NewSurvey {
    pub stage: String,
    pub refs: Vec<String>,
    /// A survey of the same stage, for a further set-up that is joined to it.
    pub joins: Option<String>,
    pub instrument: Option<String>,
    pub mpe_mm: Option<f64>,
    /// The maximum permissible error bounds the distance in space, not each axis.
    pub mpe_in_space: bool,
    pub u_mm: Option<f64>,
    /// What seating, targets and adapters add.
    pub seating_mm: Option<f64>,
    /// The part of the uncertainty that differs from one reading of a point to the next.
    pub repeatability_mm: Option<f64>,
    pub temperature: Option<record::Temperature>,
    pub build_spread_mm: Option<f64>,
    pub build_spread_source: Option<String>,
    pub file: Option<String>,
    pub bytes: Option<Vec<u8>>,
    /// "mm" or "in"; millimetres where empty.
    pub units: String,
}

/// A survey that was added.
#[derive(Clone, Debug)]
pub struct SurveyAdded {
    pub id: RecordId,
    /// Blunders that would explain why it can't be set up as it stands; empty where it can.
    pub suspicions: Vec<Suspicion>,
}

/// A single reading, typed.
#[derive(Clone, Debug, Default)]
pub struct NewReading {
    /// The survey; the newest where none is named.
    pub survey: Option<String>,
    pub point: String,
    pub position: [f64; 3],
    pub u_mm: Option<f64>,
    pub units: String,
    pub again: Again,
}

/// What a reading of a point is that has been read before.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Again {
    /// A mistake, to be refused.
    #[default]
    No,
    /// It corrects the one that is there, which stays on record.
    Correct,
    /// One more reading of the same point; they are averaged.
    Repeat,
}

impl Job<'_> {
    /// Adds a survey. With a file, its set-up is tried first: what can't be set up is refused and
    /// nothing of it is recorded, unless a blunder would explain it, which can then be mended.
    pub async fn add_survey(&self, new: NewSurvey) -> Result<SurveyAdded> {
        let view = self.view()?;
        let sheet = measure::sheet_of(&view)?;
        let survey = self.described(&view, &sheet, &new)?;
        let mut readings = Vec::new();
        if let Some(bytes) = new.bytes {
            let units = units(&new.units)?;
            let loaded = datumtrail_sheet::readings::load(&bytes, units, Some(&sheet)).map_err(
                |source| Error::Table {
                    file: PathBuf::from(new.file.unwrap_or_else(|| "the readings".into())),
                    source,
                },
            )?;
            readings = loaded.value;
        }
        let id = self.shop.new_id();
        let records: Vec<(RecordId, record::Reading)> = readings
            .into_iter()
            .map(|r| {
                let [x, y, z] = r.position_mm;
                let reading = record::Reading {
                    survey: id.clone(),
                    point: r.point,
                    x,
                    y,
                    z,
                    u: r.u_mm,
                    time: r.time,
                    replaces: None,
                    why: None,
                };
                (self.shop.new_id(), reading)
            })
            .collect();
        let suspicions = match records.is_empty() {
            true => Vec::new(),
            false => try_set_up(&view, &id, &survey, &records)?,
        };
        self.edit(|doc, stamp| edit::add_with(doc, (&id, &survey), &records, stamp))
            .await?;
        Ok(SurveyAdded { id, suspicions })
    }

    /// The record of a survey, where what was stated about it makes sense.
    fn described(&self, view: &JobView, sheet: &Sheet, new: &NewSurvey) -> Result<record::Survey> {
        let stage = self.plan(view)?.stage(&new.stage)?.key.clone();
        let base = new
            .joins
            .as_deref()
            .map(|typed| pick_survey(view, Some(typed)))
            .transpose()?;
        let survey = record::Survey {
            stage,
            refs: known_points(sheet, &new.refs)?,
            joins: base.map(|base| base.id.clone()),
            instrument: new.instrument.clone(),
            mpe_mm: bounded("--mpe", new.mpe_mm)?,
            mpe_in_space: new.mpe_in_space,
            u_mm: bounded("--u", new.u_mm)?,
            seating_mm: bounded("--seating", new.seating_mm)?,
            repeatability_mm: bounded("--repeatability", new.repeatability_mm)?,
            build_spread_mm: bounded("--build-spread", new.build_spread_mm)?,
            build_spread_source: new.build_spread_source.clone(),
            temperature: new.temperature,
            file: new.file.clone(),
            units: units(&new.units)?.word().to_owned(),
        };
        if survey.mpe_mm.is_some() && survey.u_mm.is_some() {
            return Err(Error::invalid(
                "both --mpe and --u are given",
                "give the instrument's maximum permissible error or a standard uncertainty, not both",
            ));
        }
        if survey.build_spread_mm.is_some() && survey.build_spread_source.is_none() {
            return Err(Error::invalid(
                "a build spread needs its source",
                "say where it is published: --build-spread-source TEXT",
            ));
        }
        if let (Some(random), Some(all)) = (survey.repeatability_mm, gather::general_u(&survey))
            && random > all
        {
            return Err(Error::invalid(
                format!(
                    "repeats of a point scatter by {random} mm, and its whole uncertainty is \
                     stated as {all:.2} mm"
                ),
                "the repeatability is a part of the uncertainty: state a larger --u or --mpe",
            ));
        }
        if let Some(stated) = survey.temperature
            && factor_to_20_degrees(stated.material, stated.celsius).is_none()
        {
            return Err(Error::invalid(
                format!("no vehicle is measured at {} degrees", stated.celsius),
                "give the structure's temperature in degrees Celsius",
            ));
        }
        match base {
            Some(base) if base.body.stage != survey.stage => {
                return Err(Error::invalid(
                    format!(
                        "the survey {} was taken in {}, not in {}",
                        base.id.short(),
                        base.body.stage,
                        survey.stage
                    ),
                    "set-ups are joined within one stage: between stages the structure may have moved",
                ));
            }
            Some(_) if !survey.refs.is_empty() => {
                return Err(Error::invalid(
                    "a set-up that joins another has no reference points of its own",
                    "leave out --refs: the shared points join it",
                ));
            }
            None if survey.refs.len() < 3 => {
                return Err(Error::Measurement(
                    format!("{} reference points can't fix a set-up", survey.refs.len()),
                    "name at least three that don't lie in a line, better six: --refs A,A',G,G'"
                        .into(),
                ));
            }
            _ => {}
        }
        Ok(survey)
    }

    /// Adds one reading to a survey, or corrects one.
    pub async fn add_reading(&self, new: NewReading) -> Result<RecordId> {
        let view = self.view()?;
        let sheet = measure::sheet_of(&view)?;
        let survey = pick_survey(&view, new.survey.as_deref())?;
        let point = known_points(&sheet, std::slice::from_ref(&new.point))?.remove(0);
        let units = units(&new.units)?;
        let factor = match units {
            Units::Mm => 1.0,
            Units::In => 25.4,
        };
        let position = new.position.map(|c| c * factor);
        if position
            .iter()
            .any(|c| !c.is_finite() || c.abs() > mend::MOST_COORDINATE_MM)
        {
            return Err(Error::invalid(
                format!("{:?} is no position on a vehicle", new.position),
                "type three numbers: x y z",
            ));
        }
        let u = bounded("--u", new.u_mm)?.map(|u| [u; 3]);
        let before: Vec<_> = view
            .readings_of(&survey.id)
            .filter(|r| r.body.point == point)
            .collect();
        let in_survey = format!("in the survey {}", survey.id.short());
        let replaces = match (before.as_slice(), new.again) {
            ([], Again::No) | ([_, ..], Again::Repeat) => None,
            ([one], Again::Correct) => Some(one.id.clone()),
            ([one, ..], Again::No) => {
                return Err(Error::invalid(
                    format!(
                        "point {point} already has a reading ({}) {in_survey}",
                        one.id.short()
                    ),
                    "to correct it, add --correct: the old one stays on record; to average \
                     several, add --repeat",
                ));
            }
            ([], _) => {
                return Err(Error::invalid(
                    format!("point {point} has no reading {in_survey} yet"),
                    "leave out --correct and --repeat",
                ));
            }
            (several, Again::Correct) => {
                let ids: Vec<&str> = several.iter().map(|r| r.id.short()).collect();
                return Err(Error::invalid(
                    format!(
                        "point {point} has {} readings {in_survey}: {}",
                        several.len(),
                        ids.join(", ")
                    ),
                    "withdraw the wrong one, then add the new one with --repeat",
                ));
            }
        };
        let survey_id = survey.id.clone();
        let now = super::folder::written(self.shop.now(), &super::folder::zone_of(&view));
        self.add(record::Reading {
            survey: survey_id,
            point,
            x: position[0],
            y: position[1],
            z: position[2],
            u,
            time: Some(now),
            replaces,
            why: None,
        })
        .await
    }

    /// Computes a survey: the named one, or the newest.
    pub async fn check(&self, survey: Option<&str>) -> Result<Measured> {
        self.check_with(survey, Options::default()).await
    }

    /// The same with a person's explicit choices. Hold points never look at those.
    pub async fn check_with(&self, survey: Option<&str>, options: Options) -> Result<Measured> {
        let view = self.view()?;
        let survey = pick_survey(&view, survey)?;
        measure::measure_with(&view, survey, options).map_err(|error| {
            let Error::Measurement(what, _) = &error else {
                return error;
            };
            let found = mend::suspicions_without_set_up(&view, survey, &[]);
            match found.unwrap_or_default().first() {
                Some(first) => Error::Measurement(
                    what.clone(),
                    format!("{} If so: {}", first.words, first.command),
                ),
                None => error,
            }
        })
    }

    /// Mends a blunder in the readings of one set-up by corrections; what was there stays on
    /// record. Says the points that were corrected.
    pub async fn correct_survey(
        &self,
        survey: Option<&str>,
        blunder: &Blunder,
    ) -> Result<Vec<String>> {
        let view = self.view()?;
        let survey = match survey {
            // Here a further set-up is meant itself, not what it joins.
            Some(typed) if view::find(&view.surveys, typed).is_ok() => {
                view::find(&view.surveys, typed)?
            }
            other => pick_survey(&view, other)?,
        };
        let readings = mend::corrections(&view, survey, blunder)?;
        let points = readings.iter().map(|r| r.point.clone()).collect();
        let records: Vec<_> = readings
            .into_iter()
            .map(|reading| (self.shop.new_id(), reading))
            .collect();
        self.edit(|doc, stamp| edit::add_records(doc, &records, stamp))
            .await?;
        Ok(points)
    }
}

fn try_set_up(
    view: &JobView,
    id: &RecordId,
    survey: &record::Survey,
    records: &[(RecordId, record::Reading)],
) -> Result<Vec<Suspicion>> {
    let stamp = record::Stamp {
        by: String::new(),
        person: None,
        at: String::new(),
    };
    let entry = |id: &RecordId| (id.clone(), stamp.clone());
    let mut trial = view.clone();
    trial.readings.retain(|r| r.body.survey != *id);
    let new = records.iter().map(|(id, body)| {
        let (id, stamp) = entry(id);
        Entry {
            id,
            stamp,
            body: body.clone(),
            withdrawn: None,
            replaced_by: None,
        }
    });
    trial.readings.extend(new);
    let (id, stamp) = entry(id);
    let survey = Entry {
        id,
        stamp,
        body: survey.clone(),
        withdrawn: None,
        replaced_by: None,
    };
    let Some(base) = survey.body.joins.clone() else {
        return match measure::measure(&trial, &survey) {
            Ok(_) => Ok(Vec::new()),
            Err(error) => match mend::suspicions_without_set_up(&trial, &survey, &[])? {
                none if none.is_empty() => Err(error),
                found => Ok(found),
            },
        };
    };
    trial.surveys.push(survey);
    measure::measure(&trial, view::find(&view.surveys, &base.0)?).map(|_| Vec::new())
}

/// The survey that a person means: by identity, by stage (its newest), or the newest of all. A
/// further set-up stands for the survey that it joins.
pub(super) fn pick_survey<'v>(
    view: &'v JobView,
    typed: Option<&str>,
) -> Result<&'v Entry<record::Survey>> {
    let mut standing = view.standing_surveys().rev();
    let found = match typed {
        None => standing.next().ok_or_else(|| {
            Error::invalid(
                "the job has no survey yet",
                "add one: datumtrail survey add FILE.csv --stage STAGE --refs A,A',G,G' --u MM",
            )
        }),
        Some(typed) => match standing.find(|s| s.body.stage == typed) {
            Some(of_stage) => Ok(of_stage),
            None => view::find(&view.surveys, typed),
        },
    }?;
    match &found.body.joins {
        None => Ok(found),
        Some(base) => view::find(&view.surveys, &base.0),
    }
}

pub(super) fn units(text: &str) -> Result<Units> {
    if text.is_empty() {
        return Ok(Units::Mm);
    }
    Units::parse(text).map_err(|e| Error::invalid(e.to_string(), "use mm or in"))
}

pub(super) fn bounded(option: &str, mm: Option<f64>) -> Result<Option<f64>> {
    match mm {
        Some(mm) if !(mm.is_finite() && mm > 0.0 && mm <= 100.0) => Err(Error::invalid(
            format!("{option} {mm} is no uncertainty of a measurement on a vehicle"),
            "give millimetres, above 0",
        )),
        other => Ok(other),
    }
}
