//! The items of a HEIF file: what kind each is, and where in the file its bytes are.
//! Source: ISO/IEC 14496-12, 8.11.3 (`iloc`), 8.11.6 (`iinf`), from memory; checked on files
//! that libheif wrote.

use std::ops::Range;

use super::boxes::{be_uint, child, children, full_box};

/// No phone's file has as many.
const MAX_ITEMS: u64 = 10_000;

/// One item.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Item {
    /// Its number in the file.
    pub id: u64,
    /// Its type, such as `hvc1`, `Exif`, `mime`.
    pub kind: [u8; 4],
    /// Where its bytes are, in order; empty where they are not in this file.
    pub places: Vec<Range<usize>>,
}

/// The items that the body of a `meta` box lists; the body starts `meta_at` bytes into the
/// file. `None` where the lists make no sense.
pub(crate) fn items(meta: &[u8], meta_at: usize) -> Option<Vec<Item>> {
    // Version and flags come before the children.
    let inside = meta.get(4..)?;
    let idat_at = child(inside, b"idat").map(|body| {
        // A part of `meta`.
        meta_at + (body.as_ptr() as usize - meta.as_ptr() as usize)
    });
    let mut items = Vec::new();
    let mut infos = child(inside, b"iinf")?;
    let (version, _) = full_box(&mut infos)?;
    be_uint(&mut infos, if version == 0 { 2 } else { 4 })?;
    for (_, mut info) in children(infos).filter(|(name, _)| *name == b"infe") {
        let (version, _) = full_box(&mut info)?;
        let id = be_uint(&mut info, if version < 3 { 2 } else { 4 })?;
        be_uint(&mut info, 2)?;
        let kind = match version {
            0 | 1 => *b"mime",
            _ => *info.first_chunk()?,
        };
        items.push(Item {
            id,
            kind,
            places: Vec::new(),
        });
    }
    for (id, places) in locations(child(inside, b"iloc")?, idat_at)? {
        if let Some(item) = items.iter_mut().find(|item| item.id == id) {
            item.places = places;
        }
    }
    Some(items)
}

fn locations(mut at: &[u8], idat_at: Option<usize>) -> Option<Vec<(u64, Vec<Range<usize>>)>> {
    let (version, _) = full_box(&mut at)?;
    let sizes = be_uint(&mut at, 2)?;
    let nibble = |shift: u32| (sizes >> shift & 15) as usize;
    let (offset_len, length_len, base_len) = (nibble(12), nibble(8), nibble(4));
    let index_len = if version == 0 { 0 } else { nibble(0) };
    let id_len = if version < 2 { 2 } else { 4 };
    let count = be_uint(&mut at, id_len)?.min(MAX_ITEMS);
    let mut out = Vec::new();
    for _ in 0..count {
        let id = be_uint(&mut at, id_len)?;
        let method = if version == 0 {
            0
        } else {
            be_uint(&mut at, 2)? & 15
        };
        let elsewhere = be_uint(&mut at, 2)? != 0;
        let base = be_uint(&mut at, base_len)?;
        let extents = be_uint(&mut at, 2)?;
        // A stretch that takes no bytes in the list could be promised any number of times.
        if extents > 1 && index_len + offset_len + length_len == 0 {
            return None;
        }
        let from = match method {
            0 => Some(0),
            1 => idat_at,
            _ => None,
        };
        let mut places = Vec::new();
        for _ in 0..extents {
            be_uint(&mut at, index_len)?;
            let offset = be_uint(&mut at, offset_len)?;
            let length = be_uint(&mut at, length_len)?;
            if let (Some(from), false) = (from, elsewhere) {
                let start = usize::try_from(base.checked_add(offset)?)
                    .ok()?
                    .checked_add(from)?;
                places.push(start..start.checked_add(usize::try_from(length).ok()?)?);
            }
        }
        out.push((id, places));
    }
    Some(out)
}
