//! One half of `tests/benches/photos.sh`: writes photographs to measure with, and lists what
//! many files say about themselves.
//!
//! ```text
//! bench_photos write DIR COUNT [BASES]  COUNT twelve-megapixel JPEGs, from BASES pictures (8)
//! bench_photos list DIR                 reads the headers of each, prints a line each
//! ```

use std::error::Error;
use std::fs::File;
use std::io::Write;
use std::path::{Path, PathBuf};

use datumtrail_photo::meta::read_meta;
use datumtrail_photo::write::{ExifFields, with_exif};
use jiff::civil::date;

#[path = "../tests/support/mod.rs"]
mod support;

const WIDTH: u32 = 4000;
const HEIGHT: u32 = 3000;

fn main() -> Result<(), Box<dyn Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let args: Vec<&str> = args.iter().map(String::as_str).collect();
    match args.as_slice() {
        ["write", dir, count] => write(Path::new(dir), count.parse()?, 8),
        ["write", dir, count, bases] => write(Path::new(dir), count.parse()?, bases.parse()?),
        ["list", dir] => list(Path::new(dir)),
        _ => Err("usage: bench_photos write DIR COUNT [BASES] | list DIR".into()),
    }
}

/// Every file differs from all others, in its Exif and in a comment behind the picture's end;
/// the pictures themselves repeat, because encoding them takes most of the time.
fn write(dir: &Path, count: u32, bases: u32) -> Result<(), Box<dyn Error>> {
    std::fs::create_dir_all(dir)?;
    let bases: Vec<Vec<u8>> = std::thread::scope(|scope| {
        let workers: Vec<_> = (0..bases.max(1))
            .map(|seed| {
                scope.spawn(move || {
                    let rgb = support::busy_pixels(WIDTH, HEIGHT, u64::from(seed));
                    // From some 3 to 6 MB, as phones write them.
                    support::jpeg_of(&rgb, WIDTH, HEIGHT, 84 + (seed % 8) as u8)
                })
            })
            .collect();
        workers.into_iter().filter_map(|w| w.join().ok()).collect()
    });
    let start = date(2026, 3, 4).at(8, 0, 0, 0);
    for number in 0..count {
        let seconds = jiff::SignedDuration::from_secs(i64::from(number) * 7);
        let fields = ExifFields {
            date_time_original: Some(start.checked_add(seconds)?),
            make: Some("Bench".to_owned()),
            model: Some(format!("Pocket {}", number % 3)),
            body_serial: Some(format!("B{:04}", number % 5)),
            orientation: Some(1 + (number % 8) as u16),
            gps: Some((12.5, f64::from(number % 360) - 180.0)).filter(|_| number % 2 == 0),
            ..Default::default()
        };
        let base = bases.get(number as usize % bases.len());
        let mut jpeg = with_exif(base.ok_or("no picture")?, &fields)?;
        jpeg.extend(number.to_le_bytes());
        std::fs::write(dir.join(format!("P{number:05}.jpg")), jpeg)?;
    }
    Ok(())
}

fn list(dir: &Path) -> Result<(), Box<dyn Error>> {
    let mut files: Vec<PathBuf> = std::fs::read_dir(dir)?
        .map(|entry| entry.map(|e| e.path()))
        .collect::<Result<_, _>>()?;
    files.sort();
    let workers = std::thread::available_parallelism().map_or(2, usize::from);
    let lot = files.len().div_ceil(workers).max(1);
    let lines: Vec<Result<String, String>> = std::thread::scope(|scope| {
        let work = |files: &[PathBuf]| -> Result<String, String> {
            let mut out = String::new();
            for path in files {
                let said = |e: &dyn std::fmt::Display| format!("{}: {e}", path.display());
                let file = File::open(path).map_err(|e| said(&e))?;
                let meta = read_meta(file).map_err(|e| said(&e))?;
                let taken = meta.taken.map(|t| t.civil.to_string());
                out += &format!(
                    "{}\t{}\t{}\t{:?}\n",
                    path.display(),
                    taken.unwrap_or_default(),
                    meta.camera.label().unwrap_or_default(),
                    meta.dimensions
                );
            }
            Ok(out)
        };
        let started: Vec<_> = files
            .chunks(lot)
            .map(|lot| scope.spawn(move || work(lot)))
            .collect();
        let joined = started.into_iter().map(|w| w.join());
        joined
            .map(|r| r.unwrap_or_else(|_| Err("a worker panicked".to_owned())))
            .collect()
    });
    let mut out = std::io::stdout().lock();
    for text in lines {
        out.write_all(text?.as_bytes())?;
    }
    Ok(())
}
