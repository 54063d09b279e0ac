//! Seals: a device signs a closed stage.

use super::job::Job;
use crate::archive::sealed::{self, SealState, Standing};
use crate::archive::words;
use crate::error::{Error, Result};
use crate::job::record;
use crate::job::stage::{self, State};

impl Job<'_> {
    /// Seals a closed stage: this device signs everything that the stage rests on
    /// ([`sealed::collect`]). What was signed is kept word for word beside the signature.
    ///
    /// # Errors
    /// [`Error::Invalid`] where the stage is not closed, or where this device has sealed it and
    /// nothing has changed since; [`Error::Unknown`] for a stage that the plan does not have.
    pub async fn seal_stage(&self, key: &str) -> Result<SealState> {
        let view = self.view()?;
        let plan = self.plan(&view)?;
        let stages = stage::stages(&view, &plan);
        let key = match stages.iter().find(|s| s.name == key) {
            Some(stage) => stage.name.clone(),
            None => plan.stage(key)?.key.clone(),
        };
        match stages.iter().find(|s| s.name == key).map(|s| s.state) {
            Some(State::Closed) => {}
            Some(State::Open) => {
                return Err(Error::invalid(
                    format!("the stage {key} is still open"),
                    format!("close it first: datumtrail stage close {key}"),
                ));
            }
            _ => {
                return Err(Error::invalid(
                    format!("the stage {key} was never opened: there is nothing to seal"),
                    "`datumtrail stage list` shows the stages",
                ));
            }
        }
        let device = self.shop.device().0;
        let standing = sealed::states(&view, &plan);
        let same = standing.iter().rev().find(|seal| {
            seal.stage == key && seal.key == device && seal.standing == Standing::Unchanged
        });
        if let Some(same) = same {
            return Err(Error::invalid(
                format!(
                    "this device sealed the stage {key} on {}, and nothing has changed since",
                    words::moment(&same.at)
                ),
                "nothing has to be sealed again; `datumtrail seal list` shows the seals",
            ));
        }
        let form = sealed::collect(&view, &plan, &key)?;
        let sealed = datumtrail_seal::canonical(&form).map_err(|e| {
            Error::invalid(
                format!("the stage {key} can't be sealed: {e}"),
                "withdraw the record that has the number, and record it again",
            )
        })?;
        let signature = self.shop.key().sign(sealed.as_bytes())?;
        let seal = record::Seal {
            stage: key,
            sealed,
            signature,
        };
        let id = self.add(seal).await?;
        let made = self.seals()?.into_iter().find(|seal| seal.id == id);
        made.ok_or_else(|| Error::Internal("a seal that was written is not there".into()))
    }

    /// Every seal, whether it holds, and what was added or changed since.
    pub fn seals(&self) -> Result<Vec<SealState>> {
        let view = self.view()?;
        let plan = self.plan(&view)?;
        Ok(sealed::states(&view, &plan))
    }
}
