//! Questions to the surveys of a job. Nothing here is stored but what a person decides.

use datumtrail_geometry::correct::{AchievedPoint, Allowed};
use datumtrail_geometry::frame::Mat3;
use datumtrail_geometry::plan::{self, PlanRequest};
use datumtrail_geometry::verdict::{Statement, combine};

use super::job::Job;
use super::sheets::known_points;
use super::surveys::{bounded, pick_survey};
use crate::error::{Error, Result};
use crate::job::compare::{self, Compared};
use crate::job::correct::{self, PlannedMove};
use crate::job::damage::{self, Damage};
use crate::job::measure::{self, Measured};
use crate::job::mend::{self, Candidate, Suspicion};
use crate::job::record::{self, RecordId};
use crate::job::view::Entry;

/// A choice of reference points and instrument, before anyone measures.
#[derive(Clone, Debug, Default)]
pub struct SetUpChoice {
    pub refs: Vec<String>,
    pub mpe_mm: Option<f64>,
    pub mpe_in_space: bool,
    pub u_mm: Option<f64>,
    pub seating_mm: Option<f64>,
    pub build_spread_mm: Option<f64>,
}

/// A move that was decided, and what a later survey says about it.
#[derive(Clone, Debug)]
pub struct MoveOutcome {
    pub decided: Entry<record::Move>,
    pub survey: RecordId,
    pub points: Vec<AchievedPoint>,
}

impl Job<'_> {
    /// Blunders that would explain what is wrong in a survey. Sheets of the shop's other jobs are
    /// tried too, where the readings don't fit this one's.
    pub async fn suspicions(&self, measured: &Measured) -> Result<Vec<Suspicion>> {
        let view = self.view()?;
        let Some(survey) = view.surveys.iter().find(|s| s.id == measured.survey) else {
            return Ok(Vec::new());
        };
        let setup = &measured.check.setup;
        let fits = !setup.doubtful && setup.moved.is_empty() && setup.uncertainty_stated;
        let others = if fits {
            Vec::new()
        } else {
            self.other_sheets().await?
        };
        Ok(mend::suspicions(measured, &survey.body, &others))
    }

    async fn other_sheets(&self) -> Result<Vec<Candidate>> {
        let mut found = Vec::new();
        for job in self.shop.jobs().await? {
            if job.id == self.document() {
                continue;
            }
            let other = self.shop.job(Some(&job.id)).await?.view()?;
            // A sheet that can't be read fits nothing.
            if let Ok(sheet) = measure::sheet_of(&other) {
                found.push(Candidate {
                    job: other.title().to_owned(),
                    targets: measure::targets(&sheet),
                });
            }
        }
        Ok(found)
    }

    /// What a choice of reference points and instrument could decide and miss.
    pub fn plan_set_up(&self, choice: &SetUpChoice) -> Result<plan::Plan> {
        let sheet = measure::sheet_of(&self.view()?)?;
        let references = known_points(&sheet, &choice.refs)?;
        let stated = match (
            bounded("--u", choice.u_mm)?,
            bounded("--mpe", choice.mpe_mm)?,
        ) {
            (Some(u), None) => Statement::StandardUncertainty(u),
            (None, Some(bound)) if choice.mpe_in_space => Statement::BoundInSpace(bound),
            (None, Some(bound)) => Statement::BoundPerAxis(bound),
            _ => {
                return Err(Error::invalid(
                    "what the instrument can do is not stated",
                    "give its maximum permissible error, --mpe MM, or a standard uncertainty, --u MM",
                ));
            }
        };
        let seating = bounded("--seating", choice.seating_mm)?.unwrap_or(0.0);
        let u = combine(&[stated.standard_uncertainty().unwrap_or(0.0), seating]);
        let targets = measure::targets(&sheet);
        plan::plan(&PlanRequest {
            targets: &targets,
            references: &references,
            reading_covariance_mm2: Mat3::identity() * (u * u),
            build_spread_mm: bounded("--build-spread", choice.build_spread_mm)?,
        })
        .map_err(|e| {
            Error::Measurement(
                format!("no set-up can be made on {}: {e}", references.join(", ")),
                "name at least three points that don't lie in a line, better six".into(),
            )
        })
    }

    /// The damage by a survey.
    pub async fn damage(&self, survey: Option<&str>) -> Result<Damage> {
        let view = self.view()?;
        let measured = measure::measure(&view, pick_survey(&view, survey)?)?;
        damage::read(&view, &measured)
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

    /// Records that a move was decided, so that the next survey can be held against it.
    pub async fn decide_move(
        &self,
        measured: &Measured,
        planned: &PlannedMove,
    ) -> Result<RecordId> {
        self.add(planned.decided(measured)).await
    }

    /// What a survey says about the move that was decided before it; none where there was none.
    pub fn move_outcome(&self, measured: &Measured) -> Result<Option<MoveOutcome>> {
        let view = self.view()?;
        let Some(survey) = view.surveys.iter().find(|s| s.id == measured.survey) else {
            return Ok(None);
        };
        Ok(
            correct::move_before(&view, survey).map(|decided| MoveOutcome {
                decided: decided.clone(),
                survey: measured.survey.clone(),
                points: correct::achieved(&decided.body, measured),
            }),
        )
    }

    /// What moved between two surveys. Set up on the points named, or on those that are reference
    /// points in both.
    pub fn compare(&self, before: &str, after: &str, refs: &[String]) -> Result<Compared> {
        let view = self.view()?;
        let first = pick_survey(&view, Some(before))?;
        let second = pick_survey(&view, Some(after))?;
        if first.id == second.id {
            return Err(Error::invalid(
                format!("«{before}» and «{after}» are the same survey"),
                "name two",
            ));
        }
        let sheet = measure::sheet_of(&view)?;
        compare::compare(&view, first, second, &known_points(&sheet, refs)?)
    }

    /// The middle of the points named, or of the new part's, by the sheet.
    pub fn middle_of(&self, points: &[String]) -> Result<[f64; 3]> {
        let view = self.view()?;
        let sheet = measure::sheet_of(&view)?;
        let names = match (points.is_empty(), view.part()) {
            (true, Some(part)) => part.points,
            _ => known_points(&sheet, points)?,
        };
        let positions: Vec<[f64; 3]> = names
            .iter()
            .filter_map(|name| sheet.point(name))
            .map(|p| p.position_mm)
            .collect();
        let n = positions.len().max(1) as f64;
        Ok([0, 1, 2].map(|k| positions.iter().map(|p| p[k]).sum::<f64>() / n))
    }

    /// The sheet's positions of two points, as a direction from one to the other and the first's
    /// position, millimetres.
    pub fn line(&self, from: &str, to: &str) -> Result<([f64; 3], [f64; 3])> {
        let sheet = measure::sheet_of(&self.view()?)?;
        let position = |name: &str| -> Result<[f64; 3]> {
            let known = known_points(&sheet, &[name.to_owned()])?;
            let point = known.first().and_then(|name| sheet.point(name));
            Ok(point.map_or([0.0; 3], |p| p.position_mm))
        };
        let (a, b) = (position(from)?, position(to)?);
        let along = [b[0] - a[0], b[1] - a[1], b[2] - a[2]];
        Ok((along, a))
    }
}
