//! The files of a bag, wherever they are: what there is, and the way to read it.

use std::collections::{HashMap, HashSet};
use std::fs::{self, File};
use std::io::{self, Read};
use std::path::{Path, PathBuf};

use crate::digest::Digest;
use crate::name::composed;
use crate::report::{Kind, Problem, Problems};
use crate::zip::entry::EntryReader;
use crate::zip::{Directory, record};
use crate::{Error, tag};

/// A file of the bag.
pub(crate) struct Item {
    /// Its path below the bag's top folder.
    pub path: String,
    /// Its size, as declared by the file system or the zip.
    pub size: u64,
    from: From,
}

enum From {
    File(PathBuf),
    /// The index of its entry.
    Entry(usize),
}

/// A zip and where the bag is in it.
pub(crate) struct Zip {
    pub file: PathBuf,
    pub directory: Directory,
    /// Entries that share bytes with others. They are not read.
    overlapping: HashSet<usize>,
}

/// All files of a bag.
pub(crate) struct Source {
    pub items: Vec<Item>,
    pub zip: Option<Zip>,
    /// What was wrong with the listing itself.
    pub problems: Problems,
    by_path: HashMap<String, usize>,
    by_composed_path: HashMap<String, usize>,
}

impl Source {
    pub fn open(path: &Path) -> Result<Self, Error> {
        let failed = |source| Error::Read {
            path: path.to_owned(),
            source,
        };
        if fs::metadata(path).map_err(failed)?.is_dir() {
            return Self::open_folder(path);
        }
        let mut file = File::open(path).map_err(failed)?;
        let directory = Directory::read(&mut file).map_err(failed)?;
        let damaged = |reason| Error::Damaged {
            path: path.to_owned(),
            reason,
        };
        Self::open_zip(path, directory.map_err(damaged)?)
    }

    fn open_folder(root: &Path) -> Result<Self, Error> {
        let mut items = Vec::new();
        let mut problems = Problems::default();
        let mut left = vec![(root.to_owned(), String::new())];
        while let Some((folder, prefix)) = left.pop() {
            let failed = |source| Error::Read {
                path: folder.clone(),
                source,
            };
            for found in fs::read_dir(&folder).map_err(failed)? {
                let found = found.map_err(failed)?;
                let name = found.file_name();
                let path = format!("{prefix}{}", name.to_string_lossy());
                let kind = found.file_type().map_err(failed)?;
                if name.to_str().is_none() {
                    let detail = "its name is not UTF-8, so no manifest can list it";
                    problems.push(Problem::file(&path, Kind::Unreadable, detail));
                } else if kind.is_dir() {
                    left.push((found.path(), format!("{path}/")));
                } else if kind.is_file() {
                    let size = found.metadata().map_err(failed)?.len();
                    items.push(Item {
                        path,
                        size,
                        from: From::File(found.path()),
                    });
                } else {
                    let detail = "it is a link or a device; a bag has plain files only";
                    problems.push(Problem::file(&path, Kind::Unreadable, detail));
                }
            }
        }
        // The system lists them in any order; a report should not.
        items.sort_by(|a, b| a.path.cmp(&b.path));
        let marked = items.iter().any(|item| marks_a_bag(&item.path));
        if !marked {
            return Err(Error::NotABag {
                path: root.to_owned(),
                reason: "it has neither a bagit.txt nor a manifest".to_owned(),
            });
        }
        Ok(Self::new(items, None, problems))
    }

    fn open_zip(path: &Path, directory: Directory) -> Result<Self, Error> {
        let Some(top) = top_folder(&directory) else {
            return Err(Error::NotABag {
                path: path.to_owned(),
                reason: "no folder in it has a bagit.txt or a manifest".to_owned(),
            });
        };
        let mut problems = Problems::default();
        if top.is_empty() {
            let detail = "the zip has no top folder; RFC 8493 wants the bag in one";
            problems.push(Problem::file(tag::BAGIT, Kind::Outside, detail));
        }
        let prefix = if top.is_empty() {
            String::new()
        } else {
            format!("{top}/")
        };
        let mut items = Vec::new();
        let mut seen = HashSet::new();
        for (i, entry) in directory.entries.iter().enumerate() {
            let name = &entry.name;
            if name.ends_with('/') && entry.size == 0 {
                continue; // a folder, which says nothing
            }
            match name.strip_prefix(&prefix).filter(|path| is_inside(path)) {
                None => {
                    let detail = format!("it would not be unpacked into the folder {top:?}");
                    problems.push(Problem::file(name, Kind::Outside, detail));
                }
                Some(path) if !seen.insert(path) => {
                    let detail = "programs differ in which of the two they show";
                    problems.push(Problem::file(path, Kind::Duplicate, detail));
                }
                Some(path) => items.push(Item {
                    path: path.to_owned(),
                    size: entry.size,
                    from: From::Entry(i),
                }),
            }
        }
        let overlapping = overlapping(&directory);
        let zip = Zip {
            file: path.to_owned(),
            directory,
            overlapping,
        };
        Ok(Self::new(items, Some(zip), problems))
    }

    fn new(items: Vec<Item>, zip: Option<Zip>, problems: Problems) -> Self {
        let index = |key: fn(&str) -> String| {
            items
                .iter()
                .enumerate()
                .map(|(i, item)| (key(&item.path), i))
                .collect()
        };
        let (by_path, by_composed_path) = (index(str::to_owned), index(composed));
        Self {
            items,
            zip,
            problems,
            by_path,
            by_composed_path,
        }
    }

    /// The index of the file with this path. Names that differ only in normal
    /// form are the same, since file systems may change it (RFC 8493, 5.1.1.3).
    pub fn find(&self, path: &str) -> Option<usize> {
        let exact = self.by_path.get(path);
        exact
            .or_else(|| self.by_composed_path.get(&composed(path)))
            .copied()
    }

    /// Opens a file for reading; with `tap`, its compressed form is hashed too.
    pub fn read(&self, item: &Item, tap: bool) -> io::Result<ItemReader> {
        match (&item.from, &self.zip) {
            (From::File(path), _) => File::open(path).map(ItemReader::Plain),
            (From::Entry(i), Some(zip)) => {
                if zip.overlapping.contains(i) {
                    let reason = "it shares bytes with another entry of the zip";
                    return Err(io::Error::new(io::ErrorKind::InvalidData, reason));
                }
                let entry = zip
                    .directory
                    .entries
                    .get(*i)
                    .ok_or(io::ErrorKind::NotFound)?;
                let file = File::open(&zip.file)?;
                EntryReader::open(file, zip.directory.base, entry, tap).map(ItemReader::Entry)
            }
            (From::Entry(_), None) => Err(io::ErrorKind::NotFound.into()),
        }
    }

    /// The index of a file's entry in the zip.
    pub fn entry_of(item: &Item) -> Option<usize> {
        match item.from {
            From::Entry(i) => Some(i),
            From::File(_) => None,
        }
    }
}

/// A file's content as a stream.
pub(crate) enum ItemReader {
    Plain(File),
    Entry(EntryReader),
}

impl ItemReader {
    /// See [`EntryReader::packed_digest`].
    pub fn packed_digest(self) -> Option<Digest> {
        match self {
            Self::Plain(_) => None,
            Self::Entry(reader) => reader.packed_digest(),
        }
    }
}

impl Read for ItemReader {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        match self {
            Self::Plain(file) => file.read(buffer),
            Self::Entry(reader) => reader.read(buffer),
        }
    }
}

/// Whether a file of this path, seen from a bag's top folder, shows that it is
/// one. Several do, so that one damaged name does not hide the bag.
fn marks_a_bag(path: &str) -> bool {
    path == tag::BAGIT || tag::manifest_kind(path).is_some()
}

/// The folder with the most marks of a bag in it; `None` if none has any.
fn top_folder(directory: &Directory) -> Option<String> {
    let mut marks: Vec<(&str, usize)> = Vec::new();
    for entry in &directory.entries {
        let (top, path) = entry.name.split_once('/').unwrap_or(("", &entry.name));
        if marks_a_bag(path) {
            match marks.iter_mut().find(|(found, _)| *found == top) {
                Some((_, count)) => *count += 1,
                None => marks.push((top, 1)),
            }
        }
    }
    // Of several with as many, the first; and never a search without end.
    marks
        .iter()
        .rev()
        .max_by_key(|(_, count)| *count)
        .map(|(top, _)| (*top).to_owned())
}

/// Whether a path stays in the folder it is taken from, on every system.
pub(crate) fn is_inside(path: &str) -> bool {
    let drive = path.as_bytes().get(1) == Some(&b':');
    let plain = |part: &str| !matches!(part, "" | "." | "..");
    !drive && !path.contains(['\\', '\0']) && path.split('/').all(plain)
}

/// Entries that begin before the one in front of them has ended. (Small zips
/// that unpack to very much are made that way.)
fn overlapping(directory: &Directory) -> HashSet<usize> {
    let mut spans: Vec<_> = directory
        .entries
        .iter()
        .enumerate()
        .map(|(i, entry)| {
            let header = (record::LOCAL_SIZE + entry.name.len()) as u64;
            let end = entry
                .offset
                .saturating_add(header)
                .saturating_add(entry.packed);
            (entry.offset, end, i)
        })
        .collect();
    spans.sort_unstable();
    let mut overlapping = HashSet::new();
    let mut reached: Option<(u64, usize)> = None;
    for (start, end, i) in spans {
        if let Some((before, other)) = reached
            && start < before
        {
            overlapping.extend([i, other]);
        }
        if reached.is_none_or(|(before, _)| end > before) {
            reached = Some((end, i));
        }
    }
    overlapping
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::zip::{Entry, Method};

    #[test]
    fn paths_that_leave() {
        for path in [
            "",
            "/a",
            "../a",
            "a/../../b",
            "a//b",
            "./a",
            "a\\b",
            "C:/a",
            "a/",
        ] {
            assert!(!is_inside(path), "{path}");
        }
        assert!(is_inside("data/a b/..c/d.txt"));
    }

    fn directory(entries: &[(&str, u64, u64)]) -> Directory {
        let entry = |&(name, offset, packed): &(&str, u64, u64)| Entry {
            name: name.to_owned(),
            method: Method::Stored,
            flags: 0,
            crc: 0,
            packed,
            size: packed,
            offset,
        };
        let entries = entries.iter().map(entry).collect();
        Directory {
            entries,
            base: 0,
            start: 0,
            end: 0,
            len: 0,
            unreadable: None,
        }
    }

    #[test]
    fn top_folder_is_the_one_with_most_marks() {
        let entries = [
            ("b/bagit.txt", 0, 0),
            ("a/bagxt.txt", 0, 0),
            ("a/manifest-sha512.txt", 0, 0),
            ("a/tagmanifest-sha512.txt", 0, 0),
            ("a/data/b/bagit.txt", 0, 0),
        ];
        assert_eq!(top_folder(&directory(&entries)).as_deref(), Some("a"));
        assert_eq!(
            top_folder(&directory(&[("bagit.txt", 0, 0)])).as_deref(),
            Some("")
        );
        assert_eq!(top_folder(&directory(&[("a/b/bagit.txt", 0, 0)])), None);
    }

    #[test]
    fn overlaps() {
        let apart = [("a", 0, 10), ("b", 41, 5), ("c", 77, 0)];
        assert!(overlapping(&directory(&apart)).is_empty());
        let nested = [("a", 0, 100), ("b", 41, 5), ("c", 90, 0), ("d", 131, 0)];
        assert_eq!(overlapping(&directory(&nested)), HashSet::from([0, 1, 2]));
        let beyond = [("a", 0, u64::MAX), ("b", u64::MAX - 1, 1)];
        assert_eq!(overlapping(&directory(&beyond)), HashSet::from([0, 1]));
    }
}
