//! What the container itself says, without decoding a pixel: size, and where its Exif is.
//!
//! One file a container. Each walks headers only, so a photograph of many megabytes costs
//! a few small reads; whether the rest of the file is there is [`crate::whole`]'s question.

use std::io::{BufReader, ErrorKind, Read, Seek, SeekFrom};

use jiff::Timestamp;
use jiff::tz::Offset;

use crate::kind::Kind;
use crate::meta::{Camera, Dimensions, MetaError};
use crate::orientation::Orientation;
use crate::time::{CameraTime, TimeSource};

pub(crate) mod boxes;
pub(crate) mod heif;
pub(crate) mod items;
mod jpeg;
mod movie;
mod png;
pub(crate) mod tiff;
mod webp;

/// The largest Exif block that is read. JPEG holds 64 KiB; other containers hold more,
/// and makers' private notes in them reach a few hundred KiB.
const MAX_EXIF: u64 = 8 << 20;

/// TIFF files hold their Exif anywhere, so the file is read whole, up to this.
const MAX_TIFF: u64 = 1 << 30;

/// What a container says.
#[derive(Debug, Default)]
pub(crate) struct Facts {
    /// Width and height as stored, before any turn.
    pub dimensions: Option<Dimensions>,
    /// The Exif block, from its byte order mark.
    pub exif: Option<Vec<u8>>,
    /// The turn that the container itself prescribes; it then overrules Exif's.
    pub orientation: Option<Orientation>,
    /// When the container says the picture or video was made.
    pub created: Option<CameraTime>,
    /// The camera, where the container itself names it.
    pub camera: Camera,
    /// Whether the container itself carries a position.
    pub has_gps: bool,
    /// What could not be used, in words.
    pub warnings: Vec<String>,
}

/// Reads what the container of this kind says.
pub(crate) fn read<R: Read + Seek>(kind: Kind, scan: &mut Scan<R>) -> Result<Facts, MetaError> {
    match kind {
        Kind::Jpeg => jpeg::read(scan),
        Kind::Png => png::read(scan),
        Kind::WebP => webp::read(scan),
        Kind::Tiff => tiff::read(scan),
        Kind::Heic | Kind::Avif | Kind::Heif => heif::read(scan),
        Kind::Mp4 | Kind::Mov => movie::read(scan),
    }
}

/// A reader that knows the file's length, so that a jump past the end is an error at once,
/// and that names the part of the file in which a read failed.
pub(crate) struct Scan<R> {
    reader: BufReader<R>,
    kind: Kind,
    len: u64,
    at: u64,
}

impl<R: Read + Seek> Scan<R> {
    /// Starts at the beginning of the file.
    pub fn new(mut reader: R, kind: Kind) -> Result<Scan<R>, MetaError> {
        let len = reader.seek(SeekFrom::End(0)).map_err(MetaError::Io)?;
        reader.seek(SeekFrom::Start(0)).map_err(MetaError::Io)?;
        Ok(Scan {
            reader: BufReader::new(reader),
            kind,
            len,
            at: 0,
        })
    }

    /// The next `N` bytes.
    pub fn bytes<const N: usize>(&mut self, part: &'static str) -> Result<[u8; N], MetaError> {
        let mut out = [0; N];
        match self.reader.read_exact(&mut out) {
            Ok(()) => {
                self.at += N as u64;
                Ok(out)
            }
            Err(e) if e.kind() == ErrorKind::UnexpectedEof => Err(self.truncated(part)),
            Err(e) => Err(MetaError::Io(e)),
        }
    }

    /// The next `len` bytes; the memory is taken only if the file has them.
    pub fn block(&mut self, len: u64, part: &'static str) -> Result<Vec<u8>, MetaError> {
        if len > self.left() {
            return Err(self.truncated(part));
        }
        let mut out = Vec::new();
        let got = self.reader.by_ref().take(len).read_to_end(&mut out);
        let got = got.map_err(MetaError::Io)? as u64;
        self.at += got;
        if got < len {
            return Err(self.truncated(part));
        }
        Ok(out)
    }

    /// Jumps over the next `len` bytes.
    pub fn skip(&mut self, len: u64, part: &'static str) -> Result<(), MetaError> {
        if len > self.left() {
            return Err(self.truncated(part));
        }
        // The check above keeps len within the file, so it fits an i64.
        let ahead = i64::try_from(len).map_err(|_| self.truncated(part))?;
        self.reader.seek_relative(ahead).map_err(MetaError::Io)?;
        self.at += len;
        Ok(())
    }

    /// The whole file again from its beginning, as an ordinary buffered reader.
    pub fn rewound(&mut self) -> Result<&mut BufReader<R>, MetaError> {
        self.reader
            .seek(SeekFrom::Start(0))
            .map_err(MetaError::Io)?;
        self.at = 0;
        Ok(&mut self.reader)
    }

    /// How many bytes follow.
    pub fn left(&self) -> u64 {
        self.len.saturating_sub(self.at)
    }

    /// The length of the file.
    pub fn file_len(&self) -> u64 {
        self.len
    }

    pub fn truncated(&self, part: &'static str) -> MetaError {
        MetaError::Truncated {
            kind: self.kind,
            part,
            bytes: self.len,
        }
    }

    pub fn damaged(&self, part: &'static str) -> MetaError {
        MetaError::Damaged {
            kind: self.kind,
            part,
            at: self.at,
        }
    }
}

/// An Exif block without the name that JPEG, and some writers of other files, put before it.
fn without_exif_name(block: Vec<u8>) -> Vec<u8> {
    match block.strip_prefix(b"Exif\0\0") {
        Some(rest) => rest.to_vec(),
        None => block,
    }
}

/// A container's date that is in UTC by its standard.
fn in_utc(created: Timestamp) -> CameraTime {
    CameraTime {
        civil: Offset::UTC.to_datetime(created),
        offset: Some(Offset::UTC),
        sub_sec_digits: 0,
        source: TimeSource::Container,
    }
}
