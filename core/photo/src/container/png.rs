//! PNG: the header, the Exif chunk, and what other programs use in its place.
//!
//! Source: PNG (W3C), sections 5.3, 11.2.2, 11.3.3.5 (`eXIf`), 11.3.3 (texts), 11.3.4.4
//! (`tIME`). Before `eXIf` existed, ImageMagick put Exif into a text of the keyword
//! `Raw profile type exif`, in hexadecimal; many files have it still.

use std::io::{Read, Seek};

use flate2::read::ZlibDecoder;
use jiff::civil::DateTime;
use jiff::tz::Offset;

use super::{Facts, MAX_EXIF, Scan, in_utc, without_exif_name};
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
            b"eXIf" | b"tEXt" | b"zTXt" | b"iTXt" if len > MAX_EXIF => {
                if &name == b"eXIf" {
                    let warning = format!("Exif chunk of {len} bytes left out");
                    facts.warnings.push(warning);
                }
                if scan.skip(len + 4, "chunk").is_err() {
                    break;
                }
            }
            b"eXIf" | b"tEXt" | b"zTXt" | b"iTXt" | b"tIME" => {
                let Ok(content) = scan.block(len, "chunk") else {
                    break;
                };
                match &name {
                    b"eXIf" => facts.exif = Some(without_exif_name(content)),
                    b"tIME" => facts.created = changed(&content).map(in_utc),
                    // The proper chunk wins, wherever it stands.
                    _ if facts.exif.is_none() => facts.exif = exif_in_text(name, &content),
                    _ => {}
                }
                if scan.skip(4, "chunk").is_err() {
                    break;
                }
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

/// The time of the last change, in UTC.
fn changed(content: &[u8]) -> Option<jiff::Timestamp> {
    let [y1, y0, month, day, hour, minute, second] = *content.first_chunk()?;
    let year = i16::try_from(u16::from_be_bytes([y1, y0])).ok()?;
    let part = |byte: u8| i8::try_from(byte).ok();
    // A leap second, which the standard allows, is the second before.
    let second = part(second)?.min(59);
    let civil = DateTime::new(
        year,
        part(month)?,
        part(day)?,
        part(hour)?,
        part(minute)?,
        second,
        0,
    );
    Offset::UTC.to_timestamp(civil.ok()?).ok()
}

/// The Exif block of a text chunk with the right keyword.
fn exif_in_text(name: [u8; 4], content: &[u8]) -> Option<Vec<u8>> {
    let end = content.iter().position(|b| *b == 0)?;
    let (keyword, rest) = (content.get(..end)?, content.get(end + 1..)?);
    if keyword != b"Raw profile type exif" && keyword != b"Raw profile type APP1" {
        return None;
    }
    let text = match &name {
        b"tEXt" => rest.to_vec(),
        b"zTXt" => inflate(rest.get(1..)?)?,
        _ => {
            // Compression flag and method, then language and translated keyword.
            let (compressed, rest) = (*rest.first()? != 0, rest.get(2..)?);
            let text = rest.splitn(3, |b| *b == 0).nth(2)?;
            if compressed {
                inflate(text)?
            } else {
                text.to_vec()
            }
        }
    };
    let block = without_exif_name(raw_profile(&text)?);
    // The keyword for APP1 is used for XMP as well.
    matches!(
        block.as_slice(),
        [b'I', b'I', 42, 0, ..] | [b'M', b'M', 0, 42, ..]
    )
    .then_some(block)
}

fn inflate(data: &[u8]) -> Option<Vec<u8>> {
    let mut out = Vec::new();
    let limit = 3 * MAX_EXIF;
    let read = ZlibDecoder::new(data).take(limit).read_to_end(&mut out);
    read.ok().map(|_| out)
}

/// A name, a length in decimal, and so many bytes in hexadecimal, with white space between.
fn raw_profile(text: &[u8]) -> Option<Vec<u8>> {
    let text = std::str::from_utf8(text).ok()?.trim_start();
    let (_, rest) = text.split_once(char::is_whitespace)?;
    let (len, rest) = rest.trim_start().split_once(char::is_whitespace)?;
    let len: usize = len.parse().ok()?;
    let mut digits = rest
        .chars()
        .filter(|c| !c.is_whitespace())
        .map(|c| c.to_digit(16));
    let mut out = Vec::new();
    while let (Some(high), Some(low)) = (digits.next(), digits.next()) {
        // Two digits of base 16.
        out.push((high? * 16 + low?) as u8);
    }
    (out.len() == len).then_some(out)
}
