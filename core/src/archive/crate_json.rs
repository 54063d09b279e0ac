//! `ro-crate-metadata.json`: what the archive is, for repositories of research data and the like.
//!
//! RO-Crate 1.2 (<https://w3id.org/ro/crate/1.2>) is JSON-LD with schema.org's words. It says what
//! each file is, who was there and which program wrote it. It adds no fact to `job.json`, so it is a
//! pure function of the story and of the files' sizes.

use std::collections::HashMap;

use serde_json::{Value, json};

use super::names::as_link;
use super::story::{PhotoStory, Story};
use super::{file, words};

const CONTEXT: &str = "https://w3id.org/ro/crate/1.2/context";
const CONFORMS_TO: &str = "https://w3id.org/ro/crate/1.2";

/// The files of every archive but this one: path, what it is, its media type.
const FILES: [(&str, &str, &str); 10] = [
    (
        file::TIMELINE,
        "The whole story as one page for people",
        "text/html",
    ),
    (file::README, "What each file is", "text/plain"),
    (
        file::MEASUREMENTS,
        "Deviations from the dimension sheet with uncertainty, limit and verdict",
        "text/csv",
    ),
    (
        file::READINGS,
        "The readings as observed, in the instrument's frame",
        "text/csv",
    ),
    (
        file::TRAMS,
        "The tram readings as observed, and each against the sheet",
        "text/csv",
    ),
    (
        file::ESTIMATE,
        "What supports the lines of the estimate: operation, part, reason and evidence",
        "text/csv",
    ),
    (
        file::JOB_JSON,
        "The story and every record, for programs",
        "application/json",
    ),
    (
        file::SCHEMA,
        "What each field of job.json is, as a JSON Schema",
        "application/schema+json",
    ),
    (
        file::DOCUMENT,
        "The Automerge document with its whole history",
        "application/octet-stream",
    ),
    (
        file::PLAN,
        "The stages and hold points, and what they ask",
        "application/toml",
    ),
];

/// The text of `ro-crate-metadata.json`. `sizes` are the bytes of the files that are not photos, by
/// their paths.
pub fn describe(story: &Story, sizes: &HashMap<String, u64>) -> String {
    let size = |path: &str| sizes.get(path).copied();
    let mut parts: Vec<Value> = FILES
        .iter()
        .map(|(name, what, kind)| entry(name, what, kind, size(name)))
        .collect();
    if sizes.contains_key(file::REPORT) {
        let what = "The story as a report on paper, PDF/A-2a";
        let report = entry(file::REPORT, what, "application/pdf", size(file::REPORT));
        parts.insert(1, report);
    }
    let sheets = story.sheet.iter().flat_map(|s| &s.files);
    parts.extend(sheets.map(|sheet| {
        let what = format!("The dimension sheet as it was loaded: {}", sheet.source);
        entry(&sheet.archived, &what, "text/csv", size(&sheet.archived))
    }));
    parts.extend(seals(sizes));
    parts.extend(story.photos.iter().filter_map(photo));
    let shop = story.head.organization.as_ref();
    let shop = shop.map(|name| json!({ "@id": "#shop", "@type": "Organization", "name": name }));
    let people: Vec<Value> = story
        .people
        .iter()
        .enumerate()
        .map(|(n, name)| {
            let person = json!({
                "@id": format!("#person-{}", n + 1), "@type": "Person", "name": name,
            });
            with(person, "affiliation", shop.as_ref().map(reference))
        })
        .collect();

    let mut graph = vec![descriptor(), root(story, &parts, &people, shop.as_ref())];
    graph.extend(parts);
    graph.extend(people);
    graph.extend(shop);
    graph.extend([identifier(story), rights()]);
    let text = serde_json::to_string_pretty(&json!({ "@context": CONTEXT, "@graph": graph }));
    // A value that was just made always has a text.
    text.unwrap_or_default()
}

/// What was signed of the stages, the signatures, and whose keys they are.
fn seals(sizes: &HashMap<String, u64>) -> Vec<Value> {
    let seals = sizes
        .iter()
        .filter(|(name, _)| name.starts_with(file::SEALS));
    let mut seals: Vec<(&String, &u64)> = seals.collect();
    seals.sort();
    let one = |(name, bytes): (&String, &u64)| {
        let (what, kind) = if name.ends_with(".json") {
            ("What a device signed of a closed stage", "application/json")
        } else if name.ends_with(".sig") {
            ("The OpenSSH signature over it", "text/plain")
        } else {
            ("Whose keys signed, as OpenSSH lists it", "text/plain")
        };
        entry(name, what, kind, Some(*bytes))
    };
    seals.into_iter().map(one).collect()
}

fn descriptor() -> Value {
    json!({
        "@id": file::CRATE,
        "@type": "CreativeWork",
        "conformsTo": { "@id": CONFORMS_TO },
        "about": { "@id": "./" },
    })
}

fn root(story: &Story, parts: &[Value], people: &[Value], shop: Option<&Value>) -> Value {
    let head = &story.head;
    let about = match &head.vehicle {
        Some(vehicle) => format!("{}, {vehicle}", head.name),
        None => head.name.clone(),
    };
    let root = json!({
        "@id": "./",
        "@type": "Dataset",
        "name": head.name,
        "description": format!(
            "Record of a structural repair: {about}. {} Written by {}.",
            story.answer.sentence, head.program
        ),
        "datePublished": head.told,
        "identifier": { "@id": "#identifier" },
        "license": { "@id": "#rights" },
        "hasPart": parts.iter().map(reference).collect::<Vec<Value>>(),
    });
    let span = head.from.as_ref().zip(head.to.as_ref());
    let span = span.map(|(from, to)| json!(format!("{from}/{to}")));
    let authors = match people {
        [] => None,
        [one] => Some(reference(one)),
        several => Some(several.iter().map(reference).collect()),
    };
    let root = with(root, "temporalCoverage", span);
    let root = with(root, "author", authors);
    with(root, "publisher", shop.map(reference))
}

/// An entity with one more property, where there is one.
fn with(mut entity: Value, name: &str, value: Option<Value>) -> Value {
    if let (Value::Object(fields), Some(value)) = (&mut entity, value) {
        fields.insert(name.to_owned(), value);
    }
    entity
}

fn reference(entity: &Value) -> Value {
    json!({ "@id": entity.get("@id") })
}

fn entry(path: &str, what: &str, kind: &str, bytes: Option<u64>) -> Value {
    let entity = json!({
        "@id": as_link(path),
        "@type": "File",
        "name": path,
        "description": what,
        "encodingFormat": kind,
    });
    with(entity, "contentSize", bytes.map(|b| json!(b.to_string())))
}

fn photo(photo: &PhotoStory) -> Option<Value> {
    let path = photo.file.as_ref()?;
    let stage = photo.stage_title.as_deref().unwrap_or("no settled stage");
    let mut what = format!("Photo {}, {stage}; {}", photo.number, photo.tie);
    let mut bytes = photo.bytes;
    if let Some(copy) = &photo.copy {
        what += &format!("; a copy: {}", copy.differs);
        bytes = copy.bytes;
    }
    let entity = entry(
        path,
        &words::one_line(&what),
        &photo.media_type,
        Some(bytes),
    );
    // The name that the camera gave it.
    let entity = with(entity, "name", Some(json!(photo.name)));
    Some(with(
        entity,
        "dateCreated",
        photo.taken.as_ref().map(|at| json!(at)),
    ))
}

fn identifier(story: &Story) -> Value {
    json!({
        "@id": "#identifier",
        "@type": "PropertyValue",
        "name": "The job's identity",
        "propertyID": "UUID",
        "value": format!("urn:uuid:{}", story.head.job),
    })
}

fn rights() -> Value {
    json!({
        "@id": "#rights",
        "@type": "CreativeWork",
        "name": "No licence is stated",
        "description": "The rights in this record stay with those who made it.",
    })
}
