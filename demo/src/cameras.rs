//! Two cameras, and the photographs they took.
//!
//! The phone's clock is right and its files say so: hundredths of a second and the offset from
//! UTC. The pocket camera's clock was never put forward in spring and has lost seven minutes
//! since; its files carry whole seconds and no offset, so nothing in them tells. What tells is its
//! photograph of the clock on the shop's wall: whoever looks at it reads the true time.

use jiff::civil::DateTime;
use jiff::tz::Offset;
use jiff::{SignedDuration, Timestamp};
use thiserror::Error;

use datumtrail_photo::write::{ExifFields, WriteError, with_exif};

use crate::plan::OFFSET;
use crate::scene::motifs::Eye;
use crate::scene::render::Picture;
use crate::scene::{Motif, draw};

pub use crate::roll::photos;

/// Width of the story's photographs in pixels; their height is three quarters of it.
pub const WIDTH: usize = 1024;

const JPEG_QUALITY: u8 = 85;

/// An invented camera.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Camera {
    pub make: &'static str,
    pub model: &'static str,
    /// Phones write none.
    pub serial: Option<&'static str>,
    /// What to add to its clock to get the true time.
    pub behind: SignedDuration,
    /// The offset it writes beside its time, if it writes one.
    pub offset: Option<Offset>,
    /// Whether it writes fractions of a second.
    pub sub_second: bool,
    eye: Eye,
}

/// The phone: right.
pub const PHONE: Camera = Camera {
    make: "Lumarek",
    model: "Fennel 7",
    serial: None,
    behind: SignedDuration::ZERO,
    offset: Some(OFFSET),
    sub_second: true,
    eye: Eye::Phone,
};

/// The pocket camera: 1 h 07 min 12 s slow, and silent about it.
pub const POCKET: Camera = Camera {
    make: "Wrenfield",
    model: "Pocket C12",
    serial: Some("WC12-58840"),
    behind: SignedDuration::from_secs(3600 + 7 * 60 + 12),
    offset: None,
    sub_second: false,
    eye: Eye::Pocket,
};

impl Camera {
    /// What the camera's clock showed at a true time.
    pub fn clock(&self, truth: Timestamp) -> DateTime {
        OFFSET.to_datetime(truth.saturating_sub(self.behind).unwrap_or(truth))
    }
}

/// Why a photograph could not be made.
#[derive(Debug, Error)]
pub enum PhotoError {
    #[error("the demo's picture {file} could not be encoded as JPEG")]
    Jpeg {
        file: String,
        #[source]
        source: jpeg_encoder::EncodingError,
    },
    #[error("the demo's picture {file} could not be given its Exif data")]
    Exif {
        file: String,
        #[source]
        source: WriteError,
    },
}

/// A photograph of the story.
#[derive(Clone, Debug, PartialEq)]
pub struct DemoPhoto {
    /// As the camera named it, in its own numbering.
    pub file_name: String,
    pub camera: &'static Camera,
    /// When the shutter was really pressed.
    pub true_time: Timestamp,
    /// The stage that was open then.
    pub stage: &'static str,
    /// What is to be seen, for whoever writes about the story; not in the file.
    pub caption: &'static str,
    pub motif: Motif,
    /// The camera was held upright: stored lying, with an Exif orientation to turn it.
    pub upright: bool,
    pub(crate) seed: u32,
}

impl DemoPhoto {
    /// Draws the photograph and writes what its camera would: the file's bytes. The same photo
    /// gives the same bytes every time.
    ///
    /// # Errors
    /// [`PhotoError`] if an encoder refuses, which no photograph of [`photos`] makes it do.
    pub fn jpeg(&self) -> Result<Vec<u8>, PhotoError> {
        self.jpeg_of_width(WIDTH)
    }

    /// The same, smaller or larger.
    ///
    /// # Errors
    /// As [`DemoPhoto::jpeg`].
    pub fn jpeg_of_width(&self, width: usize) -> Result<Vec<u8>, PhotoError> {
        let (w, h) = if self.upright {
            (width * 3 / 4, width)
        } else {
            (width, width * 3 / 4)
        };
        let mut picture = draw(self.motif, self.camera.eye, (w, h), self.seed);
        if self.upright {
            picture = turned_left(&picture);
        }
        let mut jpeg = Vec::new();
        let size = |n: usize| u16::try_from(n).unwrap_or(u16::MAX);
        jpeg_encoder::Encoder::new(&mut jpeg, JPEG_QUALITY)
            .encode(
                &picture.rgb,
                size(picture.width),
                size(picture.height),
                jpeg_encoder::ColorType::Rgb,
            )
            .map_err(|source| PhotoError::Jpeg {
                file: self.file_name.clone(),
                source,
            })?;
        with_exif(&jpeg, &self.exif()).map_err(|source| PhotoError::Exif {
            file: self.file_name.clone(),
            source,
        })
    }

    /// What the camera writes into the file.
    pub fn exif(&self) -> ExifFields {
        let shown = self.camera.clock(self.true_time);
        let whole = shown.with().subsec_nanosecond(0).build().unwrap_or(shown);
        ExifFields {
            date_time_original: Some(whole),
            date_time_digitized: Some(whole),
            date_time: Some(whole),
            sub_sec: self
                .camera
                .sub_second
                .then(|| format!("{:03}", shown.millisecond())),
            offset: self.camera.offset,
            make: Some(self.camera.make.into()),
            model: Some(self.camera.model.into()),
            body_serial: self.camera.serial.map(String::from),
            orientation: Some(if self.upright { 6 } else { 1 }),
            ..ExifFields::default()
        }
    }
}

/// Turns a picture a quarter to the left, as an upright camera's sensor stores it; Exif
/// orientation 6 turns it back.
fn turned_left(picture: &Picture) -> Picture {
    let (w, h) = (picture.width, picture.height);
    let mut rgb = Vec::with_capacity(picture.rgb.len());
    for y in 0..w {
        for x in 0..h {
            let from = (x * w + (w - 1 - y)) * 3;
            rgb.extend(picture.rgb.get(from..from + 3).unwrap_or(&[0, 0, 0]));
        }
    }
    Picture {
        width: h,
        height: w,
        rgb,
    }
}

/// The photograph of the shop's clock: with it the pocket camera's clock is put right.
pub fn clock_photo() -> Option<DemoPhoto> {
    photos()
        .into_iter()
        .find(|p| matches!(p.motif, Motif::ShopClock { .. }))
}

#[cfg(test)]
mod tests {
    use std::sync::OnceLock;

    use datumtrail_photo::meta::read_meta_bytes;

    use super::*;
    use crate::plan::stages;

    #[test]
    fn every_photo_was_taken_while_its_stage_was_open() {
        let stages = stages();
        for photo in photos() {
            let stage = stages
                .iter()
                .find(|s| s.key == photo.stage)
                .expect("a stage");
            assert!(
                stage.opened <= photo.true_time && photo.true_time <= stage.closed,
                "{}",
                photo.file_name
            );
        }
        assert!(photos().windows(2).all(|w| w[0].true_time < w[1].true_time));
    }

    #[test]
    fn uncorrected_the_pocket_camera_s_photos_fall_into_wrong_stages() {
        let stages = stages();
        let astray = photos()
            .iter()
            .filter(|p| p.camera == &POCKET)
            .filter(|p| {
                let believed = OFFSET
                    .to_timestamp(p.camera.clock(p.true_time))
                    .expect("in range");
                let open = stages
                    .iter()
                    .find(|s| s.opened <= believed && believed <= s.closed);
                open.is_none_or(|s| s.key != p.stage)
            })
            .count();
        assert!(astray >= 5, "{astray}");
    }

    #[test]
    fn one_photo_lies_near_a_border() {
        let near = photos()
            .iter()
            .filter(|p| {
                stages().iter().any(|s| {
                    [s.opened, s.closed].iter().any(|b| {
                        b.duration_until(p.true_time).abs() <= SignedDuration::from_secs(5)
                    })
                })
            })
            .count();
        assert_eq!(near, 1);
    }

    #[test]
    fn the_clock_shows_the_true_time() {
        let photo = clock_photo().expect("in the story");
        assert_eq!(photo.camera, &POCKET);
        let Motif::ShopClock {
            hour,
            minute,
            second,
        } = photo.motif
        else {
            panic!("{:?}", photo.motif)
        };
        let shown = OFFSET.to_datetime(photo.true_time);
        assert_eq!(
            (
                i8::try_from(hour),
                i8::try_from(minute),
                i8::try_from(second)
            ),
            (Ok(shown.hour()), Ok(shown.minute()), Ok(shown.second()))
        );
        let camera = POCKET.clock(photo.true_time);
        assert_eq!(camera.to_string(), "2026-05-12T07:24:08");
    }

    /// All photographs, small, drawn once for all tests.
    fn small() -> &'static [Vec<u8>] {
        static SMALL: OnceLock<Vec<Vec<u8>>> = OnceLock::new();
        SMALL.get_or_init(|| {
            photos()
                .iter()
                .map(|p| p.jpeg_of_width(96).expect("drawn"))
                .collect()
        })
    }

    #[test]
    fn the_files_say_what_their_cameras_would() {
        for (photo, bytes) in photos().iter().zip(small()) {
            let meta = read_meta_bytes(bytes).expect("a picture");
            assert_eq!(meta.camera.make.as_deref(), Some(photo.camera.make));
            assert_eq!(meta.camera.model.as_deref(), Some(photo.camera.model));
            assert_eq!(meta.camera.serial.as_deref(), photo.camera.serial);
            let taken = meta.taken.expect("a time");
            assert_eq!(taken.offset, photo.camera.offset);
            assert_eq!(
                taken.sub_sec_digits,
                if photo.camera.sub_second { 3 } else { 0 }
            );
            let shown = OFFSET.to_timestamp(taken.civil).expect("in range");
            let lag = shown.duration_until(photo.true_time);
            assert_eq!(lag, photo.camera.behind, "{}", photo.file_name);
            assert!(
                meta.warnings.is_empty() && meta.time_notes.is_empty(),
                "{meta:?}"
            );
            let size = meta.upright_size().expect("a size");
            assert_eq!(size.height > size.width, photo.upright);
        }
    }

    #[test]
    fn the_same_photo_is_drawn_every_time_and_no_two_are_alike() {
        for k in [0, 2, 5, 19] {
            let photo = &photos()[k];
            assert_eq!(
                photo.jpeg_of_width(96).expect("drawn"),
                small()[k],
                "{}",
                photo.file_name
            );
        }
        for (i, a) in small().iter().enumerate() {
            assert!(
                small().iter().skip(i + 1).all(|b| a != b),
                "photo {i} is there twice"
            );
        }
    }

    /// A picture that failed to draw would be dark, blank or all noise.
    #[test]
    fn pictures_have_light_and_shade() {
        for photo in photos() {
            let picture = draw(photo.motif, photo.camera.eye, (96, 72), photo.seed);
            let n = picture.rgb.len() as f64;
            let mean = picture.rgb.iter().map(|&b| f64::from(b)).sum::<f64>() / n;
            let spread = (picture
                .rgb
                .iter()
                .map(|&b| (f64::from(b) - mean).powi(2))
                .sum::<f64>()
                / n)
                .sqrt();
            assert!(
                (40.0..190.0).contains(&mean),
                "{:?}: mean {mean}",
                photo.motif
            );
            assert!(
                (25.0..100.0).contains(&spread),
                "{:?}: spread {spread}",
                photo.motif
            );
        }
    }

    #[test]
    fn file_names_are_unique_and_count_up() {
        let names: Vec<String> = photos().into_iter().map(|p| p.file_name).collect();
        let mut sorted = names.clone();
        sorted.sort();
        sorted.dedup();
        assert_eq!(sorted.len(), names.len());
        assert!(names.iter().any(|n| n == "IMG_20260512_081204_318.jpg"));
        assert!(names.iter().any(|n| n == "P1030412.JPG"));
    }
}
