//! Writes a zip in one stream.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom, Write};

use flate2::write::DeflateEncoder;

use super::flush::Flusher;
use super::record::{self, Entry, Method, Stamp};
use crate::digest::{Algorithm, Digest, Hasher};
use crate::sink::{CopyError, pump};

/// A zip being written to a file from the file's beginning.
pub(crate) struct ZipWriter {
    file: File,
    flusher: Flusher,
    stamp: Stamp,
    entries: Vec<Entry>,
    /// Where the next entry will begin.
    end: u64,
}

impl ZipWriter {
    pub fn new(file: File, stamp: Stamp) -> io::Result<Self> {
        let flusher = Flusher::start(&file)?;
        Ok(Self {
            file,
            flusher,
            stamp,
            entries: Vec::new(),
            end: 0,
        })
    }

    /// Adds a file; `seen` gets all of its content, a block at a time.
    ///
    /// Gives the digest of the deflated form, if it has one. On an error the zip
    /// is as it was before, unless [`CopyError::Lost`] says that it is not.
    pub fn add(
        &mut self,
        name: &str,
        deflated: bool,
        content: &mut dyn Read,
        seen: &mut dyn FnMut(&[u8]),
    ) -> Result<Option<Digest>, CopyError> {
        match self.try_add(name, deflated, content, seen) {
            Ok((entry, digest)) => {
                self.end = entry.offset + record::local_header_len(name) + entry.packed;
                self.entries.push(entry);
                self.flusher.written(self.end);
                Ok(digest)
            }
            Err(error) => match self.file.set_len(self.end) {
                Ok(()) => Err(error),
                Err(undo) => Err(CopyError::Lost(undo)),
            },
        }
    }

    fn try_add(
        &mut self,
        name: &str,
        deflated: bool,
        content: &mut dyn Read,
        seen: &mut dyn FnMut(&[u8]),
    ) -> Result<(Entry, Option<Digest>), CopyError> {
        let start = self.end + record::local_header_len(name);
        self.file
            .seek(SeekFrom::Start(start))
            .map_err(CopyError::Target)?;
        let mut crc = crc32fast::Hasher::new();
        let mut entry = Entry {
            name: name.to_owned(),
            method: if deflated {
                Method::Deflated
            } else {
                Method::Stored
            },
            flags: 0,
            crc: 0,
            packed: 0,
            size: 0,
            offset: self.end,
        };
        let mut digest = None;
        if deflated {
            let mut encoder = DeflateEncoder::new(Packed::new(&mut self.file), Default::default());
            entry.size = pump(content, |block| {
                seen(block);
                crc.update(block);
                encoder.write_all(block)
            })?;
            let packed = encoder.finish().map_err(CopyError::Target)?;
            entry.packed = packed.bytes;
            digest = packed.hasher.finish().get(Algorithm::Sha512).cloned();
        } else {
            entry.size = pump(content, |block| {
                seen(block);
                crc.update(block);
                self.file.write_all(block)
            })?;
            entry.packed = entry.size;
        }
        entry.crc = crc.finalize();
        // Only now are the sizes known: the header goes into the space before.
        let header = record::local_header(&entry, self.stamp);
        self.file
            .seek(SeekFrom::Start(entry.offset))
            .map_err(CopyError::Target)?;
        self.file.write_all(&header).map_err(CopyError::Target)?;
        Ok((entry, digest))
    }

    /// Writes the directory, and returns when all is on the disk.
    pub fn finish(mut self) -> io::Result<()> {
        self.file.seek(SeekFrom::Start(self.end))?;
        let mut size = 0;
        let mut out = io::BufWriter::new(&mut self.file);
        for entry in &self.entries {
            let header = record::central_header(entry, self.stamp);
            size += header.len() as u64;
            out.write_all(&header)?;
        }
        out.write_all(&record::end_records(
            self.entries.len() as u64,
            self.end,
            size,
        ))?;
        out.flush()?;
        drop(out);
        self.flusher.finish()?;
        self.file.sync_all()
    }
}

/// Compressed bytes on their way to the file, counted and hashed.
struct Packed<'a> {
    file: &'a mut File,
    bytes: u64,
    hasher: Hasher,
}

impl<'a> Packed<'a> {
    fn new(file: &'a mut File) -> Self {
        Self {
            file,
            bytes: 0,
            hasher: Hasher::new([Algorithm::Sha512]),
        }
    }
}

impl Write for Packed<'_> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let written = self.file.write(bytes)?;
        self.bytes += written as u64;
        self.hasher.update(&bytes[..written]);
        Ok(written)
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}
