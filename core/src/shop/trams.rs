//! Tram readings.

use std::path::PathBuf;

use datumtrail_sheet::{DistanceKind, Units, trams};

use super::folder::{written, zone_of};
use super::job::Job;
use super::sheets::known_points;
use super::surveys::{bounded, units};
use crate::error::{Error, Result};
use crate::job::record::{self, RecordId, TramKind};
use crate::job::stage::{State, stages};
use crate::job::tram::{self, Basis, TramList, TramSolved};
use crate::job::view::{self, JobView};
use crate::job::{edit, measure};

/// A tram reading, typed.
#[derive(Clone, Debug)]
pub struct NewTram {
    /// The stage; the open one where none is named.
    pub stage: Option<String>,
    pub kind: TramKind,
    pub a: String,
    pub b: Option<String>,
    pub value: f64,
    pub units: String,
    pub u_mm: Option<f64>,
    pub instrument: Option<String>,
    /// The reading that it corrects.
    pub replaces: Option<String>,
}

/// A file of tram readings.
#[derive(Clone, Debug, Default)]
pub struct TramFile {
    pub stage: Option<String>,
    pub file: String,
    pub bytes: Vec<u8>,
    pub units: String,
    /// For rows that state none.
    pub u_mm: Option<f64>,
    pub instrument: Option<String>,
}

/// What positions are asked of the tram readings.
#[derive(Clone, Debug, Default)]
pub struct TramQuestion {
    pub stage: Option<String>,
    pub refs: Vec<String>,
    pub build_spread_mm: Option<f64>,
    pub reach_mm: Option<f64>,
}

impl Job<'_> {
    /// Records one tram reading. Gives its identity and its stage.
    pub async fn add_tram(&self, new: NewTram) -> Result<(RecordId, String)> {
        let view = self.view()?;
        let sheet = measure::sheet_of(&view)?;
        let factor = match units(&new.units)? {
            Units::Mm => 1.0,
            Units::In => 25.4,
        };
        let ends: Vec<String> = std::iter::once(new.a).chain(new.b).collect();
        let mut known = known_points(&sheet, &ends)?.into_iter();
        let (a, b) = (known.next().unwrap_or_default(), known.next());
        if b.is_none() != (new.kind == TramKind::Height) {
            return Err(Error::invalid(
                "a distance runs between two different points, and a height has one",
                "datumtrail tram add P Q VALUE --kind true, or datumtrail tram height P VALUE",
            ));
        }
        let kind = match new.kind {
            TramKind::True => DistanceKind::True,
            TramKind::Level => DistanceKind::Level,
            TramKind::Height => DistanceKind::Height,
        };
        let value_mm = trams::check_value(kind, new.value * factor)
            .map_err(|e| Error::invalid(e.to_string(), "type what the gauge shows"))?;
        let replaces = new
            .replaces
            .as_deref()
            .map(|typed| view::find(&view.trams, typed).map(|old| old.id.clone()))
            .transpose()?;
        let stage = self.tram_stage(&view, new.stage.as_deref())?;
        let time = written(self.shop.now(), &zone_of(&view));
        let reading = record::Tram {
            stage: stage.clone(),
            kind: new.kind,
            a,
            b,
            value_mm,
            u_mm: bounded("--u", new.u_mm)?,
            instrument: new.instrument,
            file: None,
            time: Some(time),
            replaces,
        };
        Ok((self.add(reading).await?, stage))
    }

    /// Records a file of tram readings, all or none. Says how many.
    pub async fn import_trams(&self, new: TramFile) -> Result<usize> {
        let view = self.view()?;
        let sheet = measure::sheet_of(&view)?;
        let stage = self.tram_stage(&view, new.stage.as_deref())?;
        let general = bounded("--u", new.u_mm)?;
        let loaded =
            trams::load(&new.bytes, units(&new.units)?, Some(&sheet)).map_err(|source| {
                Error::Table {
                    file: PathBuf::from(&new.file),
                    source,
                }
            })?;
        let records: Vec<(RecordId, record::Tram)> = loaded
            .value
            .into_iter()
            .map(|row| {
                let kind = match row.kind {
                    DistanceKind::Level => TramKind::Level,
                    DistanceKind::Height => TramKind::Height,
                    _ => TramKind::True,
                };
                let reading = record::Tram {
                    stage: stage.clone(),
                    kind,
                    a: row.a,
                    b: row.b,
                    value_mm: row.value_mm,
                    u_mm: row.u_mm.or(general),
                    instrument: new.instrument.clone(),
                    file: Some(new.file.clone()),
                    time: row.time,
                    replaces: None,
                };
                (self.shop.new_id(), reading)
            })
            .collect();
        self.edit(|doc, stamp| edit::add_records(doc, &records, stamp))
            .await?;
        Ok(records.len())
    }

    /// The stage that is meant: the one named, or the one that is open.
    fn tram_stage(&self, view: &JobView, typed: Option<&str>) -> Result<String> {
        let plan = self.plan(view)?;
        if let Some(typed) = typed {
            return Ok(plan.stage(typed)?.key.clone());
        }
        let open: Vec<String> = stages(view, &plan)
            .into_iter()
            .filter(|s| s.state == State::Open)
            .map(|s| s.name)
            .collect();
        match <[String; 1]>::try_from(open) {
            Ok([one]) => Ok(one),
            Err(open) => Err(Error::invalid(
                match open.len() {
                    0 => "no stage is open".to_owned(),
                    _ => format!("several stages are open: {}", open.join(", ")),
                },
                "name the stage: --stage STAGE",
            )),
        }
    }

    /// Every tram reading against the sheet.
    pub fn compare_trams(
        &self,
        stage: Option<&str>,
        build_spread_mm: Option<f64>,
    ) -> Result<TramList> {
        let view = self.view()?;
        let sheet = measure::sheet_of(&view)?;
        let stage = self.stage_key(&view, stage)?;
        Ok(tram::compare(
            &view,
            &sheet,
            stage.as_deref(),
            build_spread_mm,
        ))
    }

    /// The positions that the tram readings determine.
    pub fn solve_trams(&self, asked: &TramQuestion) -> Result<TramSolved> {
        let view = self.view()?;
        let sheet = measure::sheet_of(&view)?;
        let stage = self.stage_key(&view, asked.stage.as_deref())?;
        let refs = known_points(&sheet, &asked.refs)?;
        if tram::standing(&view, stage.as_deref()).next().is_none() {
            return Err(Error::invalid(
                "there are no tram readings to solve",
                "add them: datumtrail tram add P Q VALUE --kind true, or tram import FILE",
            ));
        }
        let basis = Basis {
            stage: stage.as_deref(),
            refs: &refs,
            build_spread_mm: bounded("--build-spread", asked.build_spread_mm)?,
            reach_mm: asked.reach_mm,
        };
        tram::solve(&view, &sheet, &basis)
    }

    /// The stage named, or that of the newest tram reading: between stages the structure moves, so
    /// readings of different ones never go together.
    fn stage_key(&self, view: &JobView, typed: Option<&str>) -> Result<Option<String>> {
        let plan = self.plan(view)?;
        match typed {
            Some(typed) => Ok(Some(plan.stage(typed)?.key.clone())),
            None => Ok(tram::standing(view, None)
                .last()
                .map(|newest| newest.body.stage.clone())),
        }
    }
}
