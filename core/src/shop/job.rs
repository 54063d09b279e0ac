//! An open job: reading it, changing it.

use automerge::{Automerge, ChangeHash};
use jiff::Timestamp;
use jiff::tz::TimeZone;
use samod::DocHandle;
use serde_json::Value;

use super::folder::{self, Shop};
use crate::error::{Error, Result};
use crate::job::conflict::{Conflict, conflicts};
use crate::job::edit;
use crate::job::hold::{Evidence, HoldState};
use crate::job::plan::Plan;
use crate::job::record::{self, Record, RecordId, Stamp};
use crate::job::stage::{self, StageState};
use crate::job::tie::Ties;
use crate::job::view::{JobView, Part};
use crate::job::{about_text, device_name};

/// An open job. What a method that changes something returns is on the disk.
pub struct Job<'a> {
    pub(super) shop: &'a Shop,
    handle: DocHandle,
}

impl<'a> Job<'a> {
    pub(super) fn new(shop: &'a Shop, handle: DocHandle) -> Self {
        Self { shop, handle }
    }

    pub(super) fn handle(&self) -> &DocHandle {
        &self.handle
    }

    /// The document's identity, as automerge-repo writes it.
    pub fn document(&self) -> String {
        self.handle.document_id().to_string()
    }

    /// Everything in the document.
    pub fn view(&self) -> Result<JobView> {
        let document = self.document();
        self.handle
            .with_document(|doc| JobView::read(doc, &document))
    }

    /// The job's name, without reading the rest; its identity where nobody named it.
    pub fn title(&self) -> Result<String> {
        let name = self.handle.with_document(|doc| about_text(doc, "name"));
        Ok(name.unwrap_or_else(|| self.document()))
    }

    /// The whole history, as any automerge library reads it.
    pub fn save(&self) -> Vec<u8> {
        self.handle.with_document(|doc| doc.save())
    }

    /// The plan that counts.
    pub fn plan(&self, view: &JobView) -> Result<Plan> {
        let text = view.plan.value.as_deref();
        Plan::parse(text.unwrap_or(crate::job::plan::SHIPPED))
    }

    /// The stages, as they stand.
    pub fn stages(&self) -> Result<Vec<StageState>> {
        let view = self.view()?;
        let plan = self.plan(&view)?;
        Ok(stage::stages(&view, &plan))
    }

    /// The hold points, as they stand.
    pub fn holds(&self) -> Result<Vec<HoldState>> {
        let view = self.view()?;
        let plan = self.plan(&view)?;
        let ties = Ties::new(&view, &stage::stages(&view, &plan));
        Ok(Evidence::new(&view, &plan, &ties).all())
    }

    /// Sets the plan.
    pub async fn load_plan(&self, text: &str) -> Result<Plan> {
        let plan = Plan::parse(text)?;
        self.set_about("plan", Value::from(text)).await?;
        Ok(plan)
    }

    /// Names the job.
    pub async fn rename(&self, name: &str) -> Result<()> {
        if name.trim().is_empty() {
            return Err(Error::invalid("a job needs a name", "type one"));
        }
        self.set_about("name", Value::from(name.trim())).await
    }

    /// Says which control points are on the new part.
    pub async fn set_part(&self, name: &str, points: &[String]) -> Result<()> {
        let sheet = crate::job::measure::sheet_of(&self.view()?)?;
        let part = Part {
            name: name.trim().to_owned(),
            points: super::sheets::known_points(&sheet, points)?,
        };
        if part.points.is_empty() || part.name.is_empty() {
            return Err(Error::invalid(
                "a part needs a name and at least one control point",
                "datumtrail part set NAME --points A,B",
            ));
        }
        let text = serde_json::to_string(&part).map_err(|e| Error::Internal(e.to_string()))?;
        self.set_about("part", Value::from(text)).await
    }

    /// What two people did at once, settled or not.
    pub fn conflicts(&self) -> Result<Vec<Conflict>> {
        let view = self.view()?;
        Ok(self.handle.with_document(|doc| conflicts(doc, &view)))
    }

    /// Says that clashing records all stand as they are.
    ///
    /// # Errors
    /// [`Error::Invalid`] unless the records named are the sides of one conflict.
    pub async fn settle(&self, typed: &[String], reason: &str) -> Result<RecordId> {
        if reason.trim().is_empty() {
            return Err(Error::invalid(
                "a settlement needs a reason",
                "say why all of them stand",
            ));
        }
        let fits = |conflict: &Conflict| -> Option<Vec<RecordId>> {
            let ids: Vec<RecordId> = conflict.sides.iter().filter_map(|s| s.id.clone()).collect();
            let named = |id: &RecordId| typed.iter().any(|t| t.len() >= 4 && id.0.ends_with(t));
            let known = |t: &String| ids.iter().any(|id| t.len() >= 4 && id.0.ends_with(t));
            (!ids.is_empty() && ids.iter().all(named) && typed.iter().all(known)).then_some(ids)
        };
        let conflicts = self.conflicts()?;
        let Some(records) = conflicts.iter().find_map(fits) else {
            return Err(Error::invalid(
                "these are not the sides of one conflict",
                "`datumtrail job conflicts` lists them; name all sides of one",
            ));
        };
        self.add(record::Settlement {
            records,
            reason: reason.trim().to_owned(),
        })
        .await
    }

    /// Limits the job to some devices of the crew and this one, or to none in particular: then
    /// every member has it. What a device already holds, it keeps.
    ///
    /// # Errors
    /// [`Error::Unknown`] for a device that is no member.
    pub async fn limit_to(&self, devices: Option<&[String]>) -> Result<()> {
        let value = match devices {
            None => Value::Null,
            Some(typed) => {
                let mut keys = vec![self.shop.device().0];
                for name in typed {
                    let key = self.shop.member(name)?;
                    if !keys.contains(&key) {
                        keys.push(key);
                    }
                }
                Value::from(serde_json::to_string(&keys).unwrap_or_default())
            }
        };
        self.set_about("members", value).await
    }

    /// Withdraws a record: it stays, and no longer counts.
    pub async fn withdraw(&self, typed: &str, reason: &str) -> Result<RecordId> {
        if reason.trim().is_empty() {
            return Err(Error::invalid(
                "a withdrawal needs a reason",
                "say why the record should no longer count",
            ));
        }
        let view = self.view()?;
        let fits: Vec<_> = view
            .all_ids()
            .into_iter()
            .filter(|(id, _)| id.0.ends_with(typed.trim()) && typed.trim().len() >= 4)
            .collect();
        let [(target, kind)] = fits.as_slice() else {
            return Err(match fits.len() {
                0 => Error::Unknown {
                    kind: "record",
                    name: typed.to_owned(),
                    todo: "type the identity that the lists show".into(),
                },
                n => Error::invalid(
                    format!("«{typed}» fits {n} records"),
                    "type more of its identity",
                ),
            });
        };
        // What others answered for with their names can't be made to vanish.
        if *kind == record::Release::WORD {
            return Err(Error::invalid(
                "a release can't be withdrawn: it stays visible for ever",
                "bring the evidence; the hold point then says that it is open by evidence",
            ));
        }
        let target = (*target).clone();
        self.add(record::Withdrawal {
            target: target.clone(),
            reason: reason.trim().to_owned(),
        })
        .await?;
        Ok(target)
    }

    /// How many changes the document has.
    pub(super) fn changes(&self) -> usize {
        self.handle
            .with_document(|doc| doc.get_changes_meta(&[]).len())
    }

    /// Merges a document of the same job that came from elsewhere. Gives the number of changes that
    /// were new here, once they are on the disk.
    pub(super) async fn merge(&self, saved: &[u8]) -> Result<usize> {
        self.shop.refuse_if_only_looking()?;
        if let Some(fault) = self.shop.inner.storage.fault(self.handle.document_id()) {
            return Err(fault);
        }
        let unusable = |e: automerge::AutomergeError| {
            Error::invalid(
                format!("the document can't be merged: {e}"),
                "nothing of it was taken; get it again from someone who has it whole",
            )
        };
        let mut theirs = Automerge::load(saved).map_err(unusable)?;
        let new = self.handle.with_document(|doc| {
            let known = doc.get_heads();
            doc.merge(&mut theirs).map_err(unusable)?;
            Ok::<_, Error>(doc.get_changes_meta(&known).len())
        })?;
        self.shop.inner.storage.confirm(&self.handle).await?;
        Ok(new)
    }

    pub(super) async fn set_about(&self, key: &str, value: Value) -> Result<()> {
        let values = [(key, value)];
        self.edit(|doc, stamp| edit::set_about(doc, &values, stamp))
            .await
    }

    /// Adds one record and says its identity once it is on the disk.
    pub(super) async fn add<R: Record>(&self, record: R) -> Result<RecordId> {
        let id = self.shop.new_id();
        let records = [(id.clone(), record)];
        self.edit(|doc, stamp| edit::add_records(doc, &records, stamp))
            .await?;
        Ok(id)
    }

    /// Makes one change and waits until it is on the disk.
    pub(super) async fn edit(
        &self,
        change: impl FnOnce(&mut Automerge, &Stamp) -> Result<Option<ChangeHash>>,
    ) -> Result<()> {
        self.shop.refuse_if_only_looking()?;
        let storage = &self.shop.inner.storage;
        if let Some(fault) = storage.fault(self.handle.document_id()) {
            return Err(fault);
        }
        let name = self.shop.settings().device_name;
        self.handle.with_document(|doc| {
            let stamp = self.shop.stamp(&zone_in(doc));
            if !name.is_empty() && device_name(doc, &stamp.by).as_ref() != Some(&name) {
                edit::name_device(doc, &name, &stamp)?;
            }
            change(doc, &stamp)
        })?;
        storage.confirm(&self.handle).await
    }

    /// A time that a person typed, or now.
    pub(super) fn time(&self, typed: Option<&str>, zone: &TimeZone) -> Result<String> {
        let now = self.shop.now();
        let Some(text) = typed else {
            return Ok(folder::written(now, zone));
        };
        let time = parse_time(text, zone)?;
        if time > now + jiff::SignedDuration::from_secs(60) {
            return Err(Error::invalid(
                format!("{text} lies in the future"),
                "look at the date and the offset from UTC",
            ));
        }
        Ok(folder::written(time, zone))
    }
}

/// A time with its offset, or a civil time in the job's zone.
pub(super) fn parse_time(text: &str, zone: &TimeZone) -> Result<Timestamp> {
    let text = text.trim();
    if let Ok(time) = text.parse::<Timestamp>() {
        return Ok(time);
    }
    let civil: jiff::civil::DateTime = text.parse().map_err(|_| {
        Error::invalid(
            format!("«{text}» is not a time"),
            "write it like 2026-03-04T14:03:20+01:00, or 2026-03-04T14:03:20 in the job's time zone",
        )
    })?;
    zone.to_ambiguous_timestamp(civil)
        .unambiguous()
        .map_err(|_| {
            Error::invalid(
                format!("the clock shows {text} twice or never on that day"),
                "add the offset from UTC, such as +01:00",
            )
        })
}

/// The zone of a document without reading all of it.
fn zone_in(doc: &Automerge) -> TimeZone {
    about_text(doc, "zone")
        .and_then(|name| TimeZone::get(&name).ok())
        .unwrap_or(TimeZone::UTC)
}
