//! Archives read back: as a backup, beside newer edits, and damaged.

use std::path::Path;

use automerge::Automerge;

use super::{bytes_of, json_of};
use crate::archive::testjob::Bench;
use crate::archive::{ExportOptions, file, verify};
use crate::error::{Blame, Error};
use crate::job::record::Receipt;
use crate::job::record::Record;
use crate::shop::{NewNote, OpenOptions, Shop, ShopOptions};

async fn another(bench: &Bench, name: &str) -> Shop {
    let options = ShopOptions {
        person: Some("Ottokar Bramwell".into()),
        device_name: Some("desk".into()),
        ..ShopOptions::default()
    };
    Shop::open(&bench.path(name), options).await.unwrap()
}

async fn open(shop: &Shop, path: &Path) -> crate::shop::Opened {
    let options = OpenOptions::default();
    shop.open_archive(path, options).await.unwrap()
}

fn note(text: &str) -> NewNote {
    NewNote {
        text: text.into(),
        ..NewNote::default()
    }
}

fn document(archive: &Path) -> Automerge {
    Automerge::load(&bytes_of(archive, file::DOCUMENT)).unwrap()
}

#[tokio::test]
async fn a_round_trip_loses_nothing_and_adds_only_the_receipt() {
    let bench = Bench::new().await;
    bench.export("a.zip").await.unwrap();
    let there = another(&bench, "there").await;
    let opened = open(&there, &bench.path("a.zip")).await;
    assert!(!opened.merged && opened.missing.is_empty() && opened.copies.is_empty());
    assert_eq!((opened.originals, opened.already), (6, 0));
    let again = bench.path("b.zip");
    let job = there.job(None).await.unwrap();
    job.export(&again, &ExportOptions::default(), |_, _| {})
        .await
        .unwrap();
    assert!(verify(&again).unwrap().is_whole());

    let (before, after) = (document(&bench.path("a.zip")), document(&again));
    for head in before.get_heads() {
        assert!(after.get_change_meta_by_hash(&head).is_some());
    }
    let new = after.get_changes(&before.get_heads());
    let said: Vec<String> = new
        .iter()
        .map(|change| {
            change
                .message()
                .map(ToString::to_string)
                .unwrap_or_default()
        })
        .collect();
    assert_eq!(said, ["name a device", &format!("add {}", Receipt::WORD)]);
    // The same photos in the same places, byte for byte.
    let places = |archive: &Path| -> Vec<String> {
        let photos = json_of(archive)["photos"].as_array().unwrap().clone();
        let paths = photos
            .iter()
            .map(|p| p["file"].as_str().unwrap().to_owned());
        paths.collect()
    };
    assert_eq!(places(&bench.path("a.zip")), places(&again));
    for path in places(&again) {
        assert_eq!(
            bytes_of(&bench.path("a.zip"), &path),
            bytes_of(&again, &path)
        );
    }
    // Opened once more it brings nothing, and writes nothing.
    let opened = open(&there, &again).await;
    assert!(opened.merged);
    assert_eq!(
        (opened.changes, opened.originals, opened.already),
        (0, 0, 6)
    );
    let heads = job.save();
    assert_eq!(
        Automerge::load(&heads).unwrap().get_heads(),
        after.get_heads()
    );
    drop(job);
    there.close().await;
    bench.shop.close().await;
}

#[tokio::test]
async fn edits_made_apart_are_merged() {
    let bench = Bench::new().await;
    bench.export("a.zip").await.unwrap();
    let there = another(&bench, "there").await;
    open(&there, &bench.path("a.zip")).await;
    let job = there.job(None).await.unwrap();
    job.add_note(note("Written there.")).await.unwrap();
    job.export(&bench.path("b.zip"), &ExportOptions::default(), |_, _| {})
        .await
        .unwrap();
    bench
        .job()
        .await
        .add_note(note("Written here."))
        .await
        .unwrap();
    let opened = open(&bench.shop, &bench.path("b.zip")).await;
    assert!(opened.merged && opened.changes > 0);
    let view = bench.job().await.view().unwrap();
    let texts: Vec<&str> = view.notes.iter().map(|n| n.body.text.as_str()).collect();
    assert!(texts.contains(&"Written here.") && texts.contains(&"Written there."));
    // Each device holds the photos, by its own receipt.
    let photo = &view.photos[0].id;
    assert_eq!(view.holders()[photo].len(), 2);
    drop(job);
    there.close().await;
    bench.shop.close().await;
}

/// What is covered leaves the shop as a copy, and is never taken for the original.
#[tokio::test]
async fn a_copy_stays_a_copy() {
    let bench = Bench::new().await;
    let job = bench.job().await;
    let view = job.view().unwrap();
    let photo = &view.photos[0];
    job.cover_photo(&photo.id.0, [10, 10, 20, 20])
        .await
        .unwrap();
    bench.export("a.zip").await.unwrap();
    let there = another(&bench, "there").await;
    let opened = open(&there, &bench.path("a.zip")).await;
    assert_eq!((opened.originals, opened.copies.len()), (5, 1));
    assert_eq!(opened.copies[0].photo, photo.id);
    assert!(opened.copies[0].why.contains("covered"));
    let job = there.job(None).await.unwrap();
    assert!(job.photo_bytes(&photo.body.blob).await.is_err());
    let held = job.view().unwrap().holders();
    assert!(!held[&photo.id].contains_key(&there.device().0));
    // Its archive has the copy, and says that it is one.
    let again = bench.path("b.zip");
    job.export(&again, &ExportOptions::default(), |_, _| {})
        .await
        .unwrap();
    let found = verify(&again).unwrap();
    assert!(found.is_whole(), "{found}");
    assert_eq!((found.photos, found.copies), (6, 1));
    // The original comes with a later archive.
    drop(job);
    there.close().await;
    bench.shop.close().await;
}

#[tokio::test]
async fn a_damaged_archive_is_refused_unless_it_is_asked_for() {
    let bench = Bench::new().await;
    bench.export("a folder").await.unwrap();
    let path = bench.path("a folder");
    let photo = json_of(&path)["photos"][0]["file"]
        .as_str()
        .unwrap()
        .to_owned();
    let place = path.join("data").join(&photo);
    let mut bytes = std::fs::read(&place).unwrap();
    let middle = bytes.len() / 2;
    bytes[middle] ^= 1;
    std::fs::write(&place, bytes).unwrap();

    let there = another(&bench, "there").await;
    let options = OpenOptions::default();
    let refused = there.open_archive(&path, options).await.unwrap_err();
    assert_eq!(refused.blame(), Blame::Damage, "{refused}");
    assert!(refused.to_string().contains(&photo), "{refused}");
    assert!(there.jobs().await.unwrap().is_empty());

    let opened = there
        .open_archive(&path, OpenOptions { damaged: true })
        .await
        .unwrap();
    assert_eq!((opened.originals, opened.missing.len()), (5, 1));
    assert!(
        opened.damage.iter().any(|d| d.contains(&photo)),
        "{:?}",
        opened.damage
    );

    // Without a document there is no job.
    std::fs::write(path.join("data").join(file::DOCUMENT), b"noise").unwrap();
    let refused = there
        .open_archive(&path, OpenOptions { damaged: true })
        .await
        .unwrap_err();
    assert!(matches!(refused, Error::Damaged { .. }), "{refused}");
    there.close().await;
    bench.shop.close().await;
}
