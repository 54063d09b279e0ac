//! Shots of an invented workshop, and what becomes of them: copies by a messenger, and further
//! shots of the same thing by a hand that isn't quite still.
//!
//! A workshop is drawn from shapes at given depths, so that a step to the side shifts near ones
//! more than far ones, as it does in life.

use super::Rng;
use super::scene::uniform;

/// Pixels across of the shots, and of what messengers make of them.
pub const WIDTH: u32 = 800;
const MESSENGER: u32 = 640;
const SMALL_MESSENGER: u32 = 320;

/// One view of one workshop.
#[derive(Debug, Clone)]
pub struct Workshop {
    seed: u64,
    /// Where the camera is and how it is held: right, down (metres), nearer (share), roll
    /// (radians), and how bright it makes the picture.
    camera: [f64; 5],
    /// Someone or something that moved between two shots: along its path, 0 to 1.
    moved: f64,
}

struct Shape {
    middle: (f64, f64),
    size: (f64, f64),
    /// Sine and cosine of how it is turned.
    turn: (f64, f64),
    depth: f64,
    shades: [f64; 3],
    stripes: f64,
    is_round: bool,
    moves: (f64, f64),
}

impl Workshop {
    pub fn new(seed: u64) -> Workshop {
        Workshop {
            seed,
            camera: [0.0, 0.0, 0.0, 0.0, 1.0],
            moved: 0.0,
        }
    }

    /// The same workshop from a camera that moved.
    pub fn from(&self, camera: [f64; 5], moved: f64) -> Workshop {
        Workshop {
            camera,
            moved,
            ..self.clone()
        }
    }

    fn shapes(&self) -> Vec<Shape> {
        let mut rng = Rng(self.seed.wrapping_mul(0xA24B_AED4_963E_E407));
        let mut between = |from, to| uniform(&mut rng, from, to);
        let mut shapes: Vec<Shape> = (0..40)
            .map(|index| {
                let depth = between(1.0, 5.0);
                let base = between(20.0, 230.0);
                let large = between(0.05, 0.6) * if index < 8 { 2.0 } else { 1.0 };
                Shape {
                    middle: (between(-1.1, 1.1) * depth, between(-0.8, 0.8) * depth),
                    size: (large * between(0.3, 1.0), large * between(0.3, 1.0)),
                    turn: between(-0.4, 0.4).sin_cos(),
                    depth,
                    shades: [base, base * between(0.7, 1.0), base * between(0.6, 1.0)],
                    stripes: if between(0.0, 1.0) < 0.4 {
                        between(5.0, 40.0)
                    } else {
                        0.0
                    },
                    is_round: between(0.0, 1.0) < 0.3,
                    moves: if index == 30 {
                        (between(-1.5, 1.5), 0.2)
                    } else {
                        (0.0, 0.0)
                    },
                }
            })
            .collect();
        shapes.sort_by(|a, b| b.depth.total_cmp(&a.depth));
        shapes
    }

    /// Red, green and blue, `width` by three quarters of it.
    pub fn pixels(&self, width: u32) -> Vec<u8> {
        let height = width * 3 / 4;
        let shapes = self.shapes();
        let [right, down, nearer, roll, bright] = self.camera;
        let (sin, cos) = roll.sin_cos();
        let mut out = Vec::with_capacity((width * height * 3) as usize);
        let mut rng = Rng(self.seed ^ self.moved.to_bits() ^ right.to_bits());
        for y in 0..height {
            for x in 0..width {
                let scale = 2.0 / f64::from(width) / (1.0 + nearer);
                let px = (f64::from(x) - f64::from(width) / 2.0) * scale;
                let py = (f64::from(y) - f64::from(height) / 2.0) * scale;
                let (px, py) = (cos * px - sin * py, sin * px + cos * py);
                let mut color = [150.0 + 40.0 * px, 150.0 + 30.0 * py, 145.0];
                for shape in &shapes {
                    // Where this ray passes at the shape's depth.
                    let at = |p: f64, c: f64| p * shape.depth + c;
                    let dx = at(px, right) - shape.middle.0 - shape.moves.0 * self.moved;
                    let dy = at(py, down) - shape.middle.1 - shape.moves.1 * self.moved;
                    let (s, c) = shape.turn;
                    let (u, v) = (
                        (c * dx + s * dy) / shape.size.0,
                        (c * dy - s * dx) / shape.size.1,
                    );
                    let inside = match shape.is_round {
                        true => u * u + v * v < 1.0,
                        false => u.abs() < 1.0 && v.abs() < 1.0,
                    };
                    if inside {
                        let dark =
                            shape.stripes > 0.0 && (u * shape.stripes).floor() as i64 % 2 == 0;
                        let light = if dark { 0.6 } else { 1.0 - 0.2 * v };
                        color = shape.shades.map(|shade| shade * light);
                    }
                }
                for shade in color {
                    let noise = (rng.next() & 15) as f64 - 7.5;
                    out.push((shade * bright + noise).clamp(0.0, 255.0) as u8);
                }
            }
        }
        out
    }

    pub fn jpeg(&self, width: u32, quality: u8) -> Vec<u8> {
        super::jpeg_of(&self.pixels(width), width, width * 3 / 4, quality)
    }
}

/// What a copy, or another shot, differs by.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Variant {
    Reencoded,
    Messenger,
    SmallMessenger,
    Brightened,
    Cropped1,
    Cropped3,
    Captioned,
    BurstStill,
    BurstMoving,
    NextShot,
    Stepped,
    OtherPlace,
}

use Variant::*;

pub const VARIANTS: [Variant; 12] = [
    Reencoded,
    Messenger,
    SmallMessenger,
    Brightened,
    Cropped1,
    Cropped3,
    Captioned,
    BurstStill,
    BurstMoving,
    NextShot,
    Stepped,
    OtherPlace,
];

impl Variant {
    pub fn words(self) -> &'static str {
        match self {
            Reencoded => "same shot: encoded again at quality 40",
            Messenger => "same shot: 80 % of the size, then quality 60",
            SmallMessenger => "same shot: 40 % of the size, then quality 35",
            Brightened => "same shot: 12 % brighter, quality 70",
            Cropped1 => "same shot: 1 % cut off each side, 80 % of the size",
            Cropped3 => "same shot: 3 % cut off each side, 80 % of the size",
            Captioned => "same shot: a caption over the lowest tenth",
            BurstStill => "other shot: a burst, 3 mm and 0.2 degrees on, one thing moved",
            BurstMoving => "other shot: a burst, 2 cm and 0.7 degrees on, one thing moved",
            NextShot => "other shot: 6 cm and 2 degrees on",
            Stepped => "other shot: half a metre to the side",
            OtherPlace => "other shot: another place",
        }
    }

    pub fn is_same_shot(self) -> bool {
        matches!(
            self,
            Reencoded | Messenger | SmallMessenger | Brightened | Cropped1 | Cropped3 | Captioned
        )
    }

    /// The variant of a shot, as a file.
    pub fn of(self, shot: &Workshop) -> Vec<u8> {
        let mut rng = Rng(shot.seed ^ 0x5EED);
        let mut hand = |metres: f64, degrees: f64| {
            let side = |rng: &mut Rng| if rng.below(2) == 0 { 1.0 } else { -1.0 };
            let (a, b, c) = (side(&mut rng), side(&mut rng), side(&mut rng));
            [
                a * metres,
                b * metres * 0.7,
                metres * 0.1,
                c * degrees.to_radians(),
                1.01,
            ]
        };
        match self {
            Reencoded => shot.jpeg(WIDTH, 40),
            Messenger => resized(&shot.pixels(WIDTH), WIDTH, 0.0, MESSENGER, 60),
            SmallMessenger => resized(&shot.pixels(WIDTH), WIDTH, 0.0, SMALL_MESSENGER, 35),
            Brightened => shot.from([0.0, 0.0, 0.0, 0.0, 1.12], 0.0).jpeg(WIDTH, 70),
            Cropped1 => resized(&shot.pixels(WIDTH), WIDTH, 0.01, MESSENGER, 60),
            Cropped3 => resized(&shot.pixels(WIDTH), WIDTH, 0.03, MESSENGER, 60),
            Captioned => {
                let mut rgb = shot.pixels(WIDTH);
                let from = rgb.len() * 9 / 10;
                for (index, value) in rgb[from..].iter_mut().enumerate() {
                    *value = if index / 90 % 7 == 0 { 20 } else { 235 };
                }
                super::jpeg_of(&rgb, WIDTH, WIDTH * 3 / 4, 70)
            }
            BurstStill => shot.from(hand(0.003, 0.2), 0.3).jpeg(WIDTH, 92),
            BurstMoving => shot.from(hand(0.02, 0.7), 0.6).jpeg(WIDTH, 92),
            NextShot => shot.from(hand(0.06, 2.0), 0.0).jpeg(WIDTH, 92),
            Stepped => shot.from(hand(0.5, 3.0), 0.0).jpeg(WIDTH, 92),
            OtherPlace => Workshop::new(shot.seed + 500_000).jpeg(WIDTH, 92),
        }
    }
}

/// A part of a picture (a share cut off on each side) at another width, as a JPEG.
fn resized(rgb: &[u8], width: u32, cut: f64, to: u32, quality: u8) -> Vec<u8> {
    let picture = image::RgbImage::from_raw(width, width * 3 / 4, rgb.to_vec()).expect("fits");
    let (w, h) = (f64::from(picture.width()), f64::from(picture.height()));
    let part = image::imageops::crop_imm(
        &picture,
        (w * cut) as u32,
        (h * cut) as u32,
        (w * (1.0 - 2.0 * cut)) as u32,
        (h * (1.0 - 2.0 * cut)) as u32,
    );
    let part = part.to_image();
    let small =
        image::imageops::resize(&part, to, to * 3 / 4, image::imageops::FilterType::Triangle);
    super::jpeg_of(small.as_raw(), to, to * 3 / 4, quality)
}
