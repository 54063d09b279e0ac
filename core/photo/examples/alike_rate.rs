//! How well copies of one shot are told from other shots of the same thing.
//!
//! ```text
//! cargo run --release -p datumtrail-photo --example alike_rate [SCENES [FIRST_SEED]]
//! alike_rate distances FILE...     the distance of each file from the first
//! ```
//!
//! A line for each way in which a copy or another shot differs: the spread of distances (of 256
//! signs), and how many are taken for the same shot, for alike, and for different. Pictures
//! only: no time and no camera is known, as of a messenger's copy. Seeds below 1,000,000 were
//! never used for choosing the thresholds.

use std::error::Error;

use datumtrail_photo::alike::{ALIKE, PictureHash, SAME_SHOT};

#[path = "../tests/support/mod.rs"]
mod support;

use support::copies::{VARIANTS, WIDTH, Workshop};

fn main() -> Result<(), Box<dyn Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    if args.first().is_some_and(|a| a == "distances") {
        return distances(args.get(1..).unwrap_or_default());
    }
    let number = |index: usize, default| args.get(index).map_or(Ok(default), |a| a.parse());
    let (scenes, first) = (number(0, 100)?, number(1, 1)?);
    println!(
        "{:<58} median  95 %  worst   same  alike  different",
        "variant"
    );
    for variant in VARIANTS {
        let mut distances = Vec::new();
        for seed in first..first + scenes {
            let shot = Workshop::new(seed);
            let original = PictureHash::of(&shot.jpeg(WIDTH, 92))?;
            let other = PictureHash::of(&variant.of(&shot))?;
            distances.push(original.distance(&other));
        }
        distances.sort_unstable();
        let count = |test: &dyn Fn(u32) -> bool| distances.iter().filter(|d| test(**d)).count();
        let at =
            |share: usize| distances.get((distances.len() * share / 100).min(distances.len() - 1));
        println!(
            "{:<58} {:>6}  {:>4}  {:>5}  {:>5}  {:>5}  {:>9}",
            variant.words(),
            at(50).copied().unwrap_or_default(),
            at(95).copied().unwrap_or_default(),
            if variant.is_same_shot() {
                distances.last()
            } else {
                distances.first()
            }
            .copied()
            .unwrap_or_default(),
            count(&|d| d <= SAME_SHOT),
            count(&|d| d > SAME_SHOT && d <= ALIKE),
            count(&|d| d > ALIKE),
        );
    }
    Ok(())
}

fn distances(files: &[String]) -> Result<(), Box<dyn Error>> {
    let mut first = None;
    for file in files {
        let hash = PictureHash::of(&std::fs::read(file)?)?;
        let from = *first.get_or_insert(hash);
        println!("{} {file}", from.distance(&hash));
    }
    Ok(())
}
