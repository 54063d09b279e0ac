//! Photographs of a time code, rendered: a flat code in a room, seen through a camera.
//!
//! A scene is drawn point by point: for each pixel of the picture the ray through it meets the
//! plane of the code (perspective, so a tilted code is a trapezium), four rays a pixel. Then
//! come the camera's faults in the order in which a camera makes them: blur, glare, noise,
//! JPEG, and the turn that only Exif knows about.

use datumtrail_photo::orientation::Orientation;
use datumtrail_photo::timecode::{Modules, QUIET, TimeCode};
use datumtrail_photo::write::{ExifFields, with_exif};

use super::Rng;

/// What the code is shown on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Shown {
    /// Ink on white paper, or a page on a good screen.
    Flat,
    /// A terminal: cells that aren't quite twice as high as wide, a thin seam between lines,
    /// and a dark window around the light border.
    Terminal,
}

/// What stands around the code.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Room {
    /// A wall, brighter towards one side.
    Plain,
    /// A bench with boxes, stripes and lettering-like marks, some of them finely chequered.
    Cluttered,
}

/// One photograph to render.
#[derive(Debug, Clone, Copy)]
pub struct Scene {
    /// Pixels across and down, seen upright.
    pub size: (u32, u32),
    pub shown: Shown,
    pub room: Room,
    /// Side of the code with its border, as a share of the picture's shorter side.
    pub share: f64,
    /// How the code is turned about its upright and level axes, and in its plane; degrees.
    pub yaw: f64,
    pub pitch: f64,
    pub roll: f64,
    /// Standard deviation of the defocus, in modules of the code.
    pub blur: f64,
    /// Length of a shake, in modules, along a random direction.
    pub shake: f64,
    /// How much light a lamp's reflection adds at its middle, 255 being full white, and the
    /// share of the code's side at which it has fallen to a half.
    pub glare: (f64, f64),
    /// Standard deviation of the noise of each pixel, of 255.
    pub noise: f64,
    /// Brightness of the code's dark and light squares.
    pub levels: (f64, f64),
    pub quality: u8,
    pub orientation: u16,
    pub seed: u64,
}

impl Scene {
    /// A sharp, straight, well lit code; the tests make it worse in one way or in many.
    pub fn plain(seed: u64) -> Scene {
        Scene {
            size: (2000, 1500),
            shown: Shown::Flat,
            room: Room::Plain,
            share: 0.35,
            yaw: 0.0,
            pitch: 0.0,
            roll: 0.0,
            blur: 0.0,
            shake: 0.0,
            glare: (0.0, 1.0),
            noise: 3.0,
            levels: (25.0, 225.0),
            quality: 88,
            orientation: 1,
            seed,
        }
    }

    /// Twelve megapixels of a cluttered bench.
    pub fn bench(seed: u64) -> Scene {
        Scene {
            size: (4000, 3000),
            room: Room::Cluttered,
            ..Scene::plain(seed)
        }
    }

    /// The photograph as a camera's file, without a code where none is given.
    pub fn photograph(&self, code: Option<&TimeCode>) -> Vec<u8> {
        let (width, height) = self.size;
        let mut rng = Rng(self.seed);
        let modules = code.map(TimeCode::modules);
        let squares = modules.as_ref().map_or(1.0, squares);
        let module_px = self.share * f64::from(width.min(height)) / squares;
        let mut picture = self.draw(modules.as_ref(), &mut rng);
        let radius = self.blur * module_px;
        blur(&mut picture, width as usize, radius);
        let angle = uniform(&mut rng, 0.0, std::f64::consts::TAU);
        let reach = self.shake * module_px;
        shake(
            &mut picture,
            width as usize,
            reach * angle.cos(),
            reach * angle.sin(),
        );
        self.light(&mut picture, &mut rng);

        let orientation = Orientation::from_exif(self.orientation).expect("1 to 8");
        let (width, height) = orientation.upright_size(width, height);
        let grey = stored(&picture, orientation, width as usize, height as usize);
        let mut jpeg = Vec::new();
        jpeg_encoder::Encoder::new(&mut jpeg, self.quality)
            .encode(
                &grey,
                width as u16,
                height as u16,
                jpeg_encoder::ColorType::Luma,
            )
            .expect("encodes");
        let fields = ExifFields {
            orientation: Some(self.orientation),
            ..Default::default()
        };
        with_exif(&jpeg, &fields).expect("takes Exif")
    }

    fn draw(&self, modules: Option<&Modules>, rng: &mut Rng) -> Vec<f32> {
        let (width, height) = (f64::from(self.size.0), f64::from(self.size.1));
        let room = Furniture::new(self.room, rng);
        // Distances in sides of the code; a phone's lens sees some 70 degrees across.
        let focal = width.max(height) * 0.72;
        let distance = focal / (self.share * width.min(height));
        let off = |rng: &mut Rng, side: f64| {
            uniform(rng, -0.5, 0.5) * (side - self.share * width.min(height) * 1.25).max(0.0)
        };
        let centre = [
            off(rng, width) / focal * distance,
            off(rng, height) / focal * distance,
            distance,
        ];
        let axes = axes(self.yaw, self.pitch, self.roll);
        let aspect = match self.shown {
            Shown::Flat => 1.0,
            Shown::Terminal => uniform(rng, 0.9, 1.1),
        };
        let mut out = Vec::with_capacity((width * height) as usize);
        for y in 0..self.size.1 {
            for x in 0..self.size.0 {
                let mut sum = 0.0;
                for (dx, dy) in [(0.25, 0.25), (0.75, 0.25), (0.25, 0.75), (0.75, 0.75)] {
                    let ray = [
                        (f64::from(x) + dx - width / 2.0) / focal,
                        (f64::from(y) + dy - height / 2.0) / focal,
                        1.0,
                    ];
                    let (u, v) = on_plane(ray, centre, &axes);
                    let seen = modules.and_then(|m| self.code_at(m, u, v * aspect));
                    sum += seen.unwrap_or_else(|| room.at(ray[0], ray[1]));
                }
                out.push((sum / 4.0) as f32);
            }
        }
        out
    }

    /// The brightness of the code's plane at (u, v), in sides of the code from its middle;
    /// `None` beside it.
    fn code_at(&self, modules: &Modules, u: f64, v: f64) -> Option<f64> {
        let (dark, light) = self.levels;
        let squares = squares(modules);
        let (x, y) = ((u + 0.5) * squares, (v + 0.5) * squares);
        if self.shown == Shown::Terminal {
            let margin = 0.2 * squares;
            let window = -margin..squares + margin;
            if !(window.contains(&x) && window.contains(&y)) {
                return None;
            }
            let inside = 0.0..squares;
            // The window's ground, and the seam below each line of two rows.
            let seam = (y / 2.0).fract() > 0.975;
            if !(inside.contains(&x) && inside.contains(&y)) || seam {
                return Some(dark + 0.06 * (light - dark));
            }
        } else if !(0.0..squares).contains(&x) || !(0.0..squares).contains(&y) {
            return None;
        }
        let column = (x as usize).checked_sub(QUIET);
        let row = (y as usize).checked_sub(QUIET);
        let is_dark = column.zip(row).is_some_and(|(c, r)| modules.is_dark(c, r));
        Some(if is_dark { dark } else { light })
    }

    fn light(&self, picture: &mut [f32], rng: &mut Rng) {
        let (width, height) = (f64::from(self.size.0), f64::from(self.size.1));
        let side = self.share * width.min(height);
        let (bright, share) = self.glare;
        let (cx, cy) = (
            width / 2.0 + uniform(rng, -0.3, 0.3) * side,
            height / 2.0 + uniform(rng, -0.3, 0.3) * side,
        );
        let reach = (share * side).max(1.0);
        for (index, value) in picture.iter_mut().enumerate() {
            let (x, y) = (index % self.size.0 as usize, index / self.size.0 as usize);
            let away = ((x as f64 - cx).hypot(y as f64 - cy) / reach).powi(2);
            // Four uniform numbers make a good enough bell.
            let noise: f64 = (0..4).map(|_| uniform(rng, -1.0, 1.0)).sum::<f64>() * 0.866;
            *value += (bright * (-away * 0.693).exp() + noise * self.noise) as f32;
        }
    }
}

/// An upright picture as a camera stores it that was held as Exif's orientation says: pixel
/// (x, y) of the stored `width` by `height` picture is the upright one's at the place that
/// Exif 2.32 gives for row 0 and column 0.
fn stored(upright: &[f32], orientation: Orientation, width: usize, height: usize) -> Vec<u8> {
    let row_len = orientation.upright_size(width as u32, height as u32).0 as usize;
    let mut out = Vec::with_capacity(width * height);
    for y in 0..height {
        for x in 0..width {
            let (right, down) = (width - 1 - x, height - 1 - y);
            let (ux, uy) = match orientation.to_exif() {
                1 => (x, y),
                2 => (right, y),
                3 => (right, down),
                4 => (x, down),
                5 => (y, x),
                6 => (down, x),
                7 => (down, right),
                _ => (y, right),
            };
            out.push(upright[uy * row_len + ux].clamp(0.0, 255.0) as u8);
        }
    }
    out
}

/// Squares a side, with the border.
fn squares(modules: &Modules) -> f64 {
    (modules.side() + 2 * QUIET) as f64
}

pub fn uniform(rng: &mut Rng, from: f64, to: f64) -> f64 {
    from + (to - from) * ((rng.next() >> 11) as f64 / (1u64 << 53) as f64)
}

type Vector = [f64; 3];

fn dot(a: Vector, b: Vector) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// The code's own axes: to its right, down, and away from the viewer.
fn axes(yaw: f64, pitch: f64, roll: f64) -> [Vector; 3] {
    let (sy, cy) = yaw.to_radians().sin_cos();
    let (sp, cp) = pitch.to_radians().sin_cos();
    let (sr, cr) = roll.to_radians().sin_cos();
    let turn = |[x, y, z]: Vector| {
        let (x, y) = (cr * x - sr * y, sr * x + cr * y);
        let (y, z) = (cp * y - sp * z, sp * y + cp * z);
        [cy * x + sy * z, y, cy * z - sy * x]
    };
    [
        turn([1.0, 0.0, 0.0]),
        turn([0.0, 1.0, 0.0]),
        turn([0.0, 0.0, 1.0]),
    ]
}

/// Where a ray from the lens meets the plane of the code, along its axes.
fn on_plane(ray: Vector, centre: Vector, axes: &[Vector; 3]) -> (f64, f64) {
    let [right, down, normal] = *axes;
    let along = dot(normal, centre) / dot(normal, ray);
    let hit = [0, 1, 2].map(|i| along * ray[i] - centre[i]);
    (dot(hit, right), dot(hit, down))
}

/// A Gaussian of this standard deviation in pixels, by three box filters (Wells 1986).
fn blur(picture: &mut [f32], width: usize, sigma: f64) {
    let half = (((12.0 * sigma * sigma / 3.0 + 1.0).sqrt() - 1.0) / 2.0).round() as usize;
    if half == 0 {
        return;
    }
    let height = picture.len() / width;
    for _ in 0..3 {
        for row in picture.chunks_mut(width) {
            box_filter(row, half);
        }
        let mut column = vec![0.0; height];
        for x in 0..width {
            for (y, v) in column.iter_mut().enumerate() {
                *v = picture[y * width + x];
            }
            box_filter(&mut column, half);
            for (y, v) in column.iter().enumerate() {
                picture[y * width + x] = *v;
            }
        }
    }
}

fn box_filter(line: &mut [f32], half: usize) {
    let source = line.to_vec();
    let last = source.len() - 1;
    let at = |i: isize| source[i.clamp(0, last as isize) as usize];
    let half = half as isize;
    let mut sum: f32 = (-half..=half).map(at).sum();
    for (i, out) in line.iter_mut().enumerate() {
        let i = i as isize;
        *out = sum / (2 * half + 1) as f32;
        sum += at(i + half + 1) - at(i - half);
    }
}

/// The mean along a straight line of (dx, dy) pixels.
fn shake(picture: &mut [f32], width: usize, dx: f64, dy: f64) {
    let steps = dx.abs().max(dy.abs()).round() as usize;
    if steps == 0 {
        return;
    }
    let height = picture.len() / width;
    let source = picture.to_vec();
    for (index, out) in picture.iter_mut().enumerate() {
        let (x, y) = ((index % width) as f64, (index / width) as f64);
        let mut sum = 0.0;
        for step in 0..=steps {
            let f = step as f64 / steps as f64 - 0.5;
            let sx = (x + f * dx).round().clamp(0.0, width as f64 - 1.0) as usize;
            let sy = (y + f * dy).round().clamp(0.0, height as f64 - 1.0) as usize;
            sum += source[sy * width + sx];
        }
        *out = sum / (steps + 1) as f32;
    }
}

/// What stands around: rectangles with a pattern each, over a wall.
struct Furniture {
    wall: (f64, f64, f64),
    things: Vec<Thing>,
}

struct Thing {
    left: f64,
    top: f64,
    right: f64,
    bottom: f64,
    shades: (f64, f64),
    /// Patterns a unit of the picture plane, across and down; zero for plain.
    pattern: (f64, f64),
}

impl Furniture {
    fn new(room: Room, rng: &mut Rng) -> Furniture {
        let wall = (
            uniform(rng, 90.0, 170.0),
            uniform(rng, -60.0, 60.0),
            uniform(rng, -40.0, 40.0),
        );
        let count = if room == Room::Plain { 0 } else { 25 };
        let things = (0..count).map(|_| {
            let (left, top) = (uniform(rng, -0.8, 0.6), uniform(rng, -0.6, 0.5));
            let fine = rng.below(3) == 0;
            let pattern = match rng.below(3) {
                0 => (0.0, 0.0),
                1 => (uniform(rng, 20.0, 60.0), 0.0),
                _ if fine => (uniform(rng, 60.0, 140.0), uniform(rng, 60.0, 140.0)),
                _ => (uniform(rng, 15.0, 60.0), uniform(rng, 15.0, 60.0)),
            };
            Thing {
                left,
                top,
                right: left + uniform(rng, 0.04, 0.35),
                bottom: top + uniform(rng, 0.04, 0.3),
                shades: (uniform(rng, 10.0, 245.0), uniform(rng, 10.0, 245.0)),
                pattern,
            }
        });
        Furniture {
            wall,
            things: things.collect(),
        }
    }

    fn at(&self, x: f64, y: f64) -> f64 {
        let over = |t: &&Thing| t.left <= x && x < t.right && t.top <= y && y < t.bottom;
        let Some(thing) = self.things.iter().rev().find(over) else {
            let (mean, across, down) = self.wall;
            return mean + across * x + down * y;
        };
        let stripe = |p: f64, at: f64| ((at * p).floor() as i64).rem_euclid(2) == 1;
        let odd = stripe(thing.pattern.0, x) != stripe(thing.pattern.1, y);
        if odd { thing.shades.1 } else { thing.shades.0 }
    }
}
