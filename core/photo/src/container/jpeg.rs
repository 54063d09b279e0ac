//! JPEG: segments up to the frame header. Source: ITU-T T.81, annex B.

use std::io::{Read, Seek};

use super::{Facts, Scan, without_exif_name};
use crate::meta::{Dimensions, MetaError};

/// Walks the segments until both the frame header and the first Exif block were seen, or
/// the picture data begin.
pub(super) fn read<R: Read + Seek>(scan: &mut Scan<R>) -> Result<Facts, MetaError> {
    let mut facts = Facts::default();
    scan.skip(2, "start marker")?;
    while facts.dimensions.is_none() || facts.exif.is_none() {
        let marker = next_marker(scan)?;
        match marker {
            // Markers that stand alone.
            0x01 | 0xD0..=0xD7 => continue,
            // Picture data begin, or the file ends.
            0xDA | 0xD9 => break,
            _ => {}
        }
        let declared = u64::from(u16::from_be_bytes(scan.bytes("segment length")?));
        let body = declared
            .checked_sub(2)
            .ok_or_else(|| scan.damaged("segment length"))?;
        match marker {
            0xE1 if facts.exif.is_none() => {
                let segment = scan.block(body, "application segment")?;
                if segment.starts_with(b"Exif\0\0") {
                    facts.exif = Some(without_exif_name(segment));
                }
            }
            // Start of frame, whatever the coding; C4, C8 and CC are tables.
            0xC0..=0xCF if !matches!(marker, 0xC4 | 0xC8 | 0xCC) => {
                let segment = scan.block(body, "frame header")?;
                let [_precision, h1, h0, w1, w0, ..] = segment.as_slice() else {
                    return Err(scan.damaged("frame header"));
                };
                facts.dimensions = Dimensions::new(
                    u16::from_be_bytes([*w1, *w0]).into(),
                    u16::from_be_bytes([*h1, *h0]).into(),
                );
                if facts.dimensions.is_none() {
                    return Err(scan.damaged("frame header (a side of no pixels)"));
                }
            }
            _ => scan.skip(body, "segment")?,
        }
    }
    if facts.dimensions.is_none() {
        return Err(scan.damaged("header (no frame before the picture data)"));
    }
    Ok(facts)
}

/// The code of the next marker; stray bytes before it are passed over as decoders do.
fn next_marker<R: Read + Seek>(scan: &mut Scan<R>) -> Result<u8, MetaError> {
    loop {
        while scan.bytes::<1>("marker")? != [0xFF] {}
        let mut code = 0xFF;
        while code == 0xFF {
            [code] = scan.bytes("marker")?;
        }
        if code != 0 {
            return Ok(code);
        }
    }
}
