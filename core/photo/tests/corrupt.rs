//! Good files, cut and with flipped bits: whatever happens, nothing panics, nothing takes
//! long or more memory than the file warrants, and what still reads is sane.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::time::{Duration, Instant};

use datumtrail_photo::meta::read_meta_bytes;
use datumtrail_photo::preview::preview;
use datumtrail_photo::whole::check_whole;
use jpeg_encoder::{ColorType, Encoder};

mod support;
use support::heap::{Counting, peak_of};
use support::{Rng, full_fields};

#[global_allocator]
static HEAP: Counting = Counting;

/// Cases a file; over 20,000 in all. `DATUMTRAIL_CORRUPT_CASES` asks for more, or fewer.
const CASES: usize = 1400;

/// Reading what a file says about itself, and whether it is whole, may take this many times
/// the file's size.
const TIMES: usize = 10;

/// What fixed buffers take beside that, however small the file.
const BUFFERS: usize = 64 << 10;

/// A picture may be one plain colour, of few bytes and many pixels. So for decoding, small
/// files are allowed this much in place of ten times their size: four million pixels at eight
/// bytes, and as much again for making three bytes of each.
const PLAIN_PICTURE: usize = 4_000_000 * 16;

fn files() -> Vec<(&'static str, Vec<u8>)> {
    let fields = full_fields();
    let encoded = |progressive, color: ColorType, data: &[u8]| {
        let mut jpeg = Vec::new();
        let mut encoder = Encoder::new(&mut jpeg, 85);
        encoder.set_progressive(progressive);
        encoder.set_restart_interval(if progressive { 0 } else { 4 });
        encoder.encode(data, 96, 64, color).unwrap();
        datumtrail_photo::write::with_exif(&jpeg, &fields).unwrap()
    };
    let busy = support::busy_pixels(96, 64, 5);
    let inks = [busy.as_slice(), &busy[..96 * 64]].concat();
    vec![
        ("jpeg", support::jpeg(96, 64, &fields)),
        ("jpeg with restarts", encoded(false, ColorType::Rgb, &busy)),
        ("progressive jpeg", encoded(true, ColorType::Rgb, &busy)),
        ("cmyk jpeg", encoded(false, ColorType::Cmyk, &inks)),
        (
            "grey jpeg",
            encoded(false, ColorType::Luma, &busy[..96 * 64]),
        ),
        ("png", support::png(48, 32, &fields)),
        ("webp", support::webp(48, 32, &fields)),
        ("tiff", support::tiff(48, 32, &fields, true)),
        ("heic", support::heic(64, 48, 3, &fields)),
        ("mp4", support::movie(b"mp42", 640, 480, 0)),
        ("mov", support::movie(b"qt  ", 640, 480, 1_772_629_400)),
        ("multi-picture", support::multi_picture(96, 64, &fields)),
        ("motion photo", support::motion_photo(96, 64, &fields)),
        (
            "heic, decodable",
            include_bytes!("files/tiny.heic").to_vec(),
        ),
        ("heic, turned", include_bytes!("files/turned.heic").to_vec()),
        ("tiff, big-endian", support::tiff(48, 32, &fields, false)),
    ]
}

/// One to eight faults of the kinds that storage and cables make, most of them in the
/// first kilobyte, where the headers are.
fn spoil(bytes: &mut Vec<u8>, rng: &mut Rng) {
    for _ in 0..1 + rng.below(8) {
        if bytes.is_empty() {
            return;
        }
        let reach = if rng.below(3) > 0 { 1024 } else { bytes.len() };
        let at = rng.below(reach.min(bytes.len()));
        match rng.below(8) {
            0 => bytes.truncate(at),
            1 => bytes[at] = [0x00, 0xFF, 0x7F, 0x80][rng.below(4)],
            2 => bytes[at] = rng.next() as u8,
            3 => {
                let end = (at + 1 + rng.below(64)).min(bytes.len());
                bytes[at..end].fill(0);
            }
            4 => {
                let end = (at + 1 + rng.below(16)).min(bytes.len());
                bytes.drain(at..end);
            }
            5 => bytes.insert(at, rng.next() as u8),
            _ => bytes[at] ^= 1 << rng.below(8),
        }
    }
}

/// The most memory that was taken, bytes.
#[derive(Default)]
struct Worst {
    headers: usize,
    picture: usize,
}

/// Runs everything that is ever done to a file; returns which of the three succeeded.
fn everything(bytes: &[u8], worst: &mut Worst) -> [bool; 3] {
    let ((meta, whole), taken) = peak_of(|| (read_meta_bytes(bytes), check_whole(bytes)));
    let allowed = TIMES * bytes.len() + BUFFERS;
    assert!(
        taken <= allowed,
        "{taken} bytes of memory, {allowed} allowed"
    );
    worst.headers = worst.headers.max(taken);
    if let Ok(meta) = &meta {
        assert!(meta.dimensions.is_none_or(|d| d.width > 0 && d.height > 0));
        let printed = format!("{:?}{:?}", meta.camera.label(), meta.time_notes);
        assert!(!printed.chars().any(char::is_control));
    }
    let (small, taken) = peak_of(|| preview(bytes, 32));
    let allowed = PLAIN_PICTURE.max(TIMES * bytes.len());
    assert!(
        taken <= allowed,
        "{taken} bytes to decode, {allowed} allowed"
    );
    worst.picture = worst.picture.max(taken);
    if let Ok(small) = &small {
        assert!(small.width.max(small.height) <= 32 && small.width.min(small.height) >= 1);
    }
    [meta.is_ok(), whole.is_ok(), small.is_ok()]
}

// One test, because the memory of all threads is counted together.
#[test]
fn no_fault_in_a_file_panics_hangs_or_takes_memory() {
    spoilt_files();
    every_cut_of_every_file();
}

fn spoilt_files() {
    let mut worst = Worst::default();
    let mut total = 0;
    let cases = std::env::var("DATUMTRAIL_CORRUPT_CASES")
        .ok()
        .and_then(|n| n.parse().ok())
        .unwrap_or(CASES);
    let mut slowest = (Duration::ZERO, String::new());
    for (index, (name, good)) in files().into_iter().enumerate() {
        let pristine = everything(&good, &mut worst);
        assert!(
            pristine[0] && pristine[1],
            "{name}: the good file must read"
        );

        let mut rng = Rng(0xDA7A_0001 + index as u64);
        let mut survived = [0; 3];
        for case in 0..cases {
            let mut bytes = good.clone();
            spoil(&mut bytes, &mut rng);
            let started = Instant::now();
            let run = || everything(&bytes, &mut worst);
            let Ok(result) = catch_unwind(AssertUnwindSafe(run)) else {
                panic!("{name}, case {case} failed");
            };
            total += 1;
            if started.elapsed() > slowest.0 {
                slowest = (started.elapsed(), format!("{name}, case {case}"));
            }
            for (sum, ok) in survived.iter_mut().zip(result) {
                *sum += usize::from(ok);
            }
        }
        println!(
            "{name}: of {cases}, {} gave their meta data, {} are whole, {} a preview",
            survived[0], survived[1], survived[2]
        );
        // The test would be worthless if every fault were fatal, or none.
        assert!((1..cases).contains(&survived[0]), "{name}: {survived:?}");
    }
    println!("{total} cases; slowest: {:?} ({})", slowest.0, slowest.1);
    println!(
        "most memory: headers {} kB, decoding {} kB",
        worst.headers >> 10,
        worst.picture >> 10
    );
    // Far above anything seen, so that a busy machine does not fail it; a hang does.
    assert!(slowest.0 < Duration::from_secs(60), "{slowest:?}");
}

fn every_cut_of_every_file() {
    let mut worst = Worst::default();
    for (name, good) in files() {
        let step = (good.len() / 150).max(1);
        for len in (0..good.len()).step_by(step) {
            let cut = &good[..len];
            let result = catch_unwind(AssertUnwindSafe(|| everything(cut, &mut worst)));
            assert!(result.is_ok(), "{name} cut to {len} failed");
        }
    }
}
