//! Writes files of every kind with known content, and prints what is read from files: one
//! half of the outside check `tests/outside/exif.py`, which asks ExifTool the same.
//!
//! ```text
//! exif_corpus write DIR    writes the files
//! exif_corpus read FILE... prints one JSON object: file name to what was read, or the error
//! exif_corpus preview FILE OUT
//! exif_corpus identity FILE...
//! ```

use std::error::Error;
use std::fs::File;
use std::path::Path;

use datumtrail_photo::identity::identity;
use datumtrail_photo::meta::read_meta;
use datumtrail_photo::preview::{PREVIEW_LONG_SIDE, preview};
use datumtrail_photo::write::ExifFields;
use exif::Tag;
use jiff::civil::date;
use jiff::tz::Offset;
use serde_json::{Map, Value, json};

#[path = "../tests/support/mod.rs"]
mod support;

fn main() -> Result<(), Box<dyn Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let args: Vec<&str> = args.iter().map(String::as_str).collect();
    match args.as_slice() {
        ["write", dir] => write(Path::new(dir)),
        ["read", files @ ..] => read(files),
        ["preview", file, out] => {
            let small = preview(&std::fs::read(file)?, PREVIEW_LONG_SIDE)?;
            std::fs::write(out, small.jpeg)?;
            Ok(())
        }
        ["identity", files @ ..] => {
            for file in files {
                println!("{}  {file}", identity(File::open(file)?)?);
            }
            Ok(())
        }
        _ => Err(
            "usage: exif_corpus write DIR | read FILE... | preview FILE OUT | identity FILE..."
                .into(),
        ),
    }
}

fn write(dir: &Path) -> Result<(), Box<dyn Error>> {
    std::fs::create_dir_all(dir)?;
    let full = support::full_fields();
    let bare = ExifFields::default();
    let mut files: Vec<(String, Vec<u8>)> = vec![
        ("full.jpg".into(), support::jpeg(64, 48, &full)),
        ("full.png".into(), support::png(64, 48, &full)),
        ("full.webp".into(), support::webp(64, 48, &full)),
        ("full_le.tif".into(), support::tiff(64, 48, &full, true)),
        ("full_be.tif".into(), support::tiff(64, 48, &full, false)),
        ("full.heic".into(), support::heic(64, 48, 3, &full)),
        ("bare.jpg".into(), support::jpeg(65, 47, &bare)),
        ("bare.png".into(), support::png(65, 47, &bare)),
        ("bare.webp".into(), support::webp(65, 47, &bare)),
        ("bare.tif".into(), support::tiff(65, 47, &bare, true)),
        (
            "video.mp4".into(),
            support::movie(b"mp42", 1920, 1080, 1_772_629_400),
        ),
        (
            "video.mov".into(),
            support::movie(b"qt  ", 640, 480, 1_772_629_400),
        ),
    ];
    for orientation in 1..=8 {
        let fields = ExifFields {
            orientation: Some(orientation),
            ..bare.clone()
        };
        let name = format!("orientation_{orientation}.jpg");
        files.push((name, support::jpeg(800, 600, &fields)));
    }
    for turns in 0..4 {
        files.push((
            format!("turns_{turns}.heic"),
            support::heic(4000, 3000, turns, &bare),
        ));
    }
    files.extend(odd_times());
    files.extend(random(400));
    for (name, bytes) in files {
        std::fs::write(dir.join(name), bytes)?;
    }
    Ok(())
}

/// Times that are missing, broken, or only there in part.
fn odd_times() -> Vec<(String, Vec<u8>)> {
    let original = |text: &str| vec![support::text_field(Tag::DateTimeOriginal, text.as_bytes())];
    let mut out = Vec::new();
    for (name, text) in [
        ("zeros", "0000:00:00 00:00:00"),
        ("blanks", "    :  :     :  :  "),
        ("month_13", "2026:13:04 14:03:20"),
        ("february_30", "2026:02:30 14:03:20"),
        ("hour_24", "2026:03:04 24:03:20"),
        ("words", "some time in March!"),
        ("short", "2026:03:04"),
    ] {
        let mut fields = original(text);
        out.push((format!("time_{name}.jpg"), support::jpeg_with_raw(&fields)));
        fields.push(support::text_field(
            Tag::DateTimeDigitized,
            b"2026:03:04 15:00:00",
        ));
        out.push((
            format!("time_{name}_digitized.jpg"),
            support::jpeg_with_raw(&fields),
        ));
    }
    for (name, sub_sec, offset) in [
        ("spaces", "25  ", "   :  "),
        ("nine_digits", "123456789", "-03:30"),
        ("ten_digits", "1234567899", "+14:00"),
        ("half", "5", "-00:30"),
    ] {
        let mut fields = original("2026:03:04 14:03:20");
        fields.push(support::text_field(
            Tag::SubSecTimeOriginal,
            sub_sec.as_bytes(),
        ));
        fields.push(support::text_field(
            Tag::OffsetTimeOriginal,
            offset.as_bytes(),
        ));
        out.push((format!("parts_{name}.jpg"), support::jpeg_with_raw(&fields)));
    }
    out
}

/// Seeded random content, every field there or not.
fn random(count: u64) -> Vec<(String, Vec<u8>)> {
    let mut rng = support::Rng(2026);
    let mut out = Vec::new();
    for index in 0..count {
        let mut some = || rng.below(4) > 0;
        let there: Vec<bool> = (0..11).map(|_| some()).collect();
        let when = |rng: &mut support::Rng| {
            let day = date(
                1990 + rng.below(60) as i16,
                1 + rng.below(12) as i8,
                1 + rng.below(28) as i8,
            );
            day.at(
                rng.below(24) as i8,
                rng.below(60) as i8,
                rng.below(60) as i8,
                0,
            )
        };
        let word = |rng: &mut support::Rng| -> String {
            (0..1 + rng.below(12))
                .map(|_| char::from(b'A' + rng.below(26) as u8))
                .collect()
        };
        let digits = |rng: &mut support::Rng| -> String {
            (0..1 + rng.below(6))
                .map(|_| char::from(b'0' + rng.below(10) as u8))
                .collect()
        };
        let fields = ExifFields {
            date_time_original: Some(when(&mut rng)).filter(|_| there[0]),
            date_time_digitized: Some(when(&mut rng)).filter(|_| there[1]),
            date_time: Some(when(&mut rng)).filter(|_| there[2]),
            sub_sec: Some(digits(&mut rng)).filter(|_| there[3]),
            offset: Offset::from_seconds((rng.below(105) as i32 - 48) * 900)
                .ok()
                .filter(|_| there[4]),
            make: Some(word(&mut rng)).filter(|_| there[5]),
            model: Some(word(&mut rng)).filter(|_| there[6]),
            body_serial: Some(format!("S{}", digits(&mut rng))).filter(|_| there[7]),
            orientation: Some(1 + rng.below(8) as u16).filter(|_| there[8]),
            gps: Some((
                rng.below(18_000) as f64 / 100.0 - 90.0,
                rng.below(36_000) as f64 / 100.0 - 180.0,
            ))
            .filter(|_| there[9]),
            gps_time: when(&mut rng)
                .to_zoned_datetime(jiff::tz::TimeZone::UTC)
                .map(|z| z.timestamp())
                .ok()
                .filter(|_| there[10]),
        };
        let (w, h) = (8 + rng.below(100) as u32, 8 + rng.below(100) as u32);
        let (extension, bytes) = match index % 5 {
            0 => ("png", support::png(w, h, &fields)),
            1 => ("webp", support::webp(w, h, &fields)),
            2 => ("tif", support::tiff(w, h, &fields, index % 2 == 0)),
            // The format's own turn is given as the Exif one, or not at all.
            3 => (
                "heic",
                support::heic(
                    w,
                    h,
                    0,
                    &ExifFields {
                        orientation: None,
                        ..fields
                    },
                ),
            ),
            _ => ("jpg", support::jpeg(w, h, &fields)),
        };
        out.push((format!("random_{index:03}.{extension}"), bytes));
    }
    out
}

fn read(files: &[&str]) -> Result<(), Box<dyn Error>> {
    let mut all = Map::new();
    for file in files {
        let name = Path::new(file).file_name().ok_or("a file without a name")?;
        let name = name.to_string_lossy().into_owned();
        let value = match read_meta(File::open(file)?) {
            Ok(meta) => {
                let mut value = serde_json::to_value(&meta)?;
                value["media_type"] = json!(meta.kind.media_type());
                value["extension"] = json!(meta.kind.extension());
                value
            }
            Err(error) => json!({ "error": error.to_string() }),
        };
        all.insert(name, value);
    }
    println!("{}", Value::Object(all));
    Ok(())
}
