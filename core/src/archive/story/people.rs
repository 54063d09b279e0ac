//! People, devices, cameras' clocks, and values that two devices set at once.

use std::collections::BTreeMap;

use serde::Serialize;

use crate::archive::words;
use crate::job::plan::Plan;
use crate::job::record::{Record, RecordId, Stamp};
use crate::job::stage::instant;
use crate::job::view::{Entry, JobView, Part, Place, Settled};

/// A device that wrote records.
#[derive(Clone, Debug, Serialize)]
pub struct DeviceStory {
    /// Its public key.
    pub key: String,
    pub name: Option<String>,
    pub records: usize,
}

/// What a camera's clock showed at a known moment.
#[derive(Clone, Debug, Serialize)]
pub struct ClockStory {
    pub id: RecordId,
    pub camera: String,
    pub showed: String,
    pub was: String,
    /// Standard uncertainty, seconds.
    pub u_s: f64,
    pub how: String,
    /// `put forward by 1 h 7 min 12 s`.
    pub words: String,
    pub at: String,
    pub author: String,
}

/// Values that two devices set at once. The first is the one that every device shows.
#[derive(Clone, Debug, Serialize)]
pub struct ConflictStory {
    pub what: &'static str,
    /// Each value with its author and its time.
    pub values: Vec<ConflictValue>,
}

/// One of them.
#[derive(Clone, Debug, Serialize)]
pub struct ConflictValue {
    pub value: String,
    pub author: String,
    pub at: String,
}

pub(super) fn clocks(view: &JobView) -> Vec<ClockStory> {
    let standing = view.clocks.iter().filter(|c| c.stands());
    standing
        .map(|clock| {
            let body = &clock.body;
            let by = match (instant(&body.showed), instant(&body.was)) {
                (Some(showed), Some(was)) => {
                    words::correction(was.duration_since(showed).as_secs())
                }
                _ => "not understood".into(),
            };
            ClockStory {
                id: clock.id.clone(),
                camera: body.camera.clone(),
                showed: body.showed.clone(),
                was: body.was.clone(),
                u_s: body.u_s,
                how: body.how.clone(),
                words: by,
                at: clock.stamp.at.clone(),
                author: view.author(&clock.stamp),
            }
        })
        .collect()
}

pub(super) fn conflicts(view: &JobView) -> Vec<ConflictStory> {
    let all: [(&'static str, &Settled); 6] = [
        ("name", &view.name),
        ("vehicle", &view.vehicle),
        ("time zone", &view.zone),
        ("plan", &view.plan),
        ("new part", &view.part),
        ("zones and members", &view.layout),
    ];
    all.into_iter()
        .filter(|(_, settled)| !settled.conflict.is_empty())
        .map(|(what, settled)| ConflictStory {
            what,
            values: settled
                .conflict
                .iter()
                .map(|claim| ConflictValue {
                    value: value_words(what, &claim.value),
                    author: view.author(&claim.stamp),
                    at: claim.stamp.at.clone(),
                })
                .collect(),
        })
        .collect()
}

fn value_words(what: &str, value: &serde_json::Value) -> String {
    let text = match value {
        serde_json::Value::String(text) => text.clone(),
        other => other.to_string(),
    };
    match what {
        "plan" => Plan::parse(&text).map_or_else(
            |_| "a plan that can't be read".into(),
            |plan| format!("{} ({} stages)", plan.title, plan.stages.len()),
        ),
        "new part" => serde_json::from_str::<Part>(&text).map_or(text, |part| {
            format!("{}: {}", part.name, part.points.join(", "))
        }),
        "zones and members" => match serde_json::from_str::<BTreeMap<String, Place>>(&text) {
            Ok(places) => layout_words(&places),
            Err(_) => "a list that can't be read".into(),
        },
        _ => text,
    }
}

/// `front: A, A'; rear: R, R'`.
fn layout_words(places: &BTreeMap<String, Place>) -> String {
    let mut zones: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
    for (point, place) in places {
        zones.entry(place.zone.word()).or_default().push(point);
    }
    let each = zones
        .iter()
        .map(|(zone, points)| format!("{zone}: {}", points.join(", ")));
    each.collect::<Vec<_>>().join("; ")
}

/// The stamps of every record.
fn stamps(view: &JobView) -> Vec<&Stamp> {
    fn of<R: Record>(list: &[Entry<R>]) -> impl Iterator<Item = &Stamp> {
        list.iter().map(|e| &e.stamp)
    }
    of(&view.sheets)
        .chain(of(&view.openings))
        .chain(of(&view.closings))
        .chain(of(&view.surveys))
        .chain(of(&view.readings))
        .chain(of(&view.trams))
        .chain(of(&view.moves))
        .chain(of(&view.photos))
        .chain(of(&view.covers))
        .chain(of(&view.pictures))
        .chain(of(&view.notes))
        .chain(of(&view.supports))
        .chain(of(&view.ticks))
        .chain(of(&view.releases))
        .chain(of(&view.ties))
        .chain(of(&view.clocks))
        .chain(of(&view.seals))
        .collect()
}

pub(super) fn people(view: &JobView) -> Vec<String> {
    let mut names: Vec<String> = stamps(view)
        .into_iter()
        .filter_map(|s| s.person.clone())
        .collect();
    names.sort();
    names.dedup();
    names
}

pub(super) fn devices(view: &JobView) -> Vec<DeviceStory> {
    let mut records: BTreeMap<&str, usize> = BTreeMap::new();
    for key in view.devices.keys() {
        records.entry(key).or_default();
    }
    for stamp in stamps(view) {
        *records.entry(&stamp.by).or_default() += 1;
    }
    records
        .into_iter()
        .map(|(key, records)| DeviceStory {
            key: key.to_owned(),
            name: view.devices.get(key).cloned(),
            records,
        })
        .collect()
}
