//! The boxes that HEIF pictures and videos are made of. Source: ISO/IEC 14496-12, 4.2.

use std::io::{Read, Seek};

use super::Scan;
use crate::meta::MetaError;

/// The head of a box: its name, and how many bytes of body follow (to the end of the file
/// for a box that says so).
pub(crate) struct BoxHead {
    pub name: [u8; 4],
    pub body: u64,
}

/// The next box of the file; `None` at its end.
pub(crate) fn next_box<R: Read + Seek>(scan: &mut Scan<R>) -> Result<Option<BoxHead>, MetaError> {
    if scan.left() == 0 {
        return Ok(None);
    }
    let short = u32::from_be_bytes(scan.bytes("box header")?);
    let name = scan.bytes("box header")?;
    let body = match short {
        0 => Some(scan.left()),
        1 => u64::from_be_bytes(scan.bytes("box header")?).checked_sub(16),
        n => u64::from(n).checked_sub(8),
    };
    let body = body.ok_or_else(|| scan.damaged("box header"))?;
    Ok(Some(BoxHead { name, body }))
}

/// The boxes inside `body`, in order; stops at the first that does not fit.
pub(crate) fn children(mut body: &[u8]) -> impl Iterator<Item = (&[u8; 4], &[u8])> {
    std::iter::from_fn(move || {
        let mut rest = body;
        let short = be_uint(&mut rest, 4)?;
        let (name, after) = rest.split_first_chunk::<4>()?;
        rest = after;
        let len = match short {
            0 => Some(rest.len() as u64),
            1 => be_uint(&mut rest, 8)?.checked_sub(16),
            n => n.checked_sub(8),
        };
        let (content, after) = rest.split_at_checked(usize::try_from(len?).ok()?)?;
        body = after;
        Some((name, content))
    })
}

/// The first child with this name.
pub(crate) fn child<'a>(body: &'a [u8], wanted: &[u8; 4]) -> Option<&'a [u8]> {
    children(body).find_map(|(name, content)| (name == wanted).then_some(content))
}

/// Takes a big-endian unsigned integer of up to 8 bytes off the front.
pub(crate) fn be_uint(bytes: &mut &[u8], len: usize) -> Option<u64> {
    let (head, rest) = bytes.split_at_checked(len)?;
    *bytes = rest;
    Some(head.iter().fold(0, |n, b| n << 8 | u64::from(*b)))
}

/// Takes version and flags off the front of a "full" box.
pub(crate) fn full_box(bytes: &mut &[u8]) -> Option<(u8, u32)> {
    let word = be_uint(bytes, 4)?;
    Some(((word >> 24) as u8, (word & 0xFF_FFFF) as u32))
}
