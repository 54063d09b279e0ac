//! What an archive holds, and that its page and its story are honest.

use datumtrail_bag::BagReader;

use super::{bytes_of, json_of, text_of};
use crate::archive::testjob::{Bench, SCRIPT, SHEET};
use crate::archive::{CAUTIONS, PROGRAM, file, names, story, verify};
use crate::job::view::JobView;

#[tokio::test]
async fn an_archive_is_whole_and_has_everything() {
    let bench = Bench::new().await;
    let path = bench.path("job 17.zip");
    let summary = bench.export("job 17.zip").await.unwrap();
    assert_eq!((summary.photos, summary.left_out.len()), (6, 0));

    let found = verify(&path).unwrap();
    assert!(found.is_whole(), "{found}");
    assert_eq!(found.bag.structure, datumtrail_bag::Structure::Checked);
    assert_eq!(found.photos, 6);
    // Two surveys of twelve points on three axes.
    assert_eq!(found.measurements, 72);
    assert_eq!(found.notes, Vec::<String>::new());
    let info = |label: &str| {
        let found = found.bag.info.iter().find(|(l, _)| l == label);
        found
            .map(|(_, value)| value.as_str())
            .unwrap_or_default()
            .to_owned()
    };
    assert_eq!(info("Source-Organization"), "Lanternfish Body & Frame");
    assert_eq!(info("External-Identifier"), summary.job);
    assert_eq!(info("Bagging-Date"), "2031-05-06");
    assert_eq!(info("Bag-Software-Agent"), PROGRAM);
    assert_eq!(
        info("Payload-Oxum"),
        format!("{}.{}", summary.bytes, summary.files)
    );

    assert_eq!(text_of(&path, file::SHEET), SHEET);
    let view = JobView::load(&bytes_of(&path, file::DOCUMENT), "").unwrap();
    assert_eq!(view.id, summary.job);
    assert_eq!(text_of(&path, file::PLAN), view.plan.value.unwrap());
    let readme = text_of(&path, file::README);
    assert!(
        readme.contains(CAUTIONS[0]) && readme.contains("Left rear rail"),
        "{readme}"
    );
    bench.shop.close().await;
}

#[tokio::test]
async fn photos_lie_in_stage_order_byte_for_byte() {
    let bench = Bench::new().await;
    let path = bench.path("a.zip");
    bench.export("a.zip").await.unwrap();
    let bag = BagReader::open(&path).unwrap();
    let photos: Vec<&str> = bag
        .payload()
        .map(|f| f.path)
        .filter(|p| p.starts_with(file::PHOTOS))
        .collect();
    assert_eq!(
        photos,
        [
            "photos/02-as-found-survey/001-no-time-scan.jpg",
            "photos/07-test-welds/002-2031-05-06_11-45-00-weld one.jpg",
            "photos/07-test-welds/003-2031-05-06_11-48-00-P1.JPG",
            "photos/07-test-welds/004-2031-05-06_11-50-00-weld#2 _b_.jpg",
            "photos/98-no-settled-stage/005-2031-05-06_12-30-00-lunch.jpg",
            "photos/98-no-settled-stage/006-no-time-nowhere.jpg",
        ]
    );
    let original = std::fs::read(bench.folder.path().join("camera/weld one.jpg")).unwrap();
    assert_eq!(bytes_of(&path, photos[1]), original);
    bench.shop.close().await;
}

#[tokio::test]
async fn the_story_is_told_honestly() {
    let bench = Bench::new().await;
    bench.export("a.zip").await.unwrap();
    let job = json_of(&bench.path("a.zip"));
    assert_eq!(job["format"], story::FORMAT);
    assert_eq!(job["answer"]["outcome"], "inside");
    let sentence = job["answer"]["sentence"].as_str().unwrap();
    assert!(sentence.contains("rail end section, left"), "{sentence}");

    // The first survey was outside, and the page compares with it.
    let first = &job["surveys"][0];
    assert_eq!(first["stage"], "as-found-survey");
    assert_eq!(job["comparison"]["before"], first["id"]);
    let worst = &first["tally"]["beyond"][0];
    let words = worst["words"].as_str().unwrap();
    assert!(words.ends_with("mm forward"), "{words}");
    assert!(
        (worst["mm"].as_f64().unwrap() + 21.0).abs() < 0.7,
        "{worst}"
    );
    assert_eq!(first["check"]["points"].as_array().unwrap().len(), 12);

    // One hold point was passed by its evidence, one by a name.
    let holds = job["holds"].as_array().unwrap();
    let hold = |key: &str| holds.iter().find(|h| h["key"] == key).unwrap();
    assert_eq!(hold("structural-welding")["passed"][0]["by_evidence"], true);
    let closing = hold("closing");
    assert_eq!(closing["passed"][0]["by_evidence"], false);
    assert_eq!(closing["releases"][0]["name"], "Osric Fennimuir");
    assert!(
        closing["releases"][0]["missing"][0]
            .as_str()
            .unwrap()
            .contains("0 photos")
    );
    assert!(
        job["answer"]["released"][0]
            .as_str()
            .unwrap()
            .contains("cavity wax")
    );
    assert_eq!(hold("hand-over")["state"], "closed");

    let photos = job["photos"].as_array().unwrap();
    let photo = |name: &str| photos.iter().find(|p| p["name"] == name).unwrap();
    assert_eq!(photo("scan.jpg")["certainty"], "decided");
    assert_eq!(photo("P1.JPG")["certainty"], "certain");
    assert_eq!(photo("P1.JPG")["clock"], "put forward by 1 h");
    assert_eq!(photo("lunch.jpg")["certainty"], "doubtful");
    let open = job["answer"]["open"].to_string();
    assert!(open.contains("2 photos have no settled stage"), "{open}");

    let struck = job["struck"].as_array().unwrap();
    let kinds: Vec<&str> = struck.iter().map(|s| s["kind"].as_str().unwrap()).collect();
    assert_eq!(
        kinds,
        ["note", "reading", "reading", "reading", "tram reading"]
    );
    assert_eq!(struck[0]["reason"], "it is the left one");
    assert!(struck[1]["now"].as_str().unwrap().contains(", A:"));
    assert_eq!(job["records"]["readings"].as_array().unwrap().len(), 36);
    bench.shop.close().await;
}

#[tokio::test]
async fn the_page_stands_alone_and_runs_nothing() {
    let bench = Bench::new().await;
    let path = bench.path("a.zip");
    bench.export("a.zip").await.unwrap();
    let page = text_of(&path, file::TIMELINE);
    assert!(
        !page.contains("<script") && !page.contains("<img src=x"),
        "a note became markup"
    );
    assert!(
        page.contains("&lt;script&gt;alert(&quot;x&quot;)"),
        "the note is shown as text"
    );
    assert_eq!(SCRIPT.matches('<').count(), 3);
    for outside in ["http://", "https://", "//cdn", "@import", "javascript:"] {
        assert!(!page.contains(outside), "{outside}");
    }
    assert!(page.contains("Content-Security-Policy"));
    assert!(page.contains("Left rear rail &amp; &quot;corner&quot;"));
    for caution in CAUTIONS {
        assert!(
            page.contains(&caution.replace('\'', "&#39;")) || page.contains(caution),
            "{caution}"
        );
    }

    // Every link within the archive leads somewhere, and every picture has words.
    let bag = BagReader::open(&path).unwrap();
    let there: Vec<String> = bag.payload().map(|f| names::as_link(f.path)).collect();
    let values = |attribute: &str| -> Vec<String> {
        let begin = format!(" {attribute}=\"");
        page.split(&begin)
            .skip(1)
            .map(|rest| rest.split('"').next().unwrap().to_owned())
            .collect()
    };
    let (links, ids) = (values("href"), values("id"));
    assert!(links.len() > 10);
    for link in links {
        match link.strip_prefix('#') {
            Some(id) => assert!(ids.iter().any(|i| i == id), "nothing has the id {id}"),
            None => assert!(there.contains(&link), "{link} leads nowhere"),
        }
    }
    let mut unique = ids.clone();
    unique.sort();
    unique.dedup();
    assert_eq!(unique.len(), ids.len(), "an id stands twice");
    let images = values("src");
    assert_eq!(images.len(), 6);
    for image in images {
        assert!(there.contains(&image), "{image} leads nowhere");
    }
    assert!(values("alt").iter().all(|alt| alt.starts_with("Photo ")));
    assert!(page.contains("Released without its evidence by Osric Fennimuir"));
    assert!(page.contains("<s>Right rear corner.</s>"));
    bench.shop.close().await;
}

#[tokio::test]
async fn the_tables_hold_every_digit() {
    let bench = Bench::new().await;
    let path = bench.path("a.zip");
    bench.export("a.zip").await.unwrap();
    let job = bench.job().await;
    let measured = job.check(None).await.unwrap();
    let report = measured.report();
    let text = text_of(&path, file::MEASUREMENTS);
    let mut table = csv::Reader::from_reader(text.as_bytes());
    let header = table.headers().unwrap().clone();
    let column = |name: &str| header.iter().position(|h| h == name).unwrap();
    let rows: Vec<csv::StringRecord> = table.records().map(|r| r.unwrap()).collect();
    for point in &report.points {
        for (axis, seen) in point.axes() {
            let row = rows
                .iter()
                .find(|r| {
                    r[column("survey")] == report.survey.0
                        && &r[column("point")] == point.point
                        && &r[column("axis")] == axis.word()
                })
                .unwrap();
            let number = |name: &str| row[column(name)].parse::<f64>().ok();
            assert_eq!(number("deviation_mm"), seen.deviation_mm);
            assert_eq!(number("u_mm"), seen.u_mm);
            assert_eq!(number("p_inside"), seen.p_inside);
            assert_eq!(number("limit_mm"), Some(3.0));
            assert_eq!(&row[column("limit_source")], "invented manual, section 2");
        }
    }
    let readings = text_of(&path, file::READINGS);
    assert_eq!(readings.lines().count(), 1 + 36);
    let mut gone = csv::Reader::from_reader(readings.as_bytes());
    assert_eq!(
        gone.records()
            .filter(|r| &r.as_ref().unwrap()[16] == "no")
            .count(),
        3
    );
    bench.shop.close().await;
}
