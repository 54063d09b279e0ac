//! What sort of file this is, by its leading bytes, never by its name.
//!
//! Sources (signatures from memory, compared with ExifTool by the outside check):
//! JPEG ITU-T T.81 B.1; PNG (W3C) 5.2; WebP RFC 9649; TIFF 6.0 section 2; the file type box
//! of ISO/IEC 14496-12 4.3 with the brands of ISO/IEC 23008-12 (HEIF) and QuickTime.
//!
//! ```
//! use datumtrail_photo::kind::Kind;
//!
//! assert_eq!(Kind::of(b"\xFF\xD8\xFF\xE0\x00\x10JFIF"), Some(Kind::Jpeg));
//! assert_eq!(Kind::of(b"%PDF-1.7"), None);
//! assert_eq!(Kind::Jpeg.media_type(), "image/jpeg");
//! ```

use serde::{Deserialize, Serialize};

/// How many leading bytes [`Kind::of`] looks at. Fewer are enough for all but the rarest
/// brand lists; more are ignored.
pub const HEAD_LEN: usize = 256;

/// The files that Datumtrail takes as photographic evidence.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Kind {
    /// JPEG, with or without an Exif block or further pictures behind the first.
    Jpeg,
    /// PNG.
    Png,
    /// WebP.
    WebP,
    /// TIFF, and raw formats that are TIFF files to the outside.
    Tiff,
    /// HEIC: a HEIF file whose picture is coded with HEVC.
    Heic,
    /// AVIF: a HEIF file whose picture is coded with AV1.
    Avif,
    /// HEIF that does not say how its picture is coded.
    Heif,
    /// MP4 video.
    Mp4,
    /// QuickTime video.
    Mov,
}

impl Kind {
    /// Recognises a file by its first bytes (up to [`HEAD_LEN`]); `None` if it is nothing
    /// that Datumtrail keeps as a photograph or video.
    pub fn of(head: &[u8]) -> Option<Kind> {
        match head {
            [0xFF, 0xD8, 0xFF, ..] => Some(Kind::Jpeg),
            [0x89, b'P', b'N', b'G', 0x0D, 0x0A, 0x1A, 0x0A, ..] => Some(Kind::Png),
            [
                b'R',
                b'I',
                b'F',
                b'F',
                _,
                _,
                _,
                _,
                b'W',
                b'E',
                b'B',
                b'P',
                ..,
            ] => Some(Kind::WebP),
            [b'I', b'I', 42, 0, ..] | [b'M', b'M', 0, 42, ..] => Some(Kind::Tiff),
            [_, _, _, _, b'f', b't', b'y', b'p', ..] => of_file_type_box(head),
            // QuickTime files older than the file type box start with one of these.
            [_, _, _, _, b'm', b'o', b'o', b'v', ..] | [_, _, _, _, b'w', b'i', b'd', b'e', ..] => {
                Some(Kind::Mov)
            }
            _ => None,
        }
    }

    /// The registered media type.
    pub fn media_type(self) -> &'static str {
        match self {
            Kind::Jpeg => "image/jpeg",
            Kind::Png => "image/png",
            Kind::WebP => "image/webp",
            Kind::Tiff => "image/tiff",
            Kind::Heic => "image/heic",
            Kind::Avif => "image/avif",
            Kind::Heif => "image/heif",
            Kind::Mp4 => "video/mp4",
            Kind::Mov => "video/quicktime",
        }
    }

    /// The usual file name extension, without a dot.
    pub fn extension(self) -> &'static str {
        match self {
            Kind::Jpeg => "jpg",
            Kind::Png => "png",
            Kind::WebP => "webp",
            Kind::Tiff => "tif",
            Kind::Heic => "heic",
            Kind::Avif => "avif",
            Kind::Heif => "heif",
            Kind::Mp4 => "mp4",
            Kind::Mov => "mov",
        }
    }

    /// Whether this is moving pictures.
    pub fn is_video(self) -> bool {
        matches!(self, Kind::Mp4 | Kind::Mov)
    }
}

impl std::fmt::Display for Kind {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Kind::Jpeg => "JPEG",
            Kind::Png => "PNG",
            Kind::WebP => "WebP",
            Kind::Tiff => "TIFF",
            Kind::Heic => "HEIC",
            Kind::Avif => "AVIF",
            Kind::Heif => "HEIF",
            Kind::Mp4 => "MP4",
            Kind::Mov => "MOV",
        })
    }
}

/// The major brand decides; where it is a general one, the compatible brands do.
fn of_file_type_box(head: &[u8]) -> Option<Kind> {
    let declared = usize::try_from(u32::from_be_bytes(*head.first_chunk()?)).ok()?;
    let body = head.get(8..declared.min(head.len()).min(HEAD_LEN))?;
    let (brands, _) = body.as_chunks::<4>();
    let (major, compatible) = (brands.first()?, brands.get(2..).unwrap_or_default());
    if let Some(kind) = of_brand(major) {
        return Some(kind);
    }
    match major {
        b"mif1" | b"msf1" | b"mif2" => {
            let coded = compatible.iter().find_map(of_brand);
            Some(coded.filter(|k| !k.is_video()).unwrap_or(Kind::Heif))
        }
        b"M4A " | b"M4B " | b"M4P " | b"F4A " | b"crx " | b"jp2 " | b"jpx " => None,
        _ if major.starts_with(b"3g") => Some(Kind::Mp4),
        _ => compatible.iter().find_map(of_brand),
    }
}

fn of_brand(brand: &[u8; 4]) -> Option<Kind> {
    match brand {
        b"heic" | b"heix" | b"heim" | b"heis" | b"hevc" | b"hevx" => Some(Kind::Heic),
        b"avif" | b"avis" => Some(Kind::Avif),
        b"qt  " => Some(Kind::Mov),
        b"isom" | b"iso2" | b"iso3" | b"iso4" | b"iso5" | b"iso6" | b"mp41" | b"mp42" | b"avc1"
        | b"M4V " | b"M4VH" | b"M4VP" | b"MSNV" | b"mmp4" => Some(Kind::Mp4),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ftyp(brands: &[&[u8; 4]]) -> Vec<u8> {
        let mut out = Vec::from((12 + 4 * brands.len() as u32).to_be_bytes());
        out.extend_from_slice(b"ftyp");
        out.extend_from_slice(brands[0]);
        out.extend_from_slice(&[0; 4]);
        for brand in &brands[1..] {
            out.extend_from_slice(*brand);
        }
        // The declared size counts header, major brand, version and compatible brands.
        let size = out.len() as u32;
        out[..4].copy_from_slice(&size.to_be_bytes());
        out
    }

    #[test]
    fn every_kind_by_its_leading_bytes() {
        let cases: [(&[u8], Option<Kind>); 9] = [
            (b"\xFF\xD8\xFF\xE1", Some(Kind::Jpeg)),
            (b"\x89PNG\r\n\x1A\n\0\0\0\rIHDR", Some(Kind::Png)),
            (b"RIFF\x10\0\0\0WEBPVP8 ", Some(Kind::WebP)),
            (b"RIFF\x10\0\0\0WAVEfmt ", None),
            (b"II*\0\x08\0\0\0", Some(Kind::Tiff)),
            (b"MM\0*\0\0\0\x08", Some(Kind::Tiff)),
            (b"\0\0\0\x08moov", Some(Kind::Mov)),
            (b"GIF89a", None),
            (b"", None),
        ];
        for (head, kind) in cases {
            assert_eq!(Kind::of(head), kind, "{head:?}");
        }
    }

    #[test]
    fn brands_major_first_then_compatible() {
        let cases: [(&[&[u8; 4]], Option<Kind>); 11] = [
            (&[b"heic", b"mif1", b"heic"], Some(Kind::Heic)),
            (&[b"mif1", b"mif1", b"heic"], Some(Kind::Heic)),
            (&[b"mif1", b"avif", b"mif1"], Some(Kind::Avif)),
            (&[b"mif1", b"mif1"], Some(Kind::Heif)),
            (&[b"avif", b"mif1"], Some(Kind::Avif)),
            (&[b"qt  ", b"qt  "], Some(Kind::Mov)),
            (&[b"mp42", b"isom", b"mp42"], Some(Kind::Mp4)),
            (&[b"3gp5", b"isom"], Some(Kind::Mp4)),
            (&[b"XXXX", b"isom"], Some(Kind::Mp4)),
            (&[b"M4A ", b"mp42", b"isom"], None),
            (&[b"XXXX"], None),
        ];
        for (brands, kind) in cases {
            assert_eq!(Kind::of(&ftyp(brands)), kind, "{brands:?}");
        }
        // A box that claims to be shorter than itself, or that was cut.
        assert_eq!(Kind::of(b"\0\0\0\x02ftypheic\0\0\0\0"), None);
        assert_eq!(Kind::of(b"\0\0\0\x18ftyphe"), None);
    }

    #[test]
    fn serialised_in_lower_case() {
        assert_eq!(serde_json::to_string(&Kind::WebP).unwrap(), r#""webp""#);
    }
}
