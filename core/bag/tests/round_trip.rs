//! What goes in comes out, and nothing is left lying about on the way.

mod common;

use std::fs;
use std::io::{self, Read};
use std::path::Path;

use common::{files_below, fill, folder_bag, options, payload, zip_bag};
use datumtrail_bag::{
    BagReader, BagWriter, Compression, Digest, Error, Options, Structure, verify,
};

#[test]
fn zip_and_folder_hold_the_same_bag() {
    let home = tempfile::tempdir().unwrap();
    for (path, structure) in [
        (zip_bag(home.path()), Structure::Checked),
        (folder_bag(home.path()), Structure::Folder),
    ] {
        let report = verify(&path).unwrap();
        assert!(report.is_whole(), "{report}");
        assert_eq!(report.structure, structure);
        assert_eq!(report.notes, [] as [&str; 0]);
        assert_eq!(report.payload_files, 6);
        let bag = BagReader::open(&path).unwrap();
        assert_eq!(bag.payload().count(), 6);
        for (path, content, _) in payload() {
            let mut read = Vec::new();
            bag.open_payload(path)
                .unwrap()
                .read_to_end(&mut read)
                .unwrap();
            assert_eq!(read, content, "{path}");
            let listed = bag.payload().find(|file| file.path == path).unwrap();
            assert_eq!(listed.size, content.len() as u64);
        }
        let help = io::read_to_string(bag.open_tag("help/how-to-check.txt").unwrap()).unwrap();
        assert_eq!(help, "read the manifest\n");
        assert!(matches!(
            bag.open_payload("none"),
            Err(Error::NotListed { .. })
        ));
    }
    // No temporary neighbour is left.
    assert_eq!(fs::read_dir(home.path()).unwrap().count(), 2);
}

#[test]
fn summary_and_info_say_what_was_written() {
    let home = tempfile::tempdir().unwrap();
    let target = home.path().join("a");
    let summary = fill(BagWriter::folder(&target, &options()).unwrap());
    let bytes: usize = payload().iter().map(|(_, content, _)| content.len()).sum();
    assert_eq!(
        (summary.payload_files, summary.payload_bytes),
        (6, bytes as u64)
    );
    let manifest = fs::read(target.join("manifest-sha512.txt")).unwrap();
    assert_eq!(summary.manifest, Digest::sha512(&manifest));
    let tags = fs::read(target.join("tagmanifest-sha512.txt")).unwrap();
    assert_eq!(summary.tag_manifest, Digest::sha512(&tags));

    let bag = BagReader::open(&target).unwrap();
    let labels: Vec<_> = bag.info().iter().map(|(label, _)| label.as_str()).collect();
    assert_eq!(
        labels,
        [
            "Source-Organization",
            "External-Description",
            "External-Identifier",
            "External-Identifier",
            "Bagging-Date",
            "Payload-Oxum"
        ]
    );
    assert_eq!(
        bag.info()[1].1,
        "a sentence of some length. ".repeat(9).trim_end()
    );
    assert_eq!(bag.info()[4].1, "2031-05-06");
    assert_eq!(bag.info()[5].1, format!("{bytes}.6"));
    let text = fs::read_to_string(target.join("bag-info.txt")).unwrap();
    assert!(
        text.lines().all(|line| line.chars().count() <= 79),
        "{text}"
    );
    let manifest = String::from_utf8(manifest).unwrap();
    assert!(
        manifest.contains("  data/100%25 of\u{a0}it.txt\n"),
        "{manifest}"
    );
}

#[test]
fn same_calls_same_bytes() {
    let (one, two) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let (one, two) = (zip_bag(one.path()), zip_bag(two.path()));
    // The folders have other names, and some time has passed.
    assert!(fs::read(one).unwrap() == fs::read(two).unwrap());
}

/// The `zip` crate as another hand: it reads all of it, and agrees on names,
/// content, method and time.
#[test]
fn another_library_reads_the_zip() {
    let home = tempfile::tempdir().unwrap();
    let file = fs::File::open(zip_bag(home.path())).unwrap();
    let mut archive = zip::ZipArchive::new(file).unwrap();
    assert_eq!(archive.len(), 6 + 7);
    assert_eq!(archive.index_for_name("job-17/bagit.txt"), Some(0));
    for (path, content, compression) in payload() {
        let mut entry = archive.by_name(&format!("job-17/data/{path}")).unwrap();
        let mut read = Vec::new();
        entry.read_to_end(&mut read).unwrap();
        assert_eq!(read, content, "{path}");
        let method = match compression {
            Compression::Stored => zip::CompressionMethod::Stored,
            Compression::Deflated => zip::CompressionMethod::Deflated,
        };
        assert_eq!(entry.compression(), method);
        assert_eq!(
            entry.last_modified().unwrap().to_string(),
            "2031-05-06 14:30:02"
        );
        assert_eq!(entry.unix_mode(), Some(0o100_644));
    }
}

#[test]
fn nothing_is_overwritten_unless_asked() {
    let home = tempfile::tempdir().unwrap();
    let (zip, folder) = (zip_bag(home.path()), folder_bag(home.path()));
    let before = fs::read(&zip).unwrap();
    assert!(matches!(
        BagWriter::zip(&zip, "b", &options()),
        Err(Error::Exists { .. })
    ));
    assert!(matches!(
        BagWriter::folder(&folder, &options()),
        Err(Error::Exists { .. })
    ));
    assert!(fs::read(&zip).unwrap() == before);

    let replace = Options {
        overwrite: true,
        ..options()
    };
    // Not even then, what is not a bag.
    let documents = home.path().join("documents");
    fs::create_dir(&documents).unwrap();
    fs::write(documents.join("letter.txt"), "dear").unwrap();
    let refused = BagWriter::folder(&documents, &replace);
    assert!(matches!(refused, Err(Error::NotReplaceable { .. })));
    let refused = BagWriter::zip(&documents, "a", &replace);
    assert!(matches!(refused, Err(Error::NotReplaceable { .. })));

    for (target, bag) in [
        (&zip, BagWriter::zip(&zip, "b", &replace).unwrap()),
        (&folder, BagWriter::folder(&folder, &replace).unwrap()),
    ] {
        let mut bag = bag;
        assert!(
            verify(target).unwrap().payload_files == 6,
            "the old one is there until the end"
        );
        bag.add_payload("only.txt", &b"one"[..], Compression::Stored)
            .unwrap();
        bag.finish().unwrap();
        let report = verify(target).unwrap();
        assert!(report.is_whole() && report.payload_files == 1, "{report}");
    }
    assert_eq!(fs::read_dir(home.path()).unwrap().count(), 3);
}

#[test]
fn a_name_taken_meanwhile_is_not_overwritten() {
    let home = tempfile::tempdir().unwrap();
    for name in ["a.zip", "a"] {
        let target = home.path().join(name);
        let mut bag = match name {
            "a" => BagWriter::folder(&target, &options()).unwrap(),
            _ => BagWriter::zip(&target, "a", &options()).unwrap(),
        };
        bag.add_payload("x", &b"one"[..], Compression::Stored)
            .unwrap();
        fs::write(&target, "mine").unwrap();
        assert!(matches!(bag.finish(), Err(Error::Exists { .. })));
        assert_eq!(fs::read_to_string(&target).unwrap(), "mine");
    }
    assert_eq!(fs::read_dir(home.path()).unwrap().count(), 2);
}

#[test]
fn nothing_is_left_of_a_bag_that_was_not_finished() {
    let home = tempfile::tempdir().unwrap();
    for folder in [false, true] {
        let target = home.path().join("a");
        let begin = || match folder {
            true => BagWriter::folder(&target, &options()).unwrap(),
            false => BagWriter::zip(&target, "a", &options()).unwrap(),
        };
        let mut bag = begin();
        bag.add_payload("x/y", &b"one"[..], Compression::Stored)
            .unwrap();
        drop(bag);
        assert!(matches!(begin().finish(), Err(Error::Empty { .. })));
        let mut bag = begin();
        bag.add_payload("x/y", &b"one"[..], Compression::Stored)
            .unwrap();
        let refused = bag.finish_with(|_| Err("no key".into()));
        assert!(matches!(refused, Err(Error::Closing(_))));
        assert_eq!(fs::read_dir(home.path()).unwrap().count(), 0);
    }
}

/// Gives some bytes, then fails.
struct Broken(usize);

impl Read for Broken {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        if self.0 == 0 {
            return Err(io::Error::other("the card was pulled out"));
        }
        let len = buffer.len().min(self.0);
        buffer[..len].fill(b'x');
        self.0 -= len;
        Ok(len)
    }
}

#[test]
fn a_stream_that_fails_leaves_the_bag_as_it_was() {
    let home = tempfile::tempdir().unwrap();
    for folder in [false, true] {
        let target = home.path().join(if folder { "a" } else { "a.zip" });
        let mut bag = match folder {
            true => BagWriter::folder(&target, &options()).unwrap(),
            false => BagWriter::zip(&target, "a", &options()).unwrap(),
        };
        bag.add_payload("first", &b"one"[..], Compression::Deflated)
            .unwrap();
        for compression in [Compression::Stored, Compression::Deflated] {
            let failed = bag.add_payload("photo.jpg", Broken(300_000), compression);
            let error = failed.unwrap_err();
            assert!(matches!(error, Error::Content { .. }), "{error}");
            assert!(
                error.to_string().contains("the card was pulled out"),
                "{error}"
            );
        }
        // The same name is free, and what follows is where it belongs.
        bag.add_payload("photo.jpg", &b"two"[..], Compression::Stored)
            .unwrap();
        bag.finish().unwrap();
        let report = verify(&target).unwrap();
        assert!(report.is_whole() && report.payload_files == 2, "{report}");
    }
}

#[test]
fn names_and_fields_are_checked_before_anything_is_written() {
    let home = tempfile::tempdir().unwrap();
    let target = home.path().join("a.zip");
    assert!(matches!(
        BagWriter::zip(&target, "a/b", &options()),
        Err(Error::UnsafeName { .. })
    ));
    assert!(matches!(
        BagWriter::zip(&target, "nul", &options()),
        Err(Error::UnsafeName { .. })
    ));
    let early = Options::at(jiff::civil::date(1979, 1, 1).at(0, 0, 0, 0));
    assert!(matches!(
        BagWriter::zip(&target, "a", &early),
        Err(Error::BadTime { .. })
    ));

    let mut bag = BagWriter::zip(&target, "a", &options()).unwrap();
    let mut payload = |path: &str| bag.add_payload(path, &b"x"[..], Compression::Stored);
    payload("a.jpg").unwrap();
    for bad in ["../x", "/x", "x/", "con.jpg", "a\nb", &"long/".repeat(39)] {
        assert!(
            matches!(payload(bad), Err(Error::UnsafeName { .. })),
            "{bad}"
        );
    }
    for taken in ["A.JPG", "a.jpg", "a.jpg/b"] {
        assert!(
            matches!(payload(taken), Err(Error::NameTaken { .. })),
            "{taken}"
        );
    }
    for taken in [
        "bagit.txt",
        "Bag-Info.txt",
        "fetch.txt",
        "zip-layout.txt",
        "manifest-md5.txt",
        "TagManifest-sha512.txt",
        "data",
        "Data/x",
    ] {
        assert!(
            matches!(bag.add_tag(taken, b""), Err(Error::NameTaken { .. })),
            "{taken}"
        );
    }
    for (label, value) in [
        ("", "x"),
        (" a", "x"),
        ("a:b", "x"),
        ("a", " x"),
        ("a", "x\ny"),
        ("payload-oxum", "1.1"),
        ("Bagging-Date", "2031-01-01"),
    ] {
        assert!(
            matches!(bag.info(label, value), Err(Error::BadField { .. })),
            "{label:?}"
        );
    }
    bag.finish().unwrap();
    assert!(verify(&target).unwrap().is_whole());
}

#[cfg(unix)]
#[test]
fn others_may_read_what_the_umask_lets_them() {
    use std::os::unix::fs::PermissionsExt;
    let home = tempfile::tempdir().unwrap();
    let plain = home.path().join("plain");
    fs::write(&plain, "").unwrap();
    let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode() & 0o777;
    let folder = folder_bag(home.path());
    assert_eq!(mode(&zip_bag(home.path())), mode(&plain));
    assert_eq!(mode(&files_below(&folder)[0]), mode(&plain));
    let plain_folder = home.path().join("plain-folder");
    fs::create_dir(&plain_folder).unwrap();
    assert_eq!(mode(&folder), mode(&plain_folder));
}
