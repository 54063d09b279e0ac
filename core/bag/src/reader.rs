//! Opens a bag and reads from it.

use std::collections::HashMap;
use std::collections::hash_map::Entry;
use std::io::{self, Read};
use std::path::{Path, PathBuf};

use crate::digest::{Algorithm, Digest, Hasher};
use crate::name::composed;
use crate::report::{Kind, Problem, Problems, Report};
use crate::source::{Item, ItemReader, Source, is_inside};
use crate::tag::{self, Covers};
use crate::{Error, MAX_LISTING};

/// A bag opened for reading.
///
/// Opening reads the listings (manifests, `bag-info.txt`); content is read when
/// asked for. A damaged bag opens as far as it can: [`verify`](Self::verify)
/// says what is wrong with it.
pub struct BagReader {
    path: PathBuf,
    pub(crate) source: Source,
    pub(crate) manifests: Vec<Manifest>,
    pub(crate) info: Vec<(String, String)>,
    pub(crate) problems: Problems,
    pub(crate) notes: Vec<String>,
}

/// A manifest that can be checked.
pub(crate) struct Manifest {
    pub file: String,
    pub covers: Covers,
    pub algorithm: Algorithm,
    /// Paths and digests in their order.
    pub listed: Vec<(String, Digest)>,
    index: HashMap<String, usize>,
}

impl Manifest {
    /// By path, in whatever normal form.
    pub fn digest_of(&self, path: &str) -> Option<&Digest> {
        self.index
            .get(&composed(path))
            .and_then(|i| self.listed.get(*i))
            .map(|(_, digest)| digest)
    }
}

/// A file of the payload.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PayloadFile<'a> {
    /// Its path below `data/`.
    pub path: &'a str,
    /// Its size in bytes, as the folder or zip says.
    pub size: u64,
}

/// Checks the bag at `path`, a folder or a zip, to the last byte.
///
/// # Errors
/// Where there is no bag to check: nothing there, nothing readable, not a bag.
/// All else, however damaged, is in the report.
pub fn verify(path: &Path) -> Result<Report, Error> {
    Ok(BagReader::open(path)?.verify())
}

impl BagReader {
    /// Opens the bag at `path`, a folder or a zip.
    ///
    /// # Errors
    /// [`Error::Read`], [`Error::Damaged`] if a file shows no sign of being a
    /// zip, [`Error::NotABag`] if there is neither a `bagit.txt` nor a manifest.
    pub fn open(path: &Path) -> Result<Self, Error> {
        let mut source = Source::open(path)?;
        let mut bag = Self {
            path: path.to_owned(),
            problems: std::mem::take(&mut source.problems),
            source,
            manifests: Vec::new(),
            info: Vec::new(),
            notes: Vec::new(),
        };
        bag.read_declaration();
        bag.read_info();
        bag.read_manifests();
        if bag.source.find(tag::FETCH).is_some() {
            bag.notes
                .push("fetch.txt names files to be fetched; nothing is fetched here".into());
        }
        Ok(bag)
    }

    /// The fields of `bag-info.txt`, in order.
    pub fn info(&self) -> &[(String, String)] {
        &self.info
    }

    /// The files of the payload that are there, in the order in which they lie
    /// in the zip or, in a folder, by name.
    pub fn payload(&self) -> impl Iterator<Item = PayloadFile<'_>> {
        self.source.items.iter().filter_map(|item| {
            let path = item.path.strip_prefix(tag::PAYLOAD)?;
            Some(PayloadFile {
                path,
                size: item.size,
            })
        })
    }

    /// Opens a payload file by its path below `data/`.
    ///
    /// The stream ends with an error instead of an end where the content is not
    /// what the manifest says: who reads to the end without an error has read
    /// what was put in.
    ///
    /// # Errors
    /// [`Error::NotListed`], [`Error::Read`].
    pub fn open_payload(&self, path: &str) -> Result<Checked, Error> {
        self.open_checked(&format!("{}{path}", tag::PAYLOAD), Covers::Payload)
    }

    /// Opens a tag file that a tag manifest lists, as [`open_payload`](Self::open_payload) does.
    ///
    /// # Errors
    /// [`Error::NotListed`], [`Error::Read`].
    pub fn open_tag(&self, path: &str) -> Result<Checked, Error> {
        self.open_checked(path, Covers::Tags)
    }

    fn open_checked(&self, path: &str, covers: Covers) -> Result<Checked, Error> {
        let digests = self.expected(path, covers);
        let item = self
            .source
            .find(path)
            .and_then(|i| self.source.items.get(i));
        let (Some(item), false) = (item, digests.is_empty()) else {
            return Err(Error::NotListed {
                path: path.to_owned(),
            });
        };
        let failed = |source| Error::Read {
            path: self.path.join(path),
            source,
        };
        Ok(Checked {
            inner: self.source.read(item, false).map_err(failed)?,
            hasher: Hasher::new(digests.iter().map(|(algorithm, _)| *algorithm)),
            expected: digests,
        })
    }

    /// The digests that a file must have.
    fn expected(&self, path: &str, covers: Covers) -> Vec<(Algorithm, Digest)> {
        let manifests = self
            .manifests
            .iter()
            .filter(|manifest| manifest.covers == covers);
        let digests = manifests.filter_map(|m| {
            m.digest_of(path)
                .map(|digest| (m.algorithm, digest.clone()))
        });
        digests.collect()
    }

    fn read_declaration(&mut self) {
        let Some(text) = self.read_text(tag::BAGIT) else {
            if self.source.find(tag::BAGIT).is_none() {
                let detail = "every bag has one";
                self.problems
                    .push(Problem::file(tag::BAGIT, Kind::Missing, detail));
            }
            return;
        };
        if let Some(detail) = tag::declaration_trouble(&text) {
            self.problems
                .push(Problem::file(tag::BAGIT, Kind::Malformed, detail));
        }
    }

    fn read_info(&mut self) {
        let Some(text) = self.read_text(tag::BAG_INFO) else {
            return;
        };
        let (fields, bad) = tag::parse_fields(&text);
        self.info = fields;
        self.complain(tag::BAG_INFO, bad);
    }

    fn read_manifests(&mut self) {
        let kinds = self.source.items.iter().filter_map(|item| {
            let (covers, algorithm) = tag::manifest_kind(&item.path)?;
            Some((item.path.clone(), covers, algorithm.to_owned()))
        });
        for (file, covers, algorithm) in kinds.collect::<Vec<_>>() {
            match Algorithm::named(&algorithm) {
                Some(algorithm) => self.read_manifest(file, covers, algorithm),
                None => self.notes.push(format!(
                    "{} was not checked: only SHA-256 and SHA-512 are known here",
                    file.escape_debug()
                )),
            }
        }
        let has = |covers| {
            self.manifests
                .iter()
                .any(|manifest| manifest.covers == covers)
        };
        if !has(Covers::Payload) {
            let detail = "without it, or one with SHA-256, no payload file can be checked";
            self.problems
                .push(Problem::file(tag::MANIFEST, Kind::Missing, detail));
        }
        if !has(Covers::Tags) {
            let note = "no tag manifest: nothing vouches for the tag files and the manifest itself";
            self.notes.push(note.to_owned());
        }
    }

    fn read_manifest(&mut self, file: String, covers: Covers, algorithm: Algorithm) {
        let Some(text) = self.read_text(&file) else {
            return;
        };
        let (mut listed, bad) = tag::parse_manifest(&text, algorithm);
        let even = if bad.is_empty() {
            tag::uneven_line(&text, &listed)
        } else {
            None
        };
        self.complain(&file, bad);
        if let Some(line) = even.filter(|_| covers == Covers::Tags) {
            let detail = format!("line {line} is not written like the others");
            self.problems
                .push(Problem::file(&file, Kind::Malformed, detail));
        }
        let mut index = HashMap::new();
        listed.retain(|(path, _)| {
            let trouble = if !is_inside(path) {
                Some("points outside the bag")
            } else if !covers.should_list(path) {
                Some("does not belong into this manifest")
            } else {
                let next = index.len();
                match index.entry(composed(path)) {
                    Entry::Occupied(_) => Some("is listed twice"),
                    Entry::Vacant(place) => {
                        place.insert(next);
                        return true;
                    }
                }
            };
            let detail = format!(
                "\"{}\" {}",
                path.escape_debug(),
                trouble.unwrap_or_default()
            );
            self.problems
                .push(Problem::file(&file, Kind::Malformed, detail));
            false
        });
        self.manifests.push(Manifest {
            file,
            covers,
            algorithm,
            listed,
            index,
        });
    }

    fn complain(&mut self, file: &str, bad: Vec<tag::BadLine>) {
        self.problems.extend(bad.into_iter().map(|line| {
            let detail = format!("line {}: {}", line.number, line.reason);
            Problem::file(file, Kind::Malformed, detail)
        }));
    }

    /// The text of a tag file; `None`, with the reason among the problems, if
    /// it is there but cannot be had.
    fn read_text(&mut self, path: &str) -> Option<String> {
        match self.text(path)? {
            Ok(text) => Some(text),
            Err(error) => {
                self.problems
                    .push(Problem::file(path, Kind::Unreadable, error.to_string()));
                None
            }
        }
    }

    /// The text of a tag file as it is, whether a manifest lists it or not; `None` if it is not
    /// there. [`open_tag`](Self::open_tag) also compares it with the tag manifest.
    pub fn text(&self, path: &str) -> Option<io::Result<String>> {
        let item = self
            .source
            .find(path)
            .and_then(|i| self.source.items.get(i))?;
        Some(text_of(&self.source, item))
    }
}

fn text_of(source: &Source, item: &Item) -> io::Result<String> {
    if item.size > MAX_LISTING {
        return Err(io::Error::other(format!(
            "it is larger than {MAX_LISTING} bytes"
        )));
    }
    let mut text = Vec::new();
    source
        .read(item, false)?
        .take(MAX_LISTING)
        .read_to_end(&mut text)?;
    String::from_utf8(text).map_err(|_| io::Error::other("it is not UTF-8"))
}

/// A file of a bag as a stream that vouches for its content.
///
/// Reading gives an [`io::ErrorKind::InvalidData`] error in place of the end if
/// the content was not the one that the manifest lists.
pub struct Checked {
    inner: ItemReader,
    hasher: Hasher,
    expected: Vec<(Algorithm, Digest)>,
}

impl Read for Checked {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let read = self.inner.read(buffer)?;
        if read > 0 || buffer.is_empty() {
            self.hasher.update(buffer.get(..read).unwrap_or_default());
            return Ok(read);
        }
        let found = std::mem::take(&mut self.hasher).finish();
        match self
            .expected
            .iter()
            .find(|(algorithm, digest)| found.get(*algorithm) != Some(digest))
        {
            // Anyone who reads on after the error gets it again.
            Some(_) => Err(io::Error::new(
                io::ErrorKind::InvalidData,
                "the content is not the one that the bag's manifest lists",
            )),
            None => {
                self.expected.clear();
                Ok(0)
            }
        }
    }
}
