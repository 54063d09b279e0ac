//! Finding a time code in a photograph.
//!
//! Two readers, because each finds what the other misses: quircs (a port of quirc) is fast,
//! rxing (a port of ZXing) patient. Each looks at several sizes: a small one is quick, and
//! averages away blur and noise; a large one sees a code that is small in the frame. The
//! ladder below was ordered by what each rung found in rendered scenes, and the rates on
//! other scenes are in `rates.md`.
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

impl Found {
    fn in_picture(code: TimeCode, picture: &Pixels, step: usize) -> Found {
        Found {
            code,
            long_side: long_side(picture),
            step,
        }
    }
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

/// Looks for a time code in a photograph, with all steps: where a person says that there is one.
/// The first that says a time is taken, `None` where there is none. Other QR codes in the picture
/// are passed over. (What every photograph that comes in is looked through with is
/// [`mod@crate::shown`].)
///
/// # Errors
/// Where the picture can't be decoded.
pub fn find(bytes: &[u8]) -> Result<Option<Found>, PixelsError> {
    let meta = read_meta_bytes(bytes)?;
    let grey = |long_side| grey(bytes, meta.kind, meta.orientation, long_side);
    let mut seen: Vec<(u32, Light, Pixels)> = Vec::new();
    for (step, (long_side, light, with)) in LADDER.into_iter().enumerate() {
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
            return Ok(Some(Found::in_picture(code, picture, step)));
        }
    }
    Ok(None)
}

/// A turned code is read as well as an upright one, but a mirrored one isn't.
fn grey(
    bytes: &[u8],
    kind: Kind,
    orientation: Orientation,
    long_side: u32,
) -> Result<Pixels, PixelsError> {
    let picture = pixels::decode(bytes, kind, long_side)?;
    Ok(picture.grey().shrunk(long_side)?.turned(orientation))
}

/// The longer side, in pixels, of a picture to glance at; more is no hindrance.
pub(crate) const GLANCE: u32 = 800;

/// The sizes in which [`glance`] looks closer.
const CLOSER: [u32; 2] = [1600, GLANCE];

/// A quick look into a picture that was decoded for other ends too, to [`GLANCE`] or more where the
/// file has as much. Only where something looks like a corner of a QR code is it looked at again,
/// larger and smaller: most photographs show none.
pub(crate) fn glance(
    bytes: &[u8],
    kind: Kind,
    orientation: Orientation,
    picture: &Pixels,
) -> Result<Option<Found>, PixelsError> {
    // Only JPEG is decoded small.
    let whole = picture.grey();
    let here = whole
        .smaller(long_side(&whole).min(CLOSER[0]))?
        .unmirrored(orientation);
    let (texts, corners) = quircs(&here);
    if let Some(code) = first_code(&texts) {
        return Ok(Some(Found::in_picture(code, &here, 0)));
    }
    if corners == 0 {
        return Ok(None);
    }
    for (step, side) in CLOSER.into_iter().enumerate() {
        let closer = match long_side(&whole) >= side {
            true => whole.smaller(side)?.unmirrored(orientation),
            false => grey(bytes, kind, orientation, side)?,
        };
        if let Some(code) = look(&closer, Quircs) {
            return Ok(Some(Found::in_picture(code, &closer, step + 1)));
        }
    }
    Ok(None)
}

fn long_side(picture: &Pixels) -> u32 {
    picture.size.width.max(picture.size.height)
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
    match with {
        Quircs => first_code(&quircs(grey).0),
        Rxing => {
            let text = catch_unwind(AssertUnwindSafe(|| rxing_text(grey)));
            TimeCode::parse(&text.ok()??).ok()
        }
    }
}

fn first_code(texts: &[String]) -> Option<TimeCode> {
    texts.iter().find_map(|text| TimeCode::parse(text).ok())
}

/// The codes' texts, and how many things look like a corner of one.
fn quircs(grey: &Pixels) -> (Vec<String>, usize) {
    let (width, height) = (grey.size.width as usize, grey.size.height as usize);
    let read = || {
        let mut reader = quircs::Quirc::default();
        let codes = reader.identify(width, height, &grey.data);
        let texts = codes
            .filter_map(|code| code.ok()?.decode().ok())
            .filter_map(|data| String::from_utf8(data.payload).ok())
            .collect();
        (texts, reader.num_capstones())
    };
    // What upset the reader may be a code: it is looked at in other sizes too.
    catch_unwind(AssertUnwindSafe(read)).unwrap_or((Vec::new(), 1))
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
