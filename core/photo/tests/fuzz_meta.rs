//! A fuzz target for the path that every file takes before anyone looks at it: what it says
//! about itself, whether it is whole, and the copy without position and names.
//!
//! It runs on the stable compiler as an ordinary test, with a fixed number of cases; every case
//! can be had again from its number. Seeds are made by code. A case is a seed, or two spliced,
//! with faults where readers of such files have them: lengths, counts, types and offsets set to
//! values at the edges, entries doubled, parts left out.
//!
//! ```text
//! DATUMTRAIL_FUZZ_CASES=1000000 cargo test -p datumtrail-photo --test fuzz_meta -- --nocapture
//! DATUMTRAIL_FUZZ_CASE=4711 cargo test ...      that one alone
//! ```

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::time::{Duration, Instant};

use datumtrail_photo::meta::read_meta_bytes;
use datumtrail_photo::strip::{LeaveOut, strip};
use datumtrail_photo::whole::check_whole;
use datumtrail_photo::write::{ExifFields, exif_block, insert_exif};

mod support;
use support::heap::{Counting, peak_of};
use support::{Rng, full_fields};

#[global_allocator]
static HEAP: Counting = Counting;

const CASES: u64 = 20_000;

/// As in `corrupt.rs`; the copy is a second file and its parts a third.
const TIMES: usize = 10;
const BUFFERS: usize = 64 << 10;

fn seeds() -> Vec<Vec<u8>> {
    let full = full_fields();
    let bare = ExifFields::default();
    let mut seeds = Vec::new();
    for fields in [&full, &bare] {
        seeds.push(support::jpeg(16, 16, fields));
        seeds.push(support::png(8, 8, fields));
        seeds.push(support::webp(8, 8, fields));
        seeds.push(support::tiff(8, 8, fields, true));
        seeds.push(support::tiff(8, 8, fields, false));
        seeds.push(support::heic(64, 48, 3, fields));
        seeds.push(support::multi_picture(16, 16, fields));
        seeds.push(support::motion_photo(16, 16, fields));
    }
    seeds.push(support::movie(b"mp42", 640, 480, 0));
    seeds.push(support::movie(b"qt  ", 640, 480, 1_772_629_400));
    seeds
}

/// Values at which arithmetic goes wrong.
const EDGES: [u32; 14] = [
    0,
    1,
    2,
    7,
    8,
    0x7F,
    0xFF,
    0x7FFF,
    0xFFFF,
    0x1_0000,
    0x7FFF_FFFF,
    0x8000_0000,
    0xFFFF_FFF8,
    0xFFFF_FFFF,
];

fn spoil(bytes: &mut Vec<u8>, rng: &mut Rng) {
    if bytes.is_empty() {
        return;
    }
    let at = rng.below(bytes.len());
    let edge = EDGES[rng.below(EDGES.len())];
    let put = |bytes: &mut Vec<u8>, value: &[u8]| {
        for (offset, byte) in value.iter().enumerate() {
            if let Some(place) = bytes.get_mut(at + offset) {
                *place = *byte;
            }
        }
    };
    match rng.below(9) {
        0 => put(bytes, &edge.to_be_bytes()),
        1 => put(bytes, &edge.to_le_bytes()),
        2 => put(bytes, &(edge as u16).to_be_bytes()),
        3 => put(bytes, &(edge as u16).to_le_bytes()),
        4 => bytes[at] ^= 1 << rng.below(8),
        5 => {
            // An entry of a directory twice, which moves all that follows.
            let end = (at + 12).min(bytes.len());
            let entry = bytes[at..end].to_vec();
            bytes.splice(at..at, entry);
        }
        6 => {
            let end = (at + 1 + rng.below(24)).min(bytes.len());
            bytes.drain(at..end);
        }
        7 => bytes.truncate(at),
        _ => {
            // A part of the file over another part.
            let from = rng.below(bytes.len());
            let end = (from + 1 + rng.below(32)).min(bytes.len());
            let part = bytes[from..end].to_vec();
            put(bytes, &part);
        }
    }
}

fn case(number: u64, seeds: &[Vec<u8>]) -> Vec<u8> {
    let mut rng = Rng(number.wrapping_mul(0xF00D_F00D_F00D));
    let pick = |rng: &mut Rng| seeds[rng.below(seeds.len())].clone();
    let mut bytes = match rng.below(8) {
        0 => {
            let (a, b) = (pick(&mut rng), pick(&mut rng));
            let (to, from) = (rng.below(a.len()), rng.below(b.len()));
            [&a[..to], &b[from..]].concat()
        }
        1 | 2 => {
            // A spoilt block in a sound file: faults that reach the Exif reader itself.
            let mut block = exif_block(&full_fields()).expect("encodes");
            for _ in 0..1 + rng.below(6) {
                spoil(&mut block, &mut rng);
            }
            let plain = support::jpeg(16, 16, &ExifFields::default());
            return insert_exif(&plain, &block).unwrap_or(plain);
        }
        _ => pick(&mut rng),
    };
    for _ in 0..1 + rng.below(6) {
        spoil(&mut bytes, &mut rng);
    }
    bytes
}

/// Whether it still reads.
fn run(bytes: &[u8]) -> bool {
    let (meta, reading) = peak_of(|| read_meta_bytes(bytes));
    let (_, walking) = peak_of(|| check_whole(bytes).is_ok());
    let (_, copying) = peak_of(|| strip(bytes, LeaveOut::ALL).is_ok());
    let allowed = TIMES * bytes.len() + BUFFERS;
    for (what, taken) in [("read", reading), ("walk", walking), ("copy", copying)] {
        assert!(
            taken <= allowed,
            "{taken} bytes of memory to {what}, {allowed} allowed"
        );
    }
    if let Ok(meta) = &meta {
        assert!(meta.dimensions.is_none_or(|d| d.width > 0 && d.height > 0));
        let said = format!(
            "{:?}{:?}{:?}",
            meta.camera.label(),
            meta.time_notes,
            meta.warnings
        );
        assert!(!said.chars().any(char::is_control), "{said}");
        let again = read_meta_bytes(bytes).expect("as before");
        assert_eq!(&again, meta, "read twice, the same");
    }
    meta.is_ok()
}

#[test]
fn no_bytes_upset_the_reading_of_what_a_file_says() {
    let number = |name| std::env::var(name).ok().and_then(|n| n.parse::<u64>().ok());
    let seeds = seeds();
    if let Some(one) = number("DATUMTRAIL_FUZZ_CASE") {
        let bytes = case(one, &seeds);
        println!("case {one}: {} bytes, reads: {}", bytes.len(), run(&bytes));
        return;
    }
    let cases = number("DATUMTRAIL_FUZZ_CASES").unwrap_or(CASES);
    let (mut read, mut slowest) = (0, (Duration::ZERO, 0));
    for number in 0..cases {
        let bytes = case(number, &seeds);
        let started = Instant::now();
        match catch_unwind(AssertUnwindSafe(|| run(&bytes))) {
            Ok(reads) => read += u64::from(reads),
            Err(_) => panic!("DATUMTRAIL_FUZZ_CASE={number} fails"),
        }
        slowest = slowest.max((started.elapsed(), number));
    }
    println!("{cases} cases, {read} still read; slowest {slowest:?}");
    // Worthless if every fault were fatal, or none.
    assert!(read > cases / 10 && read < cases);
    // Far above anything seen, so that a busy machine does not fail it; a hang does.
    assert!(slowest.0 < Duration::from_secs(60), "{slowest:?}");
}
