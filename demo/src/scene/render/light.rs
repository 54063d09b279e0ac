//! Light: lamps that cast shadows, and the surroundings that metal and paint mirror.

use std::f32::consts::FRAC_PI_2;

use glam::{Vec2, Vec3};

use super::noise::ramp;
use super::raster;
use super::{Camera, Lens, World};

/// A lamp, or the sun far away.
#[derive(Clone, Debug)]
pub struct Light {
    pub from: Vec3,
    /// What it is pointed at; its shadows are drawn within `reach` of there.
    pub at: Vec3,
    pub reach: f32,
    /// Brightness at `at`.
    pub colour: Vec3,
    /// Radius of the glowing thing, which makes shadows soft.
    pub size: f32,
    /// Whether it gets weaker with distance (a hand lamp) or not (the sun).
    pub fades: bool,
}

/// A light with its shadow map.
pub struct Lit {
    pub light: Light,
    lens: Lens,
    map: Vec<f32>,
    size: usize,
    /// Where to probe the map: a few for a first look and more for an edge, each turned by one
    /// of [`TURNS`] angles.
    first: Vec<[Vec2; 5]>,
    more: Vec<[Vec2; 12]>,
}

const TURNS: usize = 32;

/// A set of points in a disc, turned by each of [`TURNS`] angles.
pub fn turned<const N: usize>() -> Vec<[Vec2; N]> {
    (0..TURNS)
        .map(|t| {
            let turn = Vec2::from_angle(t as f32 / TURNS as f32 * std::f32::consts::TAU);
            std::array::from_fn(|k| {
                let r = ((k as f32 + 0.5) / N as f32).sqrt();
                (Vec2::from_angle(k as f32 * GOLDEN) * r).rotate(turn)
            })
        })
        .collect()
}

/// The golden angle: successive points turned by it fill a disc evenly.
const GOLDEN: f32 = 2.399_963;

impl Lit {
    pub fn new(light: &Light, world: &World, size: usize) -> Lit {
        let distance = light.from.distance(light.at).max(1.0);
        let camera = Camera {
            eye: light.from,
            at: light.at,
            fov: 2.0 * (light.reach / distance).atan().min(1.2).to_degrees(),
            near: (distance * 0.03).max(5.0),
            ..Camera::default()
        };
        let size = size / 2 * 2;
        let cells = raster::shadow(world, &camera, size / 2);
        let mut map = vec![0.0; size * size];
        for (cell, depths) in cells.depth.iter().enumerate() {
            let (x, y) = (cell % cells.width * 2, cell / cells.width * 2);
            for (k, depth) in depths.to_array().into_iter().enumerate() {
                if let Some(texel) = map.get_mut((y + k / 2) * size + x + k % 2) {
                    *texel = depth;
                }
            }
        }
        Lit {
            light: light.clone(),
            lens: camera.lens(size, size),
            map,
            size,
            first: turned(),
            more: turned(),
        }
    }

    /// How much of the lamp a place sees, from 0 to 1. `pattern` (0 to 1) turns the probes, so
    /// that what is left of the pattern looks like grain.
    pub fn seen_from(&self, place: Vec3, normal: Vec3, pattern: f32) -> f32 {
        let away = self.light.from.distance(place);
        if normal.dot(self.light.from - place) < -0.05 * away {
            return 0.0;
        }
        let texel = away / self.lens.focal;
        let slope = normal
            .dot((self.light.from - place).normalize_or_zero())
            .abs();
        let inside = self
            .lens
            .to_camera(place + normal * texel * (1.5 + 2.0 * (1.0 - slope)));
        if inside.z <= 0.0 {
            return 1.0;
        }
        let at = self.lens.to_screen(inside);
        let own = inside.z - texel * 1.5;
        // Compared as inverse distances, as the map holds them.
        let nearer = 1.0 / own;
        let turn = (pattern * TURNS as f32) as usize % TURNS;
        let widest = (self.light.size / texel * 0.25).clamp(1.2, 28.0);
        let (mut blockers, mut sum) = (0, 0.0);
        for probe in &self.first[turn] {
            let d = self.inverse(at + *probe * widest);
            if d > nearer {
                blockers += 1;
                sum += 1.0 / d;
            }
        }
        if blockers == 0 {
            return 1.0;
        }
        let gap = (own - sum / blockers as f32).max(0.0);
        let soft = (self.light.size * gap / (own - gap).max(1.0) / texel).clamp(1.2, widest);
        let probes = &self.more[turn];
        let clear = probes
            .iter()
            .filter(|p| self.inverse(at + **p * soft) <= nearer)
            .count();
        clear as f32 / probes.len() as f32
    }

    /// What the map holds at a place: 1 / distance, or 0 for nothing (also outside).
    fn inverse(&self, at: Vec2) -> f32 {
        let (x, y) = (at.x as i32 as usize, at.y as i32 as usize);
        if x >= self.size || at.x < 0.0 || at.y < 0.0 {
            return 0.0;
        }
        self.map.get(y * self.size + x).copied().unwrap_or(0.0)
    }
}

/// What is around the scene, far away.
#[derive(Clone, Debug)]
pub struct Sky {
    pub above: Vec3,
    pub level: Vec3,
    pub below: Vec3,
    /// Rows of tube lights overhead: brightness, distance between rows, width of a row (both as
    /// a fraction of the ceiling's height), and the direction of the rows in degrees.
    pub tubes: Option<(Vec3, f32, f32, f32)>,
    /// A bright opening (roller door, window): direction, half-angle in degrees, brightness.
    pub opening: Option<(Vec3, f32, Vec3)>,
}

impl Sky {
    /// Brightness from a direction, blurred as a surface of that roughness would mirror it.
    pub fn from(&self, direction: Vec3, rough: f32) -> Vec3 {
        let d = direction;
        let blur = 0.04 + rough * 0.9;
        let up = ramp(-blur, blur, d.z);
        let high = ramp(0.0, 1.0, d.z.max(0.0) * (1.35 - 0.35 * d.z.max(0.0)));
        let mut colour = self.below.lerp(self.level.lerp(self.above, high), up);
        if d.z < 0.0 {
            // Near the feet of things the floor is darker than far away.
            colour *= 1.0 + 0.25 * d.z;
        }
        if let Some((bright, spacing, width, degrees)) = self.tubes
            && d.z > 0.02
        {
            let p = Vec2::new(d.x, d.y) / d.z;
            let axis = Vec2::from_angle(degrees.to_radians());
            let (along, across) = (p.dot(axis), p.perp_dot(axis));
            let row = (across / spacing).round().clamp(-3.0, 3.0);
            let off = (across - row * spacing).abs();
            let soft = width * 0.25 + rough * spacing * 0.8;
            // A row is made of tubes with gaps between them.
            let gap = ((along / 1.6).fract().abs() - 0.5).abs();
            let piece = ramp(0.01, 0.06 + rough * 0.3, 0.48 - gap);
            let line =
                ramp(width + soft, (width - soft).max(0.0), off) * width / (width + soft * 0.6);
            let end = ramp(7.0, 4.0, along.abs());
            colour += bright * line * end * piece * ramp(0.02, 0.12, d.z);
        }
        if let Some((toward, half, bright)) = self.opening {
            // Angles below a right angle are told apart well enough by this chord.
            let chord = (2.0 - 2.0 * d.dot(toward.normalize_or_zero()))
                .max(0.0)
                .sqrt();
            let half = half.to_radians();
            let soft = 0.06 + rough * FRAC_PI_2 * 0.8;
            colour += bright * ramp(half + soft, (half - soft).max(0.0), chord) * half
                / (half + soft * 0.5);
        }
        colour
    }
}

/// A sky seen by dull surfaces, tabulated: every pixel asks for it at least once, and what a rough
/// surface mirrors varies slowly.
pub struct Dome {
    /// For each of [`Dome::ROUGH`] a square of directions (an unfolded octahedron).
    tables: Vec<Vec<Vec3>>,
}

impl Dome {
    const ROUGH: [f32; 4] = [0.25, 0.45, 0.7, 1.0];
    const SIDE: usize = 33;

    pub fn new(sky: &Sky) -> Dome {
        let last = (Dome::SIDE - 1) as f32;
        let table = |rough: f32| {
            (0..Dome::SIDE * Dome::SIDE)
                .map(|k| {
                    let p = Vec2::new((k % Dome::SIDE) as f32, (k / Dome::SIDE) as f32) / last
                        * 2.0
                        - 1.0;
                    let z = 1.0 - p.x.abs() - p.y.abs();
                    let q = if z < 0.0 { fold(p) } else { p };
                    sky.from(q.extend(z).normalize_or(Vec3::Z), rough)
                })
                .collect()
        };
        Dome {
            tables: Dome::ROUGH.map(table).to_vec(),
        }
    }

    /// Brightness from a direction for a roughness of at least 0.25.
    pub fn from(&self, d: Vec3, rough: f32) -> Vec3 {
        let first = Dome::ROUGH
            .iter()
            .rposition(|r| *r <= rough)
            .unwrap_or(0)
            .min(2);
        let (low, high) = (Dome::ROUGH[first], Dome::ROUGH[first + 1]);
        let t = ((rough - low) / (high - low)).clamp(0.0, 1.0);
        let p = Vec2::new(d.x, d.y) / (d.x.abs() + d.y.abs() + d.z.abs()).max(1e-6);
        let p = if d.z < 0.0 { fold(p) } else { p };
        let last = (Dome::SIDE - 1) as f32;
        let at = ((p + Vec2::ONE) * (0.5 * last)).clamp(Vec2::ZERO, Vec2::splat(last - 0.001));
        let (x, y) = (at.x as i32 as usize, at.y as i32 as usize);
        let f = at - Vec2::new(x as f32, y as f32);
        let corner = y * Dome::SIDE + x;
        let look = |table: &[Vec3]| -> Vec3 {
            let cell = |k: usize| table.get(corner + k).copied().unwrap_or(Vec3::ZERO);
            let upper = cell(0) + (cell(1) - cell(0)) * f.x;
            let lower = cell(Dome::SIDE) + (cell(Dome::SIDE + 1) - cell(Dome::SIDE)) * f.x;
            upper + (lower - upper) * f.y
        };
        let rougher = look(&self.tables[first + 1]);
        if t >= 1.0 {
            rougher
        } else {
            look(&self.tables[first]) * (1.0 - t) + rougher * t
        }
    }
}

/// Folds the octahedron's lower half outward (it is its own inverse).
fn fold(p: Vec2) -> Vec2 {
    let sign = |v: f32| if v < 0.0 { -1.0 } else { 1.0 };
    Vec2::new((1.0 - p.y.abs()) * sign(p.x), (1.0 - p.x.abs()) * sign(p.y))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_dome_gives_the_sky_back() {
        let sky = Sky {
            above: Vec3::new(0.4, 0.6, 0.9),
            level: Vec3::splat(0.8),
            below: Vec3::splat(0.1),
            tubes: None,
            opening: Some((Vec3::new(0.5, -1.0, 0.1), 30.0, Vec3::splat(1.5))),
        };
        let dome = Dome::new(&sky);
        for k in 0..500 {
            let a = k as f32 * 2.4;
            let z = (k as f32 + 0.5) / 250.0 - 1.0;
            let d = (Vec2::from_angle(a) * (1.0 - z * z).sqrt()).extend(z);
            for rough in Dome::ROUGH {
                let off = (dome.from(d, rough) - sky.from(d, rough))
                    .abs()
                    .max_element();
                assert!(off < 0.06, "{d} at {rough}: {off}");
            }
        }
    }
}
