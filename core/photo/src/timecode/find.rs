//! Finding a time code in a photograph.
//!
//! Two readers, because each finds what the other misses: quircs (a port of quirc) is fast,
//! rxing (a port of ZXing) patient. Each looks at several sizes: a small one is quick, and
//! averages away blur and noise; a large one sees a code that is small in the frame. The
//! ladder below was ordered by what each rung found in rendered scenes, and the rates on
//! other scenes are printed by `cargo run --release --example timecode_rate`.
//!
//! Both readers are other people's work on bytes from anywhere: a panic in one counts as
//! "nothing found".

use std::panic::{AssertUnwindSafe, catch_unwind};

use rxing::common::HybridBinarizer;
use rxing::qrcode::QRCodeReader;
use rxing::{BinaryBitmap, DecodeHints, Luma8Source, Reader as _};

use super::TimeCode;
use crate::kind::Kind;
use crate::meta::read_meta_bytes;
use crate::orientation::Orientation;
use crate::pixels::{self, Pixels, PixelsError};

/// A time code in a photograph.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Found {
    /// What it says.
    pub code: TimeCode,
    /// The longer side, in pixels, of the picture in which it was found.
    pub long_side: u32,
    /// Which step of the search found it, counted from zero.
    pub step: usize,
}

/// What is done to the picture before a reader sees it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Light {
    /// Nothing.
    AsIs,
    /// Brightness and contrast made the same everywhere: see [`evened`].
    Evened,
    /// The same, and then [`sharpened`].
    Sharpened,
}

#[derive(Debug, Clone, Copy)]
enum With {
    Quircs,
    Rxing,
}

use Light::{AsIs, Evened, Sharpened};
use With::{Quircs, Rxing};

/// Where to look, in this order.
const LADDER: [(u32, Light, With); 9] = [
    (1600, AsIs, Quircs),
    (800, AsIs, Quircs),
    (1600, Evened, Quircs),
    (800, Sharpened, Quircs),
    (3200, AsIs, Quircs),
    (3200, Evened, Quircs),
    (1600, Sharpened, Quircs),
    (800, Sharpened, Rxing),
    (1600, AsIs, Rxing),
];

/// Flat areas hold only noise, which must not be blown up; of 255.
const LEAST_SCATTER: f64 = 10.0;

/// How far pixels are moved away from the mean around them.
const SHARPEN: f64 = 2.0;

/// How long to look.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Effort {
    /// The two quickest steps, which find a code that was photographed with some care: for
    /// every photograph that comes in.
    Quick,
    /// All steps: where a person says that there is a code.
    Thorough,
}

/// How many steps [`Effort::Quick`] takes.
const QUICK_STEPS: usize = 2;

/// The largest picture that [`Effort::Quick`] looks at.
pub(crate) const QUICK_LONG_SIDE: u32 = LADDER[0].0;

/// Looks for a time code in a photograph; the first that says a time is taken, `None` where
/// there is none. Other QR codes in the picture are passed over.
///
/// # Errors
/// Where the picture can't be decoded.
pub fn find(bytes: &[u8], effort: Effort) -> Result<Option<Found>, PixelsError> {
    let meta = read_meta_bytes(bytes)?;
    find_as(bytes, meta.kind, meta.orientation, effort)
}

/// [`find`] for a caller who has read the file's [`crate::meta::Meta`] already. A turned code
/// is read as well as an upright one, but a mirrored one isn't, so the picture is turned.
///
/// # Errors
/// As [`find`].
pub fn find_as(
    bytes: &[u8],
    kind: Kind,
    orientation: Orientation,
    effort: Effort,
) -> Result<Option<Found>, PixelsError> {
    let steps = match effort {
        Effort::Quick => QUICK_STEPS,
        Effort::Thorough => LADDER.len(),
    };
    climb(steps, |long_side| {
        let picture = pixels::decode(bytes, kind, long_side)?;
        Ok(picture.grey().shrunk(long_side)?.turned(orientation))
    })
}

/// [`Effort::Quick`] in a picture that was decoded for other ends too, to [`QUICK_LONG_SIDE`]
/// or more where the file has as much.
pub(crate) fn find_in(
    picture: &Pixels,
    orientation: Orientation,
) -> Result<Option<Found>, PixelsError> {
    let grey = picture.grey();
    climb(QUICK_STEPS, |long_side| {
        Ok(grey.smaller(long_side)?.turned(orientation))
    })
}

/// Takes the first `steps` of the ladder; `grey` gives the upright grey picture of a size.
fn climb(
    steps: usize,
    grey: impl Fn(u32) -> Result<Pixels, PixelsError>,
) -> Result<Option<Found>, PixelsError> {
    let mut seen: Vec<(u32, Light, Pixels)> = Vec::new();
    for (step, (long_side, light, with)) in LADDER.into_iter().take(steps).enumerate() {
        let made = |l| {
            let is_it = |(side, of, _): &&(u32, Light, Pixels)| (*side, *of) == (long_side, l);
            seen.iter().find(is_it).map(|(_, _, picture)| picture)
        };
        if made(light).is_none() {
            let picture = match (light, made(AsIs)) {
                (Evened, Some(plain)) => evened(plain),
                (Sharpened, Some(plain)) => sharpened(&evened(plain)),
                _ => grey(long_side)?,
            };
            seen.push((long_side, light, picture));
        }
        let known = seen
            .iter()
            .find(|(side, of, _)| (*side, *of) == (long_side, light));
        let Some((_, _, picture)) = known else {
            continue;
        };
        if let Some(code) = look(picture, with) {
            return Ok(Some(Found {
                code,
                long_side: picture.size.width.max(picture.size.height),
                step,
            }));
        }
    }
    Ok(None)
}

/// The picture with its local mean brought to the middle and its local scatter to the same
/// width: a code in the glare of a lamp, or dim before a bright wall, then looks like any
/// other. Wallis's filter (1976), from memory.
fn evened(picture: &Pixels) -> Pixels {
    let (width, height) = (picture.size.width as usize, picture.size.height as usize);
    let sums = Sums::of(picture);
    let half = (width.max(height) / 24).max(4);
    picture.with_each(|x, y, value| {
        let (mean, scatter) = sums.around(x, y, half);
        128.0 + 60.0 * (value - mean) / scatter.max(LEAST_SCATTER)
    })
}

/// The picture with its edges steepened, against blur: each pixel is moved away from the mean
/// around it (unsharp masking).
fn sharpened(picture: &Pixels) -> Pixels {
    let (width, height) = (picture.size.width as usize, picture.size.height as usize);
    let sums = Sums::of(picture);
    let half = (width.max(height) / 160).max(2);
    picture.with_each(|x, y, value| value + SHARPEN * (value - sums.around(x, y, half).0))
}

/// Running sums of a grey picture (Crow 1984): mean and scatter of any window at once.
struct Sums {
    width: usize,
    height: usize,
    /// Sum and sum of squares of all pixels above and to the left.
    sums: Vec<(u64, u64)>,
}

impl Sums {
    fn of(picture: &Pixels) -> Sums {
        let (width, height) = (picture.size.width as usize, picture.size.height as usize);
        let row = width + 1;
        let mut sums = vec![(0u64, 0u64); row * (height + 1)];
        for (y, line) in picture.data.chunks_exact(width).enumerate() {
            let mut along = (0, 0);
            for (x, value) in line.iter().enumerate() {
                let value = u64::from(*value);
                along = (along.0 + value, along.1 + value * value);
                let above = sums[y * row + x + 1];
                sums[(y + 1) * row + x + 1] = (above.0 + along.0, above.1 + along.1);
            }
        }
        Sums {
            width,
            height,
            sums,
        }
    }

    /// Mean and standard deviation within `half` pixels of (x, y), which lies in the picture.
    fn around(&self, x: usize, y: usize, half: usize) -> (f64, f64) {
        let (left, right) = (x.saturating_sub(half), (x + half + 1).min(self.width));
        let (top, bottom) = (y.saturating_sub(half), (y + half + 1).min(self.height));
        let at = |x: usize, y: usize| self.sums[y * (self.width + 1) + x];
        let (a, b, c, d) = (
            at(left, top),
            at(right, top),
            at(left, bottom),
            at(right, bottom),
        );
        let count = ((right - left) * (bottom - top)) as f64;
        let mean = (d.0 + a.0 - b.0 - c.0) as f64 / count;
        let variance = (d.1 + a.1 - b.1 - c.1) as f64 / count - mean * mean;
        (mean, variance.max(0.0).sqrt())
    }
}

fn look(grey: &Pixels, with: With) -> Option<TimeCode> {
    let texts = catch_unwind(AssertUnwindSafe(|| match with {
        Quircs => quircs_texts(grey),
        Rxing => rxing_text(grey).into_iter().collect(),
    }));
    let texts = texts.unwrap_or_default();
    texts.iter().find_map(|text| TimeCode::parse(text).ok())
}

fn quircs_texts(grey: &Pixels) -> Vec<String> {
    let (width, height) = (grey.size.width as usize, grey.size.height as usize);
    let mut reader = quircs::Quirc::default();
    let codes = reader.identify(width, height, &grey.data);
    codes
        .filter_map(|code| code.ok()?.decode().ok())
        .filter_map(|data| String::from_utf8(data.payload).ok())
        .collect()
}

fn rxing_text(grey: &Pixels) -> Option<String> {
    let source = Luma8Source::new_with_slice(&grey.data, grey.size.width, grey.size.height).ok()?;
    let mut bitmap = BinaryBitmap::new(HybridBinarizer::new(source));
    let hints = DecodeHints {
        TryHarder: Some(true),
        ..DecodeHints::default()
    };
    let result = QRCodeReader.decode_with_hints(&mut bitmap, &hints).ok()?;
    Some(result.getText().to_owned())
}
