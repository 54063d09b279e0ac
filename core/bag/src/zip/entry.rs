//! Reads the content of one entry, never more than it declares.

use std::fs::File;
use std::io::{self, BufReader, Read, Seek, SeekFrom};

use flate2::bufread::DeflateDecoder;

use super::directory;
use super::record::{ENCRYPTED, Entry, Method};
use crate::BLOCK;
use crate::digest::{Algorithm, Digest, Hasher};

/// The content of an entry as a stream. It fails where the content is longer or
/// shorter than declared, or is no proper deflate stream.
pub(crate) struct EntryReader {
    inner: Inner,
    /// Bytes still to come.
    left: u64,
    /// Bytes that the entry takes up in the zip.
    packed: u64,
}

enum Inner {
    Stored(io::Take<File>),
    Deflated(Box<DeflateDecoder<BufReader<Tap>>>),
}

impl EntryReader {
    /// `base`: where the zip begins in the file. With `tap`, the compressed form
    /// is hashed while it is read.
    pub fn open(mut file: File, base: u64, entry: &Entry, tap: bool) -> io::Result<Self> {
        if entry.flags & ENCRYPTED != 0 {
            return Err(invalid("it is encrypted"));
        }
        let at = base.checked_add(entry.offset);
        let at = at.ok_or_else(|| invalid("its place lies beyond the zip's end"))?;
        let Some((_, start)) = directory::local(&mut file, at)? else {
            return Err(invalid(
                "there is no header for it where the directory says",
            ));
        };
        let len = file.metadata()?.len();
        if start.checked_add(entry.packed).is_none_or(|end| end > len) {
            return Err(invalid("it reaches beyond the zip's end"));
        }
        file.seek(SeekFrom::Start(start))?;
        let raw = file.take(entry.packed);
        let inner = match entry.method {
            Method::Stored if entry.packed != entry.size => {
                return Err(invalid("it is stored, yet declares two different sizes"));
            }
            Method::Stored => Inner::Stored(raw),
            Method::Deflated => {
                let hasher = tap.then(|| Hasher::new([Algorithm::Sha512]));
                let tap = Tap { raw, hasher };
                let buffered = BufReader::with_capacity(BLOCK, tap);
                Inner::Deflated(Box::new(DeflateDecoder::new(buffered)))
            }
            Method::Other(code) => {
                return Err(invalid(&format!(
                    "it is compressed by method {code}, not read here"
                )));
            }
        };
        Ok(Self {
            inner,
            left: entry.size,
            packed: entry.packed,
        })
    }

    /// After all was read: the digest of the compressed form, if it was asked for.
    pub fn packed_digest(self) -> Option<Digest> {
        match self.inner {
            Inner::Stored(_) => None,
            Inner::Deflated(decoder) => {
                let hasher = decoder.into_inner().into_inner().hasher?;
                hasher.finish().get(Algorithm::Sha512).cloned()
            }
        }
    }

    /// All declared bytes were read: was that all there is?
    fn check_end(&mut self) -> io::Result<()> {
        let Inner::Deflated(decoder) = &mut self.inner else {
            return Ok(());
        };
        if decoder.read(&mut [0])? != 0 {
            return Err(invalid("it holds more than it declares"));
        }
        if decoder.total_in() != self.packed {
            return Err(invalid("bytes are left over behind its compressed content"));
        }
        Ok(())
    }
}

impl Read for EntryReader {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        if buffer.is_empty() {
            return Ok(0);
        }
        if self.left == 0 {
            return self.check_end().map(|()| 0);
        }
        let most = usize::try_from(self.left)
            .unwrap_or(usize::MAX)
            .min(buffer.len());
        let buffer = buffer.get_mut(..most).unwrap_or_default();
        let read = match &mut self.inner {
            Inner::Stored(raw) => raw.read(buffer)?,
            Inner::Deflated(decoder) => decoder.read(buffer)?,
        };
        if read == 0 {
            return Err(invalid("it ends before its declared size"));
        }
        self.left -= read as u64;
        Ok(read)
    }
}

/// Compressed bytes on their way to the decoder.
struct Tap {
    raw: io::Take<File>,
    hasher: Option<Hasher>,
}

impl Read for Tap {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let read = self.raw.read(buffer)?;
        if let Some(hasher) = &mut self.hasher {
            hasher.update(buffer.get(..read).unwrap_or_default());
        }
        Ok(read)
    }
}

fn invalid(reason: &str) -> io::Error {
    io::Error::new(io::ErrorKind::InvalidData, reason.to_owned())
}
