//! What a file says about itself: camera, time, size, orientation.
//!
//! Only headers are read, so this costs the same for a small and a large photograph.
//! Whether the rest of the file is there is a separate question: [`crate::whole`].
//!
//! A broken Exif block never costs the photograph: what can be read is read, and what can
//! not is kept as a warning. Source: Exif 2.32 (CIPA DC-008-2019).
//!
//! ```
//! use datumtrail_photo::meta::{MetaError, read_meta_bytes};
//!
//! let error = read_meta_bytes(b"%PDF-1.7 an estimate").unwrap_err();
//! assert!(matches!(error, MetaError::NotAPicture { .. }));
//! ```

use std::io::{Cursor, Read, Seek, SeekFrom};

use exif::{Exif, In, Tag};
use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use thiserror::Error;

use crate::container::{self, Scan};
use crate::kind::{HEAD_LEN, Kind};
use crate::orientation::Orientation;
use crate::time::CameraTime;

mod burst;
mod text;
mod times;

pub(crate) use text::clean as clean_text;
pub use times::{TimeNote, TimeProblem};

/// What a file says about itself.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Meta {
    /// What sort of file it is.
    pub kind: Kind,
    /// Width and height as stored, from the container (Exif's own figures survive edits
    /// that they no longer fit). `None` where the container does not say.
    pub dimensions: Option<Dimensions>,
    /// How the stored picture must be turned to stand upright.
    pub orientation: Orientation,
    /// The camera, as far as it names itself.
    pub camera: Camera,
    /// The time by the camera's clock; `None` means that no usable one is there, and
    /// `time_notes` says why.
    pub taken: Option<CameraTime>,
    /// The satellites' time in UTC, for cross-checking only: it is that of the last fix,
    /// which may be old, and indoors is often missing.
    pub gps_time: Option<Timestamp>,
    /// The burst that the file says it belongs to: the same text in each of its shots.
    pub burst: Option<String>,
    /// Whether the file carries a position. The position itself is left in the original.
    pub has_gps: bool,
    /// Times and parts of times that are in the file but cannot be used.
    pub time_notes: Vec<TimeNote>,
    /// Whatever else could not be read.
    pub warnings: Vec<String>,
}

impl Meta {
    /// Width and height of the upright picture.
    pub fn upright_size(&self) -> Option<Dimensions> {
        let stored = self.dimensions?;
        let (width, height) = self.orientation.upright_size(stored.width, stored.height);
        Some(Dimensions { width, height })
    }

    /// The camera's time minus the satellites', in seconds, where the file has both and
    /// the camera's time has an offset. Positive: the camera's clock is ahead, or the fix
    /// was old when the picture was taken.
    pub fn ahead_of_gps_s(&self) -> Option<f64> {
        let camera = self.taken?;
        let instant = camera.offset?.to_timestamp(camera.civil).ok()?;
        Some(instant.duration_since(self.gps_time?).as_secs_f64())
    }
}

/// Pixels across and down; neither is zero.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Dimensions {
    /// Pixels across.
    pub width: u32,
    /// Pixels down.
    pub height: u32,
}

impl Dimensions {
    /// `None` where a side has no pixels.
    pub fn new(width: u32, height: u32) -> Option<Dimensions> {
        (width > 0 && height > 0).then_some(Dimensions { width, height })
    }

    /// Width times height.
    pub fn pixels(self) -> u64 {
        u64::from(self.width) * u64::from(self.height)
    }
}

/// How a camera names itself. Clock corrections belong to one camera, so two files are
/// from the same camera exactly where these are equal.
#[derive(Debug, Clone, Default, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Camera {
    /// Make.
    pub make: Option<String>,
    /// Model.
    pub model: Option<String>,
    /// BodySerialNumber. Phones write none.
    pub serial: Option<String>,
}

impl Camera {
    /// Whether the file says nothing about its camera.
    pub fn is_unnamed(&self) -> bool {
        self.make.is_none() && self.model.is_none() && self.serial.is_none()
    }

    /// A name for people: make and model without saying the make twice, then the serial
    /// number. `None` where the file says nothing.
    ///
    /// ```
    /// use datumtrail_photo::meta::Camera;
    ///
    /// let camera = Camera {
    ///     make: Some("Bench".into()),
    ///     model: Some("Bench Pocket 3".into()),
    ///     serial: Some("0042".into()),
    /// };
    /// assert_eq!(camera.label().as_deref(), Some("Bench Pocket 3 no. 0042"));
    /// ```
    pub fn label(&self) -> Option<String> {
        let name = match (&self.make, &self.model) {
            (Some(make), Some(model)) if starts_with_word(model, make) => Some(model.clone()),
            (Some(make), Some(model)) => Some(format!("{make} {model}")),
            (one, other) => one.clone().or_else(|| other.clone()),
        };
        match (name, &self.serial) {
            (Some(name), Some(serial)) => Some(format!("{name} no. {serial}")),
            (None, Some(serial)) => Some(format!("camera no. {serial}")),
            (name, None) => name,
        }
    }
}

fn starts_with_word(text: &str, word: &str) -> bool {
    let head = text.get(..word.len());
    head.is_some_and(|head| head.eq_ignore_ascii_case(word))
        && !text[word.len()..].starts_with(char::is_alphanumeric)
}

/// Why a file could not be read as a photograph.
#[derive(Debug, Error)]
pub enum MetaError {
    /// The file has no bytes.
    #[error("the file is empty; copy it again from the camera")]
    Empty,
    /// The first bytes are those of no picture or video that Datumtrail keeps.
    #[error(
        "not a picture: it starts with {starts_with}; \
         JPEG, PNG, WebP, TIFF, HEIC, MP4 and MOV files can be added"
    )]
    NotAPicture {
        /// The first bytes, in hexadecimal.
        starts_with: String,
    },
    /// The file ends before something that must be there.
    #[error(
        "truncated {kind}: it ends after {bytes} bytes, in its {part}; copy it again from the camera"
    )]
    Truncated {
        /// What sort of file it is.
        kind: Kind,
        /// What was being read where it ended.
        part: &'static str,
        /// How many bytes there are.
        bytes: u64,
    },
    /// A header contradicts the format.
    #[error(
        "damaged {kind}: the {part} at byte {at} makes no sense; copy it again from the camera"
    )]
    Damaged {
        /// What sort of file it is.
        kind: Kind,
        /// What was being read.
        part: &'static str,
        /// Offset into the file, at or shortly behind the fault.
        at: u64,
    },
    /// More than is read into memory at once.
    #[error("the file has {bytes} bytes; this sort of file is read up to {limit}")]
    TooLarge {
        /// Its size.
        bytes: u64,
        /// The limit.
        limit: u64,
    },
    /// The medium failed.
    #[error("the file could not be read")]
    Io(#[source] std::io::Error),
}

/// Reads what a file says about itself, from its headers.
///
/// # Errors
/// [`MetaError::NotAPicture`] and [`MetaError::Empty`] for other files;
/// [`MetaError::Truncated`] and [`MetaError::Damaged`] where the header itself is cut or
/// wrong. Faults in Exif are no errors: see [`Meta::warnings`] and [`Meta::time_notes`].
pub fn read_meta<R: Read + Seek>(mut reader: R) -> Result<Meta, MetaError> {
    let mut head = Vec::new();
    let mut start = reader.by_ref().take(HEAD_LEN as u64);
    start.read_to_end(&mut head).map_err(MetaError::Io)?;
    reader.seek(SeekFrom::Start(0)).map_err(MetaError::Io)?;
    let kind = recognise(&head)?;

    let mut scan = Scan::new(reader, kind)?;
    let mut facts = container::read(kind, &mut scan)?;
    let mut meta = Meta {
        kind,
        dimensions: facts.dimensions,
        orientation: Orientation::default(),
        camera: std::mem::take(&mut facts.camera),
        taken: None,
        gps_time: None,
        burst: None,
        has_gps: false,
        time_notes: Vec::new(),
        warnings: facts.warnings,
    };
    if let Some(exif) = facts
        .exif
        .take()
        .and_then(|b| parse_exif(b, &mut meta.warnings))
    {
        meta.add_exif(&exif);
        if kind == Kind::Tiff {
            meta.dimensions = container::tiff::size(&exif);
        }
    }
    if kind == Kind::Tiff && meta.dimensions.is_none() {
        return Err(scan.damaged("directory (no picture size)"));
    }
    if let Some(orientation) = facts.orientation {
        meta.orientation = orientation;
    }
    meta.taken = meta.taken.or(facts.created);
    meta.has_gps |= facts.has_gps;
    Ok(meta)
}

/// [`read_meta`] of a file in memory.
///
/// # Errors
/// As [`read_meta`].
pub fn read_meta_bytes(bytes: &[u8]) -> Result<Meta, MetaError> {
    read_meta(Cursor::new(bytes))
}

/// The kind of the file that starts like this, or why there is none.
pub(crate) fn recognise(head: &[u8]) -> Result<Kind, MetaError> {
    if head.is_empty() {
        return Err(MetaError::Empty);
    }
    Kind::of(head).ok_or_else(|| {
        let hex = head.iter().take(8).map(|b| format!("{b:02x}"));
        MetaError::NotAPicture {
            starts_with: hex.collect::<Vec<_>>().join(" "),
        }
    })
}

/// Reads the block as far as it goes; the faults in it become warnings.
pub(crate) fn parse_exif(block: Vec<u8>, warnings: &mut Vec<String>) -> Option<Exif> {
    // kamadak-exif's strict default gives up at the first fault, and loses good files.
    let parsed = exif::Reader::new()
        .continue_on_error(true)
        .read_raw(block)
        .or_else(|error| {
            error.distill_partial_result(|faults| {
                warnings.extend(faults.iter().take(5).map(|f| format!("Exif: {f}")));
            })
        });
    match parsed {
        Ok(exif) => Some(exif),
        Err(error) => {
            warnings.push(format!("Exif could not be read: {error}"));
            None
        }
    }
}

impl Meta {
    fn add_exif(&mut self, exif: &Exif) {
        self.camera = Camera {
            make: text::field(exif, Tag::Make),
            model: text::field(exif, Tag::Model),
            serial: text::field(exif, Tag::BodySerialNumber).filter(|s| text::tells_apart(s)),
        };
        match orientation(exif) {
            Some(Ok(orientation)) => self.orientation = orientation,
            Some(Err(value)) => self.warnings.push(format!(
                "orientation {value} is not one of 1 to 8; taken as upright"
            )),
            None => {}
        }
        self.has_gps = exif.get_field(Tag::GPSLatitude, In::PRIMARY).is_some()
            && exif.get_field(Tag::GPSLongitude, In::PRIMARY).is_some();
        self.burst = burst::of(exif);
        self.taken = times::taken(exif, &mut self.time_notes);
        self.gps_time = times::gps(exif, &mut self.time_notes);
    }
}

fn orientation(exif: &Exif) -> Option<Result<Orientation, u32>> {
    let value = exif
        .get_field(Tag::Orientation, In::PRIMARY)?
        .value
        .get_uint(0)?;
    let known = u16::try_from(value).ok().and_then(Orientation::from_exif);
    Some(known.ok_or(value))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_say_each_thing_once() {
        let label = |make: &str, model: &str, serial: &str| {
            let some = |s: &str| (!s.is_empty()).then(|| s.to_owned());
            Camera {
                make: some(make),
                model: some(model),
                serial: some(serial),
            }
            .label()
        };
        let cases = [
            ("Bench", "Pocket 3", "", Some("Bench Pocket 3")),
            ("Bench", "BENCH Pocket 3", "7", Some("BENCH Pocket 3 no. 7")),
            ("Ben", "Bench 3", "", Some("Ben Bench 3")),
            ("", "Pocket 3", "", Some("Pocket 3")),
            ("Bench", "", "7", Some("Bench no. 7")),
            ("", "", "7", Some("camera no. 7")),
            ("é", "éé", "", Some("é éé")),
            ("", "", "", None),
        ];
        for (make, model, serial, expected) in cases {
            assert_eq!(label(make, model, serial).as_deref(), expected);
        }
    }

    #[test]
    fn messages_say_what_where_and_what_to_do() {
        let text = read_meta_bytes(b"%PDF-1.7").unwrap_err().to_string();
        assert!(text.contains("25 50 44 46"), "{text}");
        assert!(text.contains("can be added"), "{text}");
        let text = read_meta_bytes(b"").unwrap_err().to_string();
        assert!(text.contains("empty"), "{text}");
        let text = read_meta_bytes(b"\xFF\xD8\xFF\xE1\x00")
            .unwrap_err()
            .to_string();
        assert!(text.contains("truncated JPEG"), "{text}");
        assert!(text.contains("5 bytes"), "{text}");
    }
}
