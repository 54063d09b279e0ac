//! Sheets, surveys and readings.

use std::path::PathBuf;

use datumtrail_geometry::correct::Allowed;
use datumtrail_sheet::{Axes, LoadOptions, Sheet, Units, Warning};

use super::job::Job;
use crate::error::{Error, Result};
use crate::job::correct::{self, PlannedMove};
use crate::job::edit;
use crate::job::measure::{self, Measured};
use crate::job::record::{self, RecordId};
use crate::job::view::{self, Entry, JobView};

/// A dimension sheet to be loaded.
#[derive(Clone, Debug, Default)]
pub struct NewSheet {
    pub file: String,
    pub bytes: Vec<u8>,
    pub source: String,
    pub limit_mm: Option<f64>,
    pub limit_source: Option<String>,
    /// "mm" or "in"; millimetres where empty.
    pub units: String,
    pub axes: Option<String>,
}

/// A sheet that was loaded, and what a person should look at.
#[derive(Clone, Debug)]
pub struct SheetLoaded {
    pub id: RecordId,
    pub sheet: Sheet,
    pub warnings: Vec<Warning>,
}

/// A survey to be added, with or without a file of readings.
#[derive(Clone, Debug, Default)]
pub struct NewSurvey {
    pub stage: String,
    pub refs: Vec<String>,
    pub instrument: Option<String>,
    pub mpe_mm: Option<f64>,
    pub u_mm: Option<f64>,
    pub build_spread_mm: Option<f64>,
    pub build_spread_source: Option<String>,
    pub file: Option<String>,
    pub bytes: Option<Vec<u8>>,
    /// "mm" or "in"; millimetres where empty.
    pub units: String,
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
    /// Whether it corrects the reading of this point that is there.
    pub correct: bool,
}

impl Job<'_> {
    /// Loads a dimension sheet; from now on it is the one that counts.
    ///
    /// # Errors
    /// [`Error::Table`] with everything that is wrong in the file; nothing is then loaded.
    pub async fn load_sheet(&self, new: NewSheet) -> Result<SheetLoaded> {
        let table = |source| Error::Table {
            file: PathBuf::from(&new.file),
            source,
        };
        let units = units(&new.units)?;
        let options = LoadOptions {
            source: new.source.clone(),
            units,
            axes: match &new.axes {
                Some(axes) => Axes::parse(axes).map_err(table)?,
                None => Axes::default(),
            },
            limit_mm: new.limit_mm,
            limit_source: new.limit_source.clone(),
            step_mm: None,
        };
        let loaded = datumtrail_sheet::load::load(&new.bytes, &options).map_err(table)?;
        let text = String::from_utf8(new.bytes).map_err(|e| Error::Internal(e.to_string()))?;
        let id = self
            .add(record::Sheet {
                file: new.file,
                text,
                source: new.source,
                units: units.word().to_owned(),
                axes: new.axes,
                limit_mm: new.limit_mm,
                limit_source: new.limit_source,
            })
            .await?;
        Ok(SheetLoaded {
            id,
            sheet: loaded.value,
            warnings: loaded.warnings,
        })
    }

    /// Adds a survey. With a file, its set-up is tried first: what can't be set up is refused and
    /// nothing of it is recorded.
    pub async fn add_survey(&self, new: NewSurvey) -> Result<RecordId> {
        let view = self.view()?;
        let plan = self.plan(&view)?;
        let stage = plan.stage(&new.stage)?.key.clone();
        let sheet = measure::sheet_of(&view)?;
        let units = units(&new.units)?;
        let survey = record::Survey {
            stage,
            refs: known_points(&sheet, &new.refs)?,
            instrument: new.instrument,
            mpe_mm: bounded("--mpe", new.mpe_mm)?,
            u_mm: bounded("--u", new.u_mm)?,
            build_spread_mm: bounded("--build-spread", new.build_spread_mm)?,
            build_spread_source: new.build_spread_source,
            file: new.file.clone(),
            units: units.word().to_owned(),
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
        if survey.refs.len() < 3 {
            return Err(Error::Measurement(
                format!("{} reference points can't fix a set-up", survey.refs.len()),
                "name at least three that don't lie in a line, better six: --refs A,A',G,G'".into(),
            ));
        }
        let mut readings = Vec::new();
        if let Some(bytes) = new.bytes {
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
                };
                (self.shop.new_id(), reading)
            })
            .collect();
        if !records.is_empty() {
            try_set_up(&view, &id, &survey, &records)?;
        }
        self.edit(|doc, stamp| edit::add_with(doc, (&id, &survey), &records, stamp))
            .await?;
        Ok(id)
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
        if position.iter().any(|c| !c.is_finite() || c.abs() > 1e6) {
            return Err(Error::invalid(
                format!("{:?} is no position on a vehicle", new.position),
                "type three numbers: x y z",
            ));
        }
        let u = bounded("--u", new.u_mm)?.map(|u| [u; 3]);
        let old = view
            .readings_of(&survey.id)
            .find(|r| r.body.point == point)
            .map(|r| r.id.clone());
        if let (Some(old), false) = (&old, new.correct) {
            return Err(Error::invalid(
                format!(
                    "point {point} already has a reading ({}) in the survey {}",
                    old.short(),
                    survey.id.short()
                ),
                "to correct it, add --correct: the old one stays on record",
            ));
        }
        if old.is_none() && new.correct {
            return Err(Error::invalid(
                format!(
                    "point {point} has no reading in the survey {} to correct",
                    survey.id.short()
                ),
                "leave out --correct",
            ));
        }
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
            replaces: old,
        })
        .await
    }

    /// The move that brings points in, by a survey: the named points, or those of the new part.
    pub async fn plan_move(
        &self,
        survey: Option<&str>,
        points: &[String],
        allowed: &Allowed,
    ) -> Result<(Measured, PlannedMove)> {
        let view = self.view()?;
        let survey = pick_survey(&view, survey)?;
        let measured = measure::measure(&view, survey)?;
        let points = match (points.is_empty(), view.part()) {
            (false, _) => known_points(&measured.sheet, points)?,
            (true, Some(part)) => part.points,
            (true, None) => {
                return Err(Error::invalid(
                    "no points are named, and the job does not say which are on the new part",
                    "name them with --points H,C or once with datumtrail part set NAME --points H,C",
                ));
            }
        };
        let planned = correct::plan(&measured, &points, allowed)?;
        Ok((measured, planned))
    }

    /// Computes a survey: the named one, or the newest.
    pub async fn check(&self, survey: Option<&str>) -> Result<Measured> {
        let view = self.view()?;
        let survey = pick_survey(&view, survey)?;
        measure::measure(&view, survey)
    }
}

fn try_set_up(
    view: &JobView,
    id: &RecordId,
    survey: &record::Survey,
    records: &[(RecordId, record::Reading)],
) -> Result<()> {
    let stamp = record::Stamp {
        by: String::new(),
        person: None,
        at: String::new(),
    };
    let entry = |id: &RecordId| (id.clone(), stamp.clone());
    let mut trial = view.clone();
    trial.readings = records
        .iter()
        .map(|(id, body)| {
            let (id, stamp) = entry(id);
            Entry {
                id,
                stamp,
                body: body.clone(),
                withdrawn: None,
                replaced_by: None,
            }
        })
        .collect();
    let (id, stamp) = entry(id);
    let survey = Entry {
        id,
        stamp,
        body: survey.clone(),
        withdrawn: None,
        replaced_by: None,
    };
    measure::measure(&trial, &survey).map(drop)
}

/// The survey that a person means: by identity, by stage (its newest), or the newest of all.
pub(super) fn pick_survey<'v>(
    view: &'v JobView,
    typed: Option<&str>,
) -> Result<&'v Entry<record::Survey>> {
    let mut standing = view.surveys.iter().rev().filter(|s| s.stands());
    match typed {
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
    }
}

/// Names of control points as a person typed them, checked against the sheet, each once.
pub(super) fn known_points(sheet: &Sheet, typed: &[String]) -> Result<Vec<String>> {
    let mut known: Vec<String> = Vec::new();
    for name in typed.iter().map(|n| n.trim()).filter(|n| !n.is_empty()) {
        let name = datumtrail_sheet::point_name(name)
            .and_then(|name| sheet.expect_point(&name).map(|p| p.name.clone()))
            .map_err(|e| Error::Unknown {
                kind: "control point",
                name: name.to_owned(),
                todo: format!("{e}"),
            })?;
        if !known.contains(&name) {
            known.push(name);
        }
    }
    Ok(known)
}

fn units(text: &str) -> Result<Units> {
    if text.is_empty() {
        return Ok(Units::Mm);
    }
    Units::parse(text).map_err(|e| Error::invalid(e.to_string(), "use mm or in"))
}

fn bounded(option: &str, mm: Option<f64>) -> Result<Option<f64>> {
    match mm {
        Some(mm) if !(mm.is_finite() && mm > 0.0 && mm <= 100.0) => Err(Error::invalid(
            format!("{option} {mm} is no uncertainty of a measurement on a vehicle"),
            "give millimetres, above 0",
        )),
        other => Ok(other),
    }
}
