//! Checks a bag: reads every file once and compares it with every manifest.

use std::collections::HashSet;
use std::io::{self, Read};
use std::num::NonZero;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;

use crate::digest::{Algorithm, Digest, Digests, Hasher};
use crate::reader::{BagReader, Manifest};
use crate::report::{Kind, Problem, Problems, Report};
use crate::source::{Item, Source};
use crate::tag::{self, Covers};
use crate::{BLOCK, structure};

/// Files read at a time. Hashing is what takes the time; more than a few
/// readers only make a disk jump about.
const READERS: usize = 4;

/// What was found in a file.
pub(crate) struct Facts {
    pub bytes: u64,
    pub crc: u32,
    pub digests: Digests,
    /// The digest of its deflated form, in a zip.
    pub packed: Option<Digest>,
}

impl BagReader {
    /// Checks every byte of the bag.
    ///
    /// Reads all of it once, several files at a time, in constant memory but for
    /// the names.
    pub fn verify(&self) -> Report {
        let mut problems = self.problems.clone();
        let algorithms: Vec<_> = self.manifests.iter().map(|m| m.algorithm).collect();
        let facts = in_parallel(&self.source.items, |item| {
            read(&self.source, item, &algorithms).map_err(|error| error.to_string())
        });

        let mut payload_files = 0;
        let mut payload_bytes: u64 = 0;
        for (item, facts) in self.source.items.iter().zip(&facts) {
            match facts {
                Some(Ok(facts)) => {
                    let wrong = self
                        .manifests
                        .iter()
                        .filter_map(|m| mismatch(m, item, facts));
                    problems.extend(wrong);
                }
                Some(Err(error)) => {
                    problems.push(Problem::file(&item.path, Kind::Unreadable, error));
                }
                None => {
                    let detail = "its reader stopped; please report this as a fault of the program";
                    problems.push(Problem::file(&item.path, Kind::Unreadable, detail));
                }
            }
            if item.path.starts_with(tag::PAYLOAD) {
                payload_files += 1;
                // What could not be read may declare any size at all.
                payload_bytes = payload_bytes.saturating_add(match facts {
                    Some(Ok(facts)) => facts.bytes,
                    _ => item.size,
                });
            }
        }
        self.compare_listings(&mut problems);
        problems.extend(self.wrong_oxum(payload_bytes, payload_files));
        let structure = structure::check(self, &facts, &mut problems);
        Report {
            info: self.info.clone(),
            payload_files,
            payload_bytes,
            structure,
            problems: problems.listed,
            more_problems: problems.more,
            notes: self.notes.clone(),
        }
    }

    /// Files listed and not there, and files there and not listed.
    fn compare_listings(&self, problems: &mut Problems) {
        let mut missing = HashSet::new();
        for manifest in &self.manifests {
            let mut listed = HashSet::new();
            for (path, _) in &manifest.listed {
                match self.source.find(path) {
                    Some(i) => _ = listed.insert(i),
                    None if missing.insert(path) => {
                        let detail = format!("{} lists it", manifest.file);
                        problems.push(Problem::file(path, Kind::Missing, detail));
                    }
                    None => {}
                }
            }
            for (i, item) in self.source.items.iter().enumerate() {
                if !listed.contains(&i) && manifest.covers.should_list(&item.path) {
                    let kind = match manifest.covers {
                        Covers::Payload => Kind::Added,
                        Covers::Tags => Kind::Unlisted,
                    };
                    let detail = format!("{} does not list it", manifest.file);
                    problems.push(Problem::file(&item.path, kind, detail));
                }
            }
        }
    }

    fn wrong_oxum(&self, bytes: u64, files: u64) -> Option<Problem> {
        let declared: Vec<_> = self
            .info
            .iter()
            .filter(|(label, _)| label.eq_ignore_ascii_case("Payload-Oxum"))
            .map(|(_, value)| value)
            .collect();
        let detail = match declared.as_slice() {
            [] => return None,
            [one] => match tag::parse_oxum(one) {
                Some(sum) if sum == (bytes, files) => return None,
                Some((b, f)) => format!(
                    "Payload-Oxum says {b} bytes in {f} files; there are {bytes} in {files}"
                ),
                None => format!(
                    "Payload-Oxum, \"{}\", is not bytes.files",
                    one.escape_debug()
                ),
            },
            _ => "Payload-Oxum is given more than once".to_owned(),
        };
        Some(Problem::file(tag::BAG_INFO, Kind::Oxum, detail))
    }
}

fn mismatch(manifest: &Manifest, item: &Item, facts: &Facts) -> Option<Problem> {
    let expected = manifest.digest_of(&item.path)?;
    let found = facts.digests.get(manifest.algorithm)?;
    (found != expected).then(|| {
        let algorithm = manifest.algorithm.label();
        let detail = format!(
            "its {algorithm} is {found}, not {expected} as {} says",
            manifest.file
        );
        Problem::file(&item.path, Kind::Altered, detail)
    })
}

fn read(source: &Source, item: &Item, algorithms: &[Algorithm]) -> io::Result<Facts> {
    let mut reader = source.read(item, true)?;
    let mut hasher = Hasher::new(algorithms.iter().copied());
    let mut crc = crc32fast::Hasher::new();
    let mut bytes = 0;
    let mut block = vec![0; BLOCK];
    loop {
        let filled = match reader.read(&mut block) {
            Ok(0) => break,
            Ok(filled) => filled,
            Err(error) if error.kind() == io::ErrorKind::Interrupted => continue,
            Err(error) => return Err(error),
        };
        let read = block.get(..filled).unwrap_or_default();
        hasher.update(read);
        if source.zip.is_some() {
            crc.update(read);
        }
        bytes += filled as u64;
    }
    let (digests, crc, packed) = (hasher.finish(), crc.finalize(), reader.packed_digest());
    Ok(Facts {
        bytes,
        crc,
        digests,
        packed,
    })
}

/// Does a job for each of some things, a few at a time; `None` for one whose
/// thread came to grief.
fn in_parallel<T: Sync, R: Send>(things: &[T], job: impl Fn(&T) -> R + Sync) -> Vec<Option<R>> {
    let next = AtomicUsize::new(0);
    let work = || {
        let mut done = Vec::new();
        loop {
            let i = next.fetch_add(1, Ordering::Relaxed);
            let Some(thing) = things.get(i) else {
                return done;
            };
            done.push((i, job(thing)));
        }
    };
    let cores = thread::available_parallelism().map_or(1, NonZero::get);
    let mut results: Vec<Option<R>> = things.iter().map(|_| None).collect();
    thread::scope(|scope| {
        let threads: Vec<_> = (0..cores.min(READERS).min(things.len()))
            .map(|_| scope.spawn(work))
            .collect();
        for (i, result) in threads
            .into_iter()
            .filter_map(|thread| thread.join().ok())
            .flatten()
        {
            if let Some(place) = results.get_mut(i) {
                *place = Some(result);
            }
        }
    });
    results
}
