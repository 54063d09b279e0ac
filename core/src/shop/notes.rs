//! Notes.

use super::job::Job;
use crate::error::{Error, Result};
use crate::job::record::{self, Record, RecordId};
use crate::job::view::Entry;
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

/// That a note supports a line of the estimate.
#[derive(Clone, Debug, Default)]
pub struct NewSupport {
    pub note: String,
    /// What has to be done, as the estimate says it.
    pub operation: String,
    /// The part it is done to.
    pub part: String,
    /// Why it is needed.
    pub reason: String,
    pub photos: Vec<String>,
    pub readings: Vec<String>,
    /// The support that this one corrects.
    pub replaces: Option<String>,
}

impl Job<'_> {
    /// Says that a note supports a line of the estimate.
    ///
    /// # Errors
    /// [`Error::Invalid`] without operation, part and reason, and for a note or evidence that no
    /// longer counts; [`Error::Unknown`] for what is not there.
    pub async fn support_estimate(&self, new: NewSupport) -> Result<RecordId> {
        let all = self.view()?;
        let note = view::find(&all.notes, &new.note)?;
        counts(note)?;
        let mut support = record::Support {
            note: note.id.clone(),
            operation: new.operation.trim().to_owned(),
            part: new.part.trim().to_owned(),
            reason: new.reason.trim().to_owned(),
            photos: Vec::new(),
            readings: Vec::new(),
            replaces: None,
        };
        let parts = [&support.operation, &support.part, &support.reason];
        if parts.iter().any(|text| text.is_empty()) {
            return Err(Error::invalid(
                "a line of the estimate needs an operation, a part and a reason",
                "give all three: --operation TEXT --part TEXT --reason TEXT",
            ));
        }
        for typed in &new.photos {
            let photo = view::find(&all.photos, typed)?;
            counts(photo)?;
            support.photos.push(photo.id.clone());
        }
        for typed in &new.readings {
            let reading = view::find(&all.readings, typed)?;
            counts(reading)?;
            support.readings.push(reading.id.clone());
        }
        if let Some(typed) = &new.replaces {
            let old = view::find(&all.supports, typed)?;
            counts(old)?;
            support.replaces = Some(old.id.clone());
        }
        self.add(support).await
    }

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

/// Refuses what was withdrawn or corrected.
fn counts<R: Record>(entry: &Entry<R>) -> Result<()> {
    if entry.stands() {
        return Ok(());
    }
    let todo = match &entry.replaced_by {
        Some(by) => format!("name the one that corrects it: {}", by.short()),
        None => "name another".to_owned(),
    };
    Err(Error::invalid(
        format!("the {} {} no longer counts", R::WORD, entry.id.short()),
        todo,
    ))
}
