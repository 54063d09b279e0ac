//! The records of a zip written here: one form for each, and no choice.
//!
//! A record follows from its [`Entry`] and the time common to all entries:
//! names are UTF-8, there are no comments and no attributes but "a plain file",
//! and the long (zip64) form is used exactly where the short one is too small.
//!
//! Sizes are known only after the content has streamed past, and the long form
//! of a local header needs more room than the short one. So each keeps that room
//! from the start, as the "growth hint" extra field that exists for this.

use jiff::civil::DateTime;

use crate::Error;

pub(crate) const LOCAL: u32 = 0x0403_4b50;
pub(crate) const CENTRAL: u32 = 0x0201_4b50;
pub(crate) const END: u32 = 0x0605_4b50;
pub(crate) const END64: u32 = 0x0606_4b50;
pub(crate) const LOCATOR64: u32 = 0x0706_4b50;

pub(crate) const LOCAL_SIZE: usize = 30;
pub(crate) const CENTRAL_SIZE: usize = 46;
pub(crate) const END_SIZE: usize = 22;
pub(crate) const END64_SIZE: usize = 56;
pub(crate) const LOCATOR64_SIZE: usize = 20;

/// The field of the long form (4.5.3).
pub(crate) const EXTRA64: u16 = 0x0001;
/// "Microsoft Open Packaging Growth Hint" (4.6.10): room, filled with zeros.
const GROWTH_HINT: u16 = 0xa220;
const GROWTH_HINT_MARK: u16 = 0xa028;
/// The whole extra field of a local header, in either form.
const LOCAL_EXTRA: u16 = 20;

/// Flags (4.4.4): the content is encrypted; sizes follow the content; the name
/// is UTF-8.
pub(crate) const ENCRYPTED: u16 = 1;
pub(crate) const SIZES_FOLLOW: u16 = 1 << 3;
const UTF8: u16 = 1 << 11;

/// Versions (4.4.3) 2.0 and 4.5.
const PLAIN: u16 = 20;
const LONG: u16 = 45;
/// Made on Unix, where the attributes say: a plain file that all may read.
const UNIX: u16 = 3 << 8;
const PLAIN_FILE: u32 = 0o100_644 << 16;

/// How content is held.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Method {
    Stored,
    Deflated,
    /// One that is not read here.
    Other(u16),
}

impl Method {
    pub fn from_code(code: u16) -> Self {
        match code {
            0 => Self::Stored,
            8 => Self::Deflated,
            other => Self::Other(other),
        }
    }

    fn code(self) -> u16 {
        match self {
            Self::Stored => 0,
            Self::Deflated => 8,
            Self::Other(code) => code,
        }
    }
}

/// One file in a zip.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Entry {
    /// Its path, top folder included.
    pub name: String,
    pub method: Method,
    /// Flags as found; a record written here has its own.
    pub flags: u16,
    pub crc: u32,
    /// Bytes as held in the zip.
    pub packed: u64,
    /// Bytes of content.
    pub size: u64,
    /// Where its local header begins, counted from the zip's beginning.
    pub offset: u64,
}

impl Entry {
    fn is_long(&self) -> bool {
        self.packed.max(self.size) >= u64::from(u32::MAX)
    }

    fn version(&self) -> u16 {
        if self.is_long() || self.offset >= u64::from(u32::MAX) {
            LONG
        } else {
            PLAIN
        }
    }
}

/// Date and time as zips have them: local, even seconds, years 1980 to 2107.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Stamp {
    time: u16,
    date: u16,
}

impl Stamp {
    /// # Errors
    /// [`Error::BadTime`] for a year that does not fit.
    pub fn new(at: DateTime) -> Result<Self, Error> {
        let bits = |value: i8| u16::try_from(value).ok();
        let stamp = || {
            let years = u16::try_from(at.year())
                .ok()?
                .checked_sub(1980)
                .filter(|y| *y < 128)?;
            Some(Self {
                time: bits(at.hour())? << 11 | bits(at.minute())? << 5 | (bits(at.second())? / 2),
                date: years << 9 | bits(at.month())? << 5 | bits(at.day())?,
            })
        };
        stamp().ok_or(Error::BadTime { time: at })
    }
}

/// Length of the local header of a file of this name.
pub(crate) fn local_header_len(name: &str) -> u64 {
    LOCAL_SIZE as u64 + name.len() as u64 + u64::from(LOCAL_EXTRA)
}

/// The header in front of a file's content (4.3.7).
///
/// Its version never tells where the header lies, only whether the sizes are
/// long: it is about this file alone.
pub(crate) fn local_header(entry: &Entry, stamp: Stamp) -> Vec<u8> {
    let mut out = Vec::with_capacity(LOCAL_SIZE + entry.name.len() + 20);
    put32(&mut out, LOCAL);
    put16(&mut out, if entry.is_long() { LONG } else { PLAIN });
    put_common(&mut out, entry, stamp);
    put16(&mut out, LOCAL_EXTRA);
    out.extend(entry.name.as_bytes());
    if entry.is_long() {
        put16(&mut out, EXTRA64);
        put16(&mut out, LOCAL_EXTRA - 4);
        put64(&mut out, entry.size);
        put64(&mut out, entry.packed);
    } else {
        put16(&mut out, GROWTH_HINT);
        put16(&mut out, LOCAL_EXTRA - 4);
        put16(&mut out, GROWTH_HINT_MARK);
        out.extend([0; 14]);
    }
    out
}

/// The record of a file in the directory at the end (4.3.12).
pub(crate) fn central_header(entry: &Entry, stamp: Stamp) -> Vec<u8> {
    let mut long = Vec::new();
    if entry.is_long() {
        put64(&mut long, entry.size);
        put64(&mut long, entry.packed);
    }
    let offset = short(entry.offset);
    if offset == u32::MAX {
        put64(&mut long, entry.offset);
    }
    let mut out = Vec::with_capacity(CENTRAL_SIZE + entry.name.len() + 28);
    put32(&mut out, CENTRAL);
    put16(&mut out, UNIX | entry.version());
    put16(&mut out, entry.version());
    put_common(&mut out, entry, stamp);
    put16(
        &mut out,
        if long.is_empty() {
            0
        } else {
            4 + long.len() as u16
        },
    );
    put16(&mut out, 0); // length of the comment
    put16(&mut out, 0); // disk
    put16(&mut out, 0); // internal attributes
    put32(&mut out, PLAIN_FILE);
    put32(&mut out, offset);
    out.extend(entry.name.as_bytes());
    if !long.is_empty() {
        put16(&mut out, EXTRA64);
        put16(&mut out, long.len() as u16);
        out.extend(long);
    }
    out
}

/// What follows the directory (4.3.14 to 4.3.16): `count` records that begin at
/// `start` and are `size` bytes long.
pub(crate) fn end_records(count: u64, start: u64, size: u64) -> Vec<u8> {
    let mut out = Vec::new();
    let few = u16::try_from(count).unwrap_or(u16::MAX);
    if few == u16::MAX || short(start) == u32::MAX || short(size) == u32::MAX {
        put32(&mut out, END64);
        put64(&mut out, END64_SIZE as u64 - 12);
        put16(&mut out, UNIX | LONG);
        put16(&mut out, LONG);
        put32(&mut out, 0); // this disk
        put32(&mut out, 0); // the directory's disk
        put64(&mut out, count);
        put64(&mut out, count);
        put64(&mut out, size);
        put64(&mut out, start);
        put32(&mut out, LOCATOR64);
        put32(&mut out, 0); // disk
        put64(&mut out, start + size);
        put32(&mut out, 1); // disks
    }
    put32(&mut out, END);
    put16(&mut out, 0); // this disk
    put16(&mut out, 0); // the directory's disk
    put16(&mut out, few);
    put16(&mut out, few);
    put32(&mut out, short(size));
    put32(&mut out, short(start));
    put16(&mut out, 0); // length of the comment
    out
}

/// What local and central headers share, from the flags to the name's length.
fn put_common(out: &mut Vec<u8>, entry: &Entry, stamp: Stamp) {
    let size = |size| {
        if entry.is_long() {
            u32::MAX
        } else {
            short(size)
        }
    };
    put16(out, UTF8);
    put16(out, entry.method.code());
    put16(out, stamp.time);
    put16(out, stamp.date);
    put32(out, entry.crc);
    put32(out, size(entry.packed));
    put32(out, size(entry.size));
    put16(out, u16::try_from(entry.name.len()).unwrap_or(u16::MAX));
}

/// A value in its short form, where all ones say "see the long form".
fn short(value: u64) -> u32 {
    u32::try_from(value).unwrap_or(u32::MAX)
}

fn put16(out: &mut Vec<u8>, value: u16) {
    out.extend(value.to_le_bytes());
}

fn put32(out: &mut Vec<u8>, value: u32) {
    out.extend(value.to_le_bytes());
}

fn put64(out: &mut Vec<u8>, value: u64) {
    out.extend(value.to_le_bytes());
}

/// Little-endian numbers out of bytes; `None` beyond their end.
pub(crate) fn get16(bytes: &[u8], at: usize) -> Option<u16> {
    bytes
        .get(at..)?
        .first_chunk()
        .map(|raw| u16::from_le_bytes(*raw))
}

pub(crate) fn get32(bytes: &[u8], at: usize) -> Option<u32> {
    bytes
        .get(at..)?
        .first_chunk()
        .map(|raw| u32::from_le_bytes(*raw))
}

pub(crate) fn get64(bytes: &[u8], at: usize) -> Option<u64> {
    bytes
        .get(at..)?
        .first_chunk()
        .map(|raw| u64::from_le_bytes(*raw))
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

    fn entry(packed: u64, size: u64, offset: u64) -> Entry {
        Entry {
            name: "ä".to_owned(),
            method: Method::Stored,
            flags: 0,
            crc: 0x1234_5678,
            packed,
            size,
            offset,
        }
    }

    #[test]
    fn stamps() {
        let stamp = Stamp::new(date(2031, 5, 6).at(14, 30, 3, 999)).unwrap();
        assert_eq!(
            (stamp.date, stamp.time),
            (51 << 9 | 5 << 5 | 6, 14 << 11 | 30 << 5 | 1)
        );
        assert!(Stamp::new(date(1979, 12, 31).at(23, 59, 59, 0)).is_err());
        assert!(Stamp::new(date(2107, 12, 31).at(23, 59, 59, 0)).is_ok());
        assert!(Stamp::new(date(2108, 1, 1).at(0, 0, 0, 0)).is_err());
        assert!(Stamp::new(date(-1, 1, 1).at(0, 0, 0, 0)).is_err());
    }

    #[test]
    fn local_headers_of_one_length() {
        let stamp = Stamp::new(date(2031, 5, 6).at(0, 0, 0, 0)).unwrap();
        let limit = u64::from(u32::MAX);
        let plain = local_header(&entry(1, limit - 1, 0), stamp);
        let long = local_header(&entry(1, limit, 0), stamp);
        assert_eq!(plain.len(), long.len());
        assert_eq!(plain.len() as u64, local_header_len("ä"));
        assert_eq!((get16(&plain, 4), get16(&long, 4)), (Some(20), Some(45)));
        assert_eq!(
            (get32(&plain, 22), get32(&long, 22)),
            (Some(u32::MAX - 1), Some(u32::MAX))
        );
        // Sizes in the extra field, content first (4.5.3).
        assert_eq!((get64(&long, 36), get64(&long, 44)), (Some(limit), Some(1)));
    }

    #[test]
    fn directory_grows_only_where_needed() {
        let stamp = Stamp::new(date(2031, 5, 6).at(0, 0, 0, 0)).unwrap();
        let limit = u64::from(u32::MAX);
        let extra = |entry| central_header(&entry, stamp).len() - CENTRAL_SIZE - 2;
        assert_eq!(extra(entry(1, 2, limit - 1)), 0);
        assert_eq!(extra(entry(1, 2, limit)), 4 + 8);
        assert_eq!(extra(entry(1, limit, 0)), 4 + 16);
        assert_eq!(extra(entry(1, limit, limit)), 4 + 24);
    }

    #[test]
    fn end_grows_only_where_needed() {
        let limit = u64::from(u32::MAX);
        let long = END_SIZE + END64_SIZE + LOCATOR64_SIZE;
        for (count, start, size, len) in [
            (65534, limit - 1, 1, END_SIZE),
            (65535, 0, 1, long),
            (1, limit, 1, long),
            (1, 0, limit, long),
        ] {
            assert_eq!(
                end_records(count, start, size).len(),
                len,
                "{count} {start} {size}"
            );
        }
    }
}
