//! WebP: the picture's size and its Exif chunk. Source: RFC 9649, sections 2.3 to 2.7.

use std::io::{Read, Seek};

use super::{Facts, MAX_EXIF, Scan, without_exif_name};
use crate::meta::{Dimensions, MetaError};

/// Walks the chunks of the RIFF container.
pub(super) fn read<R: Read + Seek>(scan: &mut Scan<R>) -> Result<Facts, MetaError> {
    let mut facts = Facts::default();
    scan.skip(12, "RIFF header")?;
    while scan.left() >= 8 && facts.exif.is_none() {
        let name: [u8; 4] = scan.bytes("chunk header")?;
        let len = u64::from(u32::from_le_bytes(scan.bytes("chunk header")?));
        let before = scan.left();
        match &name {
            b"VP8X" if facts.dimensions.is_none() => {
                let head: [u8; 10] = scan.bytes("VP8X chunk")?;
                let side = |at: usize| {
                    let bytes = [head[at], head[at + 1], head[at + 2], 0];
                    u32::from_le_bytes(bytes) + 1
                };
                facts.dimensions = Dimensions::new(side(4), side(7));
            }
            b"VP8 " if facts.dimensions.is_none() => {
                let head: [u8; 10] = scan.bytes("VP8 frame")?;
                if head[3..6] != [0x9D, 0x01, 0x2A] {
                    return Err(scan.damaged("VP8 frame"));
                }
                // 14 bits each; the top two are a scaling hint.
                let side = |at: usize| u16::from_le_bytes([head[at], head[at + 1]]) & 0x3FFF;
                facts.dimensions = Dimensions::new(side(6).into(), side(8).into());
            }
            b"VP8L" if facts.dimensions.is_none() => {
                let head: [u8; 5] = scan.bytes("VP8L frame")?;
                if head[0] != 0x2F {
                    return Err(scan.damaged("VP8L frame"));
                }
                let bits = u32::from_le_bytes([head[1], head[2], head[3], head[4]]);
                facts.dimensions =
                    Dimensions::new((bits & 0x3FFF) + 1, ((bits >> 14) & 0x3FFF) + 1);
            }
            b"EXIF" if len > MAX_EXIF => {
                facts
                    .warnings
                    .push(format!("Exif chunk of {len} bytes left out"));
                break;
            }
            b"EXIF" => {
                if let Ok(block) = scan.block(len, "Exif chunk") {
                    facts.exif = Some(without_exif_name(block));
                }
                break;
            }
            _ => {}
        }
        // Chunks are padded to even lengths.
        let consumed = before - scan.left();
        let rest = (len + len % 2).saturating_sub(consumed);
        if scan.skip(rest, "chunk").is_err() {
            break;
        }
    }
    if facts.dimensions.is_none() {
        return Err(scan.truncated("header (no picture chunk)"));
    }
    Ok(facts)
}
