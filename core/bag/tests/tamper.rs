//! Any altered, missing or added byte is named.

mod common;

use std::collections::HashMap;
use std::fs;
use std::path::Path;

use common::{Noise, check_bytes, files_below, folder_bag, overwrite, problems, zip_bag};
use datumtrail_bag::{BagReader, Kind, Place, Structure, verify};

/// Alters single bytes of the archive in turn; none may go unnoticed, none panic.
/// Gives how often each kind of problem was named.
fn alter_each(step: usize, flips: impl Fn(&mut Noise) -> Vec<u8>) -> HashMap<Kind, usize> {
    let home = tempfile::tempdir().unwrap();
    let whole = fs::read(zip_bag(home.path())).unwrap();
    let mut noise = Noise(17);
    let mut kinds = HashMap::new();
    for at in (0..whole.len()).step_by(step) {
        for flip in flips(&mut noise) {
            let mut damaged = whole.clone();
            damaged[at] ^= flip;
            match check_bytes(home.path(), &damaged) {
                Err(error) => panic!("byte {at} xor {flip:#x} hides the bag: {error}"),
                Ok(report) => {
                    assert!(!report.is_whole(), "byte {at} xor {flip:#x} went unnoticed");
                    for problem in &report.problems {
                        *kinds.entry(problem.kind).or_default() += 1;
                    }
                }
            }
        }
    }
    kinds
}

/// Some 3,200 bytes all over the archive, each made into a random other.
#[test]
fn no_altered_byte_goes_unnoticed() {
    let kinds = alter_each(3, |noise| vec![(noise.below(255) + 1) as u8]);
    // The test reached all the ways in which it can show.
    for kind in [
        Kind::Altered,
        Kind::Structure,
        Kind::Missing,
        Kind::Added,
        Kind::Unreadable,
    ] {
        assert!(kinds.contains_key(&kind), "{kinds:?}");
    }
}

/// Every byte, each of its bits: some minutes.
#[test]
#[ignore = "takes minutes; for changes to the zip's form or its check"]
fn no_altered_bit_goes_unnoticed() {
    alter_each(1, |_| (0..8).map(|bit| 1 << bit).collect());
}

/// In the headers, the byte named is the byte altered.
#[test]
fn an_altered_header_byte_is_named_exactly() {
    let home = tempfile::tempdir().unwrap();
    let whole = fs::read(zip_bag(home.path())).unwrap();
    let directory = whole
        .windows(4)
        .position(|bytes| bytes == b"PK\x01\x02")
        .unwrap();
    let altered_at = |at: usize| {
        let mut damaged = whole.clone();
        damaged[at] ^= 0x10;
        check_bytes(home.path(), &damaged).unwrap()
    };
    let mut exact = 0;
    for at in directory..whole.len() {
        let report = altered_at(at);
        let named = Place::Bytes {
            from: at as u64,
            to: at as u64 + 1,
        };
        exact += usize::from(report.problems.iter().any(|problem| problem.place == named));
    }
    // What remains are the names of the listings, without which it is hard to
    // say what should be where.
    let of = whole.len() - directory;
    assert!(exact * 100 >= of * 85, "{exact} of {of}");
    // The first local header's time: nothing else is wrong.
    let report = altered_at(10);
    assert_eq!(
        problems(&report),
        ["byte 10: zip altered: in the header in front of bagit.txt: 0xd1 where 0xc1 belongs"]
    );
}

#[test]
fn no_missing_end_goes_unnoticed() {
    let home = tempfile::tempdir().unwrap();
    let whole = fs::read(zip_bag(home.path())).unwrap();
    let mut with_content = 0;
    for len in (0..whole.len())
        .step_by(97)
        .chain(whole.len() - 30..whole.len())
    {
        if let Ok(report) = check_bytes(home.path(), &whole[..len]) {
            assert!(!report.is_whole(), "cut to {len} bytes");
            with_content += usize::from(report.payload_files > 0);
        }
    }
    // What is still there is still found, from front to back.
    assert!(with_content > 30, "{with_content}");
}

#[test]
fn no_missing_or_added_byte_goes_unnoticed() {
    let home = tempfile::tempdir().unwrap();
    let whole = fs::read(zip_bag(home.path())).unwrap();
    for at in (0..=whole.len()).step_by(7) {
        let mut longer = whole.clone();
        longer.insert(at, 0);
        let said = check_bytes(home.path(), &longer);
        assert!(said.is_err() || !said.unwrap().is_whole(), "added at {at}");
        if at < whole.len() {
            let mut shorter = whole.clone();
            shorter.remove(at);
            let said = check_bytes(home.path(), &shorter);
            assert!(
                said.is_err() || !said.unwrap().is_whole(),
                "removed at {at}"
            );
        }
    }
}

#[test]
fn something_in_front_behind_and_between() {
    let home = tempfile::tempdir().unwrap();
    let whole = fs::read(zip_bag(home.path())).unwrap();
    let place = |from: usize, to: usize| Place::Bytes {
        from: from as u64,
        to: to as u64,
    };

    let behind = check_bytes(home.path(), &[&whole[..], b"and this"].concat()).unwrap();
    assert_eq!(behind.problems.len(), 1, "{behind}");
    assert_eq!(
        behind.problems[0].place,
        place(whole.len(), whole.len() + 8)
    );
    assert_eq!(behind.problems[0].kind, Kind::Unaccounted);

    let far_behind = check_bytes(home.path(), &[&whole[..], &[7; 70_000]].concat()).unwrap();
    assert_eq!(far_behind.problems.len(), 1, "{far_behind}");
    assert_eq!(
        far_behind.problems[0].place,
        place(whole.len(), whole.len() + 70_000)
    );

    let front = check_bytes(home.path(), &[b"#!/bin/sh\n", &whole[..]].concat()).unwrap();
    assert_eq!(front.problems.len(), 1, "{front}");
    assert_eq!(front.problems[0].place, place(0, 10));
}

/// The same content compressed otherwise unpacks alike, but is not the same.
#[test]
fn another_compressed_form_of_the_same_content() {
    let home = tempfile::tempdir().unwrap();
    let whole = fs::read(zip_bag(home.path())).unwrap();
    // The empty file that is deflated: an empty last block with fixed codes,
    // 03 00. Its six bits of padding mean nothing to any unpacker.
    let name = b"job-17/data/empty-too.txt";
    let at = whole
        .windows(name.len())
        .position(|bytes| bytes == name)
        .unwrap()
        + name.len()
        + 20;
    assert_eq!(whole[at..at + 2], [3, 0]);
    let mut damaged = whole.clone();
    damaged[at + 1] = 0x80;
    let report = check_bytes(home.path(), &damaged).unwrap();
    assert_eq!(
        problems(&report),
        [
            "data/empty-too.txt: zip altered: its compressed form is another one, though of the \
          same content"
        ]
    );
}

/// Opens the folder bag, does something to it, and gives what the check says.
fn after(what: impl FnOnce(&Path)) -> Vec<String> {
    let home = tempfile::tempdir().unwrap();
    let bag = folder_bag(home.path());
    what(&bag);
    problems(&verify(&bag).unwrap())
}

#[test]
fn what_happens_to_a_folder_is_said_in_words() {
    assert_eq!(after(|_| ()), [] as [&str; 0]);
    let totals = |files: u32, bytes: u32| {
        let real: usize = common::payload()
            .iter()
            .map(|(_, content, _)| content.len())
            .sum();
        format!(
            "bag-info.txt: wrong total: Payload-Oxum says {real} bytes in 6 files; there are \
             {bytes} in {files}"
        )
    };
    let all: u32 = common::payload()
        .iter()
        .map(|(_, content, _)| content.len() as u32)
        .sum();
    let said = after(|bag| fs::write(bag.join("data/added.txt"), "abc").unwrap());
    assert_eq!(
        said,
        [
            "data/added.txt: added: manifest-sha512.txt does not list it".to_owned(),
            totals(7, all + 3)
        ]
    );
    let said = after(|bag| fs::remove_file(bag.join("data/photos/before/0002.jpg")).unwrap());
    assert_eq!(
        said,
        [
            "data/photos/before/0002.jpg: missing: manifest-sha512.txt lists it".to_owned(),
            totals(5, all - 700)
        ]
    );
    let said = after(|bag| {
        fs::rename(bag.join("data/readings.csv"), bag.join("data/Readings.csv")).unwrap();
    });
    assert_eq!(
        said,
        [
            "data/readings.csv: missing: manifest-sha512.txt lists it",
            "data/Readings.csv: added: manifest-sha512.txt does not list it"
        ]
    );
    let said = after(|bag| fs::write(bag.join("data/100% of\u{a0}it.txt"), "procent").unwrap());
    assert_eq!(said.len(), 1);
    assert!(
        said[0].starts_with("data/100% of\\u{a0}it.txt: altered: its SHA-512 is "),
        "{said:?}"
    );
    let said = after(|bag| fs::write(bag.join(".DS_Store"), "x").unwrap());
    assert_eq!(
        said,
        [".DS_Store: not listed: tagmanifest-sha512.txt does not list it"]
    );
    let said = after(|bag| fs::remove_file(bag.join("bagit.txt")).unwrap());
    assert_eq!(
        said,
        [
            "bagit.txt: missing: every bag has one",
            "bagit.txt: missing: tagmanifest-sha512.txt lists it"
        ]
    );
    #[cfg(unix)]
    {
        let said = after(|bag| {
            let file = bag.join("data/readings.csv");
            fs::remove_file(&file).unwrap();
            std::os::unix::fs::symlink("/etc/hostname", file).unwrap();
        });
        assert_eq!(
            said[0],
            "data/readings.csv: unreadable: it is a link or a device; a bag has plain files only"
        );
    }
}

/// Any byte of any file of a folder, the tag manifest too, which nothing covers.
#[test]
fn no_altered_byte_of_a_folder_goes_unnoticed() {
    let home = tempfile::tempdir().unwrap();
    let bag = folder_bag(home.path());
    let mut noise = Noise(3);
    for file in files_below(&bag) {
        let whole = fs::read(&file).unwrap();
        let tag_manifest = file.ends_with("tagmanifest-sha512.txt");
        let steps = if tag_manifest {
            whole.len()
        } else {
            whole.len().min(40)
        };
        for step in 0..steps {
            let at = if tag_manifest {
                step
            } else {
                noise.below(whole.len())
            };
            for flip in [
                1 << noise.below(8),
                (noise.below(255) + 1) as u8,
                0x07,
                0x20,
            ] {
                let mut damaged = whole.clone();
                damaged[at] ^= flip;
                overwrite(&file, &damaged);
                let report = verify(&bag).unwrap();
                assert!(
                    !report.is_whole(),
                    "{} byte {at} xor {flip:#x}",
                    file.display()
                );
            }
        }
        overwrite(&file, &whole);
    }
    assert!(verify(&bag).unwrap().is_whole());
}

#[test]
fn whoever_reads_altered_content_gets_an_error() {
    let home = tempfile::tempdir().unwrap();
    let bag = folder_bag(home.path());
    fs::write(bag.join("data/empty.txt"), "not any more").unwrap();
    let bag = BagReader::open(&bag).unwrap();
    let mut stream = bag.open_payload("empty.txt").unwrap();
    for _ in 0..2 {
        let error = std::io::read_to_string(&mut stream).unwrap_err();
        assert_eq!(error.kind(), std::io::ErrorKind::InvalidData);
    }
    assert!(std::io::read_to_string(bag.open_payload("readings.csv").unwrap()).is_ok());
}

/// Whoever rewrites the whole bag with the layout left out is not caught, but
/// the report says that the structure was not checked.
#[test]
fn without_its_layout_a_zip_is_not_vouched_for() {
    let home = tempfile::tempdir().unwrap();
    let whole = fs::read(zip_bag(home.path())).unwrap();
    let name = b"zip-layout.txt";
    let mut damaged = whole.clone();
    let places: Vec<_> = (0..whole.len() - name.len())
        .filter(|at| whole[*at..].starts_with(name))
        .collect();
    assert_eq!(places.len(), 3, "local header, tag manifest, directory");
    for at in places {
        damaged[at..at + 3].copy_from_slice(b"sip");
    }
    let report = check_bytes(home.path(), &damaged).unwrap();
    assert!(
        matches!(&report.structure, Structure::NotChecked(why) if why.contains("no zip-layout"))
    );
    // Here only the CRC of the tag manifest gives it away.
    assert_eq!(report.problems.len(), 1, "{report}");
    assert_eq!(report.problems[0].kind, Kind::Structure);
}
