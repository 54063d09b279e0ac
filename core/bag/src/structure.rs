//! Checks the bytes of a zip that are not content.
//!
//! A zip written here has one possible form, so its records are built again
//! from what was read (names and order from the manifests, sizes and CRC from
//! the content, the rest from `zip-layout.txt`) and compared with what is there.
//! Together with the digests this accounts for every byte:
//!
//! | bytes | checked by |
//! |---|---|
//! | stored content | its digest in a manifest |
//! | deflated content | its digest in `zip-layout.txt` |
//! | the tag manifest | its CRC in its header, which is derived |
//! | local headers, directory, end | derived and compared |
//! | before, between, behind | there are none: each record follows the last |

use std::collections::HashMap;
use std::fs::File;
use std::io;

use crate::digest::{Algorithm, Digest};
use crate::layout::{self, Layout};
use crate::reader::BagReader;
use crate::report::{Kind, Place, Problem, Problems, Structure};
use crate::source::{Source, Zip};
use crate::tag::{self, Covers};
use crate::verify::Facts;
use crate::zip::directory::{bytes_at, local};
use crate::zip::record::{self, SIZES_FOLLOW, Stamp};
use crate::zip::{Entry, Method};

/// What was found in each file of the bag; in the order of its items.
pub(crate) type AllFacts = [Option<Result<Facts, String>>];

/// Checks the zip's structure as far as it can be, and says how far that was.
pub(crate) fn check(bag: &BagReader, facts: &AllFacts, problems: &mut Problems) -> Structure {
    let Some(zip) = &bag.source.zip else {
        return Structure::Folder;
    };
    let layout = find_layout(bag, problems);
    let result = File::open(&zip.file).and_then(|file| {
        let facts = by_entry(bag, facts);
        let mut check = Check {
            zip,
            file,
            facts,
            problems,
        };
        match &layout {
            Ok((layout, stamp)) => check.derive(layout, *stamp, &names_in_order(bag, zip)),
            Err(_) => check.look_for_gaps(),
        }
    });
    if let Err(error) = result {
        let len = zip.directory.len;
        problems.push(Problem::bytes(0, len, Kind::Unreadable, error.to_string()));
    }
    match layout {
        Ok(_) => Structure::Checked,
        Err(reason) => Structure::NotChecked(reason),
    }
}

/// The layout, if the bag has one that can be relied on.
fn find_layout(bag: &BagReader, problems: &Problems) -> Result<(Layout, Stamp), String> {
    let is_layout = |problem: &Problem| problem.place == Place::File(layout::FILE.to_owned());
    let Some(text) = bag.text(layout::FILE) else {
        return Err("it comes from another tool, and has no zip-layout.txt".to_owned());
    };
    if problems.listed.iter().any(is_layout) {
        return Err("zip-layout.txt is itself damaged".to_owned());
    }
    let unusable = |reason: &dyn std::fmt::Display| format!("zip-layout.txt: {reason}");
    let text = text.map_err(|error| unusable(&error))?;
    let layout = Layout::parse(&text).map_err(|reason| unusable(&reason))?;
    let stamp = Stamp::new(layout.time).map_err(|error| unusable(&error))?;
    Ok((layout, stamp))
}

fn by_entry<'a>(bag: &BagReader, facts: &'a AllFacts) -> HashMap<usize, &'a Facts> {
    let items = bag.source.items.iter().zip(facts);
    items
        .filter_map(|(item, facts)| match facts {
            Some(Ok(facts)) => Some((Source::entry_of(item)?, facts)),
            _ => None,
        })
        .collect()
}

/// Paths in the order in which a zip written here has them, if it is as the
/// manifests say.
fn names_in_order(bag: &BagReader, zip: &Zip) -> Vec<String> {
    let listed = |covers| {
        let manifests = bag.manifests.iter();
        let mut found =
            manifests.filter(move |m| m.covers == covers && m.algorithm == Algorithm::Sha512);
        found
            .next()
            .into_iter()
            .flat_map(|m| m.listed.iter().map(|(path, _)| path.as_str()))
    };
    let mut paths = vec![tag::BAGIT];
    paths.extend(listed(Covers::Payload));
    paths.extend(listed(Covers::Tags).filter(|path| *path != tag::BAGIT));
    paths.push(tag::TAG_MANIFEST);
    if paths.len() == zip.directory.entries.len() {
        paths.into_iter().map(str::to_owned).collect()
    } else {
        Vec::new()
    }
}

struct Check<'a> {
    zip: &'a Zip,
    file: File,
    facts: HashMap<usize, &'a Facts>,
    problems: &'a mut Problems,
}

impl Check<'_> {
    /// Builds every record again and compares it.
    fn derive(&mut self, layout: &Layout, stamp: Stamp, paths: &[String]) -> io::Result<()> {
        let directory = &self.zip.directory;
        let base = directory.base;
        self.unaccounted(0, base, "in front of the zip");
        if paths.is_empty() {
            let detail = "the zip's entries are not those that the manifests list";
            self.problems
                .push(Problem::bytes(0, directory.len, Kind::Structure, detail));
        }
        let deflated: HashMap<&str, &Digest> = layout
            .deflated
            .iter()
            .map(|(path, digest)| (path.as_str(), digest))
            .collect();
        let mut records = Vec::new();
        let mut at = base;
        for (i, found) in directory.entries.iter().enumerate() {
            let (_, path) = found.name.split_once('/').unwrap_or(("", &found.name));
            let path = paths.get(i).map_or(path, String::as_str);
            let digest = deflated.get(path).copied();
            let mut entry = Entry {
                name: format!("{}/{path}", layout.top),
                method: if digest.is_some() {
                    Method::Deflated
                } else {
                    Method::Stored
                },
                offset: at - base,
                ..found.clone()
            };
            self.complete(i, &mut entry, stamp)?;
            self.compare_packed(i, path, digest);
            at = self.place(at, path, found, &mut entry, stamp)?;
            let header = record::local_header(&entry, stamp);
            self.compare(
                at,
                &header,
                &format!("the header in front of {}", path.escape_debug()),
            )?;
            at = at
                .saturating_add(header.len() as u64)
                .saturating_add(entry.packed);
            records.push((path, entry));
        }

        let start = at;
        for (path, entry) in &records {
            let header = record::central_header(entry, stamp);
            self.compare(
                at,
                &header,
                &format!("the directory, at {}", path.escape_debug()),
            )?;
            at = at.saturating_add(header.len() as u64);
        }
        let end = record::end_records(records.len() as u64, start - base, at - start);
        self.compare(at, &end, "the end of the directory")?;
        at = at.saturating_add(end.len() as u64);
        self.unaccounted(at, directory.len, "behind the zip");
        Ok(())
    }

    /// Fills in an entry's sizes and CRC: those of the content or, where that
    /// could not be read, those of the local header if it is otherwise as it
    /// must be. (What could not be read may be sound, and the directory wrong.)
    fn complete(&mut self, i: usize, entry: &mut Entry, stamp: Stamp) -> io::Result<()> {
        if let Some(facts) = self.facts.get(&i) {
            (entry.crc, entry.size) = (facts.crc, facts.bytes);
            return Ok(());
        }
        let at = self.zip.directory.base.saturating_add(entry.offset);
        if let Some((there, _)) = local(&mut self.file, at)? {
            let mut other = entry.clone();
            (other.crc, other.size, other.packed) = (there.crc, there.size, there.packed);
            if self
                .difference(at, &record::local_header(&other, stamp))?
                .is_none()
            {
                *entry = other;
            }
        }
        Ok(())
    }

    fn compare_packed(&mut self, i: usize, path: &str, digest: Option<&Digest>) {
        let found = self.facts.get(&i).and_then(|facts| facts.packed.as_ref());
        if let (Some(found), Some(digest)) = (found, digest)
            && found != digest
        {
            let detail = "its compressed form is another one, though of the same content";
            self.problems
                .push(Problem::file(path, Kind::Structure, detail));
        }
    }

    /// Where an entry begins: at `at`, where the last one ended, unless its
    /// header is right at the place that the directory gives and not there.
    fn place(
        &mut self,
        at: u64,
        path: &str,
        found: &Entry,
        entry: &mut Entry,
        stamp: Stamp,
    ) -> io::Result<u64> {
        let declared = self.zip.directory.base.saturating_add(found.offset);
        let header = record::local_header(entry, stamp);
        if declared == at
            || self.difference(at, &header)?.is_none()
            || self.difference(declared, &header)?.is_some()
        {
            return Ok(at);
        }
        self.unaccounted(at, declared, "between two files");
        if declared < at {
            let detail = format!("{path:?} begins before the last file has ended");
            self.problems
                .push(Problem::bytes(declared, at, Kind::Structure, detail));
        }
        entry.offset = found.offset;
        Ok(declared)
    }

    /// Names the first byte of a record that is not what it must be.
    fn compare(&mut self, at: u64, record: &[u8], place: &str) -> io::Result<()> {
        let Some(difference) = self.difference(at, record)? else {
            return Ok(());
        };
        let Difference {
            byte,
            found,
            wanted,
            more,
        } = difference;
        let detail = match found {
            None => format!("the zip ends within {place}"),
            Some(found) => {
                let more = if more > 0 {
                    format!(", and {more} more bytes")
                } else {
                    String::new()
                };
                format!("in {place}: {found:#04x} where {wanted:#04x} belongs{more}")
            }
        };
        self.problems
            .push(Problem::byte(byte, Kind::Structure, detail));
        Ok(())
    }

    fn difference(&mut self, at: u64, record: &[u8]) -> io::Result<Option<Difference>> {
        let len = self.zip.directory.len;
        let there = (len.saturating_sub(at)).min(record.len() as u64);
        let found = bytes_at(&mut self.file, at, there)?.unwrap_or_default();
        let mut differing = (0..)
            .zip(found.iter().zip(record))
            .filter(|(_, (a, b))| a != b);
        let first = differing.next().map(|(i, (found, wanted))| Difference {
            byte: at.saturating_add(i),
            found: Some(*found),
            wanted: *wanted,
            more: differing.count(),
        });
        let missing = record.get(found.len()).map(|wanted| Difference {
            byte: at.saturating_add(found.len() as u64),
            found: None,
            wanted: *wanted,
            more: 0,
        });
        Ok(first.or(missing))
    }

    /// In a zip of unknown making: what no entry accounts for, and what its two
    /// lists of files say differently.
    fn look_for_gaps(&mut self) -> io::Result<()> {
        let directory = &self.zip.directory;
        if let Some(reason) = &directory.unreadable {
            let (from, to) = (directory.start, directory.len);
            self.problems
                .push(Problem::bytes(from, to, Kind::Structure, reason));
        } else {
            self.unaccounted(directory.end, directory.len, "behind the zip");
        }
        self.unaccounted(0, directory.base, "in front of the zip");
        let mut order: Vec<_> = directory.entries.iter().enumerate().collect();
        order.sort_by_key(|(_, entry)| entry.offset);
        let mut reached = directory.base;
        let mut sizes_follow = false;
        for (i, entry) in order {
            let at = directory.base.saturating_add(entry.offset);
            self.gap(reached, at, sizes_follow);
            let Some((there, content)) = local(&mut self.file, at)? else {
                let detail = format!("no header for {:?} where it should be", entry.name);
                self.problems
                    .push(Problem::byte(at, Kind::Structure, detail));
                return Ok(());
            };
            if there.name != entry.name {
                let detail = format!(
                    "\"{}\" here, \"{}\" in the directory",
                    there.name, entry.name
                );
                self.problems
                    .push(Problem::bytes(at, content, Kind::Structure, detail));
            }
            if self
                .facts
                .get(&i)
                .is_some_and(|facts| facts.crc != entry.crc)
            {
                let detail = "its CRC-32 in the zip's directory is not that of its content";
                self.problems
                    .push(Problem::file(&entry.name, Kind::Structure, detail));
            }
            reached = reached.max(content.saturating_add(entry.packed));
            sizes_follow = entry.flags & SIZES_FOLLOW != 0;
        }
        if directory.unreadable.is_none() {
            self.gap(reached, directory.start, sizes_follow);
        }
        Ok(())
    }

    fn gap(&mut self, from: u64, to: u64, sizes_follow: bool) {
        // A descriptor (4.3.9), with or without its mark, short or long.
        let descriptor = sizes_follow && matches!(to.saturating_sub(from), 12 | 16 | 20 | 24);
        if !descriptor {
            self.unaccounted(from, to, "between two files");
        }
    }

    fn unaccounted(&mut self, from: u64, to: u64, place: &str) {
        if from < to {
            let detail = format!("{} bytes {place}", to - from);
            self.problems
                .push(Problem::bytes(from, to, Kind::Unaccounted, detail));
        }
    }
}

/// Where a record is not what it must be.
struct Difference {
    byte: u64,
    /// `None` beyond the end of the zip.
    found: Option<u8>,
    wanted: u8,
    /// How many more bytes of the record differ.
    more: usize,
}
