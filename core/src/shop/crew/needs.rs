//! What a job asks of the devices that share it, read once for each state of its document.

use std::collections::{BTreeMap, HashMap};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use automerge::ChangeHash;
use datumtrail_crew::MemberId;
use samod::{DocHandle, DocumentId};

use crate::error::Result;
use crate::job::SCHEMA;
use crate::job::plan::{self, Plan};
use crate::job::record::RecordId;
use crate::job::stage::{self, State};
use crate::job::tie::Ties;
use crate::job::view::JobView;
use crate::store::blobs::BlobId;

/// A document that didn't come is passed over for so long.
const STUCK: Duration = Duration::from_secs(30);

/// What a job asks.
#[derive(Debug, Default)]
pub struct Needs {
    /// The devices that the job is limited to.
    pub limited_to: Option<Vec<String>>,
    pub photos: Vec<PhotoNeed>,
    /// Whether this version of the program may write in it.
    pub writable: bool,
    /// The devices removed from the crew, and the heads known then, as the document has them.
    pub removals: Vec<(String, Vec<String>)>,
    /// The last clock offset that each pair of devices recorded, seconds.
    pub skews: BTreeMap<(String, String), f64>,
}

/// A photo that devices should hold.
#[derive(Clone, Debug)]
pub struct PhotoNeed {
    pub id: RecordId,
    pub original: BlobId,
    pub bytes: u64,
    pub preview: Option<BlobId>,
    /// Of a stage that is open now: somebody may be waiting to see it.
    pub pressing: bool,
    /// The device that took it in.
    pub by: String,
    /// The devices that hold it by their own receipts, and since when.
    pub holders: BTreeMap<String, String>,
}

impl Needs {
    /// Whether a member may have the job.
    pub fn is_open_to(&self, member: &MemberId) -> bool {
        match &self.limited_to {
            None => true,
            Some(devices) => devices.contains(&member.to_string()),
        }
    }

    fn read(handle: &DocHandle) -> Result<Self> {
        let document = handle.document_id().to_string();
        let view = handle.with_document(|doc| JobView::read(doc, &document))?;
        let text = view.plan.value.as_deref().unwrap_or(plan::SHIPPED);
        let open: Vec<String> = match Plan::parse(text) {
            Ok(plan) => (stage::stages(&view, &plan).iter())
                .filter(|s| s.state == State::Open)
                .map(|s| s.name.clone())
                .collect(),
            Err(_) => Vec::new(),
        };
        let ties = match Plan::parse(text) {
            Ok(plan) => Ties::new(&view, &stage::stages(&view, &plan)),
            Err(_) => Ties::default(),
        };
        let mut holders = view.holders();
        // Withdrawn photos too: they are part of the record.
        let photos = (view.photos.iter())
            .map(|photo| PhotoNeed {
                id: photo.id.clone(),
                original: photo.body.blob.clone(),
                bytes: photo.body.bytes,
                preview: photo.body.preview.clone(),
                pressing: (ties.of(&photo.id))
                    .and_then(|tie| tie.tie.offered())
                    .is_some_and(|stage| open.iter().any(|o| o == stage)),
                by: photo.stamp.by.clone(),
                holders: holders.remove(&photo.id).unwrap_or_default(),
            })
            .collect();
        let removals = (view.removals.iter())
            .map(|r| (r.body.device.clone(), r.body.heads.clone()))
            .collect();
        let skews = (view.skews.iter())
            .map(|s| ((s.stamp.by.clone(), s.body.device.clone()), s.body.offset_s))
            .collect();
        Ok(Self {
            limited_to: view.limited_to(),
            writable: view.schema <= SCHEMA,
            photos,
            removals,
            skews,
        })
    }
}

struct Known {
    handle: DocHandle,
    /// The heads at which it was read.
    heads: Vec<ChangeHash>,
    needs: Arc<Needs>,
}

/// The needs of all jobs.
#[derive(Default)]
pub struct AllNeeds {
    known: Mutex<HashMap<DocumentId, Known>>,
    /// The devices that each job was limited to when the engine was last told of it.
    told: Mutex<HashMap<DocumentId, Option<Vec<String>>>>,
    /// Documents that did not come in time, and when they were last waited for.
    stuck: Mutex<HashMap<DocumentId, Instant>>,
}

impl AllNeeds {
    /// What a job asks now.
    ///
    /// # Errors
    /// If the document is not a job.
    pub fn of(&self, handle: &DocHandle) -> Result<Arc<Needs>> {
        let heads = || handle.with_document(|doc| doc.get_heads());
        let id = handle.document_id();
        let mut before = heads();
        loop {
            if let Some(known) = lock(&self.known).get(id)
                && known.heads == before
            {
                return Ok(Arc::clone(&known.needs));
            }
            let needs = Arc::new(Needs::read(handle)?);
            let now = heads();
            if now == before {
                let known = Known {
                    handle: handle.clone(),
                    heads: before,
                    needs: Arc::clone(&needs),
                };
                lock(&self.known).insert(id.clone(), known);
                return Ok(needs);
            }
            // It changed while it was read: what was read may be older than what somebody else
            // has put here.
            before = now;
        }
    }

    /// What was last known of a job, without reading it.
    pub fn last(&self, document: &DocumentId) -> Option<Arc<Needs>> {
        let known = lock(&self.known);
        known.get(document).map(|known| Arc::clone(&known.needs))
    }

    /// The document of a job that was read before.
    pub fn handle(&self, document: &DocumentId) -> Option<DocHandle> {
        let known = lock(&self.known);
        known.get(document).map(|known| known.handle.clone())
    }

    /// What all jobs that were read before ask now.
    pub fn all_known(&self) -> Vec<Arc<Needs>> {
        let handles: Vec<DocHandle> = {
            let known = lock(&self.known);
            known.values().map(|known| known.handle.clone()).collect()
        };
        handles.iter().filter_map(|h| self.of(h).ok()).collect()
    }

    /// Whether a job is limited to other devices than when this was last asked.
    pub fn limits_changed(&self, document: &DocumentId, needs: &Needs) -> bool {
        let now = needs.limited_to.clone();
        let before = lock(&self.told).insert(document.clone(), now.clone());
        before != Some(now)
    }

    /// Whether a document that didn't come is worth waiting for again.
    pub fn is_worth_waiting_for(&self, document: &DocumentId) -> bool {
        let stuck = lock(&self.stuck);
        (stuck.get(document)).is_none_or(|since| since.elapsed() > STUCK)
    }

    /// A document didn't come in time.
    pub fn did_not_come(&self, document: DocumentId) {
        lock(&self.stuck).insert(document, Instant::now());
    }
}

/// Only whole entries are ever put in.
fn lock<T>(mutex: &Mutex<T>) -> std::sync::MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}
