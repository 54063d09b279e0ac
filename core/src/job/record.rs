//! What each kind of record holds. Records are written once and never changed.

use datumtrail_geometry::temperature::Material;
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};

use crate::store::blobs::BlobId;

/// A record's identity: a UUID of version 7 as text, so that identities sort by time.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(transparent)]
pub struct RecordId(pub String);

impl RecordId {
    /// What people see and type: the last eight digits, which are random.
    pub fn short(&self) -> &str {
        let from = self.0.len().saturating_sub(8);
        self.0.get(from..).unwrap_or(&self.0)
    }
}

impl std::fmt::Display for RecordId {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.0)
    }
}

/// Who wrote a record, and when.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Stamp {
    /// The device's public key.
    pub by: String,
    /// The person, where somebody said who they are.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub person: Option<String>,
    /// RFC 3339 with offset.
    pub at: String,
}

/// A kind of record, and the map of the document that holds it.
pub trait Record: Serialize + DeserializeOwned {
    /// The map's name in the document.
    const MAP: &'static str;
    /// What people call such a record.
    const WORD: &'static str;
    /// The record that this one corrects.
    fn replaces(&self) -> Option<&RecordId> {
        None
    }
}

macro_rules! record {
    ($type:ty, $map:literal, $word:literal) => {
        impl Record for $type {
            const MAP: &'static str = $map;
            const WORD: &'static str = $word;
        }
    };
}

/// A dimension sheet as it was loaded: the file's own text and how it was to be read.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Sheet {
    pub file: String,
    /// The file, whole.
    pub text: String,
    /// Where the maker published it.
    pub source: String,
    /// "mm" or "in".
    pub units: String,
    /// How the file's axes point, where they are not ours.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub axes: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub limit_mm: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub limit_source: Option<String>,
    /// The sheet that this one continues: points in one file and distances in another.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub adds_to: Option<RecordId>,
}
record!(Sheet, "sheets", "sheet");

/// A stage was opened.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Opening {
    pub stage: String,
    /// When it began, RFC 3339 with offset.
    pub opened: String,
    /// The hold points that stood before it, and what had opened them.
    #[serde(default)]
    pub passed: Vec<Passed>,
}
record!(Opening, "openings", "opening of a stage");

/// How a hold point was open when a stage behind it was opened.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Passed {
    pub hold: String,
    /// "evidence", or "release" and the release's identity.
    pub how: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub release: Option<RecordId>,
}

/// A stage was closed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Closing {
    pub opening: RecordId,
    /// When it ended, RFC 3339 with offset.
    pub closed: String,
}
record!(Closing, "closings", "closing of a stage");

/// Readings taken in one set-up with one instrument.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Survey {
    pub stage: String,
    /// The control points trusted as undamaged; empty where the set-up joins another.
    pub refs: Vec<String>,
    /// The survey whose set-up this one is joined to, through the points that both have read.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub joins: Option<RecordId>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub instrument: Option<String>,
    /// The instrument's maximum permissible error.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mpe_mm: Option<f64>,
    /// Whether that bounds the distance in space and not each axis.
    #[serde(default, skip_serializing_if = "is_false")]
    pub mpe_in_space: bool,
    /// The standard uncertainty of each coordinate.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub u_mm: Option<f64>,
    /// What seating, targets and adapters add on each axis, a standard uncertainty.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub seating_mm: Option<f64>,
    /// The part of the uncertainty that differs from one reading of a point to the next, a
    /// standard deviation on each axis.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub repeatability_mm: Option<f64>,
    /// How far an undamaged vehicle may itself be from the sheet, a standard deviation.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub build_spread_mm: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub build_spread_source: Option<String>,
    /// What the structure is made of and how warm it was, where readings are to be corrected to
    /// 20 degrees.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub temperature: Option<Temperature>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub file: Option<String>,
    /// The units the file was in; what is stored is millimetres.
    pub units: String,
}
record!(Survey, "surveys", "survey");

/// A structure's material and temperature while it was measured.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Temperature {
    pub material: Material,
    pub celsius: f64,
}

#[allow(clippy::trivially_copy_pass_by_ref)] // serde wants a reference
fn is_false(value: &bool) -> bool {
    !value
}

/// One observed position of one control point, in the instrument's frame, in millimetres.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Reading {
    pub survey: RecordId,
    pub point: String,
    pub x: f64,
    pub y: f64,
    pub z: f64,
    /// Standard uncertainty by axis of the instrument, where the file states it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub u: Option<[f64; 3]>,
    /// When it was taken, RFC 3339.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub time: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub replaces: Option<RecordId>,
    /// Why it replaces the other, where that is more than a reading taken again.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
}
impl Record for Reading {
    const MAP: &'static str = "readings";
    const WORD: &'static str = "reading";
    fn replaces(&self) -> Option<&RecordId> {
        self.replaces.as_ref()
    }
}

/// One observed distance between two control points, or the height of one above the datum plane.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Tram {
    pub stage: String,
    pub kind: TramKind,
    pub a: String,
    /// The other end; none for a height.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub b: Option<String>,
    pub value_mm: f64,
    /// Its standard uncertainty, where somebody stated it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub u_mm: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub instrument: Option<String>,
    /// The file it came in.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub file: Option<String>,
    /// When it was taken, RFC 3339.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub time: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub replaces: Option<RecordId>,
}
impl Record for Tram {
    const MAP: &'static str = "trams";
    const WORD: &'static str = "tram reading";
    fn replaces(&self) -> Option<&RecordId> {
        self.replaces.as_ref()
    }
}

impl Tram {
    /// The reading as a person would say it.
    pub fn words(&self) -> String {
        let ends = match &self.b {
            Some(b) => format!("{} to {b}", self.a),
            None => self.a.clone(),
        };
        format!("{ends}, {}: {} mm", self.kind.words(), self.value_mm)
    }
}

/// What a tram reading is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum TramKind {
    /// Point to point.
    True,
    /// Projected onto the datum plane.
    Level,
    /// Of one point, above the datum plane.
    Height,
}

impl TramKind {
    /// As people say it.
    pub fn words(self) -> &'static str {
        match self {
            TramKind::True => "true",
            TramKind::Level => "level",
            TramKind::Height => "height",
        }
    }
}

/// A move that somebody decided to make, with what it was expected to bring.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Move {
    /// The survey it rests on.
    pub survey: RecordId,
    /// Which moves were allowed, in words.
    pub allowed: String,
    /// The move in words.
    pub words: String,
    /// Where the turn is taken about, millimetres, in the vehicle's frame.
    pub pivot_mm: [f64; 3],
    pub translation_mm: [f64; 3],
    /// The rotation vector: its direction is the axis, its length the angle.
    pub rotation_rad: [f64; 3],
    pub points: Vec<Expected>,
}
record!(Move, "moves", "move");

/// One point of a move that was decided. Length, width and height, millimetres.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Expected {
    pub point: String,
    /// The deviation that the survey had found.
    pub before_mm: [f64; 3],
    /// How far the move takes the point.
    pub move_mm: [f64; 3],
    /// The deviation expected afterwards.
    pub deviation_mm: [f64; 3],
    /// Its standard uncertainty, where the readings' was stated.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub u_mm: Option<[f64; 3]>,
}

/// A photograph: the identity of its bytes, and what the file says about itself.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Photo {
    pub blob: BlobId,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub preview: Option<BlobId>,
    /// Width and height of the preview, pixels.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub preview_size: Option<[u32; 2]>,
    /// Why there is no preview.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub no_preview: Option<String>,
    pub name: String,
    pub bytes: u64,
    pub media_type: String,
    /// Width and height as stored, pixels.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub size: Option<[u32; 2]>,
    /// The camera's name: make, model and serial, or what the shop calls it.
    pub camera: String,
    /// How that name tells it from other cameras.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub camera_known: Option<datumtrail_photo::camera::Known>,
    /// The camera's own time, and where in the file it stood.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub taken: Option<datumtrail_photo::time::CameraTime>,
    /// Why the file has no time that can be used.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub no_time: Option<String>,
    /// The satellites' time in the file: that of the last fix. It checks the camera's clock and
    /// never ties a photo.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub gps_time: Option<jiff::Timestamp>,
    /// The file carries a position. It stays in the original.
    #[serde(default)]
    pub has_gps: bool,
    /// What the picture looks like, for finding the same shot encoded again; hexadecimal.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hash: Option<String>,
    /// The burst that the file says it belongs to.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub burst: Option<String>,
}
record!(Photo, "photos", "photo");

/// A part of a photo that is to be covered in whatever leaves the shop: a face, a number plate.
/// Pixels of the upright picture.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Cover {
    pub photo: RecordId,
    pub x: u32,
    pub y: u32,
    pub width: u32,
    pub height: u32,
}
record!(Cover, "covers", "cover");

/// A person said that a photo shows how a reading was taken.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Picture {
    pub photo: RecordId,
    pub reading: RecordId,
}
record!(Picture, "pictures", "picture of a reading");

/// Something a person wrote down.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Note {
    pub text: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stage: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub photo: Option<RecordId>,
    /// What the plan asks for by this key.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub about: Option<String>,
    /// Written for the shop alone: it stays out of copies for others.
    #[serde(default, skip_serializing_if = "is_false")]
    pub internal: bool,
}
record!(Note, "notes", "note");

/// A person said that a note supports a line of the estimate.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Support {
    pub note: RecordId,
    /// What has to be done, as the estimate says it: replace, align, refinish.
    pub operation: String,
    /// The part it is done to.
    pub part: String,
    /// Why it is needed.
    pub reason: String,
    #[serde(default)]
    pub photos: Vec<RecordId>,
    #[serde(default)]
    pub readings: Vec<RecordId>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub replaces: Option<RecordId>,
}
impl Record for Support {
    const MAP: &'static str = "supports";
    const WORD: &'static str = "support of an estimate line";
    fn replaces(&self) -> Option<&RecordId> {
        self.replaces.as_ref()
    }
}

/// A device signed a closed stage.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Seal {
    pub stage: String,
    /// What was signed, byte for byte: canonical JSON (RFC 8785), see `archive::sealed`.
    pub sealed: String,
    /// The OpenSSH signature file over it (SSHSIG).
    pub signature: String,
}
record!(Seal, "seals", "seal");

/// A device holds the whole bytes of these photos, verified and flushed to its disk; or it no
/// longer does. For each device and photo the newest receipt counts.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Receipt {
    pub photos: Vec<RecordId>,
    /// Whether it holds them, or has let go of them.
    pub holds: bool,
}
record!(Receipt, "receipts", "receipt");

/// How far another device's clock was from the writer's, where that matters.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Skew {
    /// The other device's public key.
    pub device: String,
    /// What its clock showed minus what the writer's did, seconds.
    pub offset_s: f64,
    /// How far that can be wrong: half the round trip, seconds.
    pub u_s: f64,
}
record!(Skew, "skews", "clock offset between devices");

/// A check of the plan was ticked.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Tick {
    pub check: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub text: Option<String>,
}
record!(Tick, "ticks", "tick");

/// A person opened a hold point without its evidence, and answers for it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Release {
    pub hold: String,
    pub name: String,
    pub reason: String,
    /// What was missing at that moment.
    #[serde(default)]
    pub missing: Vec<String>,
}
record!(Release, "releases", "release");

/// A person said to which stage a photo belongs.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Tie {
    pub photo: RecordId,
    pub stage: String,
}
record!(Tie, "ties", "tie");

/// What a camera's clock showed at a known moment.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ClockPoint {
    pub camera: String,
    /// What the camera's clock showed, RFC 3339: the civil time in the job's time zone.
    pub showed: String,
    /// What it truly was, RFC 3339.
    pub was: String,
    /// Standard uncertainty, seconds.
    pub u_s: f64,
    /// How it is known.
    pub how: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub photo: Option<RecordId>,
}
record!(ClockPoint, "clocks", "clock point");

/// A record was withdrawn. It stays, with the reason beside it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Withdrawal {
    pub target: RecordId,
    pub reason: String,
}
record!(Withdrawal, "withdrawals", "withdrawal");

/// A device was removed from the crew: what it wrote after this is set aside.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Removal {
    /// Its public key.
    pub device: String,
    /// The heads of this document as the remover knew it, hexadecimal: what builds on nothing but
    /// these was written before.
    pub heads: Vec<String>,
}
record!(Removal, "removals", "removal of a device");

/// A person looked at records that seem to contradict each other, and says that all of them are
/// right as they stand.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Settlement {
    pub records: Vec<RecordId>,
    pub reason: String,
}
record!(Settlement, "settlements", "settlement");

/// What a device calls itself.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Device {
    pub name: String,
}
record!(Device, "devices", "device");

/// The maps of the document, all made when the job is.
pub const MAPS: [&str; 23] = [
    Sheet::MAP,
    Opening::MAP,
    Closing::MAP,
    Survey::MAP,
    Reading::MAP,
    Tram::MAP,
    Move::MAP,
    Photo::MAP,
    Cover::MAP,
    Picture::MAP,
    Note::MAP,
    Support::MAP,
    Tick::MAP,
    Release::MAP,
    Tie::MAP,
    ClockPoint::MAP,
    Withdrawal::MAP,
    Seal::MAP,
    Receipt::MAP,
    Skew::MAP,
    Removal::MAP,
    Settlement::MAP,
    Device::MAP,
];
