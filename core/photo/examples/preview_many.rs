//! How fast previews are made.
//!
//! ```text
//! preview_many write DIR COUNT      writes COUNT 12-megapixel JPEGs into DIR
//! preview_many run DIR OUT THREADS  makes a preview of each and says how long it took
//! ```
//!
//! To compare, give another program the same folder: `vipsthumbnail -s 512 DIR/*.jpg`.

use std::error::Error;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Instant;

use datumtrail_photo::preview::{PREVIEW_LONG_SIDE, preview};
use datumtrail_photo::write::{ExifFields, with_exif};

#[path = "../tests/support/mod.rs"]
mod support;

const WIDTH: u32 = 4000;
const HEIGHT: u32 = 3000;

fn main() -> Result<(), Box<dyn Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let args: Vec<&str> = args.iter().map(String::as_str).collect();
    match args.as_slice() {
        ["write", dir, count] => write(Path::new(dir), count.parse()?),
        ["run", dir, out, threads] => run(Path::new(dir), Path::new(out), threads.parse()?),
        _ => Err("usage: preview_many write DIR COUNT | run DIR OUT THREADS".into()),
    }
}

fn write(dir: &Path, count: u64) -> Result<(), Box<dyn Error>> {
    std::fs::create_dir_all(dir)?;
    for seed in 0..count {
        let fields = ExifFields {
            orientation: Some(1 + (seed % 8) as u16),
            ..Default::default()
        };
        let rgb = support::busy_pixels(WIDTH, HEIGHT, seed);
        let jpeg = with_exif(&support::jpeg_of(&rgb, WIDTH, HEIGHT, 90), &fields)?;
        std::fs::write(dir.join(format!("P{seed:04}.jpg")), jpeg)?;
    }
    Ok(())
}

fn run(dir: &Path, out: &Path, threads: usize) -> Result<(), Box<dyn Error>> {
    std::fs::create_dir_all(out)?;
    let mut files: Vec<PathBuf> = std::fs::read_dir(dir)?
        .map(|entry| entry.map(|e| e.path()))
        .collect::<Result<_, _>>()?;
    files.sort();
    let next = AtomicUsize::new(0);
    let started = Instant::now();
    let work = || -> Result<usize, String> {
        let mut done = 0;
        while let Some(file) = files.get(next.fetch_add(1, Ordering::Relaxed)) {
            let bytes = std::fs::read(file).map_err(|e| e.to_string())?;
            let small = preview(&bytes, PREVIEW_LONG_SIDE).map_err(|e| e.to_string())?;
            let name = file.file_name().ok_or("a file without a name")?;
            std::fs::write(out.join(name), small.jpeg).map_err(|e| e.to_string())?;
            done += 1;
        }
        Ok(done)
    };
    let done = std::thread::scope(|scope| {
        let workers: Vec<_> = (0..threads).map(|_| scope.spawn(work)).collect();
        let results = workers.into_iter().map(|w| w.join());
        results
            .map(|r| r.map_err(|_| "a worker panicked".to_owned())?)
            .sum::<Result<usize, String>>()
    })?;
    let seconds = started.elapsed().as_secs_f64();
    println!("{done} previews in {seconds:.3} s, {threads} threads");
    Ok(())
}
