//! What is refused: replacing an archive, and leaving photos out silently.

use super::{json_of, text_of};
use crate::Error;
use crate::archive::export::ExportOptions;
use crate::archive::testjob::Bench;
use crate::archive::{export, file, verify};

#[tokio::test]
async fn nothing_is_ever_replaced() {
    let bench = Bench::new().await;
    for name in ["a.zip", "a folder"] {
        bench.export(name).await.unwrap();
        let error = bench.export(name).await.unwrap_err();
        assert!(error.to_string().contains("already there"), "{error}");
        assert!(verify(&bench.path(name)).unwrap().is_whole());
    }
    assert!(matches!(
        verify(bench.folder.path()),
        Err(Error::Invalid { .. })
    ));
    assert!(matches!(
        verify(&bench.path("none.zip")),
        Err(Error::Io { .. })
    ));
    std::fs::write(bench.path("noise.zip"), [7; 999]).unwrap();
    assert!(matches!(
        verify(&bench.path("noise.zip")),
        Err(Error::Damaged { .. })
    ));
    bench.shop.close().await;
}

#[tokio::test]
async fn missing_photos_are_named_and_only_left_out_when_asked() {
    use export::{Arrival, Content};
    let bench = Bench::new().await;
    let camera = bench.folder.path().join("camera");
    let saved = bench.job().await.save();
    let now = "2031-05-07T07:00:00Z".parse().unwrap();
    let content = || Content::read(saved.clone(), "", now, &ExportOptions::default()).unwrap();
    let arrivals = |content: &Content| -> Vec<Arrival> {
        let all = content.wanted().into_iter();
        all.map(|wanted| Arrival {
            original: match wanted.name.as_str() {
                "scan.jpg" => Err("the bytes of this photo are not here".into()),
                name => Ok(std::fs::read(camera.join(name)).unwrap()),
            },
            photo: wanted.photo,
            kept: None,
            preview: None,
        })
        .collect()
    };
    let path = bench.path("a.zip");

    let told = content();
    let all = arrivals(&told);
    let error = told
        .write(&path, &missing_allowed(false), all.into_iter())
        .unwrap_err();
    assert_eq!(error.blame(), crate::error::Blame::Damage);
    assert!(error.to_string().contains("scan.jpg"), "{error}");
    assert!(!path.exists());

    // A sender that stops half way leaves no archive either.
    let told = content();
    let some = arrivals(&told).into_iter().skip(1).take(2);
    assert!(told.write(&path, &missing_allowed(true), some).is_err());
    assert!(!path.exists());

    let told = content();
    let all = arrivals(&told);
    let summary = told
        .write(&path, &missing_allowed(true), all.into_iter())
        .unwrap();
    assert_eq!(
        (summary.photos, summary.left_out[0].name.as_str()),
        (5, "scan.jpg")
    );
    let found = verify(&path).unwrap();
    assert!(found.is_whole(), "{found}");
    assert!(found.notes[0].contains("scan.jpg was left out"), "{found}");
    let page = text_of(&path, file::TIMELINE);
    assert!(page.contains("The bytes of 1 photo are not in this archive: scan.jpg."));
    assert_eq!(json_of(&path)["photos"][0]["file"], serde_json::Value::Null);
    bench.shop.close().await;
}

fn missing_allowed(allow_missing: bool) -> ExportOptions {
    ExportOptions {
        allow_missing,
        ..ExportOptions::default()
    }
}
