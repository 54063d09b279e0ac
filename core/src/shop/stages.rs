//! Opening and closing stages; hold points.

use super::job::Job;
use crate::error::{Error, Result};
use crate::job::hold::{Evidence, State as HoldIs};
use crate::job::record::{self, Passed, RecordId};
use crate::job::stage::{self, State};
use crate::job::tie::{Ties, zone_of};

impl Job<'_> {
    /// Opens a stage, now or at a stated time in the past.
    ///
    /// # Errors
    /// [`Error::Held`] with exactly what is missing, where it lies behind a closed hold point.
    pub async fn open_stage(&self, key: &str, at: Option<&str>) -> Result<RecordId> {
        let view = self.view()?;
        let plan = self.plan(&view)?;
        let key = plan.stage(key)?.key.clone();
        let stages = stage::stages(&view, &plan);
        if stages
            .iter()
            .any(|s| s.name == key && s.state == State::Open)
        {
            return Err(Error::invalid(
                format!("the stage {key} is already open"),
                format!("close it with `datumtrail stage close {key}`"),
            ));
        }
        let ties = Ties::new(&view, &stages);
        let mut evidence = Evidence::new(&view, &plan, &ties);
        let mut passed = Vec::new();
        for hold in plan.holds_before(&key) {
            let state = evidence.state(hold);
            match state.state {
                HoldIs::Closed => {
                    return Err(Error::Held {
                        hold: hold.key.clone(),
                        stage: key.clone(),
                        missing: state.missing(),
                    });
                }
                HoldIs::OpenByEvidence => passed.push(Passed {
                    hold: hold.key.clone(),
                    how: "evidence".into(),
                    release: None,
                }),
                HoldIs::OpenByRelease => passed.push(Passed {
                    hold: hold.key.clone(),
                    how: "release".into(),
                    release: state
                        .releases
                        .iter()
                        .rev()
                        .find(|r| r.stands())
                        .map(|r| r.id.clone()),
                }),
            }
        }
        let opened = self.time(at, &zone_of(&view))?;
        self.add(record::Opening {
            stage: key,
            opened,
            passed,
        })
        .await
    }

    /// Closes a stage, now or at a stated time in the past.
    pub async fn close_stage(&self, key: &str, at: Option<&str>) -> Result<RecordId> {
        let view = self.view()?;
        let plan = self.plan(&view)?;
        let stages = stage::stages(&view, &plan);
        let span = stages
            .iter()
            .find(|s| s.name == key)
            .and_then(|s| s.spans.iter().rev().find(|span| span.closed.is_none()));
        let Some(span) = span else {
            plan.stage(key)?;
            return Err(Error::invalid(
                format!("the stage {key} is not open"),
                format!("open it with `datumtrail stage open {key}`"),
            ));
        };
        let closed = self.time(at, &zone_of(&view))?;
        if stage::instant(&closed) < stage::instant(&span.opened) {
            return Err(Error::invalid(
                format!(
                    "the stage {key} was opened at {}, after {closed}",
                    span.opened
                ),
                "look at the time",
            ));
        }
        self.add(record::Closing {
            opening: span.opening.clone(),
            closed,
        })
        .await
    }

    /// Lets a hold point be passed without its evidence. The name and the reason stay for ever.
    ///
    /// # Errors
    /// [`Error::Invalid`] without a name and a reason, or where the evidence is complete.
    pub async fn release(&self, hold: &str, name: &str, reason: &str) -> Result<RecordId> {
        let view = self.view()?;
        let plan = self.plan(&view)?;
        let hold = plan.hold(hold)?;
        if name.trim().is_empty() || reason.trim().is_empty() {
            return Err(Error::invalid(
                "a release needs the name of the person who answers for it, and a reason",
                "give both: --name NAME --reason TEXT",
            ));
        }
        let ties = Ties::new(&view, &stage::stages(&view, &plan));
        let state = Evidence::new(&view, &plan, &ties).state(hold);
        if state.state == HoldIs::OpenByEvidence {
            return Err(Error::invalid(
                format!("the hold point «{}» is open by its evidence", hold.key),
                "nothing has to be released",
            ));
        }
        self.add(record::Release {
            hold: hold.key.clone(),
            name: name.trim().to_owned(),
            reason: reason.trim().to_owned(),
            missing: state.missing(),
        })
        .await
    }

    /// Ticks a check of the plan.
    pub async fn tick(&self, check: &str, text: Option<&str>) -> Result<RecordId> {
        let view = self.view()?;
        let plan = self.plan(&view)?;
        let mut keys = plan
            .holds
            .iter()
            .flat_map(|h| &h.needs)
            .filter_map(|n| match n {
                crate::job::plan::Need::Check { key, .. } => Some(key.as_str()),
                _ => None,
            });
        if !keys.any(|key| key == check) {
            return Err(Error::Unknown {
                kind: "check",
                name: check.to_owned(),
                todo: "`datumtrail hold list` shows what the hold points need".into(),
            });
        }
        self.add(record::Tick {
            check: check.to_owned(),
            text: text.map(str::to_owned),
        })
        .await
    }
}
