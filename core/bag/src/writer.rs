//! Writes a bag, file after file.

use std::io::{self, Read};
use std::path::{Path, PathBuf};

use jiff::civil::DateTime;

use crate::digest::Digest;
use crate::layout::{self, Layout};
use crate::name::{self, Names};
use crate::sink::{CopyError, FolderSink, Sink, ZipSink};
use crate::zip::record::Stamp;
use crate::{Error, check_path, tag};

/// How a file is held in a zip; of no meaning in a folder.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Compression {
    /// As it is: right for what is compressed already, such as photos.
    Stored,
    /// Compressed by deflate: right for text.
    Deflated,
}

/// How a bag is made.
#[derive(Clone, Debug)]
pub struct Options {
    /// When; its date becomes the `Bagging-Date`, and files unpacked from a zip
    /// carry it, to two seconds.
    pub time: DateTime,
    /// Whether a bag already under the final name may be replaced.
    pub overwrite: bool,
}

impl Options {
    /// At this time, replacing nothing.
    pub fn at(time: DateTime) -> Self {
        Self {
            time,
            overwrite: false,
        }
    }
}

/// A file that was added.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Added {
    /// Its size in bytes.
    pub bytes: u64,
    /// Its SHA-512.
    pub sha512: Digest,
}

/// A bag that was written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Summary {
    /// Files under `data/`.
    pub payload_files: u64,
    /// Their bytes.
    pub payload_bytes: u64,
    /// SHA-512 of `manifest-sha512.txt`: one number for the whole payload.
    pub manifest: Digest,
    /// SHA-512 of `tagmanifest-sha512.txt`: one number for the whole bag.
    pub tag_manifest: Digest,
}

/// What a signer sees of a bag that is complete but for its signature.
#[derive(Clone, Copy, Debug)]
pub struct Closing<'a> {
    /// The content of `manifest-sha512.txt`.
    pub manifest: &'a str,
    /// The content of `bag-info.txt`.
    pub bag_info: &'a str,
    /// The content of `bagit.txt`.
    pub declaration: &'a str,
}

/// Writes a bag as a zip or a folder.
///
/// Memory is constant but for the names, their digests and the tag files given.
/// Dropped before [`finish`](Self::finish), it leaves nothing behind.
pub struct BagWriter {
    target: PathBuf,
    options: Options,
    sink: Sink,
    /// The top folder, in a zip.
    top: Option<String>,
    names: Names,
    info: Vec<(String, String)>,
    tags: Vec<(String, Vec<u8>)>,
    manifest: String,
    tag_manifest: String,
    deflated: Vec<(String, Digest)>,
    payload_files: u64,
    payload_bytes: u64,
    /// A write failed and could not be undone.
    stopped: bool,
}

impl BagWriter {
    /// Begins a bag in a zip, in which everything lies in the folder `top`
    /// (RFC 8493 suggests the zip's own name without `.zip`).
    ///
    /// # Errors
    /// [`Error::Exists`], [`Error::NotReplaceable`], [`Error::Write`],
    /// [`Error::UnsafeName`] for `top`, [`Error::BadTime`].
    pub fn zip(target: &Path, top: &str, options: &Options) -> Result<Self, Error> {
        check_path(top)?;
        if top.contains('/') {
            let reason = "it is a path, but a bag lies in a single folder";
            return Err(Error::UnsafeName {
                name: top.to_owned(),
                reason,
            });
        }
        let stamp = Stamp::new(options.time)?;
        let sink = Sink::Zip(ZipSink::create(target, top, stamp, options.overwrite)?);
        Self::begin(target, options, sink, Some(top.to_owned()))
    }

    /// Begins a bag in a folder, which must not be there yet.
    ///
    /// # Errors
    /// [`Error::Exists`], [`Error::NotReplaceable`], [`Error::Write`].
    pub fn folder(target: &Path, options: &Options) -> Result<Self, Error> {
        let sink = Sink::Folder(FolderSink::create(target, options.overwrite)?);
        Self::begin(target, options, sink, None)
    }

    fn begin(
        target: &Path,
        options: &Options,
        sink: Sink,
        top: Option<String>,
    ) -> Result<Self, Error> {
        let mut bag = Self {
            target: target.to_owned(),
            options: options.clone(),
            sink,
            top,
            names: Names::default(),
            info: Vec::new(),
            tags: Vec::new(),
            manifest: String::new(),
            tag_manifest: String::new(),
            deflated: Vec::new(),
            payload_files: 0,
            payload_bytes: 0,
            stopped: false,
        };
        for name in [tag::BAG_INFO, tag::FETCH, layout::FILE] {
            bag.names.add(name);
        }
        bag.write_tag(tag::BAGIT, tag::DECLARATION.as_bytes())?;
        Ok(bag)
    }

    /// Adds a field to `bag-info.txt`, after those before it.
    ///
    /// Reserved labels (RFC 8493, 2.2.2) are for instance `Source-Organization`,
    /// `External-Identifier`, `External-Description`, `Internal-Sender-Identifier`;
    /// `Bag-Software-Agent` is customary. `Bagging-Date` and `Payload-Oxum` come
    /// by themselves.
    ///
    /// # Errors
    /// [`Error::BadField`] for a label or value that cannot stand on one line.
    pub fn info(&mut self, label: &str, value: &str) -> Result<(), Error> {
        let own = ["Bagging-Date", "Payload-Oxum"]
            .iter()
            .any(|own| label.eq_ignore_ascii_case(own));
        let trouble = own.then_some("it is filled in by itself");
        if let Some(reason) = trouble.or_else(|| tag::field_trouble(label, value)) {
            return Err(Error::BadField {
                label: label.to_owned(),
                reason,
            });
        }
        self.info.push((label.to_owned(), value.to_owned()));
        Ok(())
    }

    /// Adds a payload file from a stream, at `path` below `data/`.
    ///
    /// # Errors
    /// [`Error::UnsafeName`], [`Error::NameTaken`], [`Error::Content`] if the
    /// stream fails, [`Error::Write`]. After any of these the bag is as it was
    /// before and takes further files; only after [`Error::Stopped`] it is lost.
    pub fn add_payload(
        &mut self,
        path: &str,
        mut content: impl Read,
        compression: Compression,
    ) -> Result<Added, Error> {
        let path = format!("{}{path}", tag::PAYLOAD);
        self.check(&path)?;
        let deflated = compression == Compression::Deflated;
        let copied = self.copy(&path, deflated, &mut content)?;
        tag::push_manifest_line(&mut self.manifest, &copied.sha512, &path);
        if let Some(digest) = copied.packed {
            self.deflated.push((path.clone(), digest));
        }
        self.names.add(&path);
        self.payload_files += 1;
        self.payload_bytes += copied.bytes;
        Ok(Added {
            bytes: copied.bytes,
            sha512: copied.sha512,
        })
    }

    /// Adds a tag file of the caller's own, at `path` beside `data/`. It is kept
    /// in memory until the payload is complete.
    ///
    /// # Errors
    /// [`Error::UnsafeName`]; [`Error::NameTaken`] also for `data` and the names
    /// that BagIt keeps for itself.
    pub fn add_tag(&mut self, path: &str, content: &[u8]) -> Result<(), Error> {
        self.check_tag(path)?;
        self.tags.push((path.to_owned(), content.to_owned()));
        self.names.add(path);
        Ok(())
    }

    /// Completes the bag and gives it its name.
    ///
    /// # Errors
    /// [`Error::Empty`] without payload, [`Error::Write`], [`Error::Exists`] if
    /// something took the name meanwhile. After any of these there is no bag,
    /// and what was under the name before still is.
    pub fn finish(self) -> Result<Summary, Error> {
        self.finish_with(|_| Ok(Vec::new()))
    }

    /// Completes the bag with further tag files (path and content), made from
    /// its manifest when it is final: a signature, say.
    ///
    /// # Errors
    /// As [`finish`](Self::finish) and [`add_tag`](Self::add_tag), and
    /// [`Error::Closing`] if `closing` fails.
    pub fn finish_with<F>(mut self, closing: F) -> Result<Summary, Error>
    where
        F: FnOnce(
            Closing<'_>,
        )
            -> Result<Vec<(String, Vec<u8>)>, Box<dyn std::error::Error + Send + Sync>>,
    {
        if self.payload_files == 0 {
            return Err(Error::Empty { path: self.target });
        }
        for (path, content) in std::mem::take(&mut self.tags) {
            self.write_tag(&path, &content)?;
        }
        let bag_info = self.bag_info();
        self.write_tag(tag::BAG_INFO, bag_info.as_bytes())?;
        let manifest = std::mem::take(&mut self.manifest);
        self.write_tag(tag::MANIFEST, manifest.as_bytes())?;
        let sight = Closing {
            manifest: &manifest,
            bag_info: &bag_info,
            declaration: tag::DECLARATION,
        };
        for (path, content) in closing(sight).map_err(Error::Closing)? {
            self.check_tag(&path)?;
            self.names.add(&path);
            self.write_tag(&path, &content)?;
        }
        if let Some(top) = self.top.take() {
            let deflated = std::mem::take(&mut self.deflated);
            let time = self.options.time;
            // To the two seconds that a zip knows.
            let time = time
                .date()
                .at(time.hour(), time.minute(), time.second() & !1, 0);
            let layout = Layout {
                top,
                time,
                deflated,
            }
            .text();
            self.write_tag(layout::FILE, layout.as_bytes())?;
        }
        let tag_manifest = std::mem::take(&mut self.tag_manifest);
        self.copy(tag::TAG_MANIFEST, false, &mut tag_manifest.as_bytes())?;
        self.sink.commit(self.options.overwrite)?;
        Ok(Summary {
            payload_files: self.payload_files,
            payload_bytes: self.payload_bytes,
            manifest: Digest::sha512(manifest.as_bytes()),
            tag_manifest: Digest::sha512(tag_manifest.as_bytes()),
        })
    }

    fn bag_info(&self) -> String {
        let mut text = String::new();
        for (label, value) in &self.info {
            tag::push_field(&mut text, label, value);
        }
        tag::push_field(
            &mut text,
            "Bagging-Date",
            &self.options.time.date().to_string(),
        );
        let oxum = format!("{}.{}", self.payload_bytes, self.payload_files);
        tag::push_field(&mut text, "Payload-Oxum", &oxum);
        text
    }

    /// Whether a path can be added.
    fn check(&self, path: &str) -> Result<(), Error> {
        check_path(path)?;
        let top = self.top.as_deref().unwrap_or_default();
        if top.encode_utf16().count() + 1 + path.encode_utf16().count() > name::MAX_PATH {
            let reason = "with its top folder it is longer than 200 characters";
            return Err(Error::UnsafeName {
                name: path.to_owned(),
                reason,
            });
        }
        self.names.check(path)
    }

    fn check_tag(&self, path: &str) -> Result<(), Error> {
        let lower = path.to_ascii_lowercase();
        let taken = |other: &str| {
            Err(Error::NameTaken {
                name: path.to_owned(),
                other: other.to_owned(),
            })
        };
        if tag::manifest_kind(&lower).is_some() {
            return taken(tag::MANIFEST);
        }
        if lower == "data" || lower.starts_with(tag::PAYLOAD) {
            return taken(tag::PAYLOAD);
        }
        self.check(path)
    }

    /// Writes a tag file and lists it. Tag files are small and always stored.
    fn write_tag(&mut self, path: &str, content: &[u8]) -> Result<(), Error> {
        let copied = self.copy(path, false, &mut &*content)?;
        tag::push_manifest_line(&mut self.tag_manifest, &copied.sha512, path);
        self.names.add(path);
        Ok(())
    }

    fn copy(
        &mut self,
        path: &str,
        deflated: bool,
        content: &mut dyn Read,
    ) -> Result<crate::sink::Copied, Error> {
        let target = || self.target.clone();
        if self.stopped {
            return Err(Error::Stopped { path: target() });
        }
        self.sink
            .add(path, deflated, content)
            .map_err(|error| match error {
                CopyError::Content(source) => Error::Content {
                    path: path.to_owned(),
                    source,
                },
                CopyError::Target(source) => Error::Write {
                    path: target(),
                    source,
                },
                CopyError::Lost(source) => {
                    self.stopped = true;
                    Error::Write {
                        path: target(),
                        source: io::Error::other(source),
                    }
                }
            })
    }
}
