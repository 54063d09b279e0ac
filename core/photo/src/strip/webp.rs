//! WebP: the chunks that show the picture, and a new Exif chunk. Source: RFC 9649, 2.7.

/// Chunks that hold or describe the picture.
const SHOWING: [&[u8; 4]; 7] = [
    b"VP8X", b"VP8 ", b"VP8L", b"ALPH", b"ANIM", b"ANMF", b"ICCP",
];

/// Bits of the first byte of `VP8X`: there is Exif, there is XMP.
const HAS_EXIF: u8 = 0x08;
const HAS_XMP: u8 = 0x04;

pub(super) fn rewrite(bytes: &[u8], exif: Option<&[u8]>) -> Result<Vec<u8>, &'static str> {
    const CUT: &str = "a chunk is cut off";
    let declared = bytes.get(4..8).and_then(|b| b.first_chunk()).ok_or(CUT)?;
    let end = usize::try_from(u32::from_le_bytes(*declared)).map_err(|_| CUT)?;
    let body = bytes.get(12..end.checked_add(8).ok_or(CUT)?).ok_or(CUT)?;

    let mut chunks = Vec::new();
    let mut rest = body;
    while !rest.is_empty() {
        let [n0, n1, n2, n3, l0, l1, l2, l3] = *rest.first_chunk::<8>().ok_or(CUT)?;
        let len = usize::try_from(u32::from_le_bytes([l0, l1, l2, l3])).map_err(|_| CUT)?;
        // Padded to an even length; the last pad may be missing.
        let padded = len.checked_add(8 + len % 2).ok_or(CUT)?.min(rest.len());
        let content = rest.get(8..).and_then(|c| c.get(..len)).ok_or(CUT)?;
        chunks.push(([n0, n1, n2, n3], content));
        rest = rest.get(padded..).unwrap_or_default();
    }
    let extended = chunks.iter().any(|(name, _)| name == b"VP8X");
    let mut out = b"RIFF\0\0\0\0WEBP".to_vec();
    for (name, content) in chunks {
        if !SHOWING.contains(&&name) {
            continue;
        }
        let start = push_chunk(&mut out, &name, content)?;
        if let (b"VP8X", Some(flags)) = (&name, out.get_mut(start)) {
            *flags &= !(HAS_EXIF | HAS_XMP);
            *flags |= if exif.is_some() { HAS_EXIF } else { 0 };
        }
    }
    // A simple file has no place for Exif, and had none.
    if let (true, Some(block)) = (extended, exif) {
        push_chunk(&mut out, b"EXIF", block)?;
    }
    let len = u32::try_from(out.len() - 8).map_err(|_| "it is too large")?;
    if let Some(place) = out.get_mut(4..8) {
        place.copy_from_slice(&len.to_le_bytes());
    }
    Ok(out)
}

/// Returns where the content begins.
fn push_chunk(out: &mut Vec<u8>, name: &[u8; 4], content: &[u8]) -> Result<usize, &'static str> {
    let len = u32::try_from(content.len()).map_err(|_| "a chunk is too large")?;
    out.extend_from_slice(name);
    out.extend_from_slice(&len.to_le_bytes());
    let start = out.len();
    out.extend_from_slice(content);
    out.extend_from_slice(if content.len() % 2 == 1 { &[0] } else { &[] });
    Ok(start)
}
