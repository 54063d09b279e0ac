//! Weld seams and plug welds.

use glam::Vec3;

use super::render::mesh::Mesh;
use super::render::noise::{noise, ramp};
use super::render::{Look, World};
use super::tools::toward;

/// A weld seam along a path: overlapping scales.
pub fn bead(world: &mut World, path: &[Vec3], half_width: f32) {
    let length: f32 = path.windows(2).map(|w| w[0].distance(w[1])).sum();
    let n = ((length / 0.9) as usize).clamp(8, 400);
    let fine: Vec<Vec3> = (0..=n)
        .map(|i| {
            let t = i as f32 / n as f32 * (path.len() - 1) as f32;
            let k = (t as usize).min(path.len().saturating_sub(2));
            let wander = Vec3::new(
                noise(Vec3::splat(t * 2.3)) - 0.5,
                0.0,
                noise(Vec3::splat(t * 2.1 + 9.0)) - 0.5,
            );
            path[k].lerp(path[k + 1], t - k as f32) + wander * 0.8
        })
        .collect();
    let look = Look::metal(Vec3::new(0.42, 0.41, 0.40), 0.34)
        .crease(60.0)
        .painted(|s| {
            let d = noise(s.rest / 6.0);
            s.colour = s.colour.lerp(Vec3::new(0.30, 0.27, 0.30), d * 0.6);
            s.rough += 0.15 * (d - 0.5);
        });
    let mesh = Mesh::tube(&fine, 12, |t| {
        let scale = (t * length / 2.7).fract();
        let end = ramp(0.0, 0.02, t) * ramp(1.0, 0.98, t);
        half_width * (0.82 + 0.22 * scale) * (0.35 + 0.65 * end)
    });
    world.add(mesh, &look);
}

/// A plug weld: a low dome of rings with a little crater.
pub fn plug_weld(world: &mut World, at: Vec3, normal: Vec3, radius: f32) {
    let r = radius;
    let profile: Vec<(f32, f32)> = (0..=14)
        .map(|i| {
            let t = i as f32 / 14.0;
            let dome = 2.3 * (1.0 - t * t) - 1.1 * (1.0 - ramp(0.0, 0.3, t));
            (r * t, dome + 0.28 * (t * 13.0).sin() * (1.0 - t))
        })
        .collect();
    let look = Look::metal(Vec3::new(0.40, 0.39, 0.39), 0.32)
        .crease(60.0)
        .painted(|s| {
            s.colour *= 0.75 + 0.45 * noise(s.rest / 2.6);
        });
    let seed = at.x * 0.13 + at.z * 0.37;
    let mesh = Mesh::lathe(&profile, 26)
        .bend(|p| p * (0.93 + 0.14 * noise(Vec3::new(p.x / 4.0, p.y / 4.0, seed))));
    world.add(mesh.put(toward(normal, at)), &look);
}
