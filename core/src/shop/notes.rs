//! Notes.

use super::job::Job;
use crate::error::{Error, Result};
use crate::job::record::{self, RecordId};
use crate::job::{stage, view};

/// A note to be added.
#[derive(Clone, Debug, Default)]
pub struct NewNote {
    pub text: String,
    /// The stage it belongs to; the one stage that is open where none is named.
    pub stage: Option<String>,
    /// The photo it is about.
    pub photo: Option<String>,
    /// What the plan asks for by this key.
    pub about: Option<String>,
    /// Written for the shop alone.
    pub internal: bool,
}

impl Job<'_> {
    /// Adds a note.
    pub async fn add_note(&self, new: NewNote) -> Result<RecordId> {
        let text = new.text.trim();
        if text.is_empty() {
            return Err(Error::invalid(
                "a note needs words",
                "type what you saw or did",
            ));
        }
        let all = self.view()?;
        let plan = self.plan(&all)?;
        let stage = match new.stage {
            Some(key) => Some(plan.stage(&key)?.key.clone()),
            None => {
                let stages = stage::stages(&all, &plan);
                let mut open = stages.iter().filter(|s| s.state == stage::State::Open);
                match (open.next(), open.next()) {
                    (Some(one), None) => Some(one.name.clone()),
                    _ => None,
                }
            }
        };
        let photo = match new.photo {
            Some(typed) => Some(view::find(&all.photos, &typed)?.id.clone()),
            None => None,
        };
        self.add(record::Note {
            text: text.to_owned(),
            stage,
            photo,
            about: new.about,
            internal: new.internal,
        })
        .await
    }
}
