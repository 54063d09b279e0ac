//! What was done to the rail's surface around the joint: marked, ground, welded, primed.

use glam::{Vec2, Vec3};

use super::looks::{self, from_segment, rgb, stroke};
use super::rail::{BOTTOM, INNER, JOINT, Joint, OUTER, PLATE_FROM, TOP};
use super::render::Surface;
use super::render::noise::{noise, ramp};
use super::tools;

/// Seams of the joint as segments: the channel's butt joint around its walls.
pub(crate) fn butt() -> [(Vec3, Vec3); 3] {
    let at = |y: f32, z: f32| Vec3::new(JOINT, y, z);
    [
        (at(OUTER + 4.0, TOP), at(INNER - 4.0, TOP)),
        (at(INNER, TOP - 6.0), at(INNER, BOTTOM + 6.0)),
        (at(INNER - 6.0, BOTTOM), at(OUTER + 4.0, BOTTOM)),
    ]
}

/// Plug welds inside the box, through the sleeve that bridges the joint.
pub fn hidden_plugs() -> Vec<(Vec3, Vec3)> {
    let mut plugs = Vec::new();
    for x in [-58.0, -30.0, 30.0, 58.0] {
        for z in [286.0, 334.0] {
            plugs.push((Vec3::new(JOINT + x, INNER - 4.2, z), Vec3::NEG_Y));
        }
        plugs.push((Vec3::new(JOINT + x, -512.0, BOTTOM + 4.2), Vec3::Z));
    }
    plugs
}

/// Plug welds along the plate's lips.
pub(crate) fn lip_plugs() -> Vec<(Vec3, Vec3)> {
    let mut plugs = Vec::new();
    for i in 0..17 {
        let x = PLATE_FROM + 20.0 + 28.5 * i as f32;
        for z in [TOP + 9.5, BOTTOM - 9.5] {
            plugs.push((Vec3::new(x, OUTER - 2.4, z), Vec3::NEG_Y));
        }
    }
    plugs
}

/// What was done to the surface near the joint.
pub(crate) fn worked(
    joint: Joint,
    on_plate: bool,
) -> impl Fn(&mut Surface) + Send + Sync + 'static {
    let plugs: Vec<Vec3> = if on_plate {
        lip_plugs().into_iter().map(|p| p.0).collect()
    } else {
        hidden_plugs().into_iter().map(|p| p.0).collect()
    };
    let pen = pen();
    move |s| {
        if joint <= Joint::Untouched {
            return;
        }
        let p = s.rest;
        if joint == Joint::Marked {
            marks(s, &pen);
            return;
        }
        let ragged = 9.0 * (noise(p / 13.0) - 0.5) + 5.0 * (noise(p / 4.0) - 0.5);
        let from_seam = if on_plate {
            (p.x - PLATE_FROM).abs()
        } else {
            (p.x - JOINT).abs()
        };
        let lip =
            (p.z > TOP + 1.0 || p.z < BOTTOM - 1.0) && p.y < OUTER + 6.0 && p.x > PLATE_FROM - 24.0;
        let band = if on_plate { 30.0 } else { 74.0 };
        let bare = if lip {
            1.0
        } else {
            ramp(band + 3.0, band - 3.0, from_seam + ragged)
        };
        let welded = if on_plate {
            joint >= Joint::Welded
        } else {
            joint >= Joint::Hidden
        };
        if joint >= Joint::Primed {
            if joint >= Joint::Coated {
                return;
            }
            let wet = ramp(band + 16.0, band + 6.0, from_seam + 1.6 * ragged).max(if lip {
                1.0
            } else {
                0.0
            });
            s.colour = s
                .colour
                .lerp(rgb(0x6f_7a_78) * (0.90 + 0.2 * noise(p / 30.0)), wet);
            s.rough = s.rough + (0.6 - s.rough) * wet;
            s.coat *= 1.0 - wet;
            return;
        }
        if bare > 0.0 {
            let swirl = noise(Vec3::new(
                (p.x + p.z * 0.4) * 0.5,
                p.y * 0.5,
                (p.z - p.x * 0.2) * 0.07,
            ));
            s.colour = s.colour.lerp(Vec3::splat(0.44 + 0.20 * swirl), bare);
            s.rough += (0.26 + 0.24 * swirl - s.rough) * bare;
            s.metal += (1.0 - s.metal) * bare;
            s.coat *= 1.0 - bare;
        }
        if welded && bare > 0.5 && joint < Joint::Dressed {
            let mut d = plugs
                .iter()
                .map(|q| p.distance(*q) - 4.0)
                .fold(f32::MAX, f32::min);
            if !on_plate {
                d = butt()
                    .iter()
                    .map(|(a, b)| from_segment(p, *a, *b))
                    .fold(d, f32::min);
            } else {
                d = d.min(from_seam);
            }
            looks::heat(s, d);
        }
    }
}

/// What is written on the plate: the dimension from the hole ahead to the joint, and the waste
/// side hatched. Strokes in (length, height).
fn pen() -> Vec<(Vec2, Vec2)> {
    let from = JOINT - 126.0;
    let mut lines = tools::digits("126", Vec2::new(from + 36.0, 337.0), 20.0);
    let mut line = |a: (f32, f32), b: (f32, f32)| lines.push((Vec2::from(a), Vec2::from(b)));
    line((from, 330.0), (JOINT, 330.0));
    line((from, 318.0), (from, 342.0));
    for (x, d) in [(from, 1.0), (JOINT - 1.0, -1.0)] {
        line((x, 330.0), (x + 12.0 * d, 335.0));
        line((x, 330.0), (x + 12.0 * d, 325.0));
    }
    for k in 0..5 {
        let x = JOINT + 24.0 + 17.0 * k as f32;
        line((x, 286.0), (x + 26.0, 326.0));
    }
    lines
}

/// The scribed cut line on its tape, and what the pen wrote.
fn marks(s: &mut Surface, pen: &[(Vec2, Vec2)]) {
    if s.rest.y > OUTER + 2.0 {
        return;
    }
    let p = Vec2::new(s.rest.x, s.rest.z);
    let tape = (p.x - JOINT).abs() < 13.0 && s.rest.y < OUTER;
    if tape {
        s.colour = rgb(0xe3_d9_b0) * (0.9 + 0.15 * noise(s.rest / 5.0));
        s.metal = 0.0;
        s.coat = 0.1;
        s.rough = 0.7;
    }
    let scribe = ramp(1.1, 0.5, (p.x - JOINT).abs());
    s.colour = s.colour.lerp(Vec3::splat(0.015), scribe);
    if s.rest.y > OUTER {
        return;
    }
    let ink = pen
        .iter()
        .map(|(a, b)| stroke(p, *a, *b, 2.4))
        .fold(0.0, f32::max);
    let colour = if p.x > JOINT {
        rgb(looks::VERMILION)
    } else {
        rgb(0x14_20_40)
    };
    if s.rest.y < OUTER - 1.0 {
        s.colour = s.colour.lerp(colour, ink * 0.92);
    }
}
