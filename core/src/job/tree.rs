//! Records to automerge values and back. The only place with raw automerge calls.
//!
//! A record passes through `serde_json::Value`: numbers stay numbers (an `f64` keeps every bit),
//! lists and inner maps keep their shape. Maps are read in one pass each.

use automerge::transaction::{CommitOptions, Transactable, Transaction};
use automerge::{
    Automerge, AutomergeError, ChangeHash, ObjId, ObjType, ROOT, ReadDoc, ScalarValue,
    ScalarValueRef, ValueRef,
};
use serde::Serialize;
use serde_json::{Map, Value};

use super::record::{MAPS, Record, RecordId, Stamp};
use crate::error::{Error, Result};

/// The major version of the schema that this program reads and writes.
pub const SCHEMA: i64 = 1;
const MINOR: i64 = 2;
const FORMAT: &str = "datumtrail.job";
const ABOUT: &str = "about";
const COPY_FOR: &str = "copy_for";

/// A document for a new job.
pub(crate) fn new_document(job: &str) -> Result<Automerge> {
    let mut doc = Automerge::new();
    change(&mut doc, "new job", |tx| {
        tx.put(ROOT, "format", FORMAT)?;
        tx.put(ROOT, "schema", SCHEMA)?;
        tx.put(ROOT, "minor", MINOR)?;
        tx.put(ROOT, "job", job)?;
        tx.put_object(ROOT, ABOUT, ObjType::Map)?;
        for map in MAPS {
            tx.put_object(ROOT, map, ObjType::Map)?;
        }
        Ok(())
    })?;
    Ok(doc)
}

/// What the document says it is.
pub(crate) struct Head {
    pub job: String,
    pub schema: i64,
}

/// Reads the head; `None` if the document is something else than a job.
pub(crate) fn head(doc: &Automerge) -> Option<Head> {
    let text = |key: &str| match doc.get(ROOT, key) {
        Ok(Some((value, _))) => value.as_str().map(str::to_owned),
        _ => None,
    };
    if text("format")? != FORMAT {
        return None;
    }
    let schema = match doc.get(ROOT, "schema") {
        Ok(Some((value, _))) => value
            .as_i64()
            .or(value.as_u64().and_then(|n| i64::try_from(n).ok()))?,
        _ => return None,
    };
    Some(Head {
        job: text("job")?,
        schema,
    })
}

/// Says in a document that it is a copy with parts left out, and for whom.
pub(crate) fn mark_copy(doc: &mut Automerge, copy_for: &str) -> Result<()> {
    change(doc, "a copy", |tx| tx.put(ROOT, COPY_FOR, copy_for))?;
    Ok(())
}

/// Whom a copy is for; none for a job's own document.
pub(crate) fn copy_for(doc: &Automerge) -> Option<String> {
    let (value, _) = doc.get(ROOT, COPY_FOR).ok()??;
    value.as_str().map(str::to_owned)
}

/// One change, all or nothing. Gives the hash that names it.
///
/// # Errors
/// [`Error::ReadOnly`] where a newer version wrote the document.
pub(crate) fn change(
    doc: &mut Automerge,
    message: &str,
    edit: impl FnOnce(&mut Transaction<'_>) -> std::result::Result<(), AutomergeError>,
) -> Result<Option<ChangeHash>> {
    if let Some(head) = head(doc)
        && head.schema > SCHEMA
    {
        return Err(Error::ReadOnly {
            found: head.schema,
            known: SCHEMA,
        });
    }
    let mut tx = doc.transaction();
    match edit(&mut tx) {
        Ok(()) => {
            let (hash, _) = tx.commit_with(CommitOptions::default().with_message(message));
            Ok(hash)
        }
        Err(e) => {
            tx.rollback();
            Err(Error::Internal(format!(
                "the document refused a change: {e}"
            )))
        }
    }
}

/// Adds a record.
pub(crate) fn put_record<R: Record>(
    tx: &mut Transaction<'_>,
    id: &str,
    record: &R,
    stamp: &Stamp,
) -> std::result::Result<(), AutomergeError> {
    let map = match tx.get(ROOT, R::MAP)? {
        Some((automerge::Value::Object(ObjType::Map), map)) => map,
        _ => tx.put_object(ROOT, R::MAP, ObjType::Map)?,
    };
    let at = tx.put_object(&map, id, ObjType::Map)?;
    put_fields(tx, &at, &fields(record))?;
    put_fields(tx, &at, &fields(stamp))
}

/// Sets a value about the job.
pub(crate) fn put_about(
    tx: &mut Transaction<'_>,
    key: &str,
    value: &Value,
    stamp: &Stamp,
) -> std::result::Result<(), AutomergeError> {
    let about = match tx.get(ROOT, ABOUT)? {
        Some((automerge::Value::Object(ObjType::Map), map)) => map,
        _ => tx.put_object(ROOT, ABOUT, ObjType::Map)?,
    };
    let at = tx.put_object(&about, key, ObjType::Map)?;
    let mut all = Map::new();
    all.insert("value".into(), value.clone());
    put_fields(tx, &at, &all)?;
    put_fields(tx, &at, &fields(stamp))
}

/// Every value that stands for one key about the job: one, or several that were set at once.
pub(crate) fn about(doc: &Automerge, key: &str) -> Vec<About> {
    about_maps(doc)
        .iter()
        .flat_map(|map| doc.get_all(map, key).unwrap_or_default())
        .filter(|(value, _)| value.is_object())
        .map(|(_, at)| About {
            fields: read_fields(doc, &at),
            at,
        })
        .collect()
}

/// The same as it was at some heads.
pub(crate) fn about_at(doc: &Automerge, key: &str, heads: &[ChangeHash]) -> Vec<About> {
    if heads.is_empty() {
        return Vec::new();
    }
    about_maps(doc)
        .iter()
        .flat_map(|map| doc.get_all_at(map, key, heads).unwrap_or_default())
        .filter(|(value, _)| value.is_object())
        .map(|(_, at)| About {
            // What was put there is never changed, so reading it now is reading it then.
            fields: read_fields(doc, &at),
            at,
        })
        .collect()
}

/// A value about the job, and its place in the document.
pub(crate) struct About {
    pub fields: Map<String, Value>,
    pub at: ObjId,
}

fn about_maps(doc: &Automerge) -> Vec<ObjId> {
    let all = doc.get_all(ROOT, ABOUT).unwrap_or_default();
    let maps = all.into_iter().filter(|(value, _)| value.is_object());
    maps.map(|(_, at)| at).collect()
}

/// Whether a record was in the document at some heads.
pub(crate) fn was_there(doc: &Automerge, map: &str, id: &str, heads: &[ChangeHash]) -> bool {
    // No heads at all would mean the document as it is now.
    if heads.is_empty() {
        return false;
    }
    let maps = doc.get_all(ROOT, map).unwrap_or_default();
    maps.iter()
        .any(|(_, at)| matches!(doc.get_at(at, id, heads), Ok(Some(_))))
}

/// The winning text for one key about the job, without reading anything else.
pub(crate) fn about_text(doc: &Automerge, key: &str) -> Option<String> {
    let (_, about) = doc.get(ROOT, ABOUT).ok()??;
    let (_, at) = doc.get(&about, key).ok()??;
    let (value, _) = doc.get(&at, "value").ok()??;
    value.as_str().map(str::to_owned)
}

/// What a device is called in this document.
pub(crate) fn device_name(doc: &Automerge, device: &str) -> Option<String> {
    let (_, devices) = doc.get(ROOT, super::record::Device::MAP).ok()??;
    let (_, at) = doc.get(&devices, device).ok()??;
    let (name, _) = doc.get(&at, "name").ok()??;
    name.as_str().map(str::to_owned)
}

/// A record that could not be understood.
#[derive(Clone, Debug, Serialize, PartialEq)]
pub struct Unreadable {
    pub map: String,
    pub id: RecordId,
    pub why: String,
}

/// All records of a kind in the order of their identities, and those that can't be understood.
pub(crate) fn read_records<R: Record>(
    doc: &Automerge,
    unreadable: &mut Vec<Unreadable>,
) -> Vec<(RecordId, Stamp, R)> {
    let mut found = Vec::new();
    // Should two versions of the program ever make the same map at once, both are read.
    for (value, map) in doc.get_all(ROOT, R::MAP).unwrap_or_default() {
        if !value.is_object() {
            continue;
        }
        for item in doc.map_range(&map, ..) {
            let id = RecordId(item.key.to_string());
            let all = read_fields(doc, &item.id());
            let read = serde_json::from_value::<Stamp>(Value::Object(all.clone()))
                .and_then(|stamp| Ok((stamp, serde_json::from_value::<R>(Value::Object(all))?)));
            match read {
                Ok((stamp, record)) => found.push((id, stamp, record)),
                Err(e) => unreadable.push(Unreadable {
                    map: R::MAP.to_owned(),
                    id,
                    why: e.to_string(),
                }),
            }
        }
    }
    found.sort_by(|a, b| a.0.cmp(&b.0));
    found
}

/// Whether whoever wrote the record `later` had the record `earlier` of the same map.
pub(crate) fn known_to_writer(doc: &Automerge, map: &str, later: &str, earlier: &str) -> bool {
    let Ok(Some((_, map_at))) = doc.get(ROOT, map) else {
        return false;
    };
    let Ok(Some((_, at))) = doc.get(&map_at, later) else {
        return false;
    };
    let change = doc.hash_for_opid(&at);
    let Some(change) = change.and_then(|hash| doc.get_change_meta_by_hash(&hash)) else {
        return false;
    };
    was_there(doc, map, earlier, &change.deps)
}

fn fields(value: &impl Serialize) -> Map<String, Value> {
    match serde_json::to_value(value) {
        Ok(Value::Object(map)) => map,
        // Records are structs with plain fields: they always become objects.
        _ => Map::new(),
    }
}

fn put_fields(
    tx: &mut Transaction<'_>,
    at: &ObjId,
    all: &Map<String, Value>,
) -> std::result::Result<(), AutomergeError> {
    for (key, value) in all {
        match value {
            Value::Object(inner) => {
                let at = tx.put_object(at, key.as_str(), ObjType::Map)?;
                put_fields(tx, &at, inner)?;
            }
            Value::Array(items) => {
                let at = tx.put_object(at, key.as_str(), ObjType::List)?;
                put_items(tx, &at, items)?;
            }
            other => tx.put(at, key.as_str(), scalar(other))?,
        }
    }
    Ok(())
}

fn put_items(
    tx: &mut Transaction<'_>,
    at: &ObjId,
    items: &[Value],
) -> std::result::Result<(), AutomergeError> {
    for (index, value) in items.iter().enumerate() {
        match value {
            Value::Object(inner) => {
                let at = tx.insert_object(at, index, ObjType::Map)?;
                put_fields(tx, &at, inner)?;
            }
            Value::Array(inner) => {
                let at = tx.insert_object(at, index, ObjType::List)?;
                put_items(tx, &at, inner)?;
            }
            other => tx.insert(at, index, scalar(other))?,
        }
    }
    Ok(())
}

fn scalar(value: &Value) -> ScalarValue {
    match value {
        Value::Bool(b) => ScalarValue::Boolean(*b),
        Value::String(s) => ScalarValue::Str(s.as_str().into()),
        Value::Number(n) => match (n.as_i64(), n.as_f64()) {
            (Some(n), _) => ScalarValue::Int(n),
            (None, Some(n)) => ScalarValue::F64(n),
            (None, None) => ScalarValue::Null,
        },
        _ => ScalarValue::Null,
    }
}

pub(crate) fn read_fields(doc: &Automerge, at: &ObjId) -> Map<String, Value> {
    doc.map_range(at, ..)
        .map(|item| {
            let value = read_value(doc, &item.value, &item.id());
            (item.key.to_string(), value)
        })
        .collect()
}

fn read_value(doc: &Automerge, value: &ValueRef<'_>, id: &ObjId) -> Value {
    match value {
        ValueRef::Object(ObjType::Map | ObjType::Table) => Value::Object(read_fields(doc, id)),
        ValueRef::Object(ObjType::List) => Value::Array(
            doc.list_range(id, ..)
                .map(|item| read_value(doc, &item.value, &item.id()))
                .collect(),
        ),
        ValueRef::Object(ObjType::Text) => Value::String(doc.text(id).unwrap_or_default()),
        ValueRef::Scalar(scalar) => match scalar {
            ScalarValueRef::Str(s) => Value::String(s.to_string()),
            ScalarValueRef::Int(n) | ScalarValueRef::Counter(n) | ScalarValueRef::Timestamp(n) => {
                Value::from(*n)
            }
            ScalarValueRef::Uint(n) => Value::from(*n),
            ScalarValueRef::F64(n) => Value::from(*n),
            ScalarValueRef::Boolean(b) => Value::Bool(*b),
            ScalarValueRef::Bytes(_) | ScalarValueRef::Unknown { .. } | ScalarValueRef::Null => {
                Value::Null
            }
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job::record::{Note, Reading};
    use crate::job::view::JobView;

    fn stamp() -> Stamp {
        Stamp {
            by: "d".repeat(64),
            person: None,
            at: "2026-05-12T08:00:00+01:00".into(),
        }
    }

    fn note(text: &str) -> Note {
        Note {
            text: text.into(),
            stage: None,
            photo: None,
            about: None,
            internal: false,
        }
    }

    #[test]
    fn numbers_come_back_to_the_last_bit() {
        let mut doc = new_document("job").unwrap();
        let wanted = [0.1 + 0.2, -1_234.567_890_123, f64::MIN_POSITIVE];
        let reading = Reading {
            survey: RecordId("s".into()),
            point: "H'".into(),
            x: wanted[0],
            y: wanted[1],
            z: wanted[2],
            u: Some([0.5, 1.0, 2.0]),
            time: None,
            replaces: None,
            why: None,
        };
        change(&mut doc, "", |tx| put_record(tx, "r", &reading, &stamp())).unwrap();
        let again = Automerge::load(&doc.save()).unwrap();
        let view = JobView::read(&again, "document").unwrap();
        assert_eq!(view.readings[0].body, reading);
    }

    #[test]
    fn what_a_newer_program_added_survives_and_is_counted() {
        let mut doc = new_document("job").unwrap();
        change(&mut doc, "", |tx| {
            put_record(tx, "a", &note("old"), &stamp())?;
            let (_, notes) = tx.get(ROOT, "notes")?.expect("a map");
            let (_, at) = tx.get(&notes, "a")?.expect("the note");
            tx.put(&at, "mood", "from the future")?;
            let odd = tx.put_object(&notes, "b", ObjType::Map)?;
            tx.put(&odd, "drawing", 7)?;
            let later = tx.put_object(ROOT, "dreams", ObjType::Map)?;
            tx.put(&later, "c", 1)
        })
        .unwrap();
        change(&mut doc, "", |tx| {
            put_record(tx, "d", &note("new"), &stamp())
        })
        .unwrap();
        let view = JobView::read(&doc, "document").unwrap();
        let texts: Vec<&str> = view.notes.iter().map(|n| n.body.text.as_str()).collect();
        assert_eq!(texts, ["old", "new"]);
        assert_eq!(view.unreadable.len(), 1);
        assert_eq!(view.unreadable[0].id.0, "b");
        let (_, notes) = doc.get(ROOT, "notes").unwrap().unwrap();
        let (_, at) = doc.get(&notes, "a").unwrap().unwrap();
        let (mood, _) = doc.get(&at, "mood").unwrap().unwrap();
        assert_eq!(mood.as_str(), Some("from the future"));
        assert!(doc.get(ROOT, "dreams").unwrap().is_some());
    }

    #[test]
    fn a_newer_major_version_can_be_read_and_not_changed() {
        let mut doc = new_document("job").unwrap();
        change(&mut doc, "", |tx| {
            put_record(tx, "a", &note("old"), &stamp())?;
            tx.put(ROOT, "schema", SCHEMA + 1)
        })
        .unwrap();
        assert_eq!(JobView::read(&doc, "document").unwrap().notes.len(), 1);
        let before = doc.get_heads();
        let refused = change(&mut doc, "", |tx| put_record(tx, "b", &note("n"), &stamp()));
        assert!(matches!(
            refused,
            Err(Error::ReadOnly { found: 2, known: 1 })
        ));
        assert_eq!(doc.get_heads(), before);
    }

    #[test]
    fn a_value_set_by_two_at_once_shows_both_in_the_same_order_everywhere() {
        let mut one = new_document("job").unwrap();
        let mut other = one.fork();
        let by = |who: &str| Stamp {
            by: who.repeat(64),
            ..stamp()
        };
        change(&mut one, "", |tx| {
            put_about(tx, "name", &"left rail".into(), &by("a"))
        })
        .unwrap();
        change(&mut other, "", |tx| {
            put_about(tx, "name", &"van".into(), &by("b"))
        })
        .unwrap();
        let mut back = other.fork();
        back.merge(&mut one.fork()).unwrap();
        one.merge(&mut other).unwrap();
        let (here, there) = (
            JobView::read(&one, "document").unwrap(),
            JobView::read(&back, "document").unwrap(),
        );
        let all = |view: &JobView| -> Vec<Value> {
            view.name.conflict.iter().map(|c| c.value.clone()).collect()
        };
        assert_eq!(all(&here), all(&there));
        assert_eq!(all(&here).len(), 2);
        // Setting it again settles it.
        change(&mut one, "", |tx| {
            put_about(tx, "name", &"left rail".into(), &by("a"))
        })
        .unwrap();
        let settled = JobView::read(&one, "document").unwrap();
        assert!(settled.name.conflict.is_empty());
        assert_eq!(settled.title(), "left rail");
    }
}
