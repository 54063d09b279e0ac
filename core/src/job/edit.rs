//! The small named changes to a job document. Each is one automerge change, all or nothing.

use automerge::{Automerge, ChangeHash};
use serde_json::Value;

use super::record::{ClockPoint, Device, Photo, Receipt, Record, RecordId, Stamp, Tie};
use super::tree;
use crate::error::Result;

/// Adds records of one kind in one change.
pub(crate) fn add_records<R: Record>(
    doc: &mut Automerge,
    records: &[(RecordId, R)],
    stamp: &Stamp,
) -> Result<Option<ChangeHash>> {
    let message = format!("add {}", R::WORD);
    tree::change(doc, &message, |tx| {
        for (id, record) in records {
            tree::put_record(tx, &id.0, record, stamp)?;
        }
        Ok(())
    })
}

/// Adds one record and many of another kind that belong to it, in one change.
pub(crate) fn add_with<A: Record, B: Record>(
    doc: &mut Automerge,
    first: (&RecordId, &A),
    rest: &[(RecordId, B)],
    stamp: &Stamp,
) -> Result<Option<ChangeHash>> {
    let message = format!("add {}", A::WORD);
    tree::change(doc, &message, |tx| {
        tree::put_record(tx, &first.0.0, first.1, stamp)?;
        for (id, record) in rest {
            tree::put_record(tx, &id.0, record, stamp)?;
        }
        Ok(())
    })
}

/// What comes with photos that are taken in.
pub(crate) struct OfPhotos<'a> {
    /// What a person said about where they belong.
    pub ties: &'a [(RecordId, Tie)],
    /// What they show of their cameras' clocks.
    pub clocks: &'a [(RecordId, ClockPoint)],
    /// That this device holds them: only once their bytes are on the disk.
    pub receipt: (RecordId, Receipt),
}

/// Adds photos and what comes with them in one change.
pub(crate) fn add_photos(
    doc: &mut Automerge,
    photos: &[(RecordId, Photo)],
    more: &OfPhotos<'_>,
    stamp: &Stamp,
) -> Result<Option<ChangeHash>> {
    tree::change(doc, "add photo", |tx| {
        for (id, photo) in photos {
            tree::put_record(tx, &id.0, photo, stamp)?;
        }
        for (id, tie) in more.ties {
            tree::put_record(tx, &id.0, tie, stamp)?;
        }
        for (id, clock) in more.clocks {
            tree::put_record(tx, &id.0, clock, stamp)?;
        }
        tree::put_record(tx, &more.receipt.0.0, &more.receipt.1, stamp)
    })
}

/// Sets values about the job.
pub(crate) fn set_about(
    doc: &mut Automerge,
    values: &[(&str, Value)],
    stamp: &Stamp,
) -> Result<Option<ChangeHash>> {
    tree::change(doc, "set what the job is about", |tx| {
        for (key, value) in values {
            tree::put_about(tx, key, value, stamp)?;
        }
        Ok(())
    })
}

/// Says what a device calls itself.
pub(crate) fn name_device(
    doc: &mut Automerge,
    name: &str,
    stamp: &Stamp,
) -> Result<Option<ChangeHash>> {
    let device = Device {
        name: name.to_owned(),
    };
    tree::change(doc, "name a device", |tx| {
        tree::put_record(tx, &stamp.by, &device, stamp)
    })
}
