//! What of a photo leaves the shop: the original as it came, or a copy without what is nobody
//! else's business.
//!
//! Left out unless asked for: the position, names of people, serial numbers. Faces and number
//! plates that a person covered are covered. The original stays in the shop, and the archive says
//! of each copy that it is one and what was left out.

use datumtrail_photo::cover::{self, Rectangle};
use datumtrail_photo::preview::preview;
use datumtrail_photo::strip::{LeaveOut, StripError, strip};
use serde::{Deserialize, Serialize};

use crate::job::record::{self, RecordId};
use crate::job::view::JobView;
use crate::store::blobs::BlobId;

/// The long side of a covered copy's small picture, pixels.
const PREVIEW: u32 = 512;

/// A photo's copy in an archive.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Copy {
    /// BLAKE3 of the copy's bytes.
    pub blob: BlobId,
    pub bytes: u64,
    /// How it differs from the original, a sentence without a full stop.
    pub differs: String,
}

/// What goes out for one photo.
pub(super) struct Outgoing {
    pub bytes: Vec<u8>,
    /// None where these are the original's bytes.
    pub copy: Option<Copy>,
    /// A small picture of its own, where the original's shows what is covered.
    pub preview: Option<Vec<u8>>,
}

impl Outgoing {
    /// The same where what went out was made from a copy, which differed like that.
    pub fn of_a_copy(mut self, differs: &str) -> Self {
        let copy = match self.copy {
            None => copied(std::mem::take(&mut self.bytes), differs.to_owned()),
            Some(copy) if copy.differs == differs => copied(self.bytes, differs.to_owned()),
            Some(copy) => copied(self.bytes, format!("{differs}; {}", copy.differs)),
        };
        Outgoing {
            preview: self.preview,
            ..copy
        }
    }
}

/// The parts of a photo that a person covered.
pub(super) fn covers(view: &JobView, photo: &RecordId) -> Vec<Rectangle> {
    view.covers
        .iter()
        .filter(|c| c.stands() && c.body.photo == *photo)
        .map(|c| {
            let record::Cover {
                x,
                y,
                width,
                height,
                ..
            } = c.body;
            Rectangle {
                x,
                y,
                width,
                height,
            }
        })
        .collect()
}

/// The original as it came.
pub(super) fn as_it_is(original: Vec<u8>) -> Outgoing {
    Outgoing {
        bytes: original,
        copy: None,
        preview: None,
    }
}

/// Makes what goes out.
///
/// # Errors
/// Why this photo can't go out without giving away more than it should, in words.
pub(super) fn outgoing(
    original: Vec<u8>,
    covers: &[Rectangle],
    with_location: bool,
) -> Result<Outgoing, String> {
    let leave_out = match with_location {
        true => LeaveOut::ALL_BUT_LOCATION,
        false => LeaveOut::ALL,
    };
    if !covers.is_empty() {
        let covered = cover::cover(&original, covers, leave_out).map_err(|e| e.to_string())?;
        let parts = match covers.len() {
            1 => "1 part of the picture is covered".to_owned(),
            n => format!("{n} parts of the picture are covered"),
        };
        let small = preview(&covered.jpeg, PREVIEW).map_err(|e| e.to_string())?;
        let mut out = copied(covered.jpeg, parts);
        out.preview = Some(small.jpeg);
        return Ok(out);
    }
    let left_out = match with_location {
        true => "names of people and serial numbers are left out",
        false => "position, names of people and serial numbers are left out",
    };
    match strip(&original, leave_out) {
        Ok(same) if same == original => Ok(as_it_is(original)),
        Ok(stripped) => Ok(copied(stripped, left_out.to_owned())),
        Err(why @ (StripError::Kind { .. } | StripError::File { .. })) => {
            match cover::encode_again(&original, leave_out) {
                Ok(again) => Ok(copied(
                    again.jpeg,
                    format!("encoded again as JPEG; {left_out}"),
                )),
                Err(_) => Err(why.to_string()),
            }
        }
        Err(why) => Err(why.to_string()),
    }
}

fn copied(bytes: Vec<u8>, differs: String) -> Outgoing {
    Outgoing {
        copy: Some(Copy {
            blob: BlobId(blake3::hash(&bytes).to_hex().to_string()),
            bytes: bytes.len() as u64,
            differs,
        }),
        bytes,
        preview: None,
    }
}
