//! Exif's texts, made safe to print.

use exif::{Exif, In, Tag, Value};

/// Longer than any make, model or serial number; what is longer is cut.
const MAX_CHARS: usize = 100;

/// The raw bytes of a text field up to its first NUL, whichever type a camera gave it.
pub(super) fn raw(exif: &Exif, tag: Tag) -> Option<&[u8]> {
    let bytes = match &exif.get_field(tag, In::PRIMARY)?.value {
        Value::Ascii(parts) => parts.first()?,
        Value::Byte(bytes) | Value::Undefined(bytes, _) => bytes,
        _ => return None,
    };
    bytes.split(|b| *b == 0).next()
}

/// A text field as a person may see it; `None` where nothing is left.
pub(super) fn field(exif: &Exif, tag: Tag) -> Option<String> {
    raw(exif, tag).and_then(clean)
}

/// Without outer space, control characters, or the marks that reorder text on screen.
pub(crate) fn clean(bytes: &[u8]) -> Option<String> {
    let text = String::from_utf8_lossy(bytes);
    let kept: String = text.trim().chars().filter(|c| is_plain(*c)).collect();
    let cut: String = kept.trim().chars().take(MAX_CHARS).collect();
    (!cut.is_empty()).then_some(cut)
}

fn is_plain(c: char) -> bool {
    let reorders_or_hides = matches!(c, '\u{200B}'..='\u{200F}' | '\u{2028}'..='\u{202E}' | '\u{2060}'..='\u{206F}' | '\u{FEFF}');
    !c.is_control() && !reorders_or_hides
}

/// Whether a serial number is one: cameras that have none write zeros.
pub(super) fn tells_apart(serial: &str) -> bool {
    serial.chars().any(|c| c.is_alphanumeric() && c != '0')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn space_and_control_characters_go() {
        assert_eq!(clean(b"  Bench \t").as_deref(), Some("Bench"));
        assert_eq!(clean(b"a\x1B[31mb\rc").as_deref(), Some("a[31mbc"));
        assert_eq!(clean("x\u{202E}y".as_bytes()).as_deref(), Some("xy"));
        assert_eq!(clean(b" \x01 "), None);
        assert_eq!(clean(b"").as_deref(), None);
        // Not UTF-8: kept readable rather than dropped.
        assert_eq!(clean(b"Caf\xE9").as_deref(), Some("Caf\u{FFFD}"));
        assert_eq!(clean(&[b'a'; 1000]).map(|s| s.len()), Some(MAX_CHARS));
    }

    #[test]
    fn zeros_are_no_serial_number() {
        assert!(!tells_apart("000000"));
        assert!(!tells_apart("0 - 0"));
        assert!(tells_apart("00A0"));
    }
}
