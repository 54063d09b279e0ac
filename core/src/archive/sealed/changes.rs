//! What has changed since a stage was sealed, in words.

use std::collections::BTreeMap;

use serde_json::Value;

use super::{FORMAT, VERSION, collect};
use crate::archive::words;
use crate::error::{Error, Result};
use crate::job::plan::Plan;
use crate::job::record::{self, Record, RecordId};
use crate::job::view::JobView;

/// The maps of the form in the order in which changes are told, each with the word for one record.
const MAPS: [(&str, &str); 14] = [
    (record::Opening::MAP, record::Opening::WORD),
    (record::Closing::MAP, record::Closing::WORD),
    (record::Release::MAP, record::Release::WORD),
    (record::Sheet::MAP, record::Sheet::WORD),
    (record::Survey::MAP, record::Survey::WORD),
    (record::Reading::MAP, record::Reading::WORD),
    (record::Tram::MAP, record::Tram::WORD),
    (record::Move::MAP, record::Move::WORD),
    (record::Photo::MAP, record::Photo::WORD),
    (record::Tie::MAP, record::Tie::WORD),
    (record::ClockPoint::MAP, record::ClockPoint::WORD),
    (record::Note::MAP, record::Note::WORD),
    (record::Tick::MAP, record::Tick::WORD),
    (record::Withdrawal::MAP, record::Withdrawal::WORD),
];

/// The longest description of a record, characters.
const MOST: usize = 80;

/// What has changed in a stage since it was sealed, each a sentence; empty where nothing has.
/// `sealed` is the form that was signed.
///
/// # Errors
/// [`Error::Invalid`] where `sealed` is no sealed form, belongs to another job, or was made in a
/// newer form than this version reads.
pub fn changes_since(sealed: &Value, view: &JobView, plan: &Plan) -> Result<Vec<String>> {
    let text = |name: &str| sealed.get(name).and_then(Value::as_str);
    let refused = |what: String, todo: &str| Err(Error::invalid(what, todo));
    if text("format") != Some(FORMAT) {
        return refused("this is no sealed stage".into(), "name another file");
    }
    if sealed.get("version").and_then(Value::as_u64) > Some(VERSION.into()) {
        return refused(
            "the stage was sealed in a newer form".into(),
            "check it with a newer version of the program",
        );
    }
    if text("job") != Some(view.id.as_str()) {
        return refused(
            format!(
                "the seal is of another job ({})",
                text("job").unwrap_or("none")
            ),
            "name a seal of this one",
        );
    }
    let stage = text("stage").unwrap_or_default();
    let (sealed, now) = (same_form(sealed)?, same_form(&collect(view, plan, stage)?)?);
    let (then, now) = (records(&sealed), records(&now));
    let mut said = Vec::new();
    for (map, word) in MAPS {
        let none = BTreeMap::new();
        let before = then.get(map).unwrap_or(&none);
        let after = now.get(map).unwrap_or(&none);
        for (id, record) in before {
            match after.get(id) {
                Some(same) if same == record => {}
                Some(other) => said.extend(changed(word, id, record, other, view)),
                None => said.push(gone(word, id, record, view)),
            }
        }
        for (id, record) in after {
            if !before.contains_key(id) {
                said.push(added(word, id, record, view));
            }
        }
    }
    said.extend(unknown(&then));
    Ok(said)
}

/// A value as it reads when it has been through its canonical form, where 3.0 is 3.
fn same_form(value: &Value) -> Result<Value> {
    let text = datumtrail_seal::canonical(value)
        .map_err(|e| Error::invalid(e.to_string(), "name another file"))?;
    serde_json::from_str(&text).map_err(|e| Error::Internal(format!("canonical JSON: {e}")))
}

type Records<'v> = BTreeMap<&'v str, BTreeMap<&'v str, &'v Value>>;

fn records(form: &Value) -> Records<'_> {
    let maps = form.get("records").and_then(Value::as_object);
    maps.into_iter()
        .flatten()
        .map(|(map, records)| {
            let records = records.as_object().into_iter().flatten();
            let records = records.map(|(id, record)| (id.as_str(), record));
            (map.as_str(), records.collect())
        })
        .collect()
}

/// A sealed record that is there and no longer the same: withdrawn or corrected since, or altered,
/// which nothing in this program does.
fn changed(word: &str, id: &str, then: &Value, now: &Value, view: &JobView) -> Vec<String> {
    let name = name(word, id, then);
    let mut said = Vec::new();
    let new = |field: &str| {
        now.get(field)
            .filter(|value| then.get(field) != Some(*value))
    };
    if let Some(withdrawn) = new("withdrawn") {
        let reason = withdrawn.get("reason").and_then(Value::as_str);
        let reason = words::cut(reason.unwrap_or("no reason given"), MOST);
        said.push(format!(
            "{name} was withdrawn{}: {reason}.",
            by(withdrawn, view)
        ));
    }
    if let Some(Value::String(other)) = new("replaced_by") {
        let other = RecordId(other.clone());
        said.push(format!("{name} was corrected ({}).", other.short()));
    }
    let fields = then.as_object().into_iter().chain(now.as_object());
    let mut altered: Vec<&str> = fields
        .flat_map(|fields| fields.keys())
        .map(String::as_str)
        .filter(|field| !["withdrawn", "replaced_by"].contains(field))
        .filter(|field| then.get(*field) != now.get(*field))
        .collect();
    altered.sort_unstable();
    altered.dedup();
    if !altered.is_empty() {
        said.push(format!(
            "{name} is not what was sealed: {} differs.",
            words::list(&altered)
        ));
    }
    // What was withdrawn or corrected then and counts now.
    if said.is_empty() {
        said.push(format!(
            "{name} did not count when it was sealed, and does now."
        ));
    }
    said
}

/// A sealed record that the stage no longer has.
fn gone(word: &str, id: &str, then: &Value, view: &JobView) -> String {
    let name = name(word, id, then);
    let still_there = view.all_ids().iter().any(|(known, _)| known.0 == id);
    if !still_there {
        return format!("{name} was sealed, and the document does not have it.");
    }
    let photo = view.photos.iter().find(|p| p.id.0 == id);
    if let Some(withdrawn) = photo.and_then(|p| p.withdrawn.as_ref()) {
        let reason = words::cut(&withdrawn.reason, MOST);
        return format!("{name} was withdrawn: {reason}.");
    }
    format!("{name} no longer belongs to the stage.")
}

fn added(word: &str, id: &str, now: &Value, view: &JobView) -> String {
    format!("{} was added{}.", name(word, id, now), by(now, view))
}

/// Maps of the form that this version does not know.
fn unknown(then: &Records<'_>) -> Option<String> {
    let known = |map: &&str| MAPS.iter().any(|(name, _)| name == map);
    let others: Vec<&str> = then.keys().filter(|map| !known(map)).copied().collect();
    (!others.is_empty()).then(|| {
        format!(
            "The seal holds records that this version does not know: {}.",
            words::list(&others)
        )
    })
}

/// ` by Wanda Kestrelby (bench), Tue 6 May 2031, 14:00`.
fn by(stamped: &Value, view: &JobView) -> String {
    let stamp: Option<record::Stamp> = serde_json::from_value(stamped.clone()).ok();
    stamp.map_or_else(String::new, |stamp| {
        format!(" by {}, {}", view.author(&stamp), words::moment(&stamp.at))
    })
}

/// `The reading R (ab12cd34)`: the word, what tells it from its like, and the identity.
fn name(word: &str, id: &str, record: &Value) -> String {
    let text = |field: &str| record.get(field).and_then(Value::as_str);
    let what = match (text("a"), text("b")) {
        (Some(a), Some(b)) => Some(format!("{a} to {b}")),
        _ => [
            "point", "name", "file", "text", "check", "words", "camera", "a",
        ]
        .into_iter()
        .find_map(text)
        .map(|what| format!("«{}»", words::cut(what, MOST))),
    };
    let short = RecordId(id.to_owned()).short().to_owned();
    match what {
        Some(what) => format!("The {word} {what} ({short})"),
        None => format!("The {word} ({short})"),
    }
}
