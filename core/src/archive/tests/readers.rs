//! Copies for different readers: what is left out, and that they say so and stay true.

use automerge::Automerge;

use super::{bytes_of, json_of, text_of};
use crate::archive::testjob::Bench;
use crate::archive::{ExportOptions, Reader, file, verify};
use crate::shop::{NewNote, NewSupport, OpenOptions, Shop, ShopOptions};

const SECRET: &str = "The customer haggled; keep the hours to ourselves.";

async fn export(bench: &Bench, reader: Reader) -> std::path::PathBuf {
    let path = bench.path(&format!("{}.zip", reader.word()));
    let options = ExportOptions {
        reader,
        ..ExportOptions::default()
    };
    let job = bench.job().await;
    job.export(&path, &options, |_, _| {}).await.unwrap();
    path
}

/// Every byte of the archive's files, as one text.
fn everything(path: &std::path::Path) -> String {
    let bag = datumtrail_bag::BagReader::open(path).unwrap();
    let names: Vec<String> = bag.payload().map(|f| f.path.to_owned()).collect();
    let mut all = String::new();
    for name in names {
        all += &String::from_utf8_lossy(&bytes_of(path, &name));
    }
    // Automerge compresses what is long: saved without that, every text can be found.
    let doc = Automerge::load(&bytes_of(path, file::DOCUMENT)).unwrap();
    all + &String::from_utf8_lossy(&doc.save_nocompress())
}

#[tokio::test]
async fn each_copy_leaves_out_what_the_table_says_and_says_so() {
    let bench = Bench::new().await;
    let job = bench.job().await;
    let internal = NewNote {
        text: SECRET.into(),
        stage: Some("arrival".into()),
        internal: true,
        ..NewNote::default()
    };
    let note = job.add_note(internal).await.unwrap();
    let support = NewSupport {
        note: note.0.clone(),
        operation: "replace".into(),
        part: "rail end".into(),
        reason: "a reason that stays here".into(),
        ..NewSupport::default()
    };
    job.support_estimate(support).await.unwrap();
    // One seal covers the note, the other does not.
    job.seal_stage("arrival").await.unwrap();
    job.seal_stage("as-found-survey").await.unwrap();
    let photo = job.view().unwrap().photos[0].id.clone();
    job.cover_photo(&photo.0, [10, 10, 20, 20]).await.unwrap();

    for reader in [Reader::Record, Reader::Shop, Reader::Insurer, Reader::Owner] {
        let path = export(&bench, reader).await;
        let found = verify(&path).unwrap();
        assert!(found.is_whole(), "{reader:?}: {found}");
        assert!(found.signature.is_some());
        let all = everything(&path);
        let reduced = matches!(reader, Reader::Insurer | Reader::Owner);
        assert_eq!(all.contains(SECRET), !reduced, "{reader:?}");
        assert_eq!(
            all.contains("a reason that stays here"),
            !reduced,
            "{reader:?}"
        );
        let names_device = all.contains("bench");
        assert_eq!(names_device, reader != Reader::Owner, "{reader:?}");
        // Nothing of the history: one author, and no older values.
        let document = Automerge::load(&bytes_of(&path, file::DOCUMENT)).unwrap();
        let view = crate::job::view::JobView::load(&document.save(), "").unwrap();
        assert_eq!(view.copy_for.as_deref(), reduced.then_some(reader.word()));
        assert_eq!(view.receipts.is_empty(), reduced);
        assert_eq!(found.seals.len(), if reduced { 1 } else { 2 });
        assert_eq!(found.copies, usize::from(reader != Reader::Shop));

        let story = json_of(&path);
        assert_eq!(story["copy"]["for"], reader.word());
        let left_out = story["copy"]["left_out"].as_array().unwrap().len();
        assert_eq!(left_out == 0, reader == Reader::Shop);
        let readme = text_of(&path, file::README);
        let page = text_of(&path, file::TIMELINE);
        for text in [&readme, &page] {
            let text = crate::archive::words::one_line(text);
            let says = text.contains("otes for the shop alone") && text.contains("(1 note)");
            assert_eq!(says, reduced, "{reader:?}");
        }
        if reduced {
            let withheld = &story["copy"]["seals"][0];
            assert_eq!(withheld["stage"], "arrival");
            assert!(page.contains(withheld["sha512"].as_str().unwrap()));
        }
    }

    // The next shop gets the covered photo as the camera wrote it; the others must not.
    let original = job.view().unwrap().photos[0].body.blob.clone();
    let original = job.photo_bytes(&original).await.unwrap();
    for (reader, whole) in [(Reader::Shop, true), (Reader::Owner, false)] {
        let path = bench.path(&format!("{}.zip", reader.word()));
        let story = json_of(&path);
        let photos = story["photos"].as_array().unwrap().iter();
        let told = photos.into_iter().find(|p| p["id"] == photo.0).unwrap();
        let bytes = bytes_of(&path, told["file"].as_str().unwrap());
        assert_eq!(bytes == original, whole, "{reader:?}");
        assert_eq!(told["copy"].is_null(), whole);
    }

    // Only what is whole can be carried on with.
    let options = ShopOptions {
        device_name: Some("desk".into()),
        ..ShopOptions::default()
    };
    let there = Shop::open(&bench.path("there"), options).await.unwrap();
    let refused = there
        .open_archive(&bench.path("insurer.zip"), OpenOptions::default())
        .await
        .unwrap_err();
    assert!(
        refused.to_string().contains("copy for the insurer"),
        "{refused}"
    );
    let opened = there
        .open_archive(&bench.path("shop.zip"), OpenOptions::default())
        .await
        .unwrap();
    assert_eq!((opened.originals, opened.copies.len()), (6, 0));
    there.close().await;

    let asked = ExportOptions {
        reader: Reader::Owner,
        with_location: true,
        ..ExportOptions::default()
    };
    let refused = job.export(&bench.path("x.zip"), &asked, |_, _| {}).await;
    assert!(refused.unwrap_err().to_string().contains("positions"));
    drop(job);
    bench.shop.close().await;
}
