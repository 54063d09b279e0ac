//! PNG: the chunks that show the picture, and a new Exif chunk. Source: PNG (W3C), 5.3, 11.

/// Extra chunks that say how to show the picture, and those of an animation.
const SHOWING: [&[u8; 4]; 16] = [
    b"tRNS", b"cHRM", b"gAMA", b"iCCP", b"sBIT", b"sRGB", b"cICP", b"mDCV", b"cLLI", b"bKGD",
    b"hIST", b"pHYs", b"sPLT", b"acTL", b"fcTL", b"fdAT",
];

pub(super) fn rewrite(bytes: &[u8], exif: Option<&[u8]>) -> Result<Vec<u8>, &'static str> {
    const CUT: &str = "a chunk is cut off";
    let (signature, mut rest) = bytes.split_at_checked(8).ok_or(CUT)?;
    let mut out = signature.to_vec();
    loop {
        let [l3, l2, l1, l0, name @ ..] = *rest.first_chunk::<8>().ok_or(CUT)?;
        let len = u32::from_be_bytes([l3, l2, l1, l0]);
        let len = usize::try_from(len)
            .map_err(|_| CUT)?
            .checked_add(12)
            .ok_or(CUT)?;
        let (chunk, after) = rest.split_at_checked(len).ok_or(CUT)?;
        rest = after;
        // A capital first letter means that no reader can do without it.
        let is_critical = name.first().is_some_and(u8::is_ascii_uppercase);
        if is_critical || SHOWING.contains(&&name) {
            out.extend_from_slice(chunk);
        }
        if let (b"IHDR", Some(block)) = (&name, exif) {
            push_chunk(&mut out, b"eXIf", block)?;
        }
        if &name == b"IEND" {
            return Ok(out);
        }
    }
}

fn push_chunk(out: &mut Vec<u8>, name: &[u8; 4], body: &[u8]) -> Result<(), &'static str> {
    let len = u32::try_from(body.len()).map_err(|_| "its Exif is too large")?;
    out.extend_from_slice(&len.to_be_bytes());
    let start = out.len();
    out.extend_from_slice(name);
    out.extend_from_slice(body);
    let sum = crc32fast::hash(out.get(start..).unwrap_or_default());
    out.extend_from_slice(&sum.to_be_bytes());
    Ok(())
}
