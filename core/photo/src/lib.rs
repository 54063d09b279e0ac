//! Photographs: what a file says about itself, when it was truly taken, and in which stage.
//!
//! Everything here works on bytes and readers, but for `watch`. It opens no files, keeps no
//! state, asks no clock and knows neither the shop nor the job document. Bytes are read, never altered.
//!
//! One photograph's way through the modules:
//!
//! | module | what it answers |
//! |---|---|
//! | [`identity`] | which bytes are these |
//! | [`kind`] | what sort of file is this, by its leading bytes |
//! | [`whole`] | is the file complete, or was it cut off |
//! | [`meta`] | what it says: camera, time, size, [`orientation`] |
//! | [`camera`] | which camera's clock, when the file alone can't tell |
//! | [`time`] | the camera's time as an instant, or as two where daylight saving repeats an hour |
//! | [`clock`] | the true instant, from what is known about that camera's clock |
//! | [`gps`] | whether the satellites' time contradicts it |
//! | [`timecode`] | how wrong a clock is, from a photograph of a code that says the time |
//! | [`numbering`] | the instant of an undated file, from its neighbours in the camera's numbering |
//! | [`tie`] | the stage it belongs to, and how sure that is |
//! | [`alike`] | the same shot encoded again, or a burst |
//! | [`preview`] | a small upright picture of it |
//! | [`mod@shown`] | preview, hash and time code from one decoding |
//! | [`strip`] | a copy without position, names and serial numbers |
//! | [`cover`] | a copy with faces and number plates covered |
//! | `watch` | files that arrive in a folder, once they are whole (feature `watch`) |
//! | [`mod@write`] | Exif for drawn pictures: the demo and tests |
//!
//! Ties are derived: nothing here is stored but the file and what people say about clocks
//! and stages, so a corrected clock re-ties every photograph the next time it is asked.
//!
//! ```
//! use datumtrail_photo::clock::{Clock, SyncPoint};
//! use datumtrail_photo::meta::read_meta_bytes;
//! use datumtrail_photo::tie::{StageSpan, Tie, UNCHECKED_CLOCK_U_S, tie};
//! use datumtrail_photo::write::{ExifFields, with_exif};
//! use jiff::civil::date;
//!
//! // A picture whose camera said 14:03:20 in a shop on Berlin time.
//! let mut jpeg = Vec::new();
//! jpeg_encoder::Encoder::new(&mut jpeg, 80)
//!     .encode(&[128; 16 * 8], 16, 8, jpeg_encoder::ColorType::Luma)?;
//! let file = with_exif(&jpeg, &ExifFields {
//!     date_time_original: Some(date(2026, 3, 4).at(14, 3, 20, 0)),
//!     ..Default::default()
//! })?;
//!
//! let meta = read_meta_bytes(&file)?;
//! let zone = jiff::tz::TimeZone::get("Europe/Berlin")?;
//! let taken = meta.taken.expect("has a time").resolve(&zone);
//!
//! // Someone photographed the wall clock: the camera is four minutes slow, within 2 s.
//! let clock = Clock::new(vec![SyncPoint {
//!     camera: "2026-03-04T12:00:00Z".parse()?,
//!     truth: "2026-03-04T12:04:00Z".parse()?,
//!     u_s: 2.0,
//! }])?;
//! let stages = [
//!     StageSpan::new("strip-down", "2026-03-04T12:00:00Z".parse()?, Some("2026-03-04T13:05:00Z".parse()?)),
//!     StageSpan::new("cut-out", "2026-03-04T13:05:00Z".parse()?, None),
//! ];
//! match tie(&clock.apply(&taken), &stages, None, UNCHECKED_CLOCK_U_S) {
//!     Tie::Certain { stage, .. } => assert_eq!(stage, "cut-out"),
//!     other => panic!("{other:?}"),
//! }
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

pub mod alike;
pub mod camera;
pub mod clock;
mod container;
pub mod cover;
pub mod gps;
pub mod identity;
pub mod kind;
pub mod meta;
pub mod numbering;
pub mod orientation;
mod pixels;
pub mod preview;
pub mod shown;
pub mod strip;
pub mod tie;
pub mod time;
pub mod timecode;
#[cfg(feature = "watch")]
pub mod watch;
pub mod whole;
pub mod write;
