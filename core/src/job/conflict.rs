//! What two people did at once, not knowing of each other: shown to both, settled by a person.
//!
//! Nothing is lost by working apart, since records never collide. But what they say may clash: a
//! stage opened twice, one point read twice in one survey, a reading corrected in two ways, a photo
//! put in two stages, a value about the job set to two things. "At once" is exact: the document's
//! history says of each record whether its writer had seen the other. Who writes with the other's
//! record before their eyes has decided, and that is no conflict.
//!
//! A conflict ends when one of the records is withdrawn or corrected, when the value is set again,
//! when the photo's stage is decided again, or when a person says that all stand as they are
//! ([`Settlement`]). Each of these is a record with its author.

use automerge::Automerge;
use serde::Serialize;

use super::record::{Record, RecordId, Settlement, Stamp};
use super::tree;
use super::view::{Entry, JobView, Settled};

/// Records that clash.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Conflict {
    pub kind: Kind,
    /// What it is about: the stage, the point, the photo's name, the value's name.
    pub about: String,
    pub sides: Vec<Side>,
    /// Who said that all stand as they are, and why.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub settled: Option<SettledBy>,
}

/// What clashes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    Value,
    StageOpenedTwice,
    PointReadTwice,
    CorrectedTwice,
    PhotoInTwoStages,
}

impl Kind {
    /// As people say it.
    pub fn words(self) -> &'static str {
        match self {
            Kind::Value => "Set to several values at once",
            Kind::StageOpenedTwice => "A stage opened by two at once",
            Kind::PointReadTwice => "A point read by two at once",
            Kind::CorrectedTwice => "Corrected in several ways",
            Kind::PhotoInTwoStages => "A photo put in two stages at once",
        }
    }

    /// What to do about it.
    pub fn todo(self) -> &'static str {
        match self {
            Kind::Value => "set it again",
            Kind::StageOpenedTwice | Kind::PointReadTwice | Kind::CorrectedTwice => {
                "withdraw one, or say that all stand"
            }
            Kind::PhotoInTwoStages => "say again which stage it belongs to",
        }
    }
}

/// One of the records, or values.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Side {
    /// None for a value about the job, which is no record.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub id: Option<RecordId>,
    pub says: String,
    #[serde(flatten)]
    pub stamp: Stamp,
}

/// Who said that all stand.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SettledBy {
    pub reason: String,
    #[serde(flatten)]
    pub stamp: Stamp,
}

/// All conflicts of a document, settled ones too, in the same order on every device.
pub fn conflicts(doc: &Automerge, view: &JobView) -> Vec<Conflict> {
    let finder = Finder { doc, view };
    let mut all = finder.values();
    all.extend(finder.clashes(
        Kind::StageOpenedTwice,
        &view.openings,
        |o| o.body.stage.clone(),
        |o| format!("opened {}", o.body.opened),
    ));
    all.extend(finder.clashes(
        Kind::PointReadTwice,
        &view.readings,
        |r| format!("{} in survey {}", r.body.point, r.body.survey.short()),
        |r| format!("{}, {}, {}", r.body.x, r.body.y, r.body.z),
    ));
    all.extend(finder.corrections(&view.readings, |r| {
        format!("{}: {}, {}, {}", r.body.point, r.body.x, r.body.y, r.body.z)
    }));
    all.extend(finder.corrections(&view.trams, |t| t.body.words()));
    all.extend(finder.corrections(&view.supports, |s| {
        format!("{} {}", s.body.operation, s.body.part)
    }));
    all.extend(finder.photos());
    all.sort_by(|a, b| (a.kind, &a.about).cmp(&(b.kind, &b.about)));
    all
}

struct Finder<'a> {
    doc: &'a Automerge,
    view: &'a JobView,
}

impl Finder<'_> {
    fn values(&self) -> Vec<Conflict> {
        let view = self.view;
        let values: [(&str, &Settled); 7] = [
            ("name", &view.name),
            ("vehicle", &view.vehicle),
            ("time zone", &view.zone),
            ("plan", &view.plan),
            ("part", &view.part),
            ("zones and members", &view.layout),
            ("devices that have the job", &view.members),
        ];
        let clashing = values.into_iter().filter(|(_, v)| !v.conflict.is_empty());
        clashing
            .map(|(name, value)| Conflict {
                kind: Kind::Value,
                about: name.to_owned(),
                sides: (value.conflict.iter())
                    .map(|claim| Side {
                        id: None,
                        says: match &claim.value {
                            serde_json::Value::String(text) => text.clone(),
                            other => other.to_string(),
                        },
                        stamp: claim.stamp.clone(),
                    })
                    .collect(),
                settled: None,
            })
            .collect()
    }

    /// Standing records about the same thing, by different devices, written at once.
    fn clashes<R: Record>(
        &self,
        kind: Kind,
        entries: &[Entry<R>],
        about: impl Fn(&Entry<R>) -> String,
        says: impl Fn(&Entry<R>) -> String,
    ) -> Vec<Conflict> {
        let mut groups: std::collections::BTreeMap<String, Vec<&Entry<R>>> = Default::default();
        for entry in entries.iter().filter(|e| e.stands()) {
            groups.entry(about(entry)).or_default().push(entry);
        }
        groups
            .into_iter()
            .filter_map(|(about, group)| {
                let at_once: Vec<&Entry<R>> = (group.iter())
                    .filter(|a| group.iter().any(|b| self.at_once(a, b)))
                    .copied()
                    .collect();
                (!at_once.is_empty()).then(|| self.conflict(kind, about, &at_once, &says))
            })
            .collect()
    }

    /// Records that correct the same one in different ways, by whomever.
    fn corrections<R: Record>(
        &self,
        entries: &[Entry<R>],
        says: impl Fn(&Entry<R>) -> String,
    ) -> Vec<Conflict> {
        let correcting: Vec<&Entry<R>> = (entries.iter())
            .filter(|e| e.stands() && e.body.replaces().is_some())
            .collect();
        let mut groups: std::collections::BTreeMap<&RecordId, Vec<&Entry<R>>> = Default::default();
        for entry in correcting {
            if let Some(old) = entry.body.replaces() {
                groups.entry(old).or_default().push(entry);
            }
        }
        groups
            .into_iter()
            .filter(|(_, group)| group.len() > 1)
            .map(|(old, group)| {
                let about = format!("{} {}", R::WORD, old.short());
                self.conflict(Kind::CorrectedTwice, about, &group, &says)
            })
            .collect()
    }

    fn photos(&self) -> Vec<Conflict> {
        let view = self.view;
        let standing: Vec<_> = view.photos.iter().filter(|p| p.stands()).collect();
        standing
            .into_iter()
            .filter_map(|photo| {
                let ties: Vec<_> = (view.ties.iter())
                    .filter(|t| t.stands() && t.body.photo == photo.id)
                    .collect();
                // A decision that knew another has taken its place.
                let last: Vec<&Entry<_>> = (ties.iter())
                    .filter(|a| !ties.iter().any(|b| self.knew(b, a)))
                    .copied()
                    .collect();
                let stages: std::collections::BTreeSet<&str> =
                    last.iter().map(|t| t.body.stage.as_str()).collect();
                (stages.len() > 1).then(|| {
                    self.conflict(
                        Kind::PhotoInTwoStages,
                        photo.body.name.clone(),
                        &last,
                        |t| t.body.stage.clone(),
                    )
                })
            })
            .collect()
    }

    fn conflict<R: Record>(
        &self,
        kind: Kind,
        about: String,
        entries: &[&Entry<R>],
        says: impl Fn(&Entry<R>) -> String,
    ) -> Conflict {
        let ids: Vec<&RecordId> = entries.iter().map(|e| &e.id).collect();
        let covers =
            |s: &&Entry<Settlement>| s.stands() && ids.iter().all(|id| s.body.records.contains(id));
        let settled = self.view.settlements.iter().rev().find(covers);
        Conflict {
            kind,
            about,
            sides: (entries.iter())
                .map(|entry| Side {
                    id: Some(entry.id.clone()),
                    says: says(entry),
                    stamp: entry.stamp.clone(),
                })
                .collect(),
            settled: settled.map(|s| SettledBy {
                reason: s.body.reason.clone(),
                stamp: s.stamp.clone(),
            }),
        }
    }

    /// Whether two different records were written without either writer knowing the other's.
    fn at_once<R: Record>(&self, a: &Entry<R>, b: &Entry<R>) -> bool {
        a.id != b.id && a.stamp.by != b.stamp.by && !self.knew(a, b) && !self.knew(b, a)
    }

    /// Whether the writer of `later` had `earlier` before them.
    fn knew<R: Record>(&self, later: &Entry<R>, earlier: &Entry<R>) -> bool {
        later.id != earlier.id
            && tree::known_to_writer(self.doc, R::MAP, &later.id.0, &earlier.id.0)
    }
}
