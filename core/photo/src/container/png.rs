//! PNG: the header and the Exif chunk. Source: PNG (W3C), sections 5.3, 11.2.2, 11.3.3.5.

use std::io::{Read, Seek};

use super::{Facts, MAX_EXIF, Scan, without_exif_name};
use crate::meta::{Dimensions, MetaError};

/// Walks the chunks; the Exif chunk may stand before or behind the picture data.
pub(super) fn read<R: Read + Seek>(scan: &mut Scan<R>) -> Result<Facts, MetaError> {
    let mut facts = Facts::default();
    scan.skip(8, "signature")?;
    let (len, name) = chunk_header(scan)?;
    if &name != b"IHDR" || len < 8 {
        return Err(scan.damaged("header chunk"));
    }
    let width = u32::from_be_bytes(scan.bytes("header chunk")?);
    let height = u32::from_be_bytes(scan.bytes("header chunk")?);
    facts.dimensions = Dimensions::new(width, height);
    if facts.dimensions.is_none() {
        return Err(scan.damaged("header chunk (a side of no pixels)"));
    }
    scan.skip(u64::from(len) - 8 + 4, "header chunk")?;

    // A file cut here still has its size; crate::whole reports the cut.
    while let Ok((len, name)) = chunk_header(scan) {
        let len = u64::from(len);
        match &name {
            b"IEND" => break,
            b"eXIf" if len > MAX_EXIF => {
                facts
                    .warnings
                    .push(format!("Exif chunk of {len} bytes left out"));
                break;
            }
            b"eXIf" => {
                if let Ok(block) = scan.block(len, "Exif chunk") {
                    facts.exif = Some(without_exif_name(block));
                }
                break;
            }
            _ if scan.skip(len + 4, "chunk").is_err() => break,
            _ => {}
        }
    }
    Ok(facts)
}

fn chunk_header<R: Read + Seek>(scan: &mut Scan<R>) -> Result<(u32, [u8; 4]), MetaError> {
    let len = u32::from_be_bytes(scan.bytes("chunk header")?);
    Ok((len, scan.bytes("chunk header")?))
}
