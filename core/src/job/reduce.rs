//! A document made anew from the records that may go out.
//!
//! The history of a job's document holds all that was ever typed into it, so what is to stay in the
//! shop can't be taken out of it. What leaves is another document, with the same records under the
//! same identities, each with its author and time, and without any history. It says of itself that it
//! is a copy ([`super::view::JobView::copy_for`]), so that nobody merges it with the job.

use std::collections::HashSet;

use automerge::Automerge;
use serde_json::Value;

use super::record::{self, Record, RecordId, Stamp};
use super::tree;
use super::view::JobView;
use crate::error::{Error, Result};

/// What is kept.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Keep<'a> {
    /// Whom the copy is for, as the document says.
    pub copy_for: &'a str,
    pub internal_notes: bool,
    pub housekeeping: bool,
    pub device_names: bool,
}

/// The new document, and what is not in it.
#[derive(Debug)]
pub(crate) struct Reduced {
    pub saved: Vec<u8>,
    /// Notes for the shop alone.
    pub internal_notes: usize,
    /// Receipts and clock offsets.
    pub housekeeping: usize,
    /// Seals that cover a record that was left out.
    pub seals: Vec<RecordId>,
}

/// Makes the document anew. `view` is what it says.
///
/// # Errors
/// [`Error::Internal`] only.
pub(crate) fn reduce(saved: &[u8], view: &JobView, keep: &Keep<'_>) -> Result<Reduced> {
    let from = Automerge::load(saved).map_err(|e| Error::Internal(e.to_string()))?;
    let notes: HashSet<&RecordId> = view
        .notes
        .iter()
        .filter(|note| note.body.internal && !keep.internal_notes)
        .map(|note| &note.id)
        .collect();
    let supports: HashSet<&RecordId> = view
        .supports
        .iter()
        .filter(|support| notes.contains(&support.body.note))
        .map(|support| &support.id)
        .collect();
    let seals: Vec<RecordId> = view
        .seals
        .iter()
        .filter(|seal| !keep.internal_notes && covers_internal(&seal.body.sealed, &notes))
        .map(|seal| seal.id.clone())
        .collect();
    let stays = |id: &RecordId| notes.contains(id) || supports.contains(id) || seals.contains(id);
    let mut doc = tree::new_document(&view.id)?;
    let mut housekeeping = 0;
    // Who was removed from the crew can't be told by a document without history, so what was set
    // aside stays in the shop.
    let aside = view.set_aside.iter().map(|aside| &aside.id).collect();
    let mut copier = Copier {
        aside,
        from: &from,
        to: &mut doc,
    };
    copier.all::<record::Sheet>(|_, _| true)?;
    copier.all::<record::Opening>(|_, _| true)?;
    copier.all::<record::Closing>(|_, _| true)?;
    copier.all::<record::Survey>(|_, _| true)?;
    copier.all::<record::Reading>(|_, _| true)?;
    copier.all::<record::Tram>(|_, _| true)?;
    copier.all::<record::Move>(|_, _| true)?;
    copier.all::<record::Photo>(|_, _| true)?;
    copier.all::<record::Cover>(|_, _| true)?;
    copier.all::<record::Picture>(|_, _| true)?;
    copier.all::<record::Note>(|id, _| !stays(id))?;
    copier.all::<record::Support>(|id, _| !stays(id))?;
    copier.all::<record::Tick>(|_, _| true)?;
    copier.all::<record::Release>(|_, _| true)?;
    copier.all::<record::Tie>(|_, _| true)?;
    copier.all::<record::ClockPoint>(|_, _| true)?;
    // The reason for withdrawing what stays in the shop stays there with it.
    copier.all::<record::Withdrawal>(|_, w| !stays(&w.target))?;
    copier.all::<record::Seal>(|id, _| !stays(id))?;
    housekeeping += copier.all::<record::Receipt>(|_, _| keep.housekeeping)?;
    housekeeping += copier.all::<record::Skew>(|_, _| keep.housekeeping)?;
    copier.all::<record::Settlement>(|_, _| true)?;
    copier.all::<record::Device>(|_, _| keep.device_names)?;
    for key in ["name", "vehicle", "zone", "plan", "part", "layout"] {
        copier.about(key)?;
    }
    tree::mark_copy(&mut doc, keep.copy_for)?;
    Ok(Reduced {
        saved: doc.save(),
        internal_notes: notes.len(),
        housekeeping,
        seals,
    })
}

/// Whether a sealed form has a note for the shop alone.
fn covers_internal(sealed: &str, notes: &HashSet<&RecordId>) -> bool {
    let Ok(form) = serde_json::from_str::<Value>(sealed) else {
        // What can't be understood can't be let out either.
        return true;
    };
    let sealed = form.pointer("/records/notes").and_then(Value::as_object);
    sealed.into_iter().flatten().any(|(id, note)| {
        let internal = note.get("internal").and_then(Value::as_bool);
        internal == Some(true) || notes.iter().any(|n| n.0 == *id)
    })
}

struct Copier<'d> {
    aside: HashSet<&'d RecordId>,
    from: &'d Automerge,
    to: &'d mut Automerge,
}

impl Copier<'_> {
    /// Copies the records of one kind that may go. Fields that this version does not know don't.
    /// Gives the number of those left out.
    fn all<R: Record>(&mut self, goes: impl Fn(&RecordId, &R) -> bool) -> Result<usize> {
        let records = tree::read_records::<R>(self.from, &mut Vec::new());
        let (goes, stays): (Vec<_>, Vec<_>) = records
            .into_iter()
            .filter(|(id, _, _)| !self.aside.contains(id))
            .partition(|(id, _, body)| goes(id, body));
        tree::change(self.to, "a copy", |tx| {
            for (id, stamp, body) in &goes {
                tree::put_record(tx, &id.0, body, stamp)?;
            }
            Ok(())
        })?;
        Ok(stays.len())
    }

    /// Copies a value about the job; all of them where several stand.
    fn about(&mut self, key: &str) -> Result<()> {
        let claims: Vec<(Value, Stamp)> = tree::about(self.from, key)
            .into_iter()
            .filter_map(|about| {
                let value = about.fields.get("value")?.clone();
                let stamp = serde_json::from_value(Value::Object(about.fields)).ok()?;
                Some((value, stamp))
            })
            .collect();
        // Values stand side by side only where they were set apart.
        let base = self.to.fork();
        for (value, stamp) in &claims {
            let mut apart = base.fork();
            tree::change(&mut apart, "a copy", |tx| {
                tree::put_about(tx, key, value, stamp)
            })?;
            let merged = self.to.merge(&mut apart);
            merged.map_err(|e| Error::Internal(format!("a copy could not be made: {e}")))?;
        }
        Ok(())
    }
}
