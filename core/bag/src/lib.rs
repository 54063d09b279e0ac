//! BagIt 1.0 bags ([RFC 8493]), as a folder or inside a zip.
//!
//! A *bag* is a folder of files that carries its own proof of being whole: the
//! files themselves under `data/` (the *payload*), and beside it small text
//! files (*tag files*) that list a digest for each. Anyone can check one with
//! tools that come with their computer; this crate writes them and reads them.
//!
//! ```
//! use datumtrail_bag::{BagReader, BagWriter, Compression, Options};
//!
//! # fn main() -> Result<(), Box<dyn std::error::Error>> {
//! # let folder = tempfile::tempdir()?;
//! # let target = folder.path().join("job-17.zip");
//! // Time is given, never looked up: the same calls write the same bytes.
//! let options = Options::at(jiff::civil::date(2031, 5, 6).at(14, 30, 0, 0));
//! let mut bag = BagWriter::zip(&target, "job-17", &options)?;
//! bag.info("External-Identifier", "job-17")?;
//! bag.add_payload("photos/0001.jpg", &b"not really a picture"[..], Compression::Stored)?;
//! bag.add_payload("readings.csv", &b"point,x,y,z\n"[..], Compression::Deflated)?;
//! let summary = bag.finish()?;
//! assert_eq!(summary.payload_files, 2);
//!
//! let report = datumtrail_bag::verify(&target)?;
//! assert!(report.is_whole(), "{report}");
//!
//! // Reading one back: the content is checked as it flows.
//! let bag = BagReader::open(&target)?;
//! let text = std::io::read_to_string(bag.open_payload("readings.csv")?)?;
//! assert_eq!(text, "point,x,y,z\n");
//! # Ok(()) }
//! ```
//!
//! # Writing
//! [`BagWriter`] takes one file after the other as a stream, in constant memory
//! but for the names, and writes to a temporary neighbour of the target. Only
//! [`BagWriter::finish`] gives it its name, after everything has reached the
//! disk: there is never half a bag under the final name. Names that one of
//! Windows, macOS and Linux could not hold are refused; [`safe_name`] makes one
//! that all can.
//!
//! # Every byte of the zip
//! Digests cover what is *in* the files of a bag. In a zip there is more: the
//! headers, the directory, the compressed form, and whatever someone slipped in
//! between. So a zip written here has one possible form only, which follows
//! from the bag's content: what stands where is fixed, times are all the same,
//! and the little that the content does not settle (that time, the top folder,
//! the digest of each compressed stream) stands in `zip-layout.txt`, a tag file
//! like any other and so covered by the tag manifest. The reader builds each
//! header again from the content it has just read and compares; a byte that
//! differs is named by its position. A zip without `zip-layout.txt` came from
//! another tool: its content is checked, along with gaps, overlaps and names
//! that disagree, and the report says that the headers were not.
//!
//! # What a bag cannot prove
//! Nothing covers the tag manifest itself. A changed byte in it shows, since its
//! lines then no longer fit the files; but whoever rewrites a file, the
//! manifests and the zip all together makes a bag that is whole. Against that
//! only a signature helps: [`BagWriter::finish_with`] lets the caller sign the
//! finished manifest and put the signature into the bag.
//!
//! # Limits
//! Tag files are UTF-8. SHA-512 is written; SHA-256 and SHA-512 are checked, and
//! a report says when a bag also has a manifest with another algorithm. Zips are
//! read when their entries are stored or deflated. Manifests and directories
//! above 64 MiB are refused, content is streamed and never taken beyond its
//! declared size, and entries that share bytes are refused, so a small file
//! cannot make this crate work for more than about a thousand times its size.
//! Bags of earlier BagIt versions are read by the rules of 1.0.
//!
//! [RFC 8493]: https://www.rfc-editor.org/rfc/rfc8493

mod digest;
mod error;
mod layout;
mod name;
mod reader;
mod report;
mod sink;
mod source;
mod structure;
mod tag;
mod verify;
mod writer;
mod zip;

pub use digest::Digest;
pub use error::Error;
pub use name::{check_path, safe_name};
pub use reader::{BagReader, Checked, PayloadFile, verify};
pub use report::{Kind, Place, Problem, Report, Structure};
pub use writer::{Added, BagWriter, Closing, Compression, Options, Summary};

/// The most that is read into memory of a manifest, of `bag-info.txt` or of a
/// zip's directory: half a million files or more.
pub(crate) const MAX_LISTING: u64 = 64 << 20;

/// Bytes moved at a time.
pub(crate) const BLOCK: usize = 128 << 10;
