//! Value noise: the dirt, grain and wobble that keep a drawn surface from looking drawn.
//!
//! A lattice of hashed values, blended smoothly between its corners. Everything is a pure function
//! of position (and seed), so the same picture is drawn every time.

use glam::{Vec2, Vec3};

/// Multipliers for the three lattice coordinates.
const MIX: [u32; 3] = [0x8da6_b343, 0xd816_3841, 0xcb1a_b31f];

/// Mixes the bits of three lattice coordinates that were multiplied by [`MIX`].
fn mixed(x: u32, y: u32, z: u32) -> u32 {
    let mut h = x ^ y ^ z;
    h ^= h >> 15;
    h = h.wrapping_mul(0x2c1b_3c6d);
    h ^ (h >> 12)
}

/// A hash of one number.
pub fn bits(n: u32) -> u32 {
    mixed(
        n.wrapping_mul(MIX[0]),
        ((n >> 7) ^ 0x51).wrapping_mul(MIX[1]),
        MIX[2],
    )
}

/// A hash of one number, as a fraction in [0, 1).
pub fn hash(n: u32) -> f32 {
    (bits(n) & 0x00ff_ffff) as f32 / 16_777_216.0
}

/// The whole number below. (`f32::floor` is a call on processors without a rounding instruction
/// in their baseline, and took a tenth of a picture.)
pub fn floor(v: f32) -> i32 {
    let i = v as i32;
    if (i as f32) > v { i - 1 } else { i }
}

/// Smooth noise in [0, 1], with one feature about every unit of `p`.
pub fn noise(p: Vec3) -> f32 {
    let (x, y, z) = (floor(p.x), floor(p.y), floor(p.z));
    let f = p - Vec3::new(x as f32, y as f32, z as f32);
    let w = f * f * (Vec3::splat(3.0) - 2.0 * f);
    // Each coordinate is multiplied once and shared by the corners.
    let pair = |v: i32, m: u32| {
        let first = (v as u32).wrapping_mul(m);
        [first, first.wrapping_add(m)]
    };
    let (xs, ys, zs) = (pair(x, MIX[0]), pair(y, MIX[1]), pair(z, MIX[2]));
    let corner = |i: usize, j: usize, k: usize| {
        (mixed(xs[i], ys[j], zs[k]) & 0xffff) as i32 as f32 * (1.0 / 65_535.0)
    };
    let mix = |a: f32, b: f32, t: f32| a + (b - a) * t;
    let x00 = mix(corner(0, 0, 0), corner(1, 0, 0), w.x);
    let x10 = mix(corner(0, 1, 0), corner(1, 1, 0), w.x);
    let x01 = mix(corner(0, 0, 1), corner(1, 0, 1), w.x);
    let x11 = mix(corner(0, 1, 1), corner(1, 1, 1), w.x);
    mix(mix(x00, x10, w.y), mix(x01, x11, w.y), w.z)
}

/// Two or more octaves of [`noise`], each finer and weaker, in [0, 1].
pub fn cloud(p: Vec3, octaves: u32) -> f32 {
    let (mut sum, mut weight, mut total, mut q) = (0.0, 1.0, 0.0, p);
    for _ in 0..octaves {
        sum += weight * noise(q);
        total += weight;
        weight *= 0.5;
        q = q * 2.03 + Vec3::splat(17.1);
    }
    sum / total
}

/// Smooth noise over a plane, for floors and walls: half the corners, half the time.
pub fn noise2(p: Vec2) -> f32 {
    let (x, y) = (floor(p.x), floor(p.y));
    let f = p - Vec2::new(x as f32, y as f32);
    let w = f * f * (Vec2::splat(3.0) - 2.0 * f);
    let (xs, ys) = (
        (x as u32).wrapping_mul(MIX[0]),
        (y as u32).wrapping_mul(MIX[1]),
    );
    let corner = |h: u32| (mixed(h, 0, MIX[2]) & 0xffff) as i32 as f32 * (1.0 / 65_535.0);
    let (a, b) = (corner(xs ^ ys), corner(xs.wrapping_add(MIX[0]) ^ ys));
    let ys = ys.wrapping_add(MIX[1]);
    let (c, d) = (corner(xs ^ ys), corner(xs.wrapping_add(MIX[0]) ^ ys));
    let upper = a + (b - a) * w.x;
    upper + (c + (d - c) * w.x - upper) * w.y
}

/// As [`cloud`], over a plane.
pub fn cloud2(p: Vec2, octaves: u32) -> f32 {
    let (mut sum, mut weight, mut total, mut q) = (0.0, 1.0, 0.0, p);
    for _ in 0..octaves {
        sum += weight * noise2(q);
        total += weight;
        weight *= 0.5;
        q = q * 2.03 + Vec2::splat(17.1);
    }
    sum / total
}

/// 0 below `a`, 1 above `b`, smooth in between.
pub fn ramp(a: f32, b: f32, x: f32) -> f32 {
    let t = ((x - a) / (b - a)).clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn noise_stays_in_its_range_and_varies() {
        let values: Vec<f32> = (0..4000)
            .map(|i| noise(Vec3::new(i as f32 * 0.37, i as f32 * -0.11, 3.3)))
            .collect();
        assert!(values.iter().all(|v| (0.0..=1.0).contains(v)));
        let mean = values.iter().sum::<f32>() / values.len() as f32;
        assert!((mean - 0.5).abs() < 0.05, "mean {mean}");
        assert!(values.iter().any(|v| *v < 0.2) && values.iter().any(|v| *v > 0.8));
    }

    #[test]
    fn ramp_is_clamped() {
        assert_eq!(ramp(1.0, 2.0, 0.0), 0.0);
        assert_eq!(ramp(1.0, 2.0, 3.0), 1.0);
        assert_eq!(ramp(1.0, 2.0, 1.5), 0.5);
    }
}
