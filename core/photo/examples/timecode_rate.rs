//! How often a photographed time code is found, in rendered scenes, and how long that takes.
//!
//! ```text
//! cargo run --release -p datumtrail-photo --example timecode_rate [SEEDS [FIRST_SEED]]
//! ```
//!
//! A line for each kind of distortion: how many of SEEDS scenes (25 by default) gave the right
//! time at a glance (as each photograph that comes in is looked at) and when looked for, how many a
//! wrong one, the median and the longest time of looking, and at which step of it they were found. Seeds below 1,000,000 were never used for choosing the steps.

use std::error::Error;
use std::time::{Duration, Instant};

use datumtrail_photo::meta::read_meta_bytes;
use datumtrail_photo::shown::shown;
use datumtrail_photo::timecode::{Found, TimeCode, find};

#[path = "../tests/support/mod.rs"]
mod support;

use support::distort::{KINDS, scene};
use support::scene::Scene;

fn main() -> Result<(), Box<dyn Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let number = |index: usize, default| args.get(index).map_or(Ok(default), |a| a.parse());
    let (seeds, first) = (number(0, 25)?, number(1, 1)?);
    println!(
        "{:<44}  glance  found  wrong   median  longest  by step",
        "distortion"
    );
    let (mut all_seen, mut all_found, mut all) = (0, 0, 0);
    for kind in KINDS {
        let (mut seen, mut found, mut wrong) = (0, 0, 0);
        let (mut times, mut steps) = (Vec::new(), [0; 9]);
        for seed in first..first + seeds {
            let instant = jiff::Timestamp::from_second(1_772_600_000 + 7919 * seed as i64)?;
            let code = TimeCode::showing(instant);
            let photo = scene(kind, seed).photograph(Some(&code));
            match at_a_glance(&photo)? {
                Some(f) if f.code == code => seen += 1,
                Some(_) => wrong += 1,
                None => {}
            }
            let started = Instant::now();
            let result = find(&photo)?;
            times.push(started.elapsed());
            match result {
                Some(f) if f.code == code => {
                    found += 1;
                    if let Some(count) = steps.get_mut(f.step) {
                        *count += 1;
                    }
                }
                Some(_) => wrong += 1,
                None => {}
            }
        }
        times.sort_unstable();
        let ms = |t: Option<&Duration>| t.map_or(0, Duration::as_millis);
        println!(
            "{:<44}  {:>6}  {:>5}  {:>5}  {:>4} ms  {:>4} ms  {steps:?}",
            kind.words(),
            format!("{seen}/{seeds}"),
            format!("{found}/{seeds}"),
            wrong,
            ms(times.get(times.len() / 2)),
            ms(times.last()),
        );
        all_seen += seen;
        all_found += found;
        all += seeds;
    }
    println!("{all_seen} at a glance and {all_found} when looked for, of {all}");
    without_a_code(seeds.min(10), first)?;
    Ok(())
}

/// How long it takes to find nothing: twelve-megapixel photographs of a cluttered bench.
fn without_a_code(seeds: u64, first: u64) -> Result<(), Box<dyn Error>> {
    let benches = (first..first + seeds).map(|seed| Scene::bench(seed).photograph(None));
    let benches: Vec<Vec<u8>> = benches.collect();
    time_all("at a glance", &benches, at_a_glance)?;
    time_all("looked for", &benches, |photo| Ok(find(photo)?))
}

fn time_all(
    way: &str,
    photos: &[Vec<u8>],
    look: impl Fn(&[u8]) -> Looked,
) -> Result<(), Box<dyn Error>> {
    let mut times = Vec::new();
    for photo in photos {
        let started = Instant::now();
        if let Some(found) = look(photo)? {
            return Err(format!("a code where none is: {found:?}").into());
        }
        times.push(started.elapsed().as_millis());
    }
    times.sort_unstable();
    println!(
        "no code in 12 megapixels, {way}: median {} ms, longest {} ms",
        times.get(times.len() / 2).copied().unwrap_or_default(),
        times.last().copied().unwrap_or_default()
    );
    Ok(())
}

type Looked = Result<Option<Found>, Box<dyn Error>>;

/// With the preview and the hash, which are made from the same decoding.
fn at_a_glance(photo: &[u8]) -> Looked {
    let meta = read_meta_bytes(photo)?;
    Ok(shown(photo, meta.kind, meta.orientation, 512)?.time_code)
}
