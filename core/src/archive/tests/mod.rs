//! Whole archives of a real job: what is in them, and what becomes of every change.

mod content;
mod estimate;
mod measuring;
mod open;
mod readers;
mod refused;
#[cfg(feature = "report")]
mod report;
mod sealed;
mod signed;
mod tamper;

use std::io::Read;
use std::path::Path;

use datumtrail_bag::BagReader;

use super::file;

fn text_of(archive: &Path, name: &str) -> String {
    let bag = BagReader::open(archive).unwrap();
    std::io::read_to_string(bag.open_payload(name).unwrap()).unwrap()
}

fn bytes_of(archive: &Path, name: &str) -> Vec<u8> {
    let mut bytes = Vec::new();
    let bag = BagReader::open(archive).unwrap();
    bag.open_payload(name)
        .unwrap()
        .read_to_end(&mut bytes)
        .unwrap();
    bytes
}

fn json_of(archive: &Path) -> serde_json::Value {
    serde_json::from_str(&text_of(archive, file::JOB_JSON)).unwrap()
}
