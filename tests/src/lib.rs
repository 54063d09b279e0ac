//! What the stories share: the real program in a folder of its own.

pub mod device;
pub mod lan;
pub mod published;

use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::OnceLock;

use serde_json::Value;

/// The program as people run it, built once for all tests of this run.
pub fn program() -> &'static Path {
    static PROGRAM: OnceLock<PathBuf> = OnceLock::new();
    PROGRAM.get_or_init(|| {
        // Tests of one package can't ask for the binary of another, so it is built here with the
        // profile that this test was built with.
        let test = std::env::current_exe().expect("a test knows itself");
        let profile = test
            .ancestors()
            .nth(2)
            .expect("tests lie in target/PROFILE/deps");
        let release = profile.file_name().is_some_and(|name| name == "release");
        let mut build = Command::new(env!("CARGO"));
        build
            .args(["build", "--quiet", "--package", "datumtrail"])
            .current_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/.."))
            .env(
                "CARGO_TARGET_DIR",
                profile.parent().expect("a target folder"),
            );
        if release {
            build.arg("--release");
        }
        let built = build.status().expect("cargo runs");
        assert!(built.success(), "the program does not build");
        profile.join(if cfg!(windows) {
            "datumtrail.exe"
        } else {
            "datumtrail"
        })
    })
}

/// A shop folder that vanishes with the test.
pub struct Shop {
    pub dir: tempfile::TempDir,
}

impl Default for Shop {
    fn default() -> Self {
        Self::new()
    }
}

impl Shop {
    /// An empty one.
    pub fn new() -> Self {
        Self {
            dir: tempfile::tempdir().expect("a temporary folder"),
        }
    }

    /// One with a job in UTC.
    pub fn with_job() -> Self {
        let shop = Self::new();
        shop.ok(&["job", "new", "Order 1", "--zone", "Etc/UTC"]);
        shop
    }

    /// Loads an invented sheet with a limit of 3 mm.
    pub fn load_sheet(&self, text: &str) {
        let sheet = self.file("sheet.csv", text);
        let limit = ["--limit", "3", "--limit-source", "invented"];
        let load = ["sheet", "load", &sheet, "--source", "invented"];
        self.ok(&[&load[..], &limit[..]].concat());
    }

    /// Where the shop lies.
    pub fn folder(&self) -> PathBuf {
        self.dir.path().join("shop")
    }

    /// Writes a file beside the shop and gives its path.
    pub fn file(&self, name: &str, content: impl AsRef<[u8]>) -> String {
        let path = self.dir.path().join(name);
        std::fs::write(&path, content).expect("a file");
        path.to_str().expect("a plain path").to_owned()
    }

    /// The command, ready to be run.
    pub fn command(&self, args: &[&str]) -> Command {
        let mut command = Command::new(program());
        command
            .arg("--shop")
            .arg(self.folder())
            .args(args)
            .env_remove("DATUMTRAIL_SHOP")
            .env_remove("DATUMTRAIL_PERSON")
            .env_remove("DATUMTRAIL_LOG");
        command
    }

    /// Runs it.
    pub fn run(&self, args: &[&str]) -> Output {
        self.command(args).output().expect("the program runs")
    }

    /// Runs it, expects success, gives what it printed.
    pub fn ok(&self, args: &[&str]) -> String {
        let output = self.run(args);
        let text = String::from_utf8_lossy(&output.stdout).into_owned();
        assert!(
            output.status.success(),
            "{args:?} ended with {:?}:\n{text}{}",
            output.status.code(),
            String::from_utf8_lossy(&output.stderr)
        );
        text
    }

    /// Runs it with `--json`, expects success, gives the value.
    pub fn json(&self, args: &[&str]) -> Value {
        let mut all = vec!["--json"];
        all.extend(args);
        let text = self.ok(&all);
        serde_json::from_str(&text)
            .unwrap_or_else(|e| panic!("{args:?} printed no JSON ({e}):\n{text}"))
    }

    /// Runs it, expects this exit code, gives what it said on the error stream.
    pub fn fails(&self, code: i32, args: &[&str]) -> String {
        let output = self.run(args);
        let text = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(
            output.status.code(),
            Some(code),
            "{args:?}:\n{}{text}",
            String::from_utf8_lossy(&output.stdout)
        );
        assert!(!text.contains("panicked"), "{text}");
        text
    }
}

/// A JPEG of some 100 kB that no other number gives.
pub fn picture(number: u64) -> Vec<u8> {
    let (width, height) = (400_u16, 300_u16);
    let mut state = number.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1;
    let pixels: Vec<u8> = (0..usize::from(width) * usize::from(height) * 3)
        .map(|_| {
            // xorshift: noise does not compress, so the file has some size.
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            state as u8
        })
        .collect();
    let mut jpeg = Vec::new();
    jpeg_encoder::Encoder::new(&mut jpeg, 90)
        .encode(&pixels, width, height, jpeg_encoder::ColorType::Rgb)
        .expect("a picture");
    jpeg
}

/// What a worker said is on the disk.
#[derive(Clone, Debug, PartialEq)]
pub struct Ack {
    pub kind: String,
    pub id: String,
    pub number: u64,
}

/// Reads the lines of a worker; a last one that was cut off said nothing.
pub fn acks(said: &str) -> Vec<Ack> {
    let whole = said.rfind('\n').map_or("", |end| &said[..end]);
    whole
        .lines()
        .filter_map(|line| {
            let mut words = line.strip_prefix("ack ")?.split(' ');
            Some(Ack {
                kind: words.next()?.to_owned(),
                id: words.next()?.to_owned(),
                number: words.next()?.parse().ok()?,
            })
        })
        .collect()
}

fn lost(ack: &Ack) -> ! {
    panic!("{ack:?} was acknowledged and is gone")
}

/// Opens the shop and looks for everything that was acknowledged, to the byte.
pub async fn assert_all_there(folder: &Path, acks: &[Ack]) {
    use datumtrail_core::shop::{Shop, ShopOptions};
    let shop = Shop::open(folder, ShopOptions::default())
        .await
        .expect("the shop opens");
    let job = shop.job(None).await.expect("the job opens");
    let view = job.view().expect("the job can be read");
    assert!(view.unreadable.is_empty(), "{:?}", view.unreadable);
    for ack in acks {
        match ack.kind.as_str() {
            "survey" => {
                view.surveys
                    .iter()
                    .find(|s| s.id.0 == ack.id)
                    .unwrap_or_else(|| lost(ack));
            }
            "reading" => {
                let found = view.readings.iter().find(|r| r.id.0 == ack.id);
                let reading = found.unwrap_or_else(|| lost(ack));
                assert_eq!(reading.body.x, ack.number as f64);
            }
            "note" => {
                let note = view
                    .notes
                    .iter()
                    .find(|n| n.id.0 == ack.id)
                    .unwrap_or_else(|| lost(ack));
                assert_eq!(note.body.text, format!("note {}", ack.number));
            }
            _ => {
                let photo = view
                    .photos
                    .iter()
                    .find(|p| p.id.0 == ack.id)
                    .unwrap_or_else(|| lost(ack));
                let bytes = job
                    .photo_bytes(&photo.body.blob)
                    .await
                    .expect("the photo's bytes");
                assert!(
                    bytes == picture(ack.number),
                    "photo {} has other bytes",
                    ack.number
                );
                let preview = photo.body.preview.as_ref().expect("a preview");
                job.photo_bytes(preview).await.expect("the preview's bytes");
            }
        }
    }
    drop(job);
    shop.close().await;
}

/// Text with every run of white space as one space: what it says, however it was wrapped.
pub fn flat(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// A number of JSON.
pub fn number(value: &Value) -> f64 {
    value
        .as_f64()
        .unwrap_or_else(|| panic!("{value} is no number"))
}

/// The entry for a point in a report's `points`.
pub fn point<'a>(report: &'a Value, name: &str) -> &'a Value {
    let points = report["points"].as_array().expect("points");
    let found = points.iter().find(|p| p["point"] == name);
    found.unwrap_or_else(|| panic!("no {name}"))
}
