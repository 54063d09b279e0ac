//! What things are made of: the colours and surfaces of a body shop.

use glam::{Vec2, Vec3};

use super::render::noise::{cloud, cloud2, noise, noise2, ramp};
use super::render::{Look, Surface};

/// A colour as written in sRGB, in linear light.
pub fn rgb(hex: u32) -> Vec3 {
    let part = |shift: u32| {
        let c = ((hex >> shift) & 0xff) as f32 / 255.0;
        if c <= 0.040_45 {
            c / 12.92
        } else {
            ((c + 0.055) / 1.055).powf(2.4)
        }
    };
    Vec3::new(part(16), part(8), part(0))
}

/// The colours of Okabe and Ito's palette that the pictures keep to wherever a thing has a
/// colour of its own and not its material's.
pub const ORANGE: u32 = 0xe6_9f_00;
pub const SKY_BLUE: u32 = 0x56_b4_e9;
pub const GREEN: u32 = 0x00_9e_73;
pub const YELLOW: u32 = 0xf0_e4_42;
pub const BLUE: u32 = 0x00_72_b2;
pub const VERMILION: u32 = 0xd5_5e_00;

/// Tilts the normal as a height field with the given slopes would.
pub fn tilt(s: &mut Surface, slope: Vec3) {
    let across = slope - s.normal * slope.dot(s.normal);
    s.normal = (s.normal - across).normalize_or(s.normal);
}

/// A wavy tilt from noise: `size` of the waves in millimetres, `amount` as a slope.
pub fn wavy(s: &mut Surface, size: f32, amount: f32) {
    let p = s.rest / size;
    let slope = Vec3::new(
        noise(p) - 0.5,
        noise(p + Vec3::splat(31.7)) - 0.5,
        noise(p + Vec3::splat(67.3)) - 0.5,
    );
    tilt(s, slope * (2.0 * amount));
}

/// Vehicle paint: colour under clear coat.
pub fn lacquer(colour: Vec3) -> Look {
    Look::plain(colour, 0.45).coat(1.0).crease(34.0)
}

/// Rolled steel, bare and slightly oily.
pub fn steel() -> Look {
    Look::metal(Vec3::new(0.50, 0.50, 0.51), 0.36).painted(|s| {
        let streak = noise(Vec3::new(s.rest.x * 0.02, s.rest.y * 0.5, s.rest.z * 0.5));
        s.rough += 0.14 * (streak - 0.5);
        s.colour *= 0.86 + 0.22 * cloud(s.rest / 60.0, 2);
    })
}

/// Steel fresh from the grinding disc: bright arcs.
pub fn ground_steel() -> Look {
    Look::metal(Vec3::new(0.66, 0.66, 0.66), 0.30).painted(|s| {
        let p = s.rest;
        let arc = noise(Vec3::new(
            (p.x + p.z * 0.35) * 0.55,
            p.y * 0.6,
            (p.z - p.x * 0.2) * 0.06,
        ));
        s.rough += 0.26 * (arc - 0.4);
        s.colour *= 0.80 + 0.32 * arc;
    })
}

/// The black electrophoretic coat in which new parts come.
pub fn new_part() -> Look {
    Look::plain(rgb(0x1d_1f_21), 0.42).coat(0.35).painted(|s| {
        s.colour *= 0.85 + 0.35 * cloud(s.rest / 90.0, 2);
        s.rough += 0.08 * (noise(s.rest / 25.0) - 0.5);
    })
}

/// Old structure: factory primer and overspray of body colour, with road dirt.
pub fn old_structure() -> Look {
    Look::plain(rgb(0xb4_ba_b8), 0.52).coat(0.22).painted(|s| {
        let dirt = cloud(s.rest / 70.0, 3);
        let fine = noise(s.rest / 6.0);
        let much = ramp(0.36, 0.86, dirt + 0.15 * (fine - 0.5));
        s.colour = s.colour.lerp(rgb(0x66_5c_4e), 0.55 * much);
        s.rough += 0.3 * much;
        s.coat *= 1.0 - much;
    })
}

/// Underbody coating: dark, thick and lumpy.
pub fn underseal() -> Look {
    Look::plain(rgb(0x34_36_38), 0.62).coat(0.12).painted(|s| {
        wavy(s, 9.0, 0.28);
        s.colour *= 0.75 + 0.5 * cloud(s.rest / 120.0, 3);
        let dust = ramp(0.5, 0.8, cloud(s.rest / 260.0 + Vec3::splat(9.0), 2));
        s.colour = s.colour.lerp(rgb(0x6e_66_59), 0.45 * dust);
    })
}

pub fn rubber() -> Look {
    Look::plain(rgb(0x20_20_21), 0.72).painted(|s| s.colour *= 0.8 + 0.4 * noise(s.rest / 40.0))
}

pub fn plastic(colour: Vec3) -> Look {
    Look::plain(colour, 0.5).painted(|s| wavy(s, 2.5, 0.05))
}

pub fn chrome() -> Look {
    Look::metal(Vec3::new(0.78, 0.78, 0.79), 0.12)
}

/// Painted tool or cabinet.
pub fn enamel(colour: Vec3) -> Look {
    Look::plain(colour, 0.35).coat(0.7)
}

/// Shop floor: sealed concrete with joints, stains and tyre marks.
pub fn concrete() -> Look {
    Look::plain(rgb(0x8d_8c_88), 0.55).coat(0.25).painted(|s| {
        let p = s.place.truncate();
        let fine = cloud2(p / 26.0, 2);
        s.colour *= 0.70 + 0.42 * cloud2(p / 900.0, 2) + 0.22 * (fine - 0.5);
        let stain = ramp(0.54, 0.80, cloud2(p / 420.0 + Vec2::splat(40.0), 3));
        s.colour *= 1.0 - 0.45 * stain;
        s.coat *= 0.5 + 0.9 * stain;
        s.rough -= 0.2 * stain;
        let joint = |v: f32| ((v / 2400.0 + 0.37).fract().abs() - 0.5).abs() * 2400.0;
        let near = joint(p.x).min(joint(p.y));
        s.colour *= 0.45 + 0.55 * ramp(3.0, 9.0, near);
    })
}

pub fn asphalt() -> Look {
    Look::plain(rgb(0x6a_6b_6c), 0.85).painted(|s| {
        let p = s.place.truncate();
        let grit = noise2(p / 7.0);
        s.colour *= 0.62 + 0.30 * cloud2(p / 700.0, 2) + 0.5 * (grit - 0.4) * noise2(p / 90.0);
        let wet = ramp(0.60, 0.74, cloud2(p / 1300.0 + Vec2::splat(7.0), 3));
        s.colour *= 1.0 - 0.5 * wet;
        s.rough -= 0.45 * wet;
        s.coat += 0.5 * wet;
        tilt(
            s,
            Vec3::new(grit - 0.5, 0.5 - grit, 0.0) * (0.3 * (1.0 - wet)),
        );
    })
}

pub fn wood() -> Look {
    Look::plain(rgb(0xa9_7f_52), 0.55).coat(0.15).painted(|s| {
        let p = s.rest;
        let bend = cloud(Vec3::new(p.x / 400.0, p.y / 60.0, 3.0), 2);
        let ring = ((p.y / 11.0 + bend * 9.0).sin() * 0.5 + 0.5).powf(0.7);
        let fibre = noise(Vec3::new(p.x / 60.0, p.y / 1.6, p.z));
        s.colour *= 0.58 + 0.30 * ring + 0.25 * fibre;
        let dark = ramp(0.58, 0.75, cloud(p / 90.0 + Vec3::splat(3.0), 3));
        s.colour *= 1.0 - 0.55 * dark;
    })
}

pub fn cardboard() -> Look {
    Look::plain(rgb(0xb8_94_63), 0.85)
        .painted(|s| s.colour *= 0.85 + 0.25 * cloud(s.rest / 50.0, 2))
}

/// Colours that heat leaves on steel around a weld: bright, straw, brown, blue, grey scale, by
/// distance in millimetres from the seam.
pub fn heat(s: &mut Surface, distance: f32) {
    let wobble = (noise(s.rest / 7.0) - 0.5) * 3.0;
    let d = distance + wobble;
    let band =
        |from: f32, to: f32| ramp(from, (from + to) / 2.0, d) * ramp(to, (from + to) / 2.0, d);
    let near = ramp(26.0, 6.0, d);
    s.colour *= 1.0 - 0.35 * near;
    s.colour = s
        .colour
        .lerp(Vec3::new(0.20, 0.23, 0.36), 0.62 * band(4.5, 12.0));
    s.colour = s
        .colour
        .lerp(Vec3::new(0.34, 0.22, 0.25), 0.45 * band(9.0, 16.0));
    s.colour = s
        .colour
        .lerp(Vec3::new(0.56, 0.43, 0.25), 0.52 * band(12.5, 25.0));
    let scale = ramp(6.5, 2.0, d);
    s.colour = s.colour.lerp(Vec3::splat(0.16), 0.5 * scale);
    s.rough += 0.12 * near;
}

/// Distance from a point to a segment.
pub fn from_segment(p: Vec3, a: Vec3, b: Vec3) -> f32 {
    let ab = b - a;
    let t = ((p - a).dot(ab) / ab.length_squared().max(1e-6)).clamp(0.0, 1.0);
    p.distance(a + ab * t)
}

/// Signed distance to a rounded rectangle about `middle`; negative inside.
pub fn from_rounded(p: Vec2, middle: Vec2, size: Vec2, radius: f32) -> f32 {
    let q = (p - middle).abs() - size / 2.0 + Vec2::splat(radius);
    q.max(Vec2::ZERO).length() + q.max_element().min(0.0) - radius
}

/// A pen line: 1 on it, 0 away from it.
pub fn stroke(p: Vec2, a: Vec2, b: Vec2, width: f32) -> f32 {
    let d = from_segment(p.extend(0.0), a.extend(0.0), b.extend(0.0));
    ramp(width * 0.5 + 0.25, width * 0.5 - 0.25, d)
}
