//! Bags and zips that others made, some of them with ill intent.

mod common;

use std::fs;
use std::io::{Cursor, Write};
use std::path::Path;

use common::{Noise, check_bytes, problems};
use datumtrail_bag::{BagReader, Error, Kind, Place, Structure, verify};
use zip::CompressionMethod;
use zip::write::SimpleFileOptions;

const BAGIT: &str = "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n";
/// "hello\n", by sha256sum and sha512sum.
const SHA256: &str = "5891b5b522d5df086d0ff0b110fbd9d21bb4fc7163af34d08286a2e846f6be03";
const SHA512: &str = "e7c22b994c59d9cf2b48e549b1e24666636045930d3da7c1acb299d1c3b7f931\
                      f94aae41edda2c2b207a36e10f8bcb8d45223e54878f5b316e7ce3b6bc019629";

/// A zip by the `zip` crate with these files, in memory.
fn zip_of(files: &[(&str, &str)], method: CompressionMethod) -> Vec<u8> {
    let mut writer = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for (name, content) in files {
        let options = SimpleFileOptions::default().compression_method(method);
        writer.start_file(*name, options).unwrap();
        writer.write_all(content.as_bytes()).unwrap();
    }
    writer.finish().unwrap().into_inner()
}

fn hello(prefix: &str) -> Vec<(String, String)> {
    let files = [
        ("bagit.txt", BAGIT.to_owned()),
        ("manifest-sha256.txt", format!("{SHA256} data/hello.txt\n")),
        ("data/hello.txt", "hello\n".to_owned()),
    ];
    files
        .map(|(path, content)| (format!("{prefix}{path}"), content))
        .to_vec()
}

fn hello_zip(prefix: &str, more: &[(&str, &str)]) -> Vec<u8> {
    let files = hello(prefix);
    let files = files
        .iter()
        .map(|(path, content)| (path.as_str(), content.as_str()));
    zip_of(
        &files.chain(more.iter().copied()).collect::<Vec<_>>(),
        CompressionMethod::Deflated,
    )
}

#[test]
fn a_zip_by_another_tool() {
    let home = tempfile::tempdir().unwrap();
    let report = check_bytes(home.path(), &hello_zip("a/", &[])).unwrap();
    assert!(report.is_whole(), "{report}");
    assert!(
        matches!(&report.structure, Structure::NotChecked(why) if why.contains("another tool"))
    );
    assert_eq!(report.notes.len(), 1, "there is no tag manifest: {report}");

    let open = check_bytes(home.path(), &hello_zip("", &[])).unwrap();
    assert_eq!(open.problems.len(), 1, "{open}");
    assert_eq!(open.problems[0].kind, Kind::Outside);
}

#[test]
fn entries_that_would_land_elsewhere() {
    let home = tempfile::tempdir().unwrap();
    for name in [
        "other/x",
        "/etc/x",
        "a/../../x",
        "a/data/../../../x",
        "a\\x",
        "x",
    ] {
        let report = check_bytes(home.path(), &hello_zip("a/", &[(name, "x")])).unwrap();
        assert_eq!(report.problems.len(), 1, "{name}: {report}");
        assert_eq!(report.problems[0].kind, Kind::Outside, "{report}");
    }
}

#[test]
fn two_entries_of_one_name() {
    let home = tempfile::tempdir().unwrap();
    // No library writes one, so one name is changed into the other afterwards.
    let mut bytes = hello_zip("a/", &[("a/data/hellp.txt", "bye\n")]);
    let at: Vec<_> = (0..bytes.len() - 9)
        .filter(|at| bytes[*at..].starts_with(b"hellp.txt"))
        .collect();
    assert_eq!(at.len(), 2);
    at.iter().for_each(|at| bytes[at + 4] = b'o');
    let report = check_bytes(home.path(), &bytes).unwrap();
    assert_eq!(
        problems(&report),
        ["data/hello.txt: twice in the zip: programs differ in which of the two they show"]
    );
}

#[test]
fn two_lists_that_differ() {
    let home = tempfile::tempdir().unwrap();
    let mut bytes = hello_zip("a/", &[]);
    let at = bytes
        .windows(9)
        .position(|bytes| bytes == b"hello.txt")
        .unwrap();
    bytes[at + 4] = b'p';
    let report = check_bytes(home.path(), &bytes).unwrap();
    assert_eq!(report.problems.len(), 1, "{report}");
    assert_eq!(report.problems[0].kind, Kind::Structure);
    assert!(
        report.problems[0]
            .detail
            .contains("\"a/data/hellp.txt\" here"),
        "{report}"
    );
}

#[test]
fn something_between_and_behind() {
    let home = tempfile::tempdir().unwrap();
    let bytes = hello_zip("a/", &[]);
    let behind = check_bytes(home.path(), &[&bytes[..], b"xyz"].concat()).unwrap();
    assert_eq!(behind.problems[0].kind, Kind::Unaccounted, "{behind}");

    // In front of the directory, with the end record told of it.
    let directory = bytes
        .windows(4)
        .position(|bytes| bytes == b"PK\x01\x02")
        .unwrap();
    let mut between = [&bytes[..directory], b"xyz", &bytes[directory..]].concat();
    let offset = between.len() - 22 + 16;
    between[offset..offset + 4].copy_from_slice(&(directory as u32 + 3).to_le_bytes());
    let report = check_bytes(home.path(), &between).unwrap();
    assert_eq!(report.problems.len(), 1, "{report}");
    let place = Place::Bytes {
        from: directory as u64,
        to: directory as u64 + 3,
    };
    assert_eq!(report.problems[0].place, place);
}

/// A file that says it holds far more, or far less, than it does; and many
/// entries that share one block of data. Each is refused, not unpacked.
#[test]
fn bombs() {
    let home = tempfile::tempdir().unwrap();
    let zeros = "\0".repeat(5_000_000);
    let bytes = hello_zip("a/", &[("a/data/zeros", &zeros)]);
    let directory = bytes
        .windows(4)
        .position(|bytes| bytes == b"PK\x01\x02")
        .unwrap();
    let name = bytes[directory..]
        .windows(12)
        .position(|w| w == b"a/data/zeros")
        .unwrap();
    let size = directory + name - 46 + 24;
    for declared in [10_u32, 4_000_000_000] {
        let mut bytes = bytes.clone();
        bytes[size..size + 4].copy_from_slice(&declared.to_le_bytes());
        let report = check_bytes(home.path(), &bytes).unwrap();
        let unreadable = |p: &&datumtrail_bag::Problem| p.kind == Kind::Unreadable;
        let problem = report.problems.iter().find(unreadable).unwrap();
        let reason = if declared == 10 {
            "more than it declares"
        } else {
            "ends before"
        };
        assert!(problem.detail.contains(reason), "{report}");
    }

    // The directory's record of "zeros" again and again, under other names.
    let end = bytes.len() - 22;
    let record = directory + name - 46;
    let mut many = bytes[..end].to_vec();
    for i in 0..100 {
        let mut copy = bytes[record..end].to_vec();
        copy[46 + 7..46 + 12].copy_from_slice(format!("{i:05}").as_bytes());
        many.extend(copy);
    }
    let mut tail = bytes[end..].to_vec();
    tail[8..10].copy_from_slice(&104_u16.to_le_bytes());
    tail[10..12].copy_from_slice(&104_u16.to_le_bytes());
    tail[12..16].copy_from_slice(&((many.len() - directory) as u32).to_le_bytes());
    many.extend(tail);
    let report = check_bytes(home.path(), &many).unwrap();
    let shared = |p: &&datumtrail_bag::Problem| p.detail.contains("shares bytes");
    assert_eq!(
        report.problems.iter().filter(shared).count(),
        101,
        "{report}"
    );
}

/// Sizes and places that no file can have, in the long form.
#[test]
fn numbers_beyond_all_measure() {
    let home = tempfile::tempdir().unwrap();
    let bytes = hello_zip("a/", &[("a/data/last", "x")]);
    let directory = bytes
        .windows(4)
        .position(|bytes| bytes == b"PK\x01\x02")
        .unwrap();
    let end = bytes.len() - 22;
    let record = end - 46 - "a/data/last".len();
    for value in [
        u64::MAX,
        u64::MAX - 1,
        1 << 63,
        (1 << 63) - 1,
        1 << 62,
        1 << 40,
    ] {
        // Size, size in the zip, place: each alone and all together.
        for which in [0b001, 0b010, 0b100, 0b111] {
            let mut long = bytes[..end].to_vec();
            let mut extra = Vec::new();
            for (bit, at) in [(1, 24), (2, 20), (4, 42)] {
                if which & bit != 0 {
                    long[record + at..record + at + 4].fill(0xff);
                    extra.extend(value.to_le_bytes());
                }
            }
            let header = [1, 0, extra.len() as u8, 0];
            long[record + 30] = 4 + extra.len() as u8;
            long.extend(header.iter().chain(&extra));
            let mut tail = bytes[end..].to_vec();
            tail[12..16].copy_from_slice(&((long.len() - directory) as u32).to_le_bytes());
            long.extend(tail);
            let report = check_bytes(home.path(), &long).unwrap();
            assert!(!report.is_whole(), "{value:#x} {which:b}");
            assert!(
                report.problems.iter().any(|p| p.kind == Kind::Unreadable),
                "{value:#x} {which:b}: {report}"
            );
        }
    }
}

#[test]
fn listings_beyond_all_measure() {
    let home = tempfile::tempdir().unwrap();
    let lines = "nonsense\n".repeat(20_000);
    let report = check_bytes(
        home.path(),
        &hello_zip("a/", &[("a/manifest-sha512.txt", &lines)]),
    );
    let report = report.unwrap();
    assert_eq!(report.problems.len(), 1000);
    assert!(report.more_problems > 18_000);

    let huge = "x".repeat((64 << 20) + 1);
    let report = check_bytes(
        home.path(),
        &hello_zip("a/", &[("a/manifest-sha512.txt", &huge)]),
    );
    let report = report.unwrap();
    assert!(
        report
            .problems
            .iter()
            .any(|p| p.detail.contains("larger than")),
        "{report}"
    );
}

fn folder_with(home: &Path, files: &[(&str, &str)]) -> std::path::PathBuf {
    let bag = home.join("bag");
    let _ = fs::remove_dir_all(&bag);
    for (path, content) in files {
        let path = bag.join(path);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, content).unwrap();
    }
    bag
}

#[test]
fn manifests_with_traps() {
    let home = tempfile::tempdir().unwrap();
    fs::write(home.path().join("secret"), "hello\n").unwrap();
    for (path, reason) in [
        ("data/../../secret", "points outside the bag"),
        ("/etc/passwd", "points outside the bag"),
        ("C:/data", "points outside the bag"),
        ("hello.txt", "does not belong"),
        ("tagmanifest-md5.txt", "does not belong"),
        ("data/hello.txt", "is listed twice"),
    ] {
        let manifest = format!("{SHA512}  data/hello.txt\n{SHA512}  {path}\n");
        let bag = folder_with(
            home.path(),
            &[
                ("bagit.txt", BAGIT),
                ("manifest-sha512.txt", &manifest),
                ("data/hello.txt", "hello\n"),
            ],
        );
        let report = verify(&bag).unwrap();
        assert_eq!(report.problems.len(), 1, "{path}: {report}");
        assert_eq!(report.problems[0].kind, Kind::Malformed);
        assert!(report.problems[0].detail.contains(reason), "{report}");
        // What is listed properly is checked all the same.
        fs::write(bag.join("data/hello.txt"), "hallo\n").unwrap();
        let report = verify(&bag).unwrap();
        assert_eq!(report.problems[1].kind, Kind::Altered, "{report}");
    }
}

#[test]
fn several_manifests_and_one_unknown() {
    let home = tempfile::tempdir().unwrap();
    let sha512 = format!("{SHA512}  data/hello.txt\n");
    let sha256 = format!("{SHA256}  data/hello.txt\n");
    let files = [
        ("bagit.txt", BAGIT),
        ("manifest-sha512.txt", sha512.as_str()),
        ("manifest-sha256.txt", sha256.as_str()),
        (
            "manifest-md5.txt",
            "b1946ac92492d2347c6235b4d2611184  data/hello.txt\n",
        ),
        ("data/hello.txt", "hello\n"),
    ];
    let report = verify(&folder_with(home.path(), &files)).unwrap();
    assert!(report.is_whole(), "{report}");
    assert!(
        report
            .notes
            .iter()
            .any(|note| note.contains("manifest-md5.txt was not checked"))
    );

    let mut altered = files;
    altered[4].1 = "hallo\n";
    assert_eq!(
        verify(&folder_with(home.path(), &altered))
            .unwrap()
            .problems
            .len(),
        2
    );

    // With the unknown one alone, nothing can be said for the payload.
    let report = verify(&folder_with(home.path(), &[files[0], files[3], files[4]])).unwrap();
    assert_eq!(report.problems[0].kind, Kind::Missing, "{report}");
    let bag = BagReader::open(&home.path().join("bag")).unwrap();
    assert!(matches!(
        bag.open_payload("hello.txt"),
        Err(Error::NotListed { .. })
    ));
}

/// A file system may keep a name in another normal form than the manifest.
#[test]
fn another_normal_form_is_the_same_name() {
    let home = tempfile::tempdir().unwrap();
    let manifest = format!("{SHA512}  data/Gr\u{fc}n.txt\n");
    let mut files = [
        ("bagit.txt", BAGIT),
        ("manifest-sha512.txt", manifest.as_str()),
        ("data/Gru\u{308}n.txt", "hello\n"),
    ];
    let report = verify(&folder_with(home.path(), &files)).unwrap();
    assert!(report.is_whole(), "{report}");
    files[2].1 = "hallo\n";
    assert!(
        !verify(&folder_with(home.path(), &files))
            .unwrap()
            .is_whole()
    );
}

#[test]
fn what_is_no_bag_is_said_to_be_none() {
    let home = tempfile::tempdir().unwrap();
    assert!(matches!(
        verify(&home.path().join("nothing")),
        Err(Error::Read { .. })
    ));
    assert!(matches!(verify(home.path()), Err(Error::NotABag { .. })));
    let said = check_bytes(home.path(), b"").unwrap_err();
    assert!(said.contains("end record is missing"), "{said}");
    check_bytes(home.path(), &[b'P'; 3000]).unwrap_err();
    let said = check_bytes(
        home.path(),
        &zip_of(&[("a/b", "c")], CompressionMethod::Stored),
    );
    assert!(said.unwrap_err().contains("is not a bag"));
}

/// Zips by another tool with random damage: whatever is said, nothing panics.
#[test]
fn noise_does_not_panic() {
    let home = tempfile::tempdir().unwrap();
    let bytes = hello_zip("a/", &[("a/data/x", "y")]);
    let mut noise = Noise(99);
    for _ in 0..1000 {
        let mut damaged = bytes.clone();
        for _ in 0..1 + noise.below(6) {
            let at = noise.below(damaged.len());
            damaged[at] = [0, 0xff, 1, (noise.next() & 0xff) as u8][noise.below(4)];
        }
        let _ = check_bytes(home.path(), &damaged);
    }
}
