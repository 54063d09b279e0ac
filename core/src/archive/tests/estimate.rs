//! What supports the lines of the estimate.

use super::{json_of, text_of};
use crate::archive::testjob::Bench;
use crate::archive::{file, verify};
use crate::shop::{NewNote, NewSupport};

#[tokio::test]
async fn a_note_supports_a_line_with_its_evidence() {
    let bench = Bench::new().await;
    let job = bench.job().await;
    let note = NewNote {
        text: "The end of the rail is folded, and the fold is closed.".into(),
        stage: Some("as-found-survey".into()),
        ..NewNote::default()
    };
    let note = job.add_note(note).await.unwrap();
    let view = job.view().unwrap();
    let survey = view.standing_surveys().next().unwrap();
    let reading = view.readings_of(&survey.id).find(|r| r.body.point == "E");
    let reading = reading.unwrap().id.0.clone();
    let gone = view.readings.iter().find(|r| !r.stands()).unwrap();
    let photo = view
        .photos
        .iter()
        .find(|p| p.body.name == "scan.jpg")
        .unwrap();
    let line = |operation: &str| NewSupport {
        note: note.0.clone(),
        operation: operation.into(),
        part: "rail end section, left".into(),
        reason: "a closed fold can't be straightened".into(),
        photos: vec![photo.id.0.clone()],
        readings: vec![reading.clone()],
        replaces: None,
    };
    assert!(job.support_estimate(line("  ")).await.is_err());
    let withdrawn = NewSupport {
        readings: vec![gone.id.0.clone()],
        ..line("replace")
    };
    let refused = job.support_estimate(withdrawn).await.unwrap_err();
    assert!(
        refused.to_string().contains("no longer counts"),
        "{refused}"
    );
    // A spreadsheet would run this.
    let first = job
        .support_estimate(line("=HYPERLINK(\"x\"), \"y\""))
        .await
        .unwrap();
    let correction = NewSupport {
        replaces: Some(first.0.clone()),
        ..line("replace")
    };
    job.support_estimate(correction).await.unwrap();

    bench.export("a.zip").await.unwrap();
    let path = bench.path("a.zip");
    assert!(verify(&path).unwrap().is_whole());
    let csv = text_of(&path, file::ESTIMATE);
    let mut lines = csv::Reader::from_reader(csv.as_bytes());
    let lines: Vec<csv::StringRecord> = lines.records().map(Result::unwrap).collect();
    assert_eq!(lines.len(), 2);
    assert_eq!(&lines[0][1], "'=HYPERLINK(\"x\"), \"y\"");
    assert_eq!((&lines[0][12], &lines[1][12]), ("no", "yes"));
    assert_eq!((&lines[1][7], &lines[1][9]), ("scan.jpg", "E"));

    let story = json_of(&path);
    let told = story["estimate"].as_array().unwrap();
    assert_eq!(told.len(), 1);
    assert_eq!(told[0]["operation"], "replace");
    let found = told[0]["readings"][0]["found"].as_str().unwrap();
    assert!(found.contains("outside (limit 3 mm)"), "{found}");
    let page = text_of(&path, file::TIMELINE);
    assert!(
        page.contains("Replace: rail end section, left"),
        "no chapter"
    );

    // Without its note a line has nothing to stand on.
    job.withdraw(note.short(), "another vehicle").await.unwrap();
    bench.export("b.zip").await.unwrap();
    let path = bench.path("b.zip");
    assert_eq!(json_of(&path)["estimate"].as_array().unwrap().len(), 0);
    assert!(text_of(&path, file::ESTIMATE).contains(",no,"));
    bench.shop.close().await;
}
