//! Bytes to text: what a file must be before it can be a table.

use crate::error::{MOST_BYTES, NotText, SheetError};

/// The file's text, without a byte order mark, with `\n` at the end of every line.
///
/// Line ends of all three kinds are read (`\r\n`, `\n`, and the lone `\r` of old programs), and made
/// one so that line numbers are right whoever wrote the file.
pub(crate) fn decode(bytes: &[u8]) -> Result<String, SheetError> {
    if bytes.len() > MOST_BYTES {
        return Err(SheetError::TooLarge { bytes: bytes.len() });
    }
    if let Some(what) = foreign(bytes) {
        return Err(not_text(bytes, 0, what));
    }
    let bytes = bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes);
    if let Some(at) = bytes.iter().position(|b| *b == 0) {
        return Err(not_text(bytes, at, NotText::Binary));
    }
    let text = std::str::from_utf8(bytes).map_err(|e| {
        let at = e.valid_up_to();
        let byte = bytes.get(at).copied().unwrap_or_default();
        not_text(bytes, at, NotText::NotUtf8(byte))
    })?;
    if text.trim().is_empty() {
        return Err(SheetError::Empty);
    }
    let mut text = text.replace("\r\n", "\n").replace('\r', "\n");
    if !text.ends_with('\n') {
        text.push('\n');
    }
    Ok(text)
}

/// Files that people take for tables, by how they begin.
fn foreign(bytes: &[u8]) -> Option<NotText> {
    if bytes.starts_with(b"PK\x03\x04") || bytes.starts_with(b"\xD0\xCF\x11\xE0") {
        Some(NotText::Zip)
    } else if bytes.starts_with(b"%PDF-") {
        Some(NotText::Pdf)
    } else if bytes.starts_with(b"\xFF\xFE") || bytes.starts_with(b"\xFE\xFF") {
        Some(NotText::Utf16)
    } else {
        None
    }
}

/// Says in which line, and at which of its bytes, the text ends.
fn not_text(bytes: &[u8], at: usize, what: NotText) -> SheetError {
    let before = bytes.get(..at).unwrap_or(bytes);
    let line = 1 + before.iter().filter(|b| **b == b'\n').count() as u64;
    let byte = 1 + before.iter().rev().take_while(|b| **b != b'\n').count();
    SheetError::NotText { line, byte, what }
}
