//! What is sealed: everything that a stage rests on, in one documented form, and what has changed
//! since.
//!
//! # The form
//! A JSON object, to be written in its canonical form (RFC 8785, [`datumtrail_seal::canonical`])
//! and signed as those bytes:
//!
//! ```text
//! { "format": "datumtrail.sealed-stage", "version": 1,
//!   "job": UUID, "stage": KEY,
//!   "records": { MAP: { IDENTITY: RECORD, ... }, ... } }
//! ```
//!
//! MAP is the record's map in the document, IDENTITY its UUID, RECORD what `records` of `job.json`
//! has for it: its fields, its stamp (`by`, `person`, `at`), and, where it does not count,
//! `withdrawn` or `replaced_by`. A photo's record names the BLAKE3 identity of its bytes.
//!
//! | map | which of them |
//! |---|---|
//! | `openings` `closings` | of the stage |
//! | `releases` | those that let it be opened |
//! | `sheets` | those that count, where the stage has surveys or tram readings |
//! | `surveys` `readings` `trams` | of the stage; the readings of its surveys |
//! | `moves` | decided by one of its surveys |
//! | `photos` | that tie to the stage for certain, by inference, or because a person said so |
//! | `ties` `clocks` | of those photos; of their cameras |
//! | `pictures` | which of those photos shows which reading, and of which photo a reading of the stage |
//! | `notes` `ticks` | of the stage or of its photos; those of no stage, made while it was open |
//!
//! Records that no longer count are in it too: that they were withdrawn is part of the record. What
//! is covered in copies that leave the shop (`covers`) is not in it: it says nothing about the stage.
//! Nor are the lines of the estimate that notes support (`supports`): they are written later, and say
//! something about the estimate.
//!
//! # Keeping it
//! The form is kept as the text that was signed, never made again from the document to be compared
//! with a signature: a later version of this program may write a field more. To see what has changed
//! since, [`changes_since`] collects the form anew and compares it record by record.

mod changes;
mod state;

use std::collections::BTreeSet;

use jiff::Timestamp;
use serde::Serialize;
use serde_json::{Map, Value, json};

use crate::archive::story::sheet;
use crate::error::{Error, Result};
use crate::job::plan::Plan;
use crate::job::record::{Record, RecordId, Stamp};
use crate::job::stage::{self, StageState, instant};
use crate::job::tie::Ties;
use crate::job::view::{Entry, JobView};

pub use changes::changes_since;
pub(crate) use state::allowed_signers;
pub use state::{SealState, Standing, states};

/// What a sealed form says it is.
pub const FORMAT: &str = "datumtrail.sealed-stage";
/// Its version: it grows when a program that reads an older one would misread a newer one.
pub const VERSION: u32 = 1;

/// Everything of one stage as it stands now, in the form that is sealed. The stage may be open;
/// whether it may be sealed is for the caller to say.
///
/// # Errors
/// [`Error::Unknown`] for a stage that neither the plan nor the document has.
pub fn collect(view: &JobView, plan: &Plan, stage: &str) -> Result<Value> {
    let stages = stage::stages(view, plan);
    let of_stage = stages.iter().find(|s| s.name == stage);
    let of_stage = of_stage.ok_or_else(|| Error::Unknown {
        kind: "stage",
        name: stage.to_owned(),
        todo: "name one of the plan's: datumtrail plan show".into(),
    })?;
    let ties = Ties::new(view, &stages);
    let records = Collector {
        view,
        stage: of_stage,
        records: Map::new(),
    }
    .all(&ties)?;
    Ok(json!({
        "format": FORMAT,
        "version": VERSION,
        "job": view.id,
        "stage": stage,
        "records": records,
    }))
}

struct Collector<'v> {
    view: &'v JobView,
    stage: &'v StageState,
    records: Map<String, Value>,
}

impl Collector<'_> {
    fn all(mut self, ties: &Ties) -> Result<Map<String, Value>> {
        let (view, stage) = (self.view, self.stage.name.as_str());
        let openings = self.put(&view.openings, |o| o.body.stage == stage)?;
        self.put(&view.closings, |c| openings.contains(&c.body.opening))?;
        let passed = view.openings.iter().filter(|o| openings.contains(&o.id));
        let passed = passed.flat_map(|o| &o.body.passed);
        let released: BTreeSet<&RecordId> = passed.filter_map(|p| p.release.as_ref()).collect();
        self.put(&view.releases, |r| released.contains(&r.id))?;

        let surveys = self.put(&view.surveys, |s| s.body.stage == stage)?;
        let readings = self.put(&view.readings, |r| surveys.contains(&r.body.survey))?;
        let trams = self.put(&view.trams, |t| t.body.stage == stage)?;
        self.put(&view.moves, |m| surveys.contains(&m.body.survey))?;
        if !surveys.is_empty() || !trams.is_empty() {
            let counting: Vec<_> = sheet::files(view).into_iter().map(|(_, s)| &s.id).collect();
            self.put(&view.sheets, |s| counting.contains(&&s.id))?;
        }

        let tied = |id: &RecordId| ties.of(id).and_then(|t| t.tie.stage()) == Some(stage);
        let photos = self.put(&view.photos, |p| tied(&p.id))?;
        self.put(&view.ties, |t| {
            t.body.stage == stage || photos.contains(&t.body.photo)
        })?;
        self.put(&view.pictures, |p| {
            photos.contains(&p.body.photo) || readings.contains(&p.body.reading)
        })?;
        let of_stage = view.photos.iter().filter(|p| photos.contains(&p.id));
        let cameras: BTreeSet<&str> = of_stage.map(|p| p.body.camera.as_str()).collect();
        self.put(&view.clocks, |c| cameras.contains(c.body.camera.as_str()))?;

        let open_at = |stamp: &Stamp| self::open_at(self.stage, stamp);
        self.put(&view.notes, |n| {
            let about_photo = n.body.photo.as_ref();
            let of_photo = about_photo.is_some_and(|photo| photos.contains(photo));
            match n.body.stage.as_deref() {
                Some(of) => of == stage || of_photo,
                None if about_photo.is_some() => of_photo,
                None => open_at(&n.stamp),
            }
        })?;
        self.put(&view.ticks, |t| open_at(&t.stamp))?;
        Ok(self.records)
    }

    /// Takes the records of a map that belong to the stage. Gives their identities.
    fn put<R: Record>(
        &mut self,
        entries: &[Entry<R>],
        belongs: impl Fn(&Entry<R>) -> bool,
    ) -> Result<BTreeSet<RecordId>> {
        let mut taken = BTreeSet::new();
        let mut map = Map::new();
        for entry in entries.iter().filter(|e| belongs(e)) {
            map.insert(entry.id.0.clone(), written(entry)?);
            taken.insert(entry.id.clone());
        }
        if !map.is_empty() {
            self.records.insert(R::MAP.to_owned(), Value::Object(map));
        }
        Ok(taken)
    }
}

/// A record as the form has it; its identity is its name there.
fn written<R: Serialize>(entry: &Entry<R>) -> Result<Value> {
    let mut value = serde_json::to_value(entry)
        .map_err(|e| Error::Internal(format!("a record could not be written: {e}")))?;
    if let Value::Object(fields) = &mut value {
        fields.remove("id");
    }
    Ok(value)
}

/// Whether the stage was open when a record was made.
fn open_at(stage: &StageState, stamp: &Stamp) -> bool {
    let Some(at) = instant(&stamp.at) else {
        return false;
    };
    let time = |text: &str| -> Option<Timestamp> { instant(text) };
    stage.spans.iter().any(|span| {
        let opened = time(&span.opened).is_some_and(|opened| opened <= at);
        let closed = span.closed.as_deref().and_then(time);
        opened && closed.is_none_or(|closed| at <= closed)
    })
}
