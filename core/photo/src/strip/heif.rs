//! HEIC, AVIF, HEIF: overwritten in place.
//!
//! Pictures in these files are found by their distance from the beginning of the file, so
//! nothing may move. The Exif item's bytes become the new block and zeros; XMP and other texts
//! become blanks; boxes of makers beside the known ones become free space.

use std::ops::Range;

use crate::container::boxes::children;
use crate::container::items::{Item, items};

/// Items that are pictures, or say how they are put together.
const PICTURES: [&[u8; 4]; 11] = [
    b"hvc1", b"hev1", b"lhv1", b"av01", b"avc1", b"jpeg", b"j2k1", b"grid", b"iovl", b"iden",
    b"tmap",
];

/// The Exif item's first four bytes say how far behind them the block begins.
const EXIF_HEADER: usize = 4;

pub(super) fn rewrite(bytes: &[u8], exif: Option<&[u8]>) -> Result<Vec<u8>, &'static str> {
    const NONSENSE: &str = "its description makes no sense";
    let mut out = bytes.to_vec();
    let mut meta = None;
    for (name, range) in top_boxes(bytes) {
        match &name {
            b"ftyp" | b"mdat" | b"free" | b"skip" => {}
            b"meta" => meta = Some(range),
            b"moov" => return Err("it holds moving pictures too"),
            _ => {
                // Its name stands right before its body, in front of a long length if any.
                let head = range.start.checked_sub(4).ok_or(NONSENSE)?;
                let named = bytes.get(head..range.start) == Some(&name[..]);
                let head = if named {
                    head
                } else {
                    head.checked_sub(8).ok_or(NONSENSE)?
                };
                out.get_mut(head..head + 4)
                    .ok_or(NONSENSE)?
                    .copy_from_slice(b"free");
                out.get_mut(range).ok_or(NONSENSE)?.fill(0);
            }
        }
    }
    let meta_at = meta.ok_or(NONSENSE)?;
    let items = items(bytes.get(meta_at.clone()).ok_or(NONSENSE)?, meta_at.start);
    for item in items.ok_or(NONSENSE)? {
        if PICTURES.contains(&&item.kind) {
            continue;
        }
        let range = one_place(&item)?;
        let place = out.get_mut(range).ok_or(NONSENSE)?;
        match &item.kind {
            b"Exif" => overwrite(place, exif.unwrap_or_default())?,
            b"mime" | b"uri " => {
                place.fill(b' ');
                // Most are XMP, and readers miss its outermost element.
                if let Some(start) = place.get_mut(..EMPTY_XMP.len()) {
                    start.copy_from_slice(EMPTY_XMP);
                }
            }
            _ => return Err("it holds items of an unknown kind"),
        }
    }
    Ok(out)
}

const EMPTY_XMP: &[u8] = b"<x:xmpmeta xmlns:x='adobe:ns:meta/'/>";

/// Zeros, so that no name of the old block is left between the new one and the end.
fn overwrite(place: &mut [u8], block: &[u8]) -> Result<(), &'static str> {
    // Without a block to keep, an empty directory stands in its place.
    let empty = b"MM\0*\0\0\0\x08\0\0\0\0\0\0";
    let block = if block.is_empty() { &empty[..] } else { block };
    let body = EXIF_HEADER..EXIF_HEADER + block.len();
    if place.len() < body.end {
        return Err("its Exif has no room for what is to be kept");
    }
    place.fill(0);
    if let Some(body) = place.get_mut(body) {
        body.copy_from_slice(block);
    }
    Ok(())
}

fn one_place(item: &Item) -> Result<Range<usize>, &'static str> {
    match item.places.as_slice() {
        [place] => Ok(place.clone()),
        _ => Err("an item of its metadata is in pieces"),
    }
}

/// Names and bodies of the boxes of the file, as ranges in it.
fn top_boxes(bytes: &[u8]) -> Vec<([u8; 4], Range<usize>)> {
    let start = bytes.as_ptr() as usize;
    children(bytes)
        .map(|(name, body)| {
            // The bodies are parts of `bytes`.
            let from = body.as_ptr() as usize - start;
            (*name, from..from + body.len())
        })
        .collect()
}
