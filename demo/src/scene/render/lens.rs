//! What a real camera adds: blur away from the focus, glow around lamps, a tone curve, a darker
//! rim and grain. The two cameras of the story differ in their [`Film`].

use glam::{Vec3, Vec4};

use super::noise::bits;
use super::shade::Raw;
use super::{Camera, Picture};

/// How a camera turns light into bytes.
#[derive(Clone, Copy, Debug)]
pub struct Film {
    pub exposure: f32,
    /// Tint of the white.
    pub white: Vec3,
    pub saturation: f32,
    /// Darkening of the corners, 0 to 1.
    pub rim: f32,
    pub grain: f32,
    pub glow: f32,
}

impl Default for Film {
    fn default() -> Film {
        Film {
            exposure: 1.0,
            white: Vec3::ONE,
            saturation: 1.0,
            rim: 0.35,
            grain: 0.015,
            glow: 0.5,
        }
    }
}

/// Makes a photograph of raw light.
pub fn develop(mut raw: Raw, camera: &Camera, film: &Film, seed: u32) -> Picture {
    let focus = camera.eye.distance(camera.at);
    if camera.aperture > 0.0 {
        defocus(&mut raw, camera, focus);
    }
    let glow = bloom(&raw, film);
    let curve = Curve::new();
    let (w, h) = (raw.width, raw.height);
    let mut rgb = Vec::with_capacity(w * h * 3);
    for (cell, light) in raw.light.iter().enumerate() {
        let (x, y) = (cell % w, cell / w);
        let mut c = *light + glow.near(x, y);
        let (u, v) = (x as f32 / w as f32 - 0.5, y as f32 / h as f32 - 0.5);
        let r2 = (u * u * 1.2 + v * v) / 0.55;
        c *= film.white * film.exposure * (1.0 - film.rim * r2 * (0.35 + 0.65 * r2));
        let grey = c.dot(Vec3::new(0.2126, 0.7152, 0.0722));
        c = (Vec3::splat(grey) + (c - Vec3::splat(grey)) * film.saturation).max(Vec3::ZERO);
        let base = (cell as u32).wrapping_mul(0x85eb_ca6b) ^ seed.wrapping_mul(0xc2b2_ae35);
        // Grain: one part in grey, one in each colour.
        let [shared, own @ ..] = bits(base).to_le_bytes().map(|b| f32::from(b) - 127.5);
        for (value, own) in [c.x, c.y, c.z].into_iter().zip(own) {
            let byte = curve.at(value) + (shared * 0.75 + own * 0.5) * film.grain;
            rgb.push((byte + 0.5).clamp(0.0, 255.0) as u8);
        }
    }
    Picture {
        width: w,
        height: h,
        rgb,
    }
}

/// The tone curve (Narkowicz's fit of the ACES film curve, 2015, from memory) and sRGB's gamma,
/// tabulated.
struct Curve {
    table: Vec<f32>,
}

impl Curve {
    const STEPS: f32 = 4096.0;
    const MOST: f32 = 4.0;

    fn new() -> Curve {
        let table = (0..=4096)
            .map(|i| {
                // Steps of the square root: finer where the eye is.
                let x = (i as f32 / Curve::STEPS * Curve::MOST).powi(2) * 0.62;
                let film = (x * (2.51 * x + 0.03) / (x * (2.43 * x + 0.59) + 0.14)).clamp(0.0, 1.0);
                let srgb = if film <= 0.003_130_8 {
                    12.92 * film
                } else {
                    1.055 * film.powf(1.0 / 2.4) - 0.055
                };
                srgb * 255.0
            })
            .collect();
        Curve { table }
    }

    fn at(&self, light: f32) -> f32 {
        let i = (light.sqrt() / Curve::MOST * Curve::STEPS) as usize;
        self.table
            .get(i.min(self.table.len() - 1))
            .copied()
            .unwrap_or(255.0)
    }
}

/// A smaller picture with a weight for each pixel, to blur.
struct Small {
    width: usize,
    height: usize,
    scale: usize,
    pixels: Vec<Vec4>,
}

impl Small {
    /// Shrinks by `scale`; `weigh` gives a pixel's value and weight.
    fn new(raw: &Raw, scale: usize, weigh: impl Fn(usize, Vec3) -> (Vec3, f32)) -> Small {
        let (width, height) = (raw.width.div_ceil(scale), raw.height.div_ceil(scale));
        let mut pixels = vec![Vec4::ZERO; width * height];
        for (cell, light) in raw.light.iter().enumerate() {
            let (x, y) = (cell % raw.width / scale, cell / raw.width / scale);
            let (c, w) = weigh(cell, *light);
            if let Some(p) = pixels.get_mut(y * width + x) {
                *p += (c * w).extend(w);
            }
        }
        Small {
            width,
            height,
            scale,
            pixels,
        }
    }

    /// Blurs by two box filters in each direction, which makes a soft round spot.
    fn blurred(&self, radius: usize) -> Small {
        let mut pixels = self.pixels.clone();
        for _ in 0..2 {
            boxes(&mut pixels, self.height, self.width, self.width, 1, radius);
            boxes(&mut pixels, self.width, self.height, 1, self.width, radius);
        }
        Small { pixels, ..*self }
    }

    /// Value at a pixel of the full picture: the nearest small one's.
    fn near(&self, x: usize, y: usize) -> Vec3 {
        let k = (y / self.scale) * self.width + x / self.scale;
        self.pixels
            .get(k)
            .map_or(Vec3::ZERO, |p| p.truncate() / p.w.max(1e-6))
    }

    /// Value at a pixel of the full picture, between the small ones, with the weight divided out.
    fn at(&self, x: usize, y: usize) -> Vec3 {
        let s = self.scale as f32;
        let px = ((x as f32 + 0.5) / s - 0.5).clamp(0.0, self.width as f32 - 1.0);
        let py = ((y as f32 + 0.5) / s - 0.5).clamp(0.0, self.height as f32 - 1.0);
        let (ix, iy) = (px as i32 as usize, py as i32 as usize);
        let (fx, fy) = (px - ix as f32, py - iy as f32);
        let row = |y: usize| {
            let start = y.min(self.height - 1) * self.width;
            let cell = |x: usize| {
                self.pixels
                    .get(start + x.min(self.width - 1))
                    .copied()
                    .unwrap_or(Vec4::W)
            };
            cell(ix).lerp(cell(ix + 1), fx)
        };
        let sum = row(iy).lerp(row(iy + 1), fy);
        sum.truncate() / sum.w.max(1e-6)
    }
}

/// A running mean over `2 * radius + 1` pixels along each of `lines` lines.
fn boxes(
    pixels: &mut [Vec4],
    lines: usize,
    length: usize,
    line_step: usize,
    step: usize,
    radius: usize,
) {
    let mut line = vec![Vec4::ZERO; length];
    let radius = radius as isize;
    for l in 0..lines {
        for (i, value) in line.iter_mut().enumerate() {
            *value = pixels[l * line_step + i * step];
        }
        let clamp = |i: isize| line[i.clamp(0, length as isize - 1) as usize];
        let mut sum: Vec4 = (-radius..=radius).map(clamp).sum();
        let share = 1.0 / (2 * radius + 1) as f32;
        for i in 0..length {
            pixels[l * line_step + i * step] = sum * share;
            sum += clamp(i as isize + radius + 1) - clamp(i as isize - radius);
        }
    }
}

/// Blurs what is out of focus. What is sharp weighs nothing in the blur, so that it does not
/// bleed into what lies behind it.
fn defocus(raw: &mut Raw, camera: &Camera, focus: f32) {
    let full = raw.width.min(raw.height) as f32;
    let focal_pixels = full / 2.0 / (camera.fov.to_radians() / 2.0).tan();
    let blur = |z: f32| -> f32 {
        let z = z.min(60_000.0);
        (camera.aperture * focal_pixels * (1.0 / focus - 1.0 / z).abs() - 0.7)
            .clamp(0.0, full * 0.03)
    };
    let radii: Vec<f32> = raw.distance.iter().map(|&z| blur(z)).collect();
    let small = Small::new(raw, 2, |cell, light| {
        let r = radii.get(cell).copied().unwrap_or(0.0);
        (light.min(Vec3::splat(8.0)), 0.002 + (r / 4.0).min(1.0))
    });
    // Three strengths; between them, a mixture.
    let unit = full / 1200.0;
    let levels: [(f32, Small); 3] = [3.0, 10.0, 26.0].map(|r: f32| {
        let r = r * unit;
        (r, small.blurred(((r / 2.0 * 0.8).round() as usize).max(1)))
    });
    for (cell, light) in raw.light.iter_mut().enumerate() {
        let r = radii.get(cell).copied().unwrap_or(0.0);
        if r < 0.4 {
            continue;
        }
        let (x, y) = (cell % raw.width, cell / raw.width);
        let [(r0, s0), (r1, s1), (r2, s2)] = &levels;
        *light = if r < *r0 {
            light.lerp(s0.at(x, y), r / r0)
        } else if r < *r1 {
            s0.at(x, y).lerp(s1.at(x, y), (r - r0) / (r1 - r0))
        } else {
            s1.at(x, y)
                .lerp(s2.at(x, y), ((r - r1) / (r2 - r1)).min(1.0))
        };
    }
}

/// The veil around what is brighter than white.
fn bloom(raw: &Raw, film: &Film) -> Small {
    let scale = 4;
    let strength = 0.35 * film.glow;
    let bright = Small::new(raw, scale, |_, light| {
        (
            (light * film.exposure - Vec3::splat(1.1)).clamp(Vec3::ZERO, Vec3::splat(5.0))
                * strength,
            1.0,
        )
    });
    bright.blurred((raw.height / 90).max(1))
}
