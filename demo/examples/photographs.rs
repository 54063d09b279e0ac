//! Draws the story's photographs into a folder: `cargo run --release -p datumtrail-demo --example
//! photographs -- FOLDER [WIDTH]`.

use std::path::PathBuf;
use std::time::Instant;

use datumtrail_demo::cameras::{WIDTH, photos};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut args = std::env::args().skip(1);
    let folder = PathBuf::from(args.next().unwrap_or_else(|| "photographs".into()));
    let width = args.next().map_or(Ok(WIDTH), |w| w.parse())?;
    std::fs::create_dir_all(&folder)?;
    let start = Instant::now();
    for photo in photos() {
        std::fs::write(folder.join(&photo.file_name), photo.jpeg_of_width(width)?)?;
        println!("{}  {:22}  {}", photo.file_name, photo.stage, photo.caption);
    }
    println!("{:.1} s", start.elapsed().as_secs_f64());
    Ok(())
}
