//! Opening a shop folder; its jobs.

use std::collections::HashSet;
use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};

use datumtrail_crew::{Crew, Gate, NetOptions};
use jiff::Timestamp;
use jiff::tz::TimeZone;
use samod::DocumentId;
use serde::Serialize;
use serde_json::Value;
use tokio::sync::OnceCell;
use uuid::{ContextV7, Uuid};

use super::clock::{Clock, SystemClock};
use super::crew::needs::AllNeeds;
use super::job::Job;
use crate::error::{Error, Result};
use crate::job::edit;
use crate::job::plan::{self, Plan};
use crate::job::record::{RecordId, Stamp};
use crate::job::view::{JobView, Settled};
use crate::job::{new_document, tie};
use crate::store::blobs::{BlobId, Blobs};
use crate::store::durable::DurableStorage;
use crate::store::{DeviceId, DeviceKey, ShopFolder, ShopSettings};

/// How to open a shop.
#[derive(Clone)]
pub struct ShopOptions {
    /// Where the time comes from.
    pub clock: Arc<dyn Clock>,
    /// Who is at the keyboard, where they say so.
    pub person: Option<String>,
    /// What to call this device, if it has no name yet.
    pub device_name: Option<String>,
    /// How to use the network.
    pub net: NetOptions,
}

impl Default for ShopOptions {
    fn default() -> Self {
        Self {
            clock: Arc::new(SystemClock),
            person: None,
            device_name: None,
            net: NetOptions::default(),
        }
    }
}

/// An open shop folder, as one person at the keyboard has it.
pub struct Shop {
    pub(super) inner: Arc<Inner>,
    pub(super) person: Mutex<Option<String>>,
}

/// What everyone at work on a shop folder shares.
pub(super) struct Inner {
    pub folder: ShopFolder,
    pub storage: DurableStorage,
    settings: Mutex<ShopSettings>,
    pub key: DeviceKey,
    pub repo: samod::Repo,
    blobs: OnceCell<Blobs>,
    pub options: ShopOptions,
    ids: Mutex<ContextV7>,
    pub gate: Gate,
    pub crew: OnceCell<Crew>,
    /// What the jobs ask of the crew's devices.
    pub needs: AllNeeds,
    /// Originals that somebody waits for.
    pub asked: Mutex<HashSet<BlobId>>,
    /// Originals that this device is about to let go of.
    pub leaving: Mutex<HashSet<BlobId>>,
}

/// What a new job starts with.
#[derive(Clone, Debug, Default)]
pub struct NewJob {
    pub name: String,
    pub vehicle: Option<String>,
    /// An IANA time zone; the shop's own where none is given.
    pub zone: Option<String>,
    /// The text of a plan; the shipped one where none is given.
    pub plan: Option<String>,
}

/// A job in a list.
#[derive(Clone, Debug, Serialize)]
pub struct JobSummary {
    pub id: String,
    pub name: Settled,
    pub vehicle: Settled,
    pub current: bool,
    pub photos: usize,
    pub readings: usize,
    pub notes: usize,
}

impl Shop {
    /// Opens the folder, making it when it isn't there. Until the shop is closed or dropped, no
    /// other process can open it.
    ///
    /// # Errors
    /// [`Error::ShopInUse`], [`Error::TooNew`], [`Error::Damaged`], or what the file system says.
    pub async fn open(path: &Path, options: ShopOptions) -> Result<Self> {
        let (folder, mut settings) = ShopFolder::open(path)?;
        let key = DeviceKey::load_or_create(folder.path())?;
        if settings.device_name.is_empty()
            && let Some(name) = options.device_name.clone().filter(|n| !n.trim().is_empty())
        {
            settings.device_name = name;
            folder.write_settings(&settings)?;
        }
        let storage = DurableStorage::new(folder.documents());
        storage.sweep();
        let gate = Gate::new();
        let repo = samod::Repo::build_tokio()
            .with_storage(storage.clone())
            .with_peer_id(datumtrail_crew::peer_id(&key.member()))
            .with_share_policy(gate.clone())
            .load()
            .await;
        Ok(Self {
            person: Mutex::new(options.person.clone()),
            inner: Arc::new(Inner {
                folder,
                storage,
                settings: Mutex::new(settings),
                key,
                repo,
                blobs: OnceCell::new(),
                options,
                ids: Mutex::new(ContextV7::new()),
                gate,
                crew: OnceCell::new(),
                needs: AllNeeds::default(),
                asked: Mutex::default(),
                leaving: Mutex::default(),
            }),
        })
    }

    /// Writes out what is held back. The folder is let go of when the last [`Shop::for_person`] of
    /// it is dropped, too.
    pub async fn close(self) {
        if let Some(crew) = self.inner.crew.get() {
            crew.stop().await;
        }
        self.inner.repo.stop().await;
        if let Some(blobs) = self.inner.blobs.get() {
            blobs.close().await;
        }
    }

    /// The same open folder for somebody else at the keyboard: what is written through it carries
    /// that name.
    pub fn for_person(&self, person: Option<String>) -> Self {
        Self {
            inner: Arc::clone(&self.inner),
            person: Mutex::new(person),
        }
    }

    /// The folder.
    pub fn path(&self) -> &Path {
        self.inner.folder.path()
    }

    /// This device.
    pub fn device(&self) -> DeviceId {
        self.inner.key.id()
    }

    pub(super) fn key(&self) -> &DeviceKey {
        &self.inner.key
    }

    /// Says who is at the keyboard from now on.
    pub fn set_person(&self, person: Option<String>) {
        *self.person.lock().unwrap_or_else(PoisonError::into_inner) = person;
    }

    /// Makes a job and works on it from now on.
    pub async fn new_job(&self, new: NewJob) -> Result<Job<'_>> {
        self.refuse_if_only_looking()?;
        if new.name.trim().is_empty() {
            return Err(Error::invalid(
                "a job needs a name",
                "say what people call it, such as the order number and the vehicle",
            ));
        }
        let text = new.plan.as_deref().unwrap_or(plan::SHIPPED);
        Plan::parse(text)?;
        let zone = match new.zone {
            Some(zone) => checked_zone(&zone)?,
            None => self.zone(),
        };
        let doc = new_document(&self.new_id().0)?;
        let handle = self.inner.repo.create(doc).await.map_err(stopped)?;
        self.inner.storage.confirm(&handle).await?;
        let job = Job::new(self, handle);
        self.tell_crew(&job).await;
        let mut values = vec![
            ("name", Value::from(new.name.trim())),
            ("zone", Value::from(zone)),
            ("plan", Value::from(text)),
        ];
        if let Some(vehicle) = &new.vehicle {
            values.push(("vehicle", Value::from(vehicle.trim())));
        }
        job.edit(|doc, stamp| edit::set_about(doc, &values, stamp))
            .await?;
        self.use_job(&job.document())?;
        Ok(job)
    }

    /// The jobs in this shop.
    pub async fn jobs(&self) -> Result<Vec<JobSummary>> {
        let current = self.settings().current_job;
        let mut all = Vec::new();
        for id in self.inner.storage.list()? {
            let job = self.open_document(id).await?;
            let view = job.view()?;
            all.push(JobSummary {
                current: current.as_deref() == Some(view.document.as_str()),
                id: view.document,
                name: view.name,
                vehicle: view.vehicle,
                photos: view.photos.iter().filter(|p| p.stands()).count(),
                readings: view.readings.iter().filter(|r| r.stands()).count(),
                notes: view.notes.iter().filter(|n| n.stands()).count(),
            });
        }
        Ok(all)
    }

    /// Opens a job by its identity, the end of it, or its name; the current one if none is named.
    ///
    /// # Errors
    /// [`Error::Unknown`] if there is none, [`Error::Invalid`] if several fit.
    pub async fn job(&self, which: Option<&str>) -> Result<Job<'_>> {
        let Some(typed) = which else {
            let Some(current) = self.settings().current_job else {
                return Err(Error::invalid(
                    "no job is chosen in this shop",
                    "make one with `datumtrail job new NAME`, or choose one with `datumtrail job use`",
                ));
            };
            let id = current.parse::<DocumentId>().map_err(|e| Error::Damaged {
                what: self.inner.folder.path().join("shop.toml"),
                why: format!("the current job is no identity: {e}"),
                todo: "choose a job again: datumtrail job use JOB".into(),
            })?;
            return self.open_document(id).await;
        };
        let mut fits = Vec::new();
        for job in self.jobs().await? {
            let named = job.name.value.as_deref() == Some(typed);
            if job.id == typed || named || (typed.len() >= 4 && job.id.ends_with(typed)) {
                fits.push(job.id);
            }
        }
        match fits.as_slice() {
            [] => Err(Error::Unknown {
                kind: "job",
                name: typed.to_owned(),
                todo: "`datumtrail job list` shows the jobs of this shop".into(),
            }),
            [one] => {
                let id = one
                    .parse()
                    .map_err(|_| Error::Internal("a job's identity".into()))?;
                self.open_document(id).await
            }
            _ => Err(Error::invalid(
                format!("«{typed}» fits {} jobs", fits.len()),
                "use the identity that `datumtrail job list` shows",
            )),
        }
    }

    /// Makes a job the one that commands work on unless they name another.
    pub fn use_job(&self, document: &str) -> Result<()> {
        self.change_settings(|s| s.current_job = Some(document.to_owned()))
    }

    /// The time zone in which the shop works.
    pub fn zone(&self) -> String {
        let zone = self.settings().zone;
        if !zone.is_empty() {
            return zone;
        }
        let system = TimeZone::system();
        system.iana_name().unwrap_or("UTC").to_owned()
    }

    /// Sets the time zone in which the shop works; new jobs start with it.
    pub fn set_zone(&self, zone: &str) -> Result<()> {
        let zone = checked_zone(zone)?;
        self.change_settings(|s| s.zone = zone)
    }

    pub(super) fn change_settings(&self, change: impl FnOnce(&mut ShopSettings)) -> Result<()> {
        let mut settings = self
            .inner
            .settings
            .lock()
            .unwrap_or_else(PoisonError::into_inner);
        let mut changed = settings.clone();
        change(&mut changed);
        self.inner.folder.write_settings(&changed)?;
        *settings = changed;
        Ok(())
    }

    pub(super) async fn open_document(&self, id: DocumentId) -> Result<Job<'_>> {
        if !self.inner.storage.list()?.contains(&id) {
            return Err(Error::Unknown {
                kind: "job",
                name: id.to_string(),
                todo: "`datumtrail job list` shows the jobs of this shop".into(),
            });
        }
        match self.inner.repo.find(id.clone()).await.map_err(stopped)? {
            Some(handle) => Ok(Job::new(self, handle)),
            None => Err(Error::Damaged {
                what: self.inner.folder.documents(),
                why: format!("the document {id} is there but can't be read"),
                todo: "restore it from a backup, another device or an archive".into(),
            }),
        }
    }

    pub(super) fn settings(&self) -> ShopSettings {
        self.inner
            .settings
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .clone()
    }

    /// The photos' store, opened when first needed.
    pub(super) async fn blobs(&self) -> Result<&Blobs> {
        let path = self.inner.folder.blobs();
        self.inner
            .blobs
            .get_or_try_init(|| async move { Blobs::open(&path).await })
            .await
    }

    pub(super) fn now(&self) -> Timestamp {
        self.inner.options.clock.now()
    }

    /// A new record's identity. Later ones sort behind earlier ones, also within a millisecond.
    pub(super) fn new_id(&self) -> RecordId {
        let now = self.now();
        let seconds = u64::try_from(now.as_second()).unwrap_or(0);
        let nanos = u32::try_from(now.subsec_nanosecond()).unwrap_or(0);
        let ids = self
            .inner
            .ids
            .lock()
            .unwrap_or_else(PoisonError::into_inner);
        let time = uuid::Timestamp::from_unix(&*ids, seconds, nanos);
        RecordId(Uuid::new_v7(time).to_string())
    }

    /// Who and when, for a record written now.
    pub(super) fn stamp(&self, view_zone: &TimeZone) -> Stamp {
        Stamp {
            by: self.inner.key.id().0,
            person: self
                .person
                .lock()
                .unwrap_or_else(PoisonError::into_inner)
                .clone(),
            at: written(self.now(), view_zone),
        }
    }
}

/// A time as documents hold it: RFC 3339 with the offset of the job's zone.
pub(super) fn written(time: Timestamp, zone: &TimeZone) -> String {
    time.display_with_offset(zone.to_offset(time)).to_string()
}

/// The zone of a document without reading all of it.
pub(super) fn zone_of(view: &JobView) -> TimeZone {
    tie::zone_of(view)
}

fn checked_zone(name: &str) -> Result<String> {
    TimeZone::get(name).map_err(|_| Error::Unknown {
        kind: "time zone",
        name: name.to_owned(),
        todo: "use an IANA name, such as Etc/UTC or Continent/City".into(),
    })?;
    Ok(name.to_owned())
}

fn stopped(_: samod::Stopped) -> Error {
    Error::Internal("the document store has stopped".into())
}
