//! The typed read view of a job: everything in the document, nothing computed.

use std::collections::{BTreeMap, HashMap};

use automerge::{Automerge, ChangeHash};
use datumtrail_geometry::damage::Zone;
use serde::{Deserialize, Serialize};
use serde_json::Value;

use super::aside::{Removals, SetAside};
use super::conflict::{Conflict, conflicts};
use super::record::{self, Record, RecordId, Stamp};
use super::tree;
pub use super::tree::Unreadable;
use crate::error::{Error, Result};

/// A record with its identity, its author, and what became of it.
#[derive(Clone, Debug, Serialize)]
pub struct Entry<R> {
    pub id: RecordId,
    #[serde(flatten)]
    pub stamp: Stamp,
    #[serde(flatten)]
    pub body: R,
    /// The reason and author of its withdrawal.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub withdrawn: Option<Withdrawn>,
    /// The record that corrects it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub replaced_by: Option<RecordId>,
}

impl<R> Entry<R> {
    /// Whether it still counts.
    pub fn stands(&self) -> bool {
        self.withdrawn.is_none() && self.replaced_by.is_none()
    }
}

/// Why a record no longer counts.
#[derive(Clone, Debug, Serialize)]
pub struct Withdrawn {
    pub reason: String,
    #[serde(flatten)]
    pub stamp: Stamp,
}

/// Clocks that differ by no more than this, seconds, agree: no stage is that short.
pub const CLOCKS_AGREE_S: f64 = 2.0;

/// A single value about the job, or several that were set at once.
#[derive(Clone, Debug, Default, Serialize)]
pub struct Settled {
    /// The value every device shows first.
    pub value: Option<String>,
    /// All of them, where more than one stands: nobody has settled it yet.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub conflict: Vec<Claim>,
}

/// One of several values set at once.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Claim {
    pub value: Value,
    #[serde(flatten)]
    pub stamp: Stamp,
}

/// The new part: what it is and the control points on it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Part {
    pub name: String,
    pub points: Vec<String>,
}

/// The zone and the member that a control point belongs to.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Place {
    pub zone: Zone,
    pub member: String,
}

/// Everything in a job document.
#[derive(Clone, Debug, Serialize)]
pub struct JobView {
    /// The job's identity, a UUID.
    pub id: String,
    /// The document's, as automerge-repo writes it.
    pub document: String,
    pub schema: i64,
    /// Whom a copy with parts left out is for; none for a job's own document.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub copy_for: Option<String>,
    pub name: Settled,
    pub vehicle: Settled,
    /// The IANA time zone that photo times without an offset are read in.
    pub zone: Settled,
    /// The plan's text, TOML.
    #[serde(skip)]
    pub plan: Settled,
    #[serde(skip)]
    pub part: Settled,
    /// Zones and members that a person confirmed, JSON.
    #[serde(skip)]
    pub layout: Settled,
    /// The devices that the job is limited to, JSON; none where every member has it.
    #[serde(skip)]
    pub members: Settled,
    pub sheets: Vec<Entry<record::Sheet>>,
    pub openings: Vec<Entry<record::Opening>>,
    pub closings: Vec<Entry<record::Closing>>,
    pub surveys: Vec<Entry<record::Survey>>,
    pub readings: Vec<Entry<record::Reading>>,
    pub trams: Vec<Entry<record::Tram>>,
    pub moves: Vec<Entry<record::Move>>,
    pub photos: Vec<Entry<record::Photo>>,
    pub covers: Vec<Entry<record::Cover>>,
    pub pictures: Vec<Entry<record::Picture>>,
    pub notes: Vec<Entry<record::Note>>,
    /// Notes that support lines of the estimate.
    pub supports: Vec<Entry<record::Support>>,
    pub ticks: Vec<Entry<record::Tick>>,
    pub releases: Vec<Entry<record::Release>>,
    pub ties: Vec<Entry<record::Tie>>,
    pub clocks: Vec<Entry<record::ClockPoint>>,
    pub seals: Vec<Entry<record::Seal>>,
    pub receipts: Vec<Entry<record::Receipt>>,
    pub skews: Vec<Entry<record::Skew>>,
    /// Devices that were removed from the crew.
    pub removals: Vec<Entry<record::Removal>>,
    /// Clashing records of which a person said that all stand.
    pub settlements: Vec<Entry<record::Settlement>>,
    /// What removed devices wrote after their removal. It stays in the document and doesn't count.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub set_aside: Vec<SetAside>,
    /// What two people did at once; only looked for where a whole document is read
    /// ([`JobView::load`]).
    #[serde(skip)]
    pub clashes: Vec<Conflict>,
    /// Device names by public key.
    pub devices: BTreeMap<String, String>,
    /// Records that a newer version wrote, or that are damaged. They stay in the document.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub unreadable: Vec<Unreadable>,
}

impl JobView {
    /// Reads a document.
    ///
    /// # Errors
    /// [`Error::Invalid`] if it is not a job.
    pub fn read(doc: &Automerge, document: &str) -> Result<Self> {
        let head = tree::head(doc).ok_or_else(|| {
            Error::invalid(
                format!("the document {document} is not a job"),
                "name another",
            )
        })?;
        let mut unreadable = Vec::new();
        let withdrawals = tree::read_records::<record::Withdrawal>(doc, &mut unreadable);
        let removals = Removals::read(doc);
        let withdrawn: HashMap<RecordId, Withdrawn> = withdrawals
            .into_iter()
            .filter(|(id, stamp, _)| {
                !removals.sets_aside(doc, record::Withdrawal::MAP, &id.0, stamp)
            })
            .map(|(_, stamp, body)| {
                let reason = body.reason;
                (body.target, Withdrawn { reason, stamp })
            })
            .collect();
        let mut reader = Reader {
            doc,
            withdrawn,
            unreadable,
            set_aside: Vec::new(),
            removals: &removals,
        };
        let settled = |key| settled(doc, key, &removals);
        Ok(Self {
            id: head.job,
            document: document.to_owned(),
            schema: head.schema,
            copy_for: tree::copy_for(doc),
            name: settled("name"),
            vehicle: settled("vehicle"),
            zone: settled("zone"),
            plan: settled("plan"),
            part: settled("part"),
            layout: settled("layout"),
            members: settled("members"),
            sheets: reader.entries(),
            openings: reader.entries(),
            closings: reader.entries(),
            surveys: reader.entries(),
            readings: reader.entries(),
            trams: reader.entries(),
            moves: reader.entries(),
            photos: reader.entries(),
            covers: reader.entries(),
            pictures: reader.entries(),
            notes: reader.entries(),
            supports: reader.entries(),
            ticks: reader.entries(),
            releases: reader.entries(),
            ties: reader.entries(),
            clocks: reader.entries(),
            seals: reader.entries(),
            receipts: reader.entries(),
            skews: reader.entries(),
            devices: tree::read_records::<record::Device>(doc, &mut reader.unreadable)
                .into_iter()
                .map(|(id, _, device)| (id.0, device.name))
                .collect(),
            removals: reader.entries(),
            settlements: reader.entries(),
            set_aside: reader.set_aside,
            clashes: Vec::new(),
            unreadable: reader.unreadable,
        })
    }

    /// Reads a saved document, such as the one in an archive.
    ///
    /// # Errors
    /// [`Error::Invalid`] if it is no document, or not a job.
    pub fn load(saved: &[u8], document: &str) -> Result<Self> {
        let doc = Automerge::load(saved).map_err(|e| {
            Error::invalid(
                format!("the document {document} can't be read: {e}"),
                "get it again from someone who has it whole",
            )
        })?;
        let mut view = Self::read(&doc, document)?;
        // A copy made anew has no history to tell by.
        if view.copy_for.is_none() {
            view.clashes = conflicts(&doc, &view);
        }
        Ok(view)
    }

    /// The job's name, or its identity where nobody named it.
    pub fn title(&self) -> &str {
        self.name.value.as_deref().unwrap_or(&self.id)
    }

    /// The sheet that counts: the newest that stands.
    pub fn sheet(&self) -> Option<&Entry<record::Sheet>> {
        self.sheets.iter().rev().find(|sheet| sheet.stands())
    }

    /// The new part, where the job says so.
    pub fn part(&self) -> Option<Part> {
        serde_json::from_str(self.part.value.as_deref()?).ok()
    }

    /// The surveys that count and stand on a set-up of their own, in the order they were made.
    pub fn standing_surveys(&self) -> impl DoubleEndedIterator<Item = &Entry<record::Survey>> {
        self.surveys
            .iter()
            .filter(|s| s.stands() && s.body.joins.is_none())
    }

    /// The further set-ups that are joined to a survey.
    pub fn joined_to<'a>(
        &'a self,
        survey: &'a RecordId,
    ) -> impl Iterator<Item = &'a Entry<record::Survey>> {
        self.surveys
            .iter()
            .filter(move |s| s.stands() && s.body.joins.as_ref() == Some(survey))
    }

    /// Where points belong, as far as a person said so.
    pub fn layout(&self) -> BTreeMap<String, Place> {
        let text = self.layout.value.as_deref().unwrap_or_default();
        serde_json::from_str(text).unwrap_or_default()
    }

    /// The last clock offset between each two devices, where it matters: above two seconds.
    pub fn clocks_apart(&self) -> Vec<&Entry<record::Skew>> {
        let mut last: BTreeMap<(&str, &str), &Entry<record::Skew>> = BTreeMap::new();
        for skew in self.skews.iter().filter(|s| s.stands()) {
            last.insert((&skew.stamp.by, &skew.body.device), skew);
        }
        let apart = last.into_values();
        apart
            .filter(|s| s.body.offset_s.abs() > CLOCKS_AGREE_S)
            .collect()
    }

    /// The devices that the job is limited to; none where every member has it. A list that can't
    /// be read names nobody: what was meant for few must not go to all.
    pub fn limited_to(&self) -> Option<Vec<String>> {
        let text = self.members.value.as_deref()?;
        Some(serde_json::from_str(text).unwrap_or_default())
    }

    /// The readings of a survey that count, in the order they were taken.
    pub fn readings_of<'a>(
        &'a self,
        survey: &'a RecordId,
    ) -> impl Iterator<Item = &'a Entry<record::Reading>> {
        self.readings
            .iter()
            .filter(move |r| r.stands() && r.body.survey == *survey)
    }

    /// The devices that hold each photo's bytes whole, by their own receipts: the newest receipt
    /// of a device about a photo counts. The time is that receipt's.
    pub fn holders(&self) -> BTreeMap<RecordId, BTreeMap<String, String>> {
        let mut all: BTreeMap<RecordId, BTreeMap<String, String>> = BTreeMap::new();
        for receipt in self.receipts.iter().filter(|r| r.stands()) {
            for photo in &receipt.body.photos {
                let devices = all.entry(photo.clone()).or_default();
                if receipt.body.holds {
                    devices.insert(receipt.stamp.by.clone(), receipt.stamp.at.clone());
                } else {
                    devices.remove(&receipt.stamp.by);
                }
            }
        }
        all
    }

    /// Who wrote a record, in words.
    pub fn author(&self, stamp: &Stamp) -> String {
        let device = self.device(&stamp.by);
        match &stamp.person {
            Some(person) => format!("{person} ({device})"),
            None => device,
        }
    }

    /// What a device is called, or the first digits of its key.
    pub fn device(&self, key: &str) -> String {
        let named = self.devices.get(key).cloned();
        named.unwrap_or_else(|| key.chars().take(10).collect())
    }

    /// The identities of all records, with the word for their kind: to find what a person means.
    pub fn all_ids(&self) -> Vec<(&RecordId, &'static str)> {
        fn of<R: Record>(list: &[Entry<R>]) -> impl Iterator<Item = (&RecordId, &'static str)> {
            list.iter().map(|e| (&e.id, R::WORD))
        }
        of(&self.sheets)
            .chain(of(&self.openings))
            .chain(of(&self.closings))
            .chain(of(&self.surveys))
            .chain(of(&self.readings))
            .chain(of(&self.trams))
            .chain(of(&self.moves))
            .chain(of(&self.photos))
            .chain(of(&self.covers))
            .chain(of(&self.pictures))
            .chain(of(&self.notes))
            .chain(of(&self.supports))
            .chain(of(&self.ticks))
            .chain(of(&self.releases))
            .chain(of(&self.ties))
            .chain(of(&self.clocks))
            .chain(of(&self.settlements))
            .collect()
    }
}

/// Finds the one entry whose identity ends (or begins) with what the person typed.
///
/// # Errors
/// [`Error::Unknown`] for none, [`Error::Invalid`] for several.
pub fn find<'a, R: Record>(entries: &'a [Entry<R>], typed: &str) -> Result<&'a Entry<R>> {
    let typed = typed.trim();
    let mut fits = entries
        .iter()
        .filter(|e| !typed.is_empty() && (e.id.0.ends_with(typed) || e.id.0.starts_with(typed)));
    match (fits.next(), fits.next()) {
        (Some(one), None) => Ok(one),
        (Some(_), Some(_)) => Err(Error::invalid(
            format!("«{typed}» fits more than one {}", R::WORD),
            "type more of its identity",
        )),
        (None, _) => Err(Error::Unknown {
            kind: R::WORD,
            name: typed.to_owned(),
            todo: "the lists show the identities; their last digits are enough".into(),
        }),
    }
}

struct Reader<'a> {
    doc: &'a Automerge,
    withdrawn: HashMap<RecordId, Withdrawn>,
    unreadable: Vec<Unreadable>,
    set_aside: Vec<SetAside>,
    removals: &'a Removals,
}

impl Reader<'_> {
    fn entries<R: Record>(&mut self) -> Vec<Entry<R>> {
        let mut records = tree::read_records::<R>(self.doc, &mut self.unreadable);
        records.retain(|(id, stamp, _)| {
            let aside = self.removals.sets_aside(self.doc, R::MAP, &id.0, stamp);
            if aside {
                self.set_aside.push(SetAside {
                    map: R::MAP.to_owned(),
                    id: id.clone(),
                    stamp: stamp.clone(),
                });
            }
            !aside
        });
        let mut replaced: HashMap<RecordId, RecordId> = HashMap::new();
        for (id, _, body) in &records {
            // A correction that was itself withdrawn corrects nothing.
            if let Some(old) = body.replaces()
                && !self.withdrawn.contains_key(id)
            {
                replaced.insert(old.clone(), id.clone());
            }
        }
        records
            .into_iter()
            .map(|(id, stamp, body)| Entry {
                withdrawn: self.withdrawn.get(&id).cloned(),
                replaced_by: replaced.get(&id).cloned(),
                id,
                stamp,
                body,
            })
            .collect()
    }
}

fn settled(doc: &Automerge, key: &str, removals: &Removals) -> Settled {
    let mut claims: Vec<Claim> = Vec::new();
    let mut seen = Vec::new();
    let mut open = tree::about(doc, key);
    while let Some(about) = open.pop() {
        if seen.contains(&about.at) {
            continue;
        }
        seen.push(about.at.clone());
        let fields = Value::Object(about.fields.clone());
        let Ok(claim) = serde_json::from_value::<Claim>(fields) else {
            continue;
        };
        let by = &claim.stamp.by;
        let was_there = |heads: &[ChangeHash]| {
            let then = tree::about_at(doc, key, heads);
            then.iter().any(|other| other.at == about.at)
        };
        if removals.sets_claim_aside(by, was_there) {
            // What it overwrote stands again.
            let before = removals.frontiers(by).iter();
            open.extend(before.flat_map(|heads| tree::about_at(doc, key, heads)));
        } else {
            claims.push(claim);
        }
    }
    // The same order on every device, whatever arrived first.
    claims.sort_by(|a, b| {
        (&b.stamp.at, &b.stamp.by, b.value.to_string()).cmp(&(
            &a.stamp.at,
            &a.stamp.by,
            a.value.to_string(),
        ))
    });
    Settled {
        value: claims.first().and_then(|c| match &c.value {
            Value::String(s) => Some(s.clone()),
            Value::Null => None,
            other => Some(other.to_string()),
        }),
        conflict: if claims.len() > 1 { claims } else { Vec::new() },
    }
}
