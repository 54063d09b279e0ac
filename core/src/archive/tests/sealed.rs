//! What a seal covers, and that whatever is added or changed afterwards shows.

use serde_json::Value;

use crate::archive::sealed::{changes_since, collect};
use crate::archive::testjob::Bench;
use crate::error::Error;
use crate::job::plan::Plan;
use crate::job::view::JobView;
use crate::shop::NewNote;

async fn view_of(bench: &Bench) -> (JobView, Plan) {
    let saved = bench.job().await.save();
    let view = JobView::load(&saved, "").unwrap();
    let plan = Plan::parse(crate::job::plan::SHIPPED).unwrap();
    (view, plan)
}

fn count(form: &Value, map: &str) -> usize {
    let records = &form["records"][map];
    records.as_object().map_or(0, serde_json::Map::len)
}

#[tokio::test]
async fn a_stage_is_sealed_with_all_that_it_rests_on() {
    let bench = Bench::new().await;
    let (view, plan) = view_of(&bench).await;
    let found = collect(&view, &plan, "as-found-survey").unwrap();
    // Two set-ups: twelve readings, one corrected, one repeated; and eight.
    let counts = [
        ("openings", 1),
        ("closings", 1),
        ("releases", 0),
        ("sheets", 2),
        ("surveys", 2),
        ("readings", 22),
        ("moves", 1),
        ("trams", 0),
        ("photos", 1),
        ("ties", 1),
        ("notes", 1),
    ];
    for (map, expected) in counts {
        assert_eq!(count(&found, map), expected, "{map}");
    }
    let photo = found["records"]["photos"].as_object().unwrap();
    let photo = photo.values().next().unwrap();
    assert_eq!(photo["name"], "scan.jpg");
    assert_eq!(photo["blob"].as_str().unwrap().len(), 64);
    let fit = collect(&view, &plan, "fit-survey").unwrap();
    // One tram reading was corrected, and both are in it.
    assert_eq!((count(&fit, "trams"), count(&fit, "moves")), (6, 0));
    // The stage behind a release has it.
    let closing = collect(&view, &plan, "closing-panel").unwrap();
    assert_eq!(count(&closing, "releases"), 1);
    // A note of no stage belongs to the one that was open.
    assert_eq!(
        count(&collect(&view, &plan, "arrival").unwrap(), "notes"),
        2
    );
    // Only the phone's photos would need no clock; the pocket camera's was put right.
    assert_eq!(
        count(&collect(&view, &plan, "test-welds").unwrap(), "clocks"),
        1
    );
    assert!(matches!(
        collect(&view, &plan, "no-such"),
        Err(Error::Unknown { .. })
    ));
    bench.shop.close().await;
}

#[tokio::test]
async fn a_seal_holds_until_something_changes_and_then_says_what() {
    let bench = Bench::new().await;
    let (view, plan) = view_of(&bench).await;
    let form = collect(&view, &plan, "as-found-survey").unwrap();
    let text = datumtrail_seal::canonical(&form).unwrap();
    let seed = [9; 32];
    let signature = datumtrail_seal::sign(text.as_bytes(), &seed).unwrap();
    let allowed =
        datumtrail_seal::allowed_signers_line("bench", &datumtrail_seal::public_key(&seed));
    assert!(datumtrail_seal::verify(text.as_bytes(), &signature, &allowed).is_ok());

    let sealed: Value = serde_json::from_str(&text).unwrap();
    let unchanged = changes_since(&sealed, &view, &plan).unwrap();
    assert_eq!(unchanged, Vec::<String>::new());

    let job = bench.job().await;
    let note = NewNote {
        text: "Looked again: the sill is fine.".into(),
        stage: Some("as-found-survey".into()),
        ..NewNote::default()
    };
    job.add_note(note).await.unwrap();
    let reading = view.readings.iter().find(|r| r.stands()).unwrap();
    job.withdraw(reading.id.short(), "the adapter was loose")
        .await
        .unwrap();
    let scan = view
        .photos
        .iter()
        .find(|p| p.body.name == "scan.jpg")
        .unwrap();
    job.withdraw(scan.id.short(), "another vehicle")
        .await
        .unwrap();
    // What happens in other stages is none of this seal's business.
    let elsewhere = NewNote {
        text: "Elsewhere".into(),
        stage: Some("fit-survey".into()),
        ..NewNote::default()
    };
    job.add_note(elsewhere).await.unwrap();

    let (view, plan) = view_of(&bench).await;
    let changes = changes_since(&sealed, &view, &plan).unwrap();
    let expected = [
        format!(
            "The reading «{}» ({}) was withdrawn by Wanda Kestrelby (bench)",
            reading.body.point,
            reading.id.short()
        ),
        format!(
            "The photo «scan.jpg» ({}) was withdrawn: another vehicle.",
            scan.id.short()
        ),
        "The note «Looked again: the sill is fine.»".into(),
    ];
    for (change, expected) in changes.iter().zip(&expected) {
        assert!(change.starts_with(expected), "{changes:#?}");
    }
    assert_eq!(changes.len(), expected.len(), "{changes:#?}");
    assert!(
        changes[0].ends_with(": the adapter was loose."),
        "{}",
        changes[0]
    );
    assert!(
        changes[2].contains("was added by Wanda Kestrelby"),
        "{}",
        changes[2]
    );
    bench.shop.close().await;
}

/// What this program never does, and a forger might: each shows.
#[tokio::test]
async fn records_altered_dropped_or_slipped_in_show() {
    let bench = Bench::new().await;
    let (mut view, plan) = view_of(&bench).await;
    let sealed = collect(&view, &plan, "as-found-survey").unwrap();
    let at = view
        .readings
        .iter()
        .position(|r| r.body.point == "R")
        .unwrap();
    view.readings[at].body.x += 0.1;
    let changes = changes_since(&sealed, &view, &plan).unwrap();
    assert!(
        changes.len() == 1 && changes[0].ends_with("is not what was sealed: x differs."),
        "{changes:?}"
    );

    view.readings.remove(at);
    let changes = changes_since(&sealed, &view, &plan).unwrap();
    assert!(
        changes.len() == 1 && changes[0].ends_with("and the document does not have it."),
        "{changes:?}"
    );

    let (mut view, plan) = view_of(&bench).await;
    let slip = view.readings.iter().position(|r| !r.stands()).unwrap();
    view.readings[slip].replaced_by = None;
    let changes = changes_since(&sealed, &view, &plan).unwrap();
    assert!(
        changes.len() == 1 && changes[0].contains("does now"),
        "{changes:?}"
    );

    let mut other = sealed.clone();
    other["job"] = "another".into();
    for wrong in [other, serde_json::json!({}), Value::Null] {
        assert!(changes_since(&wrong, &view, &plan).is_err());
    }
    let mut newer = sealed.clone();
    newer["version"] = 2.into();
    assert!(changes_since(&newer, &view, &plan).is_err());
    newer["version"] = 1.into();
    newer["records"]["spells"] = serde_json::json!({ "1": {} });
    let (view, plan) = view_of(&bench).await;
    let changes = changes_since(&newer, &view, &plan).unwrap();
    assert!(changes[0].contains("does not know: spells"), "{changes:?}");
    bench.shop.close().await;
}
