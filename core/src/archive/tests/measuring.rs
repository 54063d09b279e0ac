//! What the story, the page and the tables tell of measuring: what a survey rests on, what moved,
//! the move that was decided, distances, and a sheet that contradicts itself.

use serde_json::Value;

use super::{json_of, text_of};
use crate::archive::testjob::{Bench, DISPLACED, DISTANCES, SHEET};
use crate::archive::{file, verify};

/// Texts as a page holds them.
fn escaped(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('"', "&quot;")
}

fn texts(list: &Value) -> Vec<&str> {
    list.as_array()
        .into_iter()
        .flatten()
        .filter_map(Value::as_str)
        .collect()
}

#[tokio::test]
async fn a_survey_says_how_good_it_is_and_what_went_into_it() {
    let bench = Bench::new().await;
    bench.export("a.zip").await.unwrap();
    let job = json_of(&bench.path("a.zip"));
    let first = &job["surveys"][0];
    // 0.4 and 0.2 together are 0.447.
    assert_eq!(
        first["uncertainty"],
        "standard uncertainty 0.4 mm on each axis, as stated; with 0.2 mm for seating and adapters \
         a standard uncertainty of 0.45 mm on each axis; of this 0.2 mm differs from one reading \
         of a point to the next"
    );
    let further = &first["set_ups"][0];
    assert_eq!(further["instrument"], "invented tripod");
    assert_eq!(further["readings"], 8);
    let uncertainty = further["uncertainty"].as_str().unwrap();
    assert!(
        uncertainty.starts_with("errors of up to 0.6 mm in space, in any direction, as stated"),
        "{uncertainty}"
    );
    let gathered = texts(&first["gathered"]);
    let [temperature, joint, repeats] = gathered.as_slice() else {
        panic!("{gathered:#?}");
    };
    assert!(
        temperature.ends_with(
            "were brought from 31 to 20 °C, as stated: steel, 12 millionths of a length for each \
             degree."
        ),
        "{temperature}"
    );
    assert!(
        joint.contains("(invented tripod) was joined through"),
        "{joint}"
    );
    assert!(repeats.contains("R' 2 times (at most 0.05 mm"), "{repeats}");
    let missed = first["could_be_missed"].as_str().unwrap();
    assert!(missed.contains("four times in five"), "{missed}");
    // Nothing of the sort is said where nothing of the sort was done.
    let second = &job["surveys"][1];
    assert_eq!(texts(&second["gathered"]), Vec::<&str>::new());
    assert_eq!(
        second["uncertainty"],
        "standard uncertainty 0.4 mm on each axis, as stated"
    );
    // Only surveys with a set-up of their own are told as surveys.
    assert_eq!(job["surveys"].as_array().unwrap().len(), 2);
    bench.shop.close().await;
}

#[tokio::test]
async fn what_moved_stands_near_the_top_in_words() {
    let bench = Bench::new().await;
    bench.export("a.zip").await.unwrap();
    let path = bench.path("a.zip");
    let job = json_of(&path);
    let damage = &job["damage"];
    assert_eq!(damage["name"], "As-found survey");
    let zones = damage["reading"]["zones"].as_array().unwrap();
    let rear = zones.iter().find(|z| z["zone"] == "rear").unwrap();
    let kinds = rear["cause"]["kinds"].as_array().unwrap();
    let size = |kind: &str| {
        let of_kind = kinds.iter().find(|k| k["kind"] == kind);
        of_kind.and_then(|k| k["size_mm"].as_f64()).unwrap()
    };
    // As the test job displaced it: forward is shorter at the rear, inboard on the left is to the
    // right, down is sag.
    let [forward, inboard, down] = DISPLACED;
    assert!((size("mash") + forward).abs() < 0.5);
    assert!((size("sidesway") - inboard).abs() < 0.5);
    assert!((size("sag") - down).abs() < 0.5);

    let page = text_of(&path, file::TIMELINE);
    let place = |text: &str| page.find(text).unwrap_or_else(|| panic!("no {text}"));
    assert!(place("id=\"answer\"") < place("id=\"moved\""));
    assert!(place("id=\"moved\"") < place("id=\"picture\""));
    for line in texts(&rear["words"]) {
        assert!(page.contains(&escaped(line)), "{line}");
    }
    let told = damage["reading"]["extent"].as_array().unwrap().iter();
    let told: Vec<&Value> = told.filter(|e| e["behind_stayed"] == false).collect();
    assert_eq!(told.len(), 1);
    assert!(page.contains(&escaped(told[0]["words"].as_str().unwrap())));
    for caution in texts(&damage["cautions"]) {
        assert!(page.contains(caution), "{caution}");
    }
    bench.shop.close().await;
}

#[tokio::test]
async fn a_move_is_told_with_what_came_of_it() {
    let bench = Bench::new().await;
    bench.export("a.zip").await.unwrap();
    let path = bench.path("a.zip");
    let job = json_of(&path);
    let decided = &job["moves"][0];
    assert_eq!(decided["words"], "Push the part 20.9 mm rearward.");
    assert_eq!(decided["allowed"], "a slide along the length");
    let outcome = &decided["outcome"];
    assert_eq!(outcome["survey"], job["surveys"][1]["id"]);
    for point in outcome["points"].as_array().unwrap() {
        // The slide was made; somebody moved it sideways and up as well.
        assert_eq!(
            point["as_predicted"],
            serde_json::json!([true, false, false])
        );
        assert!((point["asked_mm"][0].as_f64().unwrap() - 20.9).abs() < 0.1);
    }
    let chapters = job["chapters"].as_array().unwrap();
    let as_found = chapters.iter().find(|c| c["stage"] == "as-found-survey");
    let kinds = as_found.unwrap()["events"].as_array().unwrap().iter();
    let kinds: Vec<&str> = kinds.map(|e| e["kind"].as_str().unwrap()).collect();
    assert_eq!(kinds, ["survey", "move", "photo"]);
    let page = text_of(&path, file::TIMELINE);
    for line in texts(&outcome["words"])
        .into_iter()
        .chain(texts(&decided["expected"]))
    {
        assert!(page.contains(&escaped(line)), "{line}");
    }
    bench.shop.close().await;
}

#[tokio::test]
async fn tram_readings_are_one_event_with_its_table() {
    let bench = Bench::new().await;
    bench.export("a.zip").await.unwrap();
    let path = bench.path("a.zip");
    let job = json_of(&path);
    let trams = &job["trams"][0];
    assert_eq!(job["trams"].as_array().unwrap().len(), 1);
    assert_eq!(
        trams["readings"].as_array().unwrap().len(),
        5,
        "one was corrected"
    );
    let questions: Vec<&str> = trams["readings"]
        .as_array()
        .unwrap()
        .iter()
        .filter_map(|r| r["against"]["question"].as_str())
        .collect();
    assert!(
        questions.len() == 1 && questions[0].ends_with("Was it measured point to point?"),
        "{questions:?}"
    );
    assert_eq!(trams["fours"][0]["stands_out"], true);
    let open = texts(&job["answer"]["open"]);
    for expected in [
        "The dimension sheet contradicts itself in 2 places, named below.",
        "Tram readings, Fit survey: the diagonals of D, D', E and E' differ by 5.5 mm",
        "1 tram reading raises a question, asked in the time line.",
    ] {
        assert!(open.iter().any(|o| o.starts_with(expected)), "{open:#?}");
    }
    let page = text_of(&path, file::TIMELINE);
    assert!(page.contains(&escaped(questions[0])));
    assert!(page.contains(&escaped(trams["fours"][0]["words"].as_str().unwrap())));

    let text = text_of(&path, file::TRAMS);
    let mut table = csv::Reader::from_reader(text.as_bytes());
    let header = table.headers().unwrap().clone();
    let rows: Vec<csv::StringRecord> = table.records().map(|r| r.unwrap()).collect();
    let cell = |row: &csv::StringRecord, name: &str| {
        let column = header.iter().position(|h| h == name).unwrap();
        row[column].to_owned()
    };
    assert_eq!(rows.len(), 6);
    let corrected: Vec<_> = rows.iter().filter(|r| cell(r, "counts") == "no").collect();
    assert_eq!(corrected.len(), 1);
    assert_eq!(cell(corrected[0], "value_mm"), "1057.0");
    assert_eq!(cell(corrected[0], "verdict"), "");
    assert_eq!(
        cell(corrected[0], "replaced_by_or_withdrawn"),
        cell(&rows[1], "reading")
    );
    // 1032.0 against the 1031.2 that the sheet prints, with its limit.
    assert_eq!(cell(&rows[1], "sheet_prints_it"), "yes");
    let deviation: f64 = cell(&rows[1], "deviation_mm").parse().unwrap();
    assert!((deviation - 0.8).abs() < 1e-9);
    assert_eq!(cell(&rows[1], "limit_mm"), "3.0");
    assert_eq!(cell(&rows[1], "verdict"), "inside");
    bench.shop.close().await;
}

#[tokio::test]
async fn a_sheet_of_two_files_says_where_it_contradicts_itself() {
    let bench = Bench::new().await;
    bench.export("a.zip").await.unwrap();
    let path = bench.path("a.zip");
    let job = json_of(&path);
    let sheet = &job["sheet"];
    assert_eq!(sheet["earlier"], 0);
    assert_eq!(
        sheet["source"],
        "invented manual, section 5; invented manual, section 6"
    );
    let names: Vec<&str> = sheet["files"]
        .as_array()
        .unwrap()
        .iter()
        .map(|f| f["archived"].as_str().unwrap())
        .collect();
    assert_eq!(names, ["sheet.csv", "sheet-2.csv"]);
    assert_eq!(text_of(&path, names[0]), SHEET);
    assert_eq!(text_of(&path, names[1]), DISTANCES);
    // The width is 10 mm off the positions; which of the figures is wrong can't be told.
    let doubts = sheet["audit"]["doubts"].as_array().unwrap();
    let page = text_of(&path, file::TIMELINE);
    let mut points = Vec::new();
    for doubt in doubts {
        let mm = |field: &str| doubt[field].as_f64().unwrap();
        assert!(((mm("printed_mm") - mm("expected_mm")).abs() - 10.0).abs() < 1e-6);
        points.extend(texts(&doubt["points"]));
        let words = doubt["words"].as_str().unwrap();
        assert!(page.contains(&escaped(words.trim_start_matches("the "))));
    }
    assert!(
        points.contains(&"B") && points.contains(&"B'"),
        "{points:?}"
    );
    assert!(verify(&path).unwrap().is_whole());
    bench.shop.close().await;
}

#[tokio::test]
async fn corrected_readings_say_why() {
    let bench = Bench::new().await;
    bench.export("a.zip").await.unwrap();
    let path = bench.path("a.zip");
    let job = json_of(&path);
    let struck = job["struck"].as_array().unwrap().iter();
    let why: Vec<Option<&str>> = struck
        .filter(|s| s["kind"] == "reading")
        .map(|s| s["why"].as_str())
        .collect();
    let swapped = Some("the labels of R' and E' were swapped");
    assert_eq!(why, [None, swapped, swapped]);
    let page = text_of(&path, file::TIMELINE);
    assert!(page.contains("2 readings of Tue 6 May 2031, 11:00"));
    assert_eq!(
        page.matches("corrected because").count(),
        1,
        "told once for both"
    );

    let text = text_of(&path, file::READINGS);
    let mut table = csv::Reader::from_reader(text.as_bytes());
    let header = table.headers().unwrap().clone();
    let column = |name: &str| header.iter().position(|h| h == name).unwrap();
    let rows: Vec<csv::StringRecord> = table.records().map(|r| r.unwrap()).collect();
    let with = |name: &str| rows.iter().filter(|r| !r[column(name)].is_empty()).count();
    assert_eq!((with("why"), with("joins")), (2, 8));
    let base = job["surveys"][0]["id"].as_str().unwrap();
    assert_eq!(
        rows.iter().filter(|r| &r[column("joins")] == base).count(),
        8
    );
    bench.shop.close().await;
}
