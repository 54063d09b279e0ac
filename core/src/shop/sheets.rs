//! Dimension sheets: loading, adding to, taking over; and what a sheet says about itself.

use std::collections::BTreeMap;
use std::path::PathBuf;

use datumtrail_sheet::{Axes, LoadOptions, Sheet, Warning};
use serde_json::Value;

use super::job::Job;
use super::surveys::units;
use crate::error::{Error, Result};
use crate::job::audit::{self, SheetAudit, SolvedSheet};
use crate::job::damage::{self, PlaceReport};
use crate::job::measure;
use crate::job::record::{self, RecordId};
use crate::job::view::Place;

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
    /// Keep the sheet that counts, and add this to it.
    pub add: bool,
}

/// A sheet that was loaded, and what a person should look at.
#[derive(Clone, Debug)]
pub struct SheetLoaded {
    pub id: RecordId,
    pub sheet: Sheet,
    pub warnings: Vec<Warning>,
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
        let view = self.view()?;
        let adds_to = match new.add {
            true => Some(measure::sheet_of(&view).map(|before| (view.sheet(), before))?),
            false => None,
        };
        if let Some((_, before)) = &adds_to {
            let points = [before.points(), loaded.value.points()].concat();
            let distances = [before.distances(), loaded.value.distances()].concat();
            Sheet::new(before.source(), before.declared(), points, distances).map_err(|e| {
                Error::invalid(
                    format!("this does not go together with the sheet that is there: {e}"),
                    "leave out what it repeats, or load it without --add",
                )
            })?;
        }
        let id = self
            .add(record::Sheet {
                file: new.file,
                text,
                source: new.source,
                units: units.word().to_owned(),
                axes: new.axes,
                limit_mm: new.limit_mm,
                limit_source: new.limit_source,
                adds_to: adds_to.and_then(|(entry, _)| Some(entry?.id.clone())),
            })
            .await?;
        Ok(SheetLoaded {
            id,
            sheet: loaded.value,
            warnings: loaded.warnings,
        })
    }

    /// Takes over the sheet of another job of this shop.
    pub async fn take_sheet(&self, from: &str) -> Result<RecordId> {
        let other = self.shop.job(Some(from)).await?.view()?;
        let sheet = other.sheet().ok_or_else(|| {
            Error::invalid(
                format!("the job {} has no sheet", other.title()),
                "name another",
            )
        })?;
        self.add(sheet.body.clone()).await
    }

    /// Zones and members of the sheet's points, as they stand.
    pub fn layout(&self) -> Result<Vec<PlaceReport>> {
        let view = self.view()?;
        Ok(damage::layout(&view, &measure::sheet_of(&view)?).1)
    }

    /// Says where points belong; the others are confirmed as they were proposed.
    pub async fn set_layout(&self, said: &[(String, Place)]) -> Result<Vec<PlaceReport>> {
        let view = self.view()?;
        let sheet = measure::sheet_of(&view)?;
        let mut all: BTreeMap<String, Place> = damage::layout(&view, &sheet)
            .1
            .into_iter()
            .map(|p| {
                let (zone, member) = (p.zone, p.member);
                (p.point, Place { zone, member })
            })
            .collect();
        for (point, place) in said {
            for name in known_points(&sheet, std::slice::from_ref(point))? {
                all.insert(name, place.clone());
            }
        }
        let text = serde_json::to_string(&all).map_err(|e| Error::Internal(e.to_string()))?;
        self.set_about("layout", Value::from(text)).await?;
        self.layout()
    }

    /// Coordinates solved from the sheet's distances.
    pub fn solve_sheet(&self, front: &str, rear: &str) -> Result<SolvedSheet> {
        audit::solve(&measure::sheet_of(&self.view()?)?, front, rear)
    }

    /// The sheet against itself.
    pub fn audit_sheet(&self) -> Result<SheetAudit> {
        audit::audit(&measure::sheet_of(&self.view()?)?)
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
