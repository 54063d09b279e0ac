//! Which burst a shot belongs to, where its maker's notes say so.
//!
//! One widespread family of phones gives every shot of a burst the same UUID, in tag 0x000B of
//! its notes (Exif's MakerNote): twelve bytes of name and version, a byte order mark, and a
//! TIFF directory whose offsets count from the notes' beginning. From memory; ExifTool reads
//! the same in the outside check. Other makers say nothing, or nothing that is known.

use exif::{Exif, In, Tag, Value};

use super::text;
use crate::container::boxes::be_uint;

const NAME: &[u8] = b"Apple iOS\0\0\x01MM";
const BURST_UUID: u64 = 0x000B;
const ASCII: u64 = 2;

/// More entries than any such directory has.
const MAX_ENTRIES: u64 = 200;

/// The burst's name, if there is one.
pub(super) fn of(exif: &Exif) -> Option<String> {
    let Value::Undefined(notes, _) = &exif.get_field(Tag::MakerNote, In::PRIMARY)?.value else {
        return None;
    };
    let mut at = notes.strip_prefix(NAME)?;
    let entries = be_uint(&mut at, 2)?.min(MAX_ENTRIES);
    for _ in 0..entries {
        let tag = be_uint(&mut at, 2)?;
        let kind = be_uint(&mut at, 2)?;
        let count = be_uint(&mut at, 4)?;
        let offset = be_uint(&mut at, 4)?;
        if (tag, kind) == (BURST_UUID, ASCII) {
            // A UUID's 36 digits never fit into the entry itself.
            let from = usize::try_from(offset).ok()?;
            let text = notes.get(from..)?.get(..usize::try_from(count).ok()?)?;
            return text::clean(text.split(|b| *b == 0).next()?);
        }
    }
    None
}
