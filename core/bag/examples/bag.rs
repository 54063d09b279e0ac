//! Writes and checks bags from the command line, for the checks against other
//! tools and for measuring.
//!
//! ```text
//! bag samples FOLDER         good and damaged bags, as folders and zips
//! bag big FOLDER             a zip with long (zip64) records: 5 GB of zeros
//! bag zip TARGET FILE...     a zip of these files, stored
//! bag folder TARGET FILE...  a folder of these files
//! bag verify BAG             the report; exit 1 if it is not whole
//! ```

use std::error::Error;
use std::fs::{self, File};
use std::io::{self, Read};
use std::path::Path;
use std::process::ExitCode;

use datumtrail_bag::{BagWriter, Compression, Options, safe_name, verify};
use jiff::civil::date;

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
    let done = match arguments.as_slice() {
        ["samples", folder] => samples(Path::new(folder)).map(|()| true),
        ["big", folder] => big(Path::new(folder)).map(|()| true),
        ["zip", target, files @ ..] => BagWriter::zip(Path::new(target), "bag", &options())
            .map_err(Into::into)
            .and_then(|bag| pack(bag, files).map(|()| true)),
        ["folder", target, files @ ..] => BagWriter::folder(Path::new(target), &options())
            .map_err(Into::into)
            .and_then(|bag| pack(bag, files).map(|()| true)),
        ["verify", bag] => verify(Path::new(bag)).map_err(Into::into).map(|report| {
            print!("{report}");
            report.is_whole()
        }),
        _ => Err(
            "usage: bag samples|big FOLDER, bag zip|folder TARGET FILE..., bag verify BAG".into(),
        ),
    };
    match done {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => ExitCode::FAILURE,
        Err(error) => {
            eprintln!("{error}");
            ExitCode::FAILURE
        }
    }
}

fn options() -> Options {
    Options {
        overwrite: true,
        ..Options::at(date(2031, 5, 6).at(14, 30, 2, 0))
    }
}

fn pack(mut bag: BagWriter, files: &[&str]) -> Result<(), Box<dyn Error>> {
    for file in files {
        let name = Path::new(file)
            .file_name()
            .unwrap_or_default()
            .to_string_lossy();
        bag.add_payload(&safe_name(&name), File::open(file)?, Compression::Stored)?;
    }
    let summary = bag.finish()?;
    println!(
        "{} files, {} bytes",
        summary.payload_files, summary.payload_bytes
    );
    Ok(())
}

/// One good bag, and one for each thing that can happen to it.
fn samples(folder: &Path) -> Result<(), Box<dyn Error>> {
    fs::create_dir_all(folder)?;
    fill(BagWriter::zip(
        &folder.join("good.zip"),
        "good",
        &options(),
    )?)?;
    type Damage = fn(&Path) -> io::Result<()>;
    let damages: [(&str, Damage); 6] = [
        ("good", |_| Ok(())),
        ("bad-altered", |bag| {
            let file = bag.join("data/photos/0001 Längsträger.jpg");
            let mut content = fs::read(&file)?;
            content[50_000] ^= 1;
            fs::write(file, content)
        }),
        ("bad-missing", |bag| {
            fs::remove_file(bag.join("data/readings.csv"))
        }),
        ("bad-added", |bag| {
            fs::write(bag.join("data/added.txt"), "added")
        }),
        ("bad-info", |bag| {
            let file = bag.join("bag-info.txt");
            let text = fs::read_to_string(&file)?;
            fs::write(file, text.replace("job-17", "job-18"))
        }),
        ("bad-manifest", |bag| {
            let file = bag.join("manifest-sha512.txt");
            let text = fs::read_to_string(&file)?;
            fs::write(file, text.replace("readings.csv", "Readings.csv"))
        }),
    ];
    for (name, damage) in damages {
        let bag = folder.join(name);
        fill(BagWriter::folder(&bag, &options())?)?;
        damage(&bag)?;
    }
    Ok(())
}

fn fill(mut bag: BagWriter) -> Result<(), Box<dyn Error>> {
    bag.info("Source-Organization", "Ördekli Panel Works")?;
    bag.info("External-Identifier", "job-17")?;
    bag.info(
        "External-Description",
        "A description of more than one line. ".repeat(5).trim_end(),
    )?;
    bag.info("Bag-Software-Agent", "datumtrail-bag, example")?;
    let photo: Vec<u8> = (0..200_000_u32)
        .map(|i| (i.wrapping_mul(2_654_435_761) >> 24) as u8)
        .collect();
    let table: String = (0..5000)
        .map(|i| format!("P{},{}.5\n", i % 40, i * 7 % 900))
        .collect();
    bag.add_payload(
        "photos/0001 Längsträger.jpg",
        photo.as_slice(),
        Compression::Stored,
    )?;
    bag.add_payload("readings.csv", table.as_bytes(), Compression::Deflated)?;
    bag.add_payload(
        "写真/説明.txt",
        "ありがとう\n".as_bytes(),
        Compression::Deflated,
    )?;
    bag.add_payload("empty.txt", io::empty(), Compression::Stored)?;
    bag.add_tag(
        "help/how-to-check.txt",
        b"sha512sum -c manifest-sha512.txt\n",
    )?;
    bag.finish_with(|closing| {
        Ok(vec![(
            "manifest-length".to_owned(),
            closing.manifest.len().to_string().into_bytes(),
        )])
    })?;
    Ok(())
}

/// A file of more than 4 GiB, stored; one that is so only unpacked; one that
/// begins beyond 4 GiB; and more than 65,535 files.
fn big(folder: &Path) -> Result<(), Box<dyn Error>> {
    fs::create_dir_all(folder)?;
    let mut bag = BagWriter::zip(&folder.join("big.zip"), "big", &options())?;
    let zeros = |len: u64| io::repeat(0).take(len);
    bag.add_payload("stored", zeros((4 << 30) + 17), Compression::Stored)?;
    bag.add_payload("deflated", zeros((4 << 30) + 5), Compression::Deflated)?;
    bag.add_payload("behind", &b"behind"[..], Compression::Deflated)?;
    bag.finish()?;
    let mut bag = BagWriter::zip(&folder.join("many.zip"), "many", &options())?;
    for i in 0..66_000 {
        let name = format!("{:03}/{i:05}.txt", i / 100);
        bag.add_payload(&name, name.as_bytes(), Compression::Stored)?;
    }
    bag.finish()?;
    Ok(())
}
