//! HEIF (HEIC, AVIF): size and turn of the primary picture, and its Exif.
//! Sources: ISO/IEC 14496-12, 8.11 (items); ISO/IEC 23008-12, 6.5 (properties), from memory
//! and compared with ExifTool by the outside check.

use std::io::{Read, Seek, SeekFrom};

use super::boxes::{be_uint, child, children, full_box, next_box};
use super::items::items;
use super::{Facts, MAX_EXIF, Scan};
use crate::meta::{Dimensions, MetaError};
use crate::orientation::Orientation;

/// The item descriptions of a phone's picture take some kilobytes; tiles and sequences more.
const MAX_META: u64 = 16 << 20;

/// Finds the file's description box and reads the primary picture's properties.
pub(super) fn read<R: Read + Seek>(scan: &mut Scan<R>) -> Result<Facts, MetaError> {
    let (meta, meta_at) = loop {
        let head = next_box(scan)?.ok_or_else(|| scan.truncated("description (meta box)"))?;
        match &head.name {
            b"meta" if head.body > MAX_META => {
                return Err(scan.damaged("description (meta box)"));
            }
            b"meta" => {
                let at = scan.file_len() - scan.left();
                break (scan.block(head.body, "description (meta box)")?, at);
            }
            _ => scan.skip(head.body, "box")?,
        }
    };
    let mut facts = primary_picture(&meta).unwrap_or_default();
    if facts.dimensions.is_none() {
        facts
            .warnings
            .push("the file does not say the size of its picture".to_owned());
    }
    match raw_exif(scan, &meta, meta_at)? {
        Some(Ok(block)) => facts.exif = Some(block),
        Some(Err(why)) => facts.warnings.push(format!("Exif not found: {why}")),
        None => {}
    }
    Ok(facts)
}

/// The bytes of the Exif item, from the byte order mark; `None` where the file lists no such item.
fn raw_exif<R: Read + Seek>(
    scan: &mut Scan<R>,
    meta: &[u8],
    meta_at: u64,
) -> Result<Option<Result<Vec<u8>, &'static str>>, MetaError> {
    let listed = usize::try_from(meta_at).ok().and_then(|at| items(meta, at));
    let Some(listed) = listed else {
        return Ok(Some(Err("the list of the file's parts makes no sense")));
    };
    let Some(item) = listed.into_iter().find(|item| item.kind == *b"Exif") else {
        return Ok(None);
    };
    let file_len = scan.file_len();
    let mut block = Vec::new();
    for place in item.places {
        let (start, end) = (place.start as u64, place.end as u64);
        // No length means up to the end of the file.
        let end = if end == start { file_len } else { end };
        if start > end || end > file_len || block.len() as u64 + (end - start) > MAX_EXIF {
            return Ok(Some(Err("its place is not in the file")));
        }
        let reader = scan.rewound()?;
        reader.seek(SeekFrom::Start(start)).map_err(MetaError::Io)?;
        let mut part = reader.take(end - start);
        part.read_to_end(&mut block).map_err(MetaError::Io)?;
    }
    // ISO/IEC 23008-12, annex A: how many bytes stand before the byte order mark.
    let mut rest = block.as_slice();
    let before = be_uint(&mut rest, 4).and_then(|n| usize::try_from(n).ok());
    let found = before.and_then(|n| rest.get(n..)).filter(|b| !b.is_empty());
    Ok(Some(found.map(<[u8]>::to_vec).ok_or("it is cut off")))
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
            b"clap" => {
                let shown = facts
                    .dimensions
                    .and_then(|stored| aperture(content, stored));
                facts.dimensions = shown.map(|part| part.size).or(facts.dimensions);
            }
            b"irot" => turn = turn.then(rotation(content)?),
            b"imir" => turn = turn.then(mirror(content)?),
            _ => {}
        }
    }
    // These properties are part of the picture; Exif's orientation only repeats them.
    facts.orientation = Some(turn);
    Some(facts)
}

/// The part of a stored picture that is shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Aperture {
    pub left: u32,
    pub top: u32,
    pub size: Dimensions,
}

/// ISO/IEC 14496-12, 12.1.4: width, height and the offsets of the middle, each a fraction. Encoders
/// that pad a picture to whole blocks say with it what of that is the picture.
fn aperture(mut content: &[u8], stored: Dimensions) -> Option<Aperture> {
    let mut fraction = || {
        let above = be_uint(&mut content, 4)? as u32;
        let below = be_uint(&mut content, 4)? as u32;
        Some((above, below))
    };
    let (width, height) = (fraction()?, fraction()?);
    let (across, down) = (fraction()?, fraction()?);
    let signed = |(above, below): (u32, u32)| (above as i32, below);
    Aperture::new(stored, width, height, signed(across), signed(down))
}

impl Aperture {
    /// None where it would not lie in the stored picture.
    pub fn new(
        stored: Dimensions,
        width: (u32, u32),
        height: (u32, u32),
        across: (i32, u32),
        down: (i32, u32),
    ) -> Option<Aperture> {
        let side = |(above, below): (u32, u32)| above.checked_div(below);
        let size = Dimensions::new(side(width)?, side(height)?)?;
        let start = |stored: u32, shown: u32, (above, below): (i32, u32)| {
            let room = f64::from(stored.checked_sub(shown)?);
            let start = (room / 2.0 + f64::from(above) / f64::from(below)).round();
            // Also no number at all, where `below` is zero.
            (start >= 0.0 && start <= room).then_some(start as u32)
        };
        Some(Aperture {
            left: start(stored.width, size.width, across)?,
            top: start(stored.height, size.height, down)?,
            size,
        })
    }
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_shown_part_of_a_padded_picture() {
        let stored = Dimensions::new(64, 64).unwrap();
        // As libheif 1.23 pads 33 by 17 and 64 by 48.
        let part = Aperture::new(stored, (33, 1), (17, 1), (-31, 2), (-47, 2)).unwrap();
        let size = Dimensions::new(33, 17).unwrap();
        let (left, top) = (0, 0);
        assert_eq!(part, Aperture { left, top, size });
        let part = Aperture::new(stored, (64, 1), (48, 1), (0, 2), (16, 2)).unwrap();
        assert_eq!((part.left, part.top), (0, 16));
        // Beyond the picture, larger than it, nothing, and no fractions.
        for (width, across) in [
            ((32, 1), (33, 1)),
            ((65, 1), (0, 1)),
            ((0, 1), (0, 1)),
            ((32, 0), (0, 1)),
            ((32, 1), (0, 0)),
            ((32, 1), (i32::MIN, 1)),
        ] {
            assert_eq!(
                Aperture::new(stored, width, (48, 1), across, (0, 1)),
                None,
                "{width:?} {across:?}"
            );
        }
    }
}
