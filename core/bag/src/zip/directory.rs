//! Finds the entries of a zip: from the directory at its end or, where that
//! cannot be read, by walking from one local header to the next.
//!
//! Nothing found here is believed: offsets and sizes are what the zip says, and
//! whoever uses them checks them against the file.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};

use super::record::{self, Entry, Method, get16, get32, get64};
use crate::MAX_LISTING;

/// The entries of a zip, and where the directory lies.
#[derive(Debug)]
pub(crate) struct Directory {
    pub entries: Vec<Entry>,
    /// Bytes in front of the zip; offsets count from here.
    pub base: u64,
    /// Where the directory begins, and where its end record ends, in the file.
    pub start: u64,
    pub end: u64,
    /// Length of the file.
    pub len: u64,
    /// Why the entries had to be found by walking.
    pub unreadable: Option<String>,
}

impl Directory {
    /// # Errors
    /// Outside: the file cannot be read. Inside: no entry can be found in it.
    pub fn read(file: &mut File) -> io::Result<Result<Self, String>> {
        let len = file.seek(SeekFrom::End(0))?;
        let reason = match directory(file, len)? {
            Ok(directory) => return Ok(Ok(directory)),
            Err(reason) => reason,
        };
        let (entries, end) = walk(file, len)?;
        if entries.is_empty() {
            return Ok(Err(reason));
        }
        let unreadable = Some(reason);
        Ok(Ok(Self {
            entries,
            base: 0,
            start: end,
            end: len,
            len,
            unreadable,
        }))
    }
}

/// Reads `len` bytes at `at`; `None` where the file is shorter.
pub(crate) fn bytes_at(file: &mut File, at: u64, len: u64) -> io::Result<Option<Vec<u8>>> {
    // No file is that long, and the system would call it a fault of ours.
    if i64::try_from(at).is_err() {
        return Ok(None);
    }
    let mut bytes = Vec::new();
    file.seek(SeekFrom::Start(at))?;
    file.take(len).read_to_end(&mut bytes)?;
    Ok((bytes.len() as u64 == len).then_some(bytes))
}

fn directory(file: &mut File, len: u64) -> io::Result<Result<Directory, String>> {
    // The end record is last, but for a comment of at most 65,535 bytes.
    let tail = len.min(record::END_SIZE as u64 + 0xffff);
    let Some(bytes) = bytes_at(file, len - tail, tail)? else {
        return Ok(Err("it changed while it was read".to_owned()));
    };
    let Some(at) = end_record(&bytes) else {
        return Ok(Err(
            "its end record is missing, so it may have been cut short".to_owned(),
        ));
    };
    let field = |offset| get16(&bytes, at + offset).unwrap_or_default();
    let field32 = |offset| u64::from(get32(&bytes, at + offset).unwrap_or_default());
    let record_at = len - tail + at as u64;
    let end = (record_at + (record::END_SIZE as u64) + u64::from(field(20))).min(len);

    let (mut count, mut size, mut start) = (u64::from(field(10)), field32(12), field32(16));
    let mut directory_end = record_at;
    let long = [count == 0xffff, size == 0xffff_ffff, start == 0xffff_ffff].contains(&true);
    if long && let Some(found) = end64(file, record_at)? {
        (count, size, start, directory_end) = found;
    }
    if size > MAX_LISTING {
        return Ok(Err(format!(
            "its directory is larger than {MAX_LISTING} bytes"
        )));
    }
    let Some(directory_at) = directory_end.checked_sub(size) else {
        return Ok(Err(
            "its directory is said to be larger than the file".to_owned()
        ));
    };
    let Some(bytes) = bytes_at(file, directory_at, size)? else {
        return Ok(Err(
            "its directory is not where the end record says".to_owned()
        ));
    };
    let entries = match central(&bytes, count) {
        Ok(entries) => entries,
        Err(reason) => return Ok(Err(reason)),
    };
    // Something in front of a zip moves all of it, headers too; otherwise it is
    // only the end record that is wrong.
    let first = entries
        .iter()
        .map(|entry| entry.offset)
        .min()
        .unwrap_or_default();
    let base = match directory_at.checked_sub(start) {
        Some(moved) if local(file, moved.saturating_add(first))?.is_some() => moved,
        _ => 0,
    };
    Ok(Ok(Directory {
        entries,
        base,
        start: directory_at,
        end,
        len,
        unreadable: None,
    }))
}

/// The last end record whose comment reaches the end of the file; else the last
/// one of any kind.
fn end_record(bytes: &[u8]) -> Option<usize> {
    let mark = record::END.to_le_bytes();
    let last = bytes.len().checked_sub(record::END_SIZE)?;
    let found = || {
        (0..=last)
            .rev()
            .filter(|at| bytes[*at..].starts_with(&mark))
    };
    let fits = |at: &usize| {
        get16(bytes, at + 20)
            .is_some_and(|comment| at + record::END_SIZE + usize::from(comment) == bytes.len())
    };
    found().find(fits).or_else(|| found().next())
}

/// Count, size, start and end of the directory by the long records (4.3.14).
fn end64(file: &mut File, end_at: u64) -> io::Result<Option<(u64, u64, u64, u64)>> {
    let mark = |bytes: &[u8], mark| get32(bytes, 0) == Some(mark);
    let Some(at) = end_at.checked_sub(record::LOCATOR64_SIZE as u64) else {
        return Ok(None);
    };
    let locator = bytes_at(file, at, record::LOCATOR64_SIZE as u64)?;
    let Some(locator) = locator.filter(|bytes| mark(bytes, record::LOCATOR64)) else {
        return Ok(None);
    };
    // Where it says, or right before it if something stands in front of the zip.
    let said = get64(&locator, 8);
    let before = at.checked_sub(record::END64_SIZE as u64);
    for at in [said, before].into_iter().flatten() {
        let bytes = bytes_at(file, at, record::END64_SIZE as u64)?;
        if let Some(bytes) = bytes.filter(|bytes| mark(bytes, record::END64)) {
            let field = |offset| get64(&bytes, offset);
            return Ok((|| Some((field(32)?, field(40)?, field(48)?, at)))());
        }
    }
    Ok(None)
}

/// The records of the directory (4.3.12).
fn central(bytes: &[u8], count: u64) -> Result<Vec<Entry>, String> {
    let mut entries = Vec::new();
    let mut rest = bytes;
    while !rest.is_empty() {
        let Some((entry, len)) = central_record(rest) else {
            let at = bytes.len() - rest.len();
            return Err(format!("its directory makes no sense from its byte {at}"));
        };
        entries.push(entry);
        rest = rest.get(len..).unwrap_or_default();
    }
    if entries.len() as u64 != count {
        return Err(format!(
            "its directory has {} entries, not {count}",
            entries.len()
        ));
    }
    Ok(entries)
}

fn central_record(bytes: &[u8]) -> Option<(Entry, usize)> {
    let length = |at| get16(bytes, at).map(usize::from);
    if get32(bytes, 0)? != record::CENTRAL {
        return None;
    }
    let name_end = record::CENTRAL_SIZE + length(28)?;
    let extra_end = name_end + length(30)?;
    let len = extra_end + length(32)?;
    bytes.get(..len)?;
    let name = bytes.get(record::CENTRAL_SIZE..name_end)?;
    let mut entry = entry(bytes.get(8..28)?, name)?;
    entry.offset = u64::from(get32(bytes, 42)?);
    let extra = bytes.get(name_end..extra_end)?;
    lengthen(
        extra,
        [&mut entry.size, &mut entry.packed, &mut entry.offset],
    );
    Some((entry, len))
}

/// What local and central headers share (4.4.4 to 4.4.9), from the flags on.
fn entry(common: &[u8], name: &[u8]) -> Option<Entry> {
    Some(Entry {
        // What is no UTF-8 comes from another tool and is not listed in a
        // manifest under any spelling of ours.
        name: String::from_utf8_lossy(name).into_owned(),
        flags: get16(common, 0)?,
        method: Method::from_code(get16(common, 2)?),
        crc: get32(common, 8)?,
        packed: u64::from(get32(common, 12)?),
        size: u64::from(get32(common, 16)?),
        offset: 0,
    })
}

/// Takes values that are all ones in their short form from the extra field of
/// the long form (4.5.3), which has only those, in this order.
fn lengthen<const N: usize>(extra: &[u8], values: [&mut u64; N]) {
    let Some(long) = extra_field(extra, record::EXTRA64) else {
        return;
    };
    let missing = values
        .into_iter()
        .filter(|value| **value == u64::from(u32::MAX));
    for (i, value) in missing.enumerate() {
        if let Some(found) = get64(long, 8 * i) {
            *value = found;
        }
    }
}

/// The content of the extra field with this number (4.5).
fn extra_field(mut extra: &[u8], wanted: u16) -> Option<&[u8]> {
    loop {
        let (id, len) = (get16(extra, 0)?, usize::from(get16(extra, 2)?));
        let content = extra.get(4..4 + len)?;
        if id == wanted {
            return Some(content);
        }
        extra = extra.get(4 + len..)?;
    }
}

/// A local header at `at`, and where the content behind it begins.
pub(crate) fn local(file: &mut File, at: u64) -> io::Result<Option<(Entry, u64)>> {
    let Some(fixed) = bytes_at(file, at, record::LOCAL_SIZE as u64)? else {
        return Ok(None);
    };
    let length = |at| get16(&fixed, at).map(u64::from).unwrap_or_default();
    let (name, extra) = (length(26), length(28));
    let Some(rest) = bytes_at(file, at + record::LOCAL_SIZE as u64, name + extra)? else {
        return Ok(None);
    };
    let parse = || {
        if get32(&fixed, 0)? != record::LOCAL {
            return None;
        }
        let (name, extra) = rest.split_at_checked(name as usize)?;
        let mut entry = entry(fixed.get(6..26)?, name)?;
        entry.offset = at;
        lengthen(extra, [&mut entry.size, &mut entry.packed]);
        Some(entry)
    };
    let content = at + record::LOCAL_SIZE as u64 + name + extra;
    Ok(parse().map(|entry| (entry, content)))
}

/// Goes from local header to local header, as far as they follow each other.
/// Gives the entries and where the last one ends.
fn walk(file: &mut File, len: u64) -> io::Result<(Vec<Entry>, u64)> {
    let mut entries = Vec::new();
    let mut at = 0;
    let most = MAX_LISTING / record::CENTRAL_SIZE as u64;
    while (entries.len() as u64) < most {
        let Some((entry, content)) = local(file, at)? else {
            break;
        };
        let end = content.checked_add(entry.packed).filter(|end| *end <= len);
        // Where sizes follow the content, the next header cannot be found.
        let Some(end) = end.filter(|_| entry.flags & record::SIZES_FOLLOW == 0) else {
            break;
        };
        entries.push(entry);
        at = end;
    }
    Ok((entries, at))
}
