//! What a device wrote after it was removed from the crew.
//!
//! Such edits may still arrive, carried by a device that had not heard of the removal yet. They
//! stay in the document, for nothing is ever taken out of it, but they are set aside: listed, and
//! not counted. Every device comes to the same result, because it follows from the document alone:
//! a [`Removal`] names the heads that the remover knew, and a record of the removed device counts
//! if it was there at those heads.
//!
//! Records carry the name of the device that wrote them but no signature of their own, so this
//! holds against a device that goes on working, not against one that writes under another's name
//! and finds a member to carry that.

use std::collections::HashMap;

use automerge::{Automerge, ChangeHash};
use serde::Serialize;

use super::record::{Record, RecordId, Removal, Stamp};
use super::tree;

/// A record that was set aside.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SetAside {
    pub map: String,
    pub id: RecordId,
    #[serde(flatten)]
    pub stamp: Stamp,
}

struct One {
    id: RecordId,
    by: String,
    device: String,
    heads: Vec<ChangeHash>,
}

/// The removals in a document.
pub(crate) struct Removals {
    /// By device: the heads known at each of its removals.
    frontiers: HashMap<String, Vec<Vec<ChangeHash>>>,
}

impl Removals {
    /// Reads them. Heads that this document doesn't have yet count as not reached. A removal by a
    /// device that had itself been removed before counts for nothing; two that remove each other both
    /// count, as in the crew's roster.
    pub fn read(doc: &Automerge) -> Self {
        let all: Vec<One> = tree::read_records::<Removal>(doc, &mut Vec::new())
            .into_iter()
            .map(|(id, stamp, removal)| {
                let heads = removal.heads.iter().filter_map(|head| head.parse().ok());
                let known = heads.filter(|head| doc.get_change_meta_by_hash(head).is_some());
                One {
                    heads: known.collect(),
                    by: stamp.by,
                    device: removal.device,
                    id,
                }
            })
            .collect();
        let sets_aside = |one: &One, other: &One| {
            one.device == other.by && !tree::was_there(doc, Removal::MAP, &other.id.0, &one.heads)
        };
        let mut frontiers: HashMap<String, Vec<Vec<ChangeHash>>> = HashMap::new();
        for one in &all {
            let void = (all.iter()).any(|o| sets_aside(o, one) && !sets_aside(one, o));
            if !void {
                let known = frontiers.entry(one.device.clone()).or_default();
                known.push(one.heads.clone());
            }
        }
        Self { frontiers }
    }

    /// Whether a record was written after its device had been removed.
    pub fn sets_aside(&self, doc: &Automerge, map: &str, id: &str, stamp: &Stamp) -> bool {
        self.after(&stamp.by, |heads| tree::was_there(doc, map, id, heads))
    }

    /// The same for a value about the job, which is known by its place in the document.
    pub fn sets_claim_aside(&self, by: &str, was_there: impl Fn(&[ChangeHash]) -> bool) -> bool {
        self.after(by, was_there)
    }

    /// The heads at a device's removals.
    pub fn frontiers(&self, by: &str) -> &[Vec<ChangeHash>] {
        self.frontiers.get(by).map_or(&[], Vec::as_slice)
    }

    fn after(&self, by: &str, was_there: impl Fn(&[ChangeHash]) -> bool) -> bool {
        let frontiers = self.frontiers(by);
        !frontiers.is_empty() && !frontiers.iter().any(|heads| was_there(heads))
    }
}
