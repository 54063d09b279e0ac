//! How bright each seen surface is.
//!
//! A microfacet model (GGX, Schlick's Fresnel term, the analytic fit of the split-sum integral
//! that Karis published for mobile devices in 2014) under lamps with soft shadows and mirrored
//! surroundings, darkened in nooks (screen-space occlusion, after McGuire's "Alchemy" of 2011).
//! All recalled from memory and judged by eye: pictures, not measurements.

use glam::{Vec2, Vec3};

use super::light::{Dome, Lit};
use super::nooks::{Falls, LAMPS, Nooks};
use super::raster::{self, Buffer, NOTHING, SAMPLES};
use super::{Camera, Lens, Surface, World};

/// A picture in linear light with its distances, before [`super::lens`] makes a photograph of it.
pub struct Raw {
    pub width: usize,
    pub height: usize,
    pub light: Vec<Vec3>,
    /// Distance along the camera's axis; infinite where nothing is.
    pub distance: Vec<f32>,
}

/// Shades everything that the camera sees.
pub fn expose(world: &World, camera: &Camera, width: usize, height: usize, seed: u32) -> Raw {
    let buffer = raster::picture(world, camera, width, height);
    let lens = camera.lens(width, height);
    // Shadows are soft, so their maps may be coarser than the picture.
    let map = (height * 4 / 5).clamp(256, 1200);
    let lights: Vec<Lit> = world
        .lights
        .iter()
        .take(LAMPS)
        .map(|l| Lit::new(l, world, map))
        .collect();
    let nooks = Nooks::new(&buffer, world, &lens, &lights, seed);
    let shader = Shader {
        world,
        lens: &lens,
        dome: Dome::new(&world.sky),
    };

    let mut raw = Raw {
        width,
        height,
        light: Vec::with_capacity(width * height),
        distance: Vec::with_capacity(width * height),
    };
    let light = |index: u32, depth: f32, pixel: Vec2| match buffer.seen.get(index as usize) {
        Some(seen) => shader.shade(seen, pixel, nooks.at(pixel, 1.0 / depth)),
        None => world.sky.from(lens.ray(pixel).normalize(), 0.1),
    };
    for (cell, (indices, depths)) in buffer.index.iter().zip(&buffer.depth).enumerate() {
        let corner = Vec2::new((cell % width) as f32, (cell / width) as f32);
        let depths = depths.to_array();
        let mut sum = Vec3::ZERO;
        if indices.iter().all(|i| *i == indices[0]) {
            let depth = 0.25 * depths.iter().sum::<f32>();
            sum = light(indices[0], depth, corner + Vec2::splat(0.5));
        } else {
            let mut left = [true; 4];
            for k in 0..4 {
                if !left[k] {
                    continue;
                }
                // Samples of one surface are shaded once, in their middle.
                let (mut count, mut at) = (0.0, Vec2::ZERO);
                for j in k..4 {
                    if left[j]
                        && same(
                            &buffer,
                            world,
                            (indices[k], depths[k]),
                            (indices[j], depths[j]),
                        )
                    {
                        left[j] = false;
                        count += 1.0;
                        at += SAMPLES[j];
                    }
                }
                sum += light(indices[k], depths[k], corner + at / count) * (count / 4.0);
            }
        }
        raw.light.push(sum);
        let near = depths.iter().copied().fold(0.0, f32::max);
        raw.distance.push(if near > 0.0 {
            1.0 / near
        } else {
            f32::INFINITY
        });
    }
    raw
}

/// Whether two samples of a pixel lie on one smooth piece of one shape.
fn same(buffer: &Buffer, world: &World, (a, da): (u32, f32), (b, db): (u32, f32)) -> bool {
    if a == b {
        return true;
    }
    if a == NOTHING || b == NOTHING || (da - db).abs() > 0.01 * da {
        return false;
    }
    let face = |i: u32| {
        buffer
            .seen
            .get(i as usize)
            .and_then(|s| world.faces.get(s.face as usize))
    };
    match (face(a), face(b)) {
        (Some(f), Some(g)) => f.look == g.look && f.normal[0].dot(g.normal[0]).abs() > 0.97,
        _ => false,
    }
}

struct Shader<'a> {
    world: &'a World,
    lens: &'a Lens,
    dome: Dome,
}

impl Shader<'_> {
    fn shade(&self, seen: &raster::Seen, pixel: Vec2, falls: Falls) -> Vec3 {
        let (Some(face), w) = (
            self.world.faces.get(seen.face as usize),
            seen.weights_at(pixel),
        ) else {
            return Vec3::ZERO;
        };
        let Some(look) = self.world.looks.get(face.look as usize) else {
            return Vec3::ZERO;
        };
        let blend = |v: &[Vec3; 3]| v[0] * w.x + v[1] * w.y + v[2] * w.z;
        let place = blend(&face.place);
        let view = (self.lens.eye - place).normalize_or(Vec3::Z);
        let toward = if face.flat.dot(view) < 0.0 { -1.0 } else { 1.0 };
        // Corner normals follow the winding, so one sign turns them all to the viewer.
        let normal = blend(&face.normal).normalize_or(Vec3::Z) * toward;
        let mut s = Surface {
            rest: blend(&face.rest),
            place,
            normal,
            pixel: self.lens.eye.distance(place)
                / self.lens.focal
                / normal.dot(view).clamp(0.15, 1.0),
            colour: look.colour,
            rough: look.rough,
            metal: look.metal,
            coat: look.coat,
            glow: look.glow,
        };
        if let Some(paint) = &look.paint {
            paint(&mut s);
        }
        s.normal = s.normal.normalize_or(normal);
        let open = falls.x;
        let facing = s.normal.dot(view).max(0.04);
        let rough = s.rough.clamp(0.06, 1.0);

        let dull = s.colour * (1.0 - s.metal);
        let mirror = Vec3::splat(0.04).lerp(s.colour, s.metal);
        let shine = split_sum(mirror, rough, facing);
        let bounce = view - 2.0 * facing * s.normal;
        let bounce = -bounce;
        let closed = mirror_open(open, rough);

        let sky = &self.world.sky;
        let mut out = s.colour * s.glow;
        out += dull * self.dome.from(s.normal, 1.0) * open;
        let mirrored = if rough >= 0.25 {
            self.dome.from(bounce, rough)
        } else {
            sky.from(bounce, rough)
        };
        out += shine * mirrored * closed;
        let coat_fresnel = (0.04 + 0.96 * (1.0 - facing).powi(5)) * s.coat;
        if s.coat > 0.0 {
            out = out * (1.0 - coat_fresnel) + sky.from(bounce, 0.02) * coat_fresnel * closed;
        }

        for (light, clear) in self.world.lights.iter().zip([falls.y, falls.z, falls.w]) {
            let offset = light.from - place;
            let distance = offset.length().max(1.0);
            let to = offset / distance;
            let slope = s.normal.dot(to);
            if slope <= 0.0 || clear <= 0.0 {
                continue;
            }
            let fade = if light.fades {
                let reference = light.from.distance(light.at);
                (reference / distance).powi(2).min(6.0)
            } else {
                1.0
            };
            let half = (to + view).normalize_or(s.normal);
            let (nh, vh) = (s.normal.dot(half).max(0.0), view.dot(half).max(0.0));
            let wide = (rough + light.size / distance * 0.35).min(1.0);
            let fresnel = mirror + (Vec3::ONE - mirror) * (1.0 - vh).powi(5);
            let mut both = dull / std::f32::consts::PI * (Vec3::ONE - fresnel)
                + fresnel * gloss(nh, slope, facing, wide);
            if s.coat > 0.0 {
                let narrow = (0.08 + light.size / distance * 0.35).min(1.0);
                both += Vec3::splat(
                    s.coat * (0.04 + 0.96 * (1.0 - vh).powi(5)) * gloss(nh, slope, facing, narrow),
                );
            }
            // Part of the nook's darkness applies to lamps as well: they are never quite points.
            out += both * light.colour * (slope * clear * fade * (0.45 + 0.55 * open));
        }
        out
    }
}

/// GGX distribution with the visibility term of Smith, joined.
fn gloss(nh: f32, nl: f32, nv: f32, rough: f32) -> f32 {
    let a = rough * rough;
    let a2 = a * a;
    let d = a2 / (std::f32::consts::PI * (nh * nh * (a2 - 1.0) + 1.0).powi(2)).max(1e-7);
    let k = (rough + 1.0).powi(2) / 8.0;
    let v = 0.25 / ((nl * (1.0 - k) + k) * (nv * (1.0 - k) + k));
    (d * v).min(60.0)
}

/// Reflectance under even surroundings: Karis's fit.
fn split_sum(mirror: Vec3, rough: f32, facing: f32) -> Vec3 {
    let r = Vec2::new(1.0 - rough, rough * -0.572 + 0.022);
    let a = (r.x * r.x).min((-9.28 * facing).exp2()) * r.x + r.y + 0.0275 * rough + 0.0025;
    let scale = (-1.04 * a + 1.04 - 0.04 * rough).clamp(0.0, 1.0);
    let bias = (1.04 * a).clamp(0.0, 1.0);
    mirror * scale + Vec3::splat(bias)
}

/// Nooks darken mirrors less the rougher they are.
fn mirror_open(open: f32, rough: f32) -> f32 {
    (open + (1.0 - open) * (0.35 - 0.35 * rough)).clamp(0.0, 1.0)
}
