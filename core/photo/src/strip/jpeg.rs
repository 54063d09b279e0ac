//! JPEG: the segments before the picture data, chosen; then the picture's own bytes.

use crate::whole::jpeg_end;

/// The name of an Exif segment.
const EXIF: &[u8] = b"Exif\0\0";

/// Copies the file, with this Exif block and none of the segments that aren't needed to show
/// the picture.
pub(super) fn rewrite(bytes: &[u8], exif: Option<&[u8]>) -> Result<Vec<u8>, &'static str> {
    let end = jpeg_end(bytes).ok_or("its picture has no end")?;
    let picture = bytes.get(..end).ok_or("its picture has no end")?;
    let mut out = vec![0xFF, 0xD8];
    let mut written = false;
    let mut at = 2;
    loop {
        let (marker, start) = next_marker(picture, at).ok_or("its segments make no sense")?;
        let len = picture
            .get(start..start + 2)
            .ok_or("a segment is cut off")?;
        let len = usize::from(u16::from_be_bytes([len[0], len[1]]));
        let body = picture.get(start + 2..start + len.max(2));
        let body = body.ok_or("a segment is cut off")?;
        // A JFIF segment comes first; then the new Exif.
        if !written && marker != 0xE0 {
            if let Some(block) = exif {
                push_exif(&mut out, block)?;
            }
            written = true;
        }
        if marker == 0xDA {
            // From the scan on, everything is picture: further tables and scans.
            out.extend_from_slice(&[0xFF, marker]);
            out.extend_from_slice(picture.get(start..).unwrap_or_default());
            return Ok(out);
        }
        if is_needed(marker, body) {
            out.extend_from_slice(&[0xFF, marker]);
            out.extend_from_slice(picture.get(start..start + len.max(2)).unwrap_or_default());
        }
        at = start + len.max(2);
    }
}

/// The next marker that has a segment, and where its length stands.
fn next_marker(picture: &[u8], mut at: usize) -> Option<(u8, usize)> {
    loop {
        at += picture.get(at..)?.iter().position(|b| *b == 0xFF)? + 1;
        match *picture.get(at)? {
            0xFF => {}
            0x00 | 0x01 | 0xD0..=0xD7 => at += 1,
            0xD9 => return None,
            marker => return Some((marker, at + 1)),
        }
    }
}

/// Whether a segment is needed to show the picture: tables and frame headers are, and of the
/// application segments JFIF, the colour profile and Adobe's colour transform.
fn is_needed(marker: u8, body: &[u8]) -> bool {
    match marker {
        0xE0 => body.starts_with(b"JFIF\0"),
        0xE2 => body.starts_with(b"ICC_PROFILE\0"),
        0xEE => body.starts_with(b"Adobe"),
        0xE0..=0xEF | 0xFE => false,
        _ => true,
    }
}

fn push_exif(out: &mut Vec<u8>, block: &[u8]) -> Result<(), &'static str> {
    let len = u16::try_from(2 + EXIF.len() + block.len());
    let len = len.map_err(|_| "its Exif is larger than a segment")?;
    out.extend_from_slice(&[0xFF, 0xE1]);
    out.extend_from_slice(&len.to_be_bytes());
    out.extend_from_slice(EXIF);
    out.extend_from_slice(block);
    Ok(())
}
