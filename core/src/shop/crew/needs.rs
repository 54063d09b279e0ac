//! What a job asks of the devices that share it, read once for each state of its document.

use std::collections::{BTreeMap, HashMap};
use std::sync::{Arc, Mutex, PoisonError};

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

/// By document: the heads at which it was read, and what it asked.
type Known = HashMap<DocumentId, (Vec<ChangeHash>, Arc<Needs>)>;

/// The needs of all jobs.
#[derive(Default)]
pub struct AllNeeds {
    known: Mutex<Known>,
}

impl AllNeeds {
    /// What a job asks now.
    ///
    /// # Errors
    /// If the document is not a job.
    pub fn of(&self, handle: &DocHandle) -> Result<Arc<Needs>> {
        let heads = handle.with_document(|doc| doc.get_heads());
        if let Some((then, needs)) = self.lock().get(handle.document_id())
            && *then == heads
        {
            return Ok(Arc::clone(needs));
        }
        let needs = Arc::new(Needs::read(handle)?);
        let entry = (heads, Arc::clone(&needs));
        self.lock().insert(handle.document_id().clone(), entry);
        Ok(needs)
    }

    /// What was last known of a job, without reading it.
    pub fn last(&self, document: &DocumentId) -> Option<Arc<Needs>> {
        let known = self.lock();
        known.get(document).map(|(_, needs)| Arc::clone(needs))
    }

    fn lock(&self) -> std::sync::MutexGuard<'_, Known> {
        // Only whole entries are ever put in.
        self.known.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
