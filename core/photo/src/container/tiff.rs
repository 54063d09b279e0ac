//! TIFF: the file is one Exif block. Source: TIFF 6.0, sections 2, 3 and 15.

use std::io::{Read, Seek};

use exif::{Exif, In, Tag};

use super::{Facts, MAX_TIFF, Scan};
use crate::meta::{Dimensions, MetaError};

/// The file itself, to be read as Exif; the size comes from its fields by [`size`].
pub(super) fn read<R: Read + Seek>(scan: &mut Scan<R>) -> Result<Facts, MetaError> {
    if scan.file_len() > MAX_TIFF {
        return Err(MetaError::TooLarge {
            bytes: scan.file_len(),
            limit: MAX_TIFF,
        });
    }
    Ok(Facts {
        exif: Some(scan.block(scan.file_len(), "file")?),
        ..Facts::default()
    })
}

/// Width and height of the first picture.
pub(crate) fn size(exif: &Exif) -> Option<Dimensions> {
    let side = |tag| exif.get_field(tag, In::PRIMARY)?.value.get_uint(0);
    Dimensions::new(side(Tag::ImageWidth)?, side(Tag::ImageLength)?)
}

/// Where the first picture's data end, as a file offset: `None` if it does not say.
pub(crate) fn data_end(exif: &Exif) -> Option<u64> {
    let furthest = |offsets, counts| {
        let offsets = exif.get_field(offsets, In::PRIMARY)?.value.iter_uint()?;
        let counts = exif.get_field(counts, In::PRIMARY)?.value.iter_uint()?;
        let ends = offsets
            .zip(counts)
            .map(|(o, n)| u64::from(o) + u64::from(n));
        ends.max()
    };
    furthest(Tag::StripOffsets, Tag::StripByteCounts)
        .or_else(|| furthest(Tag::TileOffsets, Tag::TileByteCounts))
}
