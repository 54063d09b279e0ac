//! What falls on each place: nooks are darker, and lamps throw shadows.
//!
//! Nooks are found on the screen (after McGuire's "Alchemy" occlusion of 2011, from memory).

use glam::{Vec2, Vec3, Vec4};

use super::light::{Lit, turned};
use super::noise::hash;
use super::raster::{Buffer, NOTHING, SAMPLES};
use super::{Lens, World};

/// How many lamps a world may have; further ones stay dark.
pub const LAMPS: usize = 3;

/// What falls on a place: how open it is to its surroundings, then how much it sees of each of up
/// to [`LAMPS`] lamps; all from 0 to 1.
pub type Falls = Vec4;

/// What falls where, at half the size of the picture: shadows are soft anyway, and a quarter of
/// the places takes a quarter of the time.
pub struct Nooks {
    width: usize,
    height: usize,
    falls: Vec<Falls>,
    distance: Vec<f32>,
}

impl Nooks {
    pub fn new(buffer: &Buffer, world: &World, lens: &Lens, lights: &[Lit], seed: u32) -> Nooks {
        let (width, height) = (buffer.width.div_ceil(2), buffer.height.div_ceil(2));
        let cell = |x: usize, y: usize| {
            (2 * y).min(buffer.height - 1) * buffer.width + (2 * x).min(buffer.width - 1)
        };
        let mut distance = Vec::with_capacity(width * height);
        for y in 0..height {
            for x in 0..width {
                let d = buffer.depth.get(cell(x, y)).map_or(0.0, |d| d.x);
                distance.push(if d > 0.0 { 1.0 / d } else { f32::INFINITY });
            }
        }
        let rings = Rings {
            width,
            height,
            lens,
            distance: &distance,
            near: turned(),
            far: turned(),
            reach: world.nook,
        };
        let mut raw = vec![Falls::ONE; width * height];
        for y in 0..height {
            for x in 0..width {
                let at = y * width + x;
                let index = buffer.index.get(cell(x, y)).map_or(NOTHING, |i| i[0]);
                let Some(face) = buffer
                    .seen
                    .get(index as usize)
                    .and_then(|s| world.faces.get(s.face as usize))
                else {
                    continue;
                };
                let p = rings.point(x, y, distance[at]);
                let mut n = lens.axes * face.flat;
                if n.dot(p) > 0.0 {
                    n = -n;
                }
                let pattern = hash(((x & 3) + 4 * (y & 3)) as u32 ^ (seed << 8));
                raw[at].x = rings.open(x, y, p, n, pattern);
                let back = lens.axes.transpose();
                let (place, normal) = (lens.eye + back * p, back * n);
                for (k, lit) in lights.iter().enumerate() {
                    raw[at][k + 1] = lit.seen_from(place, normal, pattern);
                }
            }
        }
        // The probes were turned in blocks of four by four: blurring over a block removes the
        // pattern; not across a jump in distance.
        let mut falls = Vec::with_capacity(width * height);
        for y in 0..height {
            for x in 0..width {
                let z = distance[y * width + x];
                let (mut sum, mut weight) = (Falls::ZERO, 0.0);
                for j in y.saturating_sub(2)..(y + 2).min(height) {
                    for i in x.saturating_sub(2)..(x + 2).min(width) {
                        let k = j * width + i;
                        if (distance[k] - z).abs() < 0.03 * z {
                            sum += raw[k];
                            weight += 1.0;
                        }
                    }
                }
                falls.push(if weight > 0.0 {
                    sum / weight
                } else {
                    raw[y * width + x]
                });
            }
        }
        Nooks {
            width,
            height,
            falls,
            distance,
        }
    }

    pub fn at(&self, pixel: Vec2, z: f32) -> Falls {
        let p = (pixel * 0.5 - Vec2::splat(0.25)).max(Vec2::ZERO);
        let (x, y) = (p.x as i32 as usize, p.y as i32 as usize);
        let f = p - Vec2::new(x as f32, y as f32);
        let (mut sum, mut total) = (Falls::ZERO, 0.0);
        for (dx, dy) in [(0, 0), (1, 0), (0, 1), (1, 1)] {
            let (i, j) = ((x + dx).min(self.width - 1), (y + dy).min(self.height - 1));
            let k = j * self.width + i;
            let (Some(falls), Some(&distance)) = (self.falls.get(k), self.distance.get(k)) else {
                continue;
            };
            let bx = if dx == 0 { 1.0 - f.x } else { f.x };
            let by = if dy == 0 { 1.0 - f.y } else { f.y };
            let near = if (distance - z).abs() < 0.03 * z {
                1.0
            } else {
                0.002
            };
            let w = (bx * by + 1e-4) * near;
            sum += *falls * w;
            total += w;
        }
        sum / total
    }
}

/// Looks around each place for what rises above its surface.
struct Rings<'a> {
    width: usize,
    height: usize,
    lens: &'a Lens,
    distance: &'a [f32],
    /// A near ring for seams and a far one for hollows.
    near: Vec<[Vec2; 4]>,
    far: Vec<[Vec2; 7]>,
    reach: f32,
}

impl Rings<'_> {
    /// The place of a pixel of the half-size picture, in the camera's frame.
    fn point(&self, x: usize, y: usize, z: f32) -> Vec3 {
        let p = (Vec2::new(2.0 * x as f32, 2.0 * y as f32) + SAMPLES[0] - self.lens.middle)
            / self.lens.focal;
        Vec3::new(p.x * z, p.y * z, z)
    }

    fn open(&self, x: usize, y: usize, p: Vec3, n: Vec3, pattern: f32) -> f32 {
        let turn = (pattern * self.near.len() as f32) as usize % self.near.len();
        let shut = 0.55 * self.shut(x, y, p, n, self.reach * 0.25, &self.near[turn])
            + 0.75 * self.shut(x, y, p, n, self.reach, &self.far[turn]);
        (1.0 - 2.2 * shut).clamp(0.05, 1.0)
    }

    fn shut(&self, x: usize, y: usize, p: Vec3, n: Vec3, reach: f32, probes: &[Vec2]) -> f32 {
        let radius = (reach * self.lens.focal / p.z / 2.0).clamp(2.0, 90.0);
        let fade = 1.0 / (reach * reach * 2.56);
        let mut sum = 0.0;
        for o in probes {
            let (qx, qy) = (x as f32 + o.x * radius, y as f32 + o.y * radius);
            if qx < 0.0 || qy < 0.0 || qx >= self.width as f32 || qy >= self.height as f32 {
                continue;
            }
            let (i, j) = (qx as i32 as usize, qy as i32 as usize);
            let Some(&z) = self.distance.get(j * self.width + i) else {
                continue;
            };
            if !z.is_finite() {
                continue;
            }
            let v = self.point(i, j, z) - p;
            let d2 = v.length_squared().max(1e-4);
            let rise = v.dot(n) / d2.sqrt() - 0.08;
            if rise > 0.0 {
                sum += rise * (1.0 - d2 * fade).max(0.0);
            }
        }
        sum / probes.len() as f32
    }
}
