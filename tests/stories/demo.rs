//! The demo, as a newcomer runs it.

use std::process::Command;

use datumtrail_tests::{Shop, flat, program};
use serde_json::Value;

#[test]
fn the_story_ends_with_an_archive_that_verifies() {
    let dir = tempfile::tempdir().expect("a folder");
    let out = dir.path().join("demo");
    let told = Command::new(program())
        .args(["demo", "--out"])
        .arg(&out)
        .output()
        .expect("the program runs");
    let text = String::from_utf8_lossy(&told.stdout).into_owned();
    assert!(
        told.status.success(),
        "{text}{}",
        String::from_utf8_lossy(&told.stderr)
    );
    assert!(
        text.lines()
            .all(|l| l.chars().count() <= 80 || l.contains('/')),
        "{text}"
    );
    let said = flat(&text);
    assert!(said.contains("hidden-welds stays shut"), "{said}");
    assert!(said.contains("closing-panel stays shut"), "{said}");
    assert!(said.contains("mm rearward"), "{said}");

    let shop = Shop { dir };
    let demo_shop = out.join("shop");
    let json = |args: &[&str]| -> Value {
        let output = Command::new(program())
            .arg("--shop")
            .arg(&demo_shop)
            .arg("--json")
            .args(args)
            .output()
            .expect("the program runs");
        assert!(
            output.status.success(),
            "{}",
            String::from_utf8_lossy(&output.stderr)
        );
        serde_json::from_slice(&output.stdout).expect("JSON")
    };
    // All holds opened by evidence, none by a release.
    for hold in json(&["hold", "list"])["holds"].as_array().expect("holds") {
        assert_eq!(hold["state"], "open_by_evidence", "{hold}");
    }
    // Every photo in the stage that the demo drew it for.
    let truth: Vec<(String, &str)> = datumtrail_demo::cameras::photos()
        .into_iter()
        .map(|p| (p.file_name, p.stage))
        .collect();
    let list = json(&["photo", "list"]);
    let photos = list["photos"].as_array().expect("photos");
    assert_eq!(photos.len(), truth.len());
    for photo in photos {
        let name = photo["name"].as_str().expect("a name");
        let stage = truth.iter().find(|(n, _)| n == name).expect("drawn").1;
        assert_eq!(photo["stage"], stage, "{photo}");
    }
    // The surveys tell the story: the first fit outside in length, the final inside everywhere.
    let surveys = json(&["survey", "list"]);
    let ids: Vec<&str> = surveys["surveys"]
        .as_array()
        .expect("surveys")
        .iter()
        .map(|s| s["id"].as_str().expect("an id"))
        .collect();
    assert_eq!(ids.len(), 4);
    let verdicts = |survey: &str| -> Vec<String> {
        let check = json(&["check", "--survey", survey]);
        check["points"]
            .as_array()
            .expect("points")
            .iter()
            .filter(|p| ["R4", "R5", "R6"].contains(&p["point"].as_str().unwrap_or("")))
            .map(|p| {
                p["length"]["verdict"]
                    .as_str()
                    .expect("a verdict")
                    .to_owned()
            })
            .collect()
    };
    assert!(
        verdicts(ids[1]).iter().all(|v| v == "outside"),
        "{:?}",
        verdicts(ids[1])
    );
    assert!(
        verdicts(ids[3]).iter().all(|v| v == "inside"),
        "{:?}",
        verdicts(ids[3])
    );

    let archive = out.join("pannier-left-rear.zip");
    let verify = |path: &std::path::Path| {
        Command::new(program())
            .arg("verify")
            .arg(path)
            .output()
            .expect("the program runs")
    };
    assert!(verify(&archive).status.success());
    // One byte of a photo changed: exit code 3, and the photo named.
    let mut bytes = std::fs::read(&archive).expect("the archive");
    let at = bytes
        .windows(6)
        .position(|w| w == b"Exif\0\0")
        .expect("a photo inside")
        + 5000;
    bytes[at] ^= 0x10;
    let altered = shop.dir.path().join("altered.zip");
    std::fs::write(&altered, bytes).expect("a copy");
    let refused = verify(&altered);
    assert_eq!(refused.status.code(), Some(3));
    assert!(flat(&String::from_utf8_lossy(&refused.stdout)).contains("photos/"));
    // The demo never writes into a folder that holds something.
    let again = Command::new(program())
        .args(["demo", "--out"])
        .arg(&out)
        .output()
        .expect("runs");
    assert_eq!(again.status.code(), Some(1));
}
