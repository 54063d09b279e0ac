//! What becomes of every change to an archive.

use std::io::Read;
use std::path::Path;

use datumtrail_bag::{BagReader, Place};

use super::bytes_of;
use crate::archive::testjob::Bench;
use crate::archive::{FindingKind, file, verify};

/// Unpacks an archive, lets someone meddle with it, and packs it again as a new bag that is whole
/// in itself: what only the checks beyond the bag can find.
pub(super) fn forge(from: &Path, to: &Path, meddle: impl Fn(&str, Vec<u8>) -> Option<Vec<u8>>) {
    use datumtrail_bag::{BagWriter, Compression, Options};
    let bag = BagReader::open(from).unwrap();
    let options = Options::at(jiff::civil::date(2031, 6, 1).at(0, 0, 0, 0));
    let mut forged = BagWriter::zip(to, "forged", &options).unwrap();
    for (label, value) in bag.info() {
        if !["Bagging-Date", "Payload-Oxum"].contains(&label.as_str()) {
            forged.info(label, value).unwrap();
        }
    }
    for file in bag.payload() {
        let mut bytes = Vec::new();
        bag.open_payload(file.path)
            .unwrap()
            .read_to_end(&mut bytes)
            .unwrap();
        if let Some(bytes) = meddle(file.path, bytes) {
            forged
                .add_payload(file.path, bytes.as_slice(), Compression::Deflated)
                .unwrap();
        }
    }
    forged.finish().unwrap();
}

#[tokio::test]
async fn what_contradicts_the_rest_is_found_in_a_bag_that_is_whole() {
    let bench = Bench::new().await;
    let path = bench.path("a.zip");
    bench.export("a.zip").await.unwrap();
    bench.shop.close().await;
    let replace = |name: &'static str, from: &'static str, to: &'static str| {
        move |path: &str, bytes: Vec<u8>| {
            if path != name {
                return Some(bytes);
            }
            let text = String::from_utf8(bytes).unwrap();
            assert!(text.contains(from), "{name} has no {from}");
            Some(text.replacen(from, to, 1).into_bytes())
        }
    };
    type Meddle = Box<dyn Fn(&str, Vec<u8>) -> Option<Vec<u8>>>;
    let photo = "photos/07-test-welds/002-2031-05-06_11-45-00-weld one.jpg";
    let other = "photos/07-test-welds/003-2031-05-06_11-48-00-P1.JPG";
    let another = bytes_of(&path, other);
    let cases: Vec<(&str, &str, FindingKind, Meddle)> = vec![
        (
            "a verdict",
            file::MEASUREMENTS,
            FindingKind::Recomputed,
            Box::new(replace(file::MEASUREMENTS, ",outside", ",inside")),
        ),
        (
            "a reading",
            file::READINGS,
            FindingKind::Recomputed,
            Box::new(replace(file::READINGS, "as-found-survey", "fit-survey")),
        ),
        (
            "the sheet",
            file::SHEET,
            FindingKind::Recomputed,
            Box::new(replace(file::SHEET, "3400", "3421")),
        ),
        (
            "the plan",
            file::PLAN,
            FindingKind::Recomputed,
            Box::new(replace(file::PLAN, "count = 3", "count = 1")),
        ),
        (
            "a photo for another",
            photo,
            FindingKind::OtherPhoto,
            Box::new(move |path, bytes| {
                Some(if path == photo {
                    another.clone()
                } else {
                    bytes
                })
            }),
        ),
        (
            "a photo taken away",
            photo,
            FindingKind::Unreadable,
            Box::new(move |path, bytes| (path != photo).then_some(bytes)),
        ),
        (
            "no document",
            file::DOCUMENT,
            FindingKind::Missing,
            Box::new(|path, bytes| (path != file::DOCUMENT).then_some(bytes)),
        ),
        (
            "noise for a document",
            file::DOCUMENT,
            FindingKind::Unreadable,
            Box::new(|path, bytes| {
                Some(if path == file::DOCUMENT {
                    vec![7; 99]
                } else {
                    bytes
                })
            }),
        ),
        (
            "a sentence of the page",
            file::TIMELINE,
            FindingKind::Recomputed,
            Box::new(replace(file::TIMELINE, "outside", "inside")),
        ),
        (
            "a record of job.json",
            file::JOB_JSON,
            FindingKind::Recomputed,
            Box::new(replace(
                file::JOB_JSON,
                "\"text\": \"Peeled",
                "\"text\": \"Pealed",
            )),
        ),
        (
            "a line of the estimate",
            file::ESTIMATE,
            FindingKind::Recomputed,
            Box::new(replace(file::ESTIMATE, "support,", "supports,")),
        ),
        (
            "another job's story",
            file::JOB_JSON,
            FindingKind::OtherJob,
            Box::new(|path, bytes| {
                if path != file::JOB_JSON {
                    return Some(bytes);
                }
                let mut story: serde_json::Value = serde_json::from_slice(&bytes).unwrap();
                story["head"]["job"] = "another".into();
                Some(story.to_string().into_bytes())
            }),
        ),
    ];
    for (what, file, kind, meddle) in cases {
        let forged = path.with_file_name("forged.zip");
        forge(&path, &forged, meddle);
        let found = verify(&forged).unwrap();
        assert!(found.bag.is_whole(), "{what}: {found}");
        assert!(!found.is_whole(), "{what} went unnoticed");
        assert!(
            found
                .findings
                .iter()
                .any(|f| f.file == file && f.kind == kind),
            "{what}: {found}"
        );
        std::fs::remove_file(&forged).unwrap();
    }
}

#[tokio::test]
async fn a_photo_slipped_in_is_found() {
    let bench = Bench::new().await;
    let path = bench.path("a folder");
    bench.export("a folder").await.unwrap();
    bench.shop.close().await;
    std::fs::write(path.join("data/photos/07-test-welds/009-better.jpg"), b"no").unwrap();
    let found = verify(&path).unwrap();
    assert!(!found.bag.is_whole());
    assert!(
        found
            .findings
            .iter()
            .any(|f| f.kind == FindingKind::NotRecorded),
        "{found}"
    );
}

/// A thousand random bytes, each flipped by itself: the byte's file or its place in the zip is named.
#[tokio::test]
async fn a_changed_byte_is_named_wherever_it_is() {
    let bench = Bench::new().await;
    let job = bench.job().await;
    job.seal_stage("as-found-survey").await.unwrap();
    bench.export("a.zip").await.unwrap();
    drop(job);
    bench.shop.close().await;
    let path = bench.folder.path().join("a.zip");
    let whole = std::fs::read(&path).unwrap();
    let mut archive = zip::ZipArchive::new(std::io::Cursor::new(&whole)).unwrap();
    // Where each file's own bytes lie, with its header, and its entry in the directory.
    let mut content = Vec::new();
    for index in 0..archive.len() {
        let file = archive.by_index_raw(index).unwrap();
        let start = file.data_start().unwrap();
        let name = file.name().unwrap().split_once('/').unwrap().1.to_owned();
        let entry = file.central_header_start();
        // Signature to offset, then the name: 46 bytes and it (APPNOTE 4.3.12).
        let length = 46 + file.name_raw().len() as u64;
        content.push((entry..entry + length, name.clone()));
        content.push((file.header_start()..start + file.compressed_size(), name));
    }
    let copy = path.with_file_name("changed.zip");
    let mut state: u64 = 0x9e37_79b9_7f4a_7c15;
    for n in 0..1000 {
        // xorshift: the same bytes in every run.
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        let at = state % whole.len() as u64;
        let mut changed = whole.clone();
        changed[at as usize] ^= 1 << (state >> 61);
        std::fs::write(&copy, &changed).unwrap();
        let report = match datumtrail_bag::verify(&copy) {
            Ok(report) => report,
            // The end of the directory: then it is no zip any more.
            Err(datumtrail_bag::Error::Damaged { .. }) => continue,
            Err(other) => panic!("byte {at}: {other}"),
        };
        let inside = content.iter().find(|(range, _)| range.contains(&at));
        let named = report.problems.iter().any(|problem| match &problem.place {
            Place::Bytes { from, to } => (*from..*to).contains(&at),
            Place::File(file) => inside.is_some_and(|(_, name)| name == file),
        });
        // Nothing lists the tag manifest: it is named where the zip's checksum of it does not fit.
        let named = named
            || inside.is_some_and(|(_, name)| {
                let detail = |p: &datumtrail_bag::Problem| p.detail.contains(name.as_str());
                name == "tagmanifest-sha512.txt" && report.problems.iter().any(detail)
            });
        assert!(named, "byte {at} of {}, {inside:?}: {report}", whole.len());
        // The whole check says what the bag's says; it takes longer.
        if n % 50 == 0 {
            let found = verify(&copy).unwrap();
            assert!(!found.is_whole());
            assert_eq!(found.bag.problems, report.problems);
        }
    }
}
