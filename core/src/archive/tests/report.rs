//! The report in a whole archive: its pictures are those that go out, and it is the same each time.

use datumtrail_bag::BagReader;

use super::{bytes_of, json_of, text_of};
use crate::archive::testjob::Bench;
use crate::archive::{ExportOptions, PaperSize, file, verify};

fn holds(pdf: &[u8], part: &[u8]) -> bool {
    pdf.windows(part.len()).any(|window| window == part)
}

#[tokio::test]
async fn its_pictures_are_the_copies_that_go_out() {
    let bench = Bench::new().await;
    let original = std::fs::read(bench.folder.path().join("camera/weld one.jpg")).unwrap();
    bench.export("open.zip").await.unwrap();
    let open = bytes_of(&bench.path("open.zip"), file::REPORT);
    assert!(open.starts_with(b"%PDF-1.7"));
    // Small and upright, so it goes in as it is.
    assert!(holds(&open, &original));

    let job = bench.job().await;
    let story = json_of(&bench.path("open.zip"));
    let photos = story["photos"].as_array().unwrap();
    let weld = photos.iter().find(|p| p["name"] == "weld one.jpg").unwrap();
    let id = weld["id"].as_str().unwrap();
    job.cover_photo(id, [2, 2, 8, 8]).await.unwrap();
    bench.export("covered.zip").await.unwrap();
    let path = bench.path("covered.zip");
    let covered = bytes_of(&path, file::REPORT);
    assert!(!holds(&covered, &original), "what is covered is shown");
    let story = json_of(&path);
    let photos = story["photos"].as_array().unwrap();
    let weld = photos.iter().find(|p| p["name"] == "weld one.jpg").unwrap();
    let copy = bytes_of(&path, weld["file"].as_str().unwrap());
    assert_ne!(copy, original);
    assert!(holds(&covered, &copy));
    assert!(verify(&path).unwrap().is_whole());
    bench.shop.close().await;
}

#[tokio::test]
async fn the_same_job_gives_the_same_report_and_letter_another() {
    let bench = Bench::new().await;
    bench.export("a.zip").await.unwrap();
    bench.export("b.zip").await.unwrap();
    let [a, b] = ["a.zip", "b.zip"].map(|name| bytes_of(&bench.path(name), file::REPORT));
    assert!(a == b);
    let options = ExportOptions {
        paper: PaperSize::Letter,
        ..ExportOptions::default()
    };
    let path = bench.path("letter.zip");
    let job = bench.job().await;
    job.export(&path, &options, |_, _| {}).await.unwrap();
    let letter = bytes_of(&path, file::REPORT);
    assert!(holds(&letter, b"[0 0 612 792]") && !holds(&a, b"[0 0 612 792]"));
    // It is named where an archive names its files.
    assert!(text_of(&path, file::README).contains(file::REPORT));
    assert!(text_of(&path, file::CRATE).contains(file::REPORT));
    assert!(text_of(&path, file::TIMELINE).contains(file::REPORT));
    let bag = BagReader::open(&path).unwrap();
    assert!(bag.payload().any(|f| f.path == file::REPORT));
    bench.shop.close().await;
}
