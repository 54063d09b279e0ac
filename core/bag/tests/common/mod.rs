//! A small bag with a bit of everything, for the tests.
#![allow(dead_code)]

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

use datumtrail_bag::{BagWriter, Compression, Options, Report, Summary, verify};
use jiff::civil::date;

pub fn options() -> Options {
    Options::at(date(2031, 5, 6).at(14, 30, 3, 0))
}

/// Bytes that do not compress, the same each time (xorshift64*, Vigna 2016).
pub struct Noise(pub u64);

impl Noise {
    pub fn next(&mut self) -> u64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        self.0.wrapping_mul(0x2545_f491_4f6c_dd1d)
    }

    pub fn bytes(&mut self, len: usize) -> Vec<u8> {
        (0..len).map(|_| (self.next() >> 56) as u8).collect()
    }

    pub fn below(&mut self, limit: usize) -> usize {
        (self.next() % limit as u64) as usize
    }
}

pub fn payload() -> Vec<(&'static str, Vec<u8>, Compression)> {
    let table: String = (0..200)
        .map(|i| format!("P{},{}.5,{},0\n", i % 40, i * 7 % 900, i / 3))
        .collect();
    vec![
        (
            "photos/before/0001-Längsträger.jpg",
            Noise(1).bytes(3000),
            Compression::Stored,
        ),
        (
            "photos/before/0002.jpg",
            Noise(2).bytes(700),
            Compression::Stored,
        ),
        ("readings.csv", table.into_bytes(), Compression::Deflated),
        (
            "100% of\u{a0}it.txt",
            b"percent".to_vec(),
            Compression::Deflated,
        ),
        ("empty.txt", vec![], Compression::Stored),
        ("empty-too.txt", vec![], Compression::Deflated),
    ]
}

pub fn fill(mut bag: BagWriter) -> Summary {
    bag.info("Source-Organization", "Ördekli Panel Works")
        .unwrap();
    bag.info(
        "External-Description",
        "a sentence of some length. ".repeat(9).trim_end(),
    )
    .unwrap();
    bag.info("External-Identifier", "job-17").unwrap();
    bag.info("External-Identifier", "job-17/2").unwrap();
    for (path, content, compression) in payload() {
        bag.add_payload(path, content.as_slice(), compression)
            .unwrap();
    }
    bag.add_tag("help/how-to-check.txt", b"read the manifest\n")
        .unwrap();
    bag.finish_with(|closing| {
        assert!(closing.manifest.contains("data/readings.csv\n"));
        assert!(closing.bag_info.contains("Payload-Oxum: "));
        Ok(vec![(
            "signatures/manifest.sig".to_owned(),
            closing.manifest.as_bytes()[..9].to_vec(),
        )])
    })
    .unwrap()
}

pub fn zip_bag(folder: &Path) -> PathBuf {
    let target = folder.join("job-17.zip");
    fill(BagWriter::zip(&target, "job-17", &options()).unwrap());
    target
}

pub fn folder_bag(folder: &Path) -> PathBuf {
    let target = folder.join("job-17");
    fill(BagWriter::folder(&target, &options()).unwrap());
    target
}

/// What a check of these bytes as a zip says: its report, or its error.
pub fn check_bytes(folder: &Path, bytes: &[u8]) -> Result<Report, String> {
    let path = folder.join("damaged.zip");
    overwrite(&path, bytes);
    verify(&path).map_err(|error| error.to_string())
}

/// Like `fs::write`, but never makes the file empty first: some file systems wait
/// for the disk when a file that was emptied is closed, and tests do this a lot.
pub fn overwrite(path: &Path, bytes: &[u8]) {
    let options = fs::OpenOptions::new()
        .write(true)
        .create(true)
        .truncate(false)
        .open(path);
    let mut file = options.unwrap();
    file.write_all(bytes).unwrap();
    file.set_len(bytes.len() as u64).unwrap();
}

pub fn problems(report: &Report) -> Vec<String> {
    report.problems.iter().map(ToString::to_string).collect()
}

/// Every file below a folder, by path.
pub fn files_below(root: &Path) -> Vec<PathBuf> {
    let mut files = Vec::new();
    let mut left = vec![root.to_owned()];
    while let Some(folder) = left.pop() {
        for found in fs::read_dir(folder).unwrap() {
            let path = found.unwrap().path();
            if path.is_dir() {
                left.push(path)
            } else {
                files.push(path)
            }
        }
    }
    files.sort();
    files
}
