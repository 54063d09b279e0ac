//! HEIF (HEIC, AVIF): size and turn of the primary picture, and its Exif.
//! Sources: ISO/IEC 14496-12, 8.11 (items); ISO/IEC 23008-12, 6.5 (properties), from memory
//! and compared with ExifTool by the outside check.

use std::io::{Read, Seek};

use super::boxes::{be_uint, child, children, full_box, next_box};
use super::{Facts, Scan};
use crate::meta::{Dimensions, MetaError};
use crate::orientation::Orientation;

/// The item descriptions of a phone's picture take some kilobytes; tiles and sequences more.
const MAX_META: u64 = 16 << 20;

/// Finds the file's description box and reads the primary picture's properties.
pub(super) fn read<R: Read + Seek>(scan: &mut Scan<R>) -> Result<Facts, MetaError> {
    let meta = loop {
        let head = next_box(scan)?.ok_or_else(|| scan.truncated("description (meta box)"))?;
        match &head.name {
            b"meta" if head.body > MAX_META => {
                return Err(scan.damaged("description (meta box)"));
            }
            b"meta" => break scan.block(head.body, "description (meta box)")?,
            _ => scan.skip(head.body, "box")?,
        }
    };
    let mut facts = primary_picture(&meta).unwrap_or_default();
    if facts.dimensions.is_none() {
        facts
            .warnings
            .push("the file does not say the size of its picture".to_owned());
    }
    match raw_exif(scan)? {
        Ok(block) => facts.exif = Some(block),
        Err(exif::Error::NotFound(_)) => {}
        Err(error) => facts.warnings.push(format!("Exif not found: {error}")),
    }
    Ok(facts)
}

/// The Exif item's bytes. kamadak-exif locates the item; its parsed result still holds them.
fn raw_exif<R: Read + Seek>(scan: &mut Scan<R>) -> Result<Result<Vec<u8>, exif::Error>, MetaError> {
    let parsed = exif::Reader::new()
        .continue_on_error(true)
        .read_from_container(scan.rewound()?)
        .or_else(|error| error.distill_partial_result(drop));
    Ok(parsed.map(|exif| exif.buf().to_vec()))
}

fn primary_picture(meta: &[u8]) -> Option<Facts> {
    // Version and flags come before the children.
    let meta = meta.get(4..)?;
    let primary = primary_item(child(meta, b"pitm")?)?;
    let properties = child(meta, b"iprp")?;
    let shared: Vec<_> = children(child(properties, b"ipco")?).collect();

    let mut facts = Facts::default();
    let mut turn = Orientation::Upright;
    for index in associations(child(properties, b"ipma")?, primary)? {
        let Some((name, content)) = usize::from(index)
            .checked_sub(1)
            .and_then(|i| shared.get(i))
        else {
            continue;
        };
        match *name {
            b"ispe" => facts.dimensions = extent(content),
            b"irot" => turn = turn.then(rotation(content)?),
            b"imir" => turn = turn.then(mirror(content)?),
            _ => {}
        }
    }
    // These properties are part of the picture; Exif's orientation only repeats them.
    facts.orientation = Some(turn);
    Some(facts)
}

fn primary_item(mut content: &[u8]) -> Option<u64> {
    let (version, _) = full_box(&mut content)?;
    be_uint(&mut content, if version == 0 { 2 } else { 4 })
}

/// The one-based indices of the properties of `item`, in the order they apply.
fn associations(mut content: &[u8], item: u64) -> Option<Vec<u16>> {
    let (version, flags) = full_box(&mut content)?;
    let entries = be_uint(&mut content, 4)?;
    let index_len = if flags & 1 == 0 { 1 } else { 2 };
    for _ in 0..entries {
        let id = be_uint(&mut content, if version == 0 { 2 } else { 4 })?;
        let count = be_uint(&mut content, 1)?;
        let mut indices = Vec::new();
        for _ in 0..count {
            // The top bit says "essential".
            let word = be_uint(&mut content, index_len)?;
            indices.push((word & if index_len == 1 { 0x7F } else { 0x7FFF }) as u16);
        }
        if id == item {
            return Some(indices);
        }
    }
    None
}

fn extent(mut content: &[u8]) -> Option<Dimensions> {
    full_box(&mut content)?;
    let width = be_uint(&mut content, 4)?;
    let height = be_uint(&mut content, 4)?;
    Dimensions::new(width as u32, height as u32)
}

/// Quarter turns to the left.
fn rotation(content: &[u8]) -> Option<Orientation> {
    Some(match content.first()? & 3 {
        0 => Orientation::Upright,
        1 => Orientation::TurnLeft,
        2 => Orientation::TurnHalf,
        _ => Orientation::TurnRight,
    })
}

fn mirror(content: &[u8]) -> Option<Orientation> {
    Some(match content.first()? & 1 {
        0 => Orientation::MirrorUpDown,
        _ => Orientation::MirrorSideways,
    })
}
