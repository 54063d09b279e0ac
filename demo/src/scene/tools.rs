//! Tools and fasteners: what lies, clamps, drills, touches and welds in the pictures.

use glam::{Affine3A, Mat3, Quat, Vec2, Vec3};

use super::looks::{self, rgb};
use super::render::mesh::{Mesh, smooth};
use super::render::noise::{noise, ramp};
use super::render::{Look, World};

/// A frame whose z axis is `axis`, at `origin`.
pub(crate) fn toward(axis: Vec3, origin: Vec3) -> Affine3A {
    let z = axis.normalize_or(Vec3::Z);
    let (x, y) = z.any_orthonormal_pair();
    Affine3A::from_mat3_translation(Mat3::from_cols(x, y, z), origin)
}

/// The measuring probe: its tip touches `tip`, its shaft points away along `axis`; the arm goes
/// on toward `shoulder`.
pub fn probe(world: &mut World, tip: Vec3, axis: Vec3, shoulder: Vec3) {
    let axis = axis.normalize_or(Vec3::Z);
    let frame = toward(axis, tip);
    let part = |m: Mesh| m.put(frame);
    world.add(
        part(Mesh::ball(4.2, 20).at(0.0, 0.0, 3.6)),
        &looks::enamel(rgb(0xa5_14_20)),
    );
    world.add(
        part(Mesh::lathe(
            &[(2.2, 6.0), (2.4, 46.0), (6.0, 62.0), (7.0, 64.0)],
            20,
        )),
        &looks::chrome(),
    );
    world.add(
        part(Mesh::lathe(
            &[
                (7.0, 64.0),
                (11.0, 70.0),
                (11.0, 86.0),
                (9.0, 88.0),
                (9.0, 92.0),
                (15.0, 98.0),
            ],
            24,
        )),
        &looks::steel(),
    );
    world.add(
        part(Mesh::lathe(
            &[
                (15.0, 98.0),
                (17.5, 104.0),
                (17.5, 190.0),
                (16.0, 196.0),
                (18.0, 200.0),
                (18.0, 226.0),
                (15.0, 232.0),
            ],
            28,
        )),
        &looks::plastic(rgb(0x2a_2c_2e)).painted(|s| {
            let groove = (s.rest.z / 7.0).fract();
            if (118.0..182.0).contains(&s.rest.z) && groove < 0.3 {
                s.colour *= 0.3;
            }
        }),
    );
    world.add(
        part(Mesh::lathe(
            &[(18.2, 203.0), (18.8, 206.0), (18.8, 220.0), (18.2, 223.0)],
            28,
        )),
        &looks::enamel(rgb(looks::YELLOW)),
    );
    world.add(
        part(
            Mesh::block(Vec3::new(16.0, 12.0, 7.0), 3.0)
                .at(0.0, 0.0, 150.0)
                .bend(|p| Vec3::new(p.x, p.y + 17.0, p.z)),
        ),
        &looks::enamel(rgb(looks::SKY_BLUE)),
    );

    let elbow = tip + axis * 262.0;
    let tube = Look::plain(Vec3::splat(0.022), 0.34)
        .coat(0.9)
        .painted(|s| {
            // Woven carbon fibre.
            let a = (s.rest.z / 9.0).floor() + (s.rest.y.atan2(s.rest.x) * 7.0).floor();
            if a.rem_euclid(2.0) < 1.0 {
                s.colour *= 2.6;
                s.rough += 0.15;
            }
        });
    let joint = looks::enamel(rgb(0xd9_da_d6));
    world.add(Mesh::ball(32.0, 28).at(elbow.x, elbow.y, elbow.z), &joint);
    world.add(
        Mesh::rod(37.0, 44.0, 28)
            .at(0.0, 0.0, -22.0)
            .put(toward((shoulder - elbow).cross(axis), elbow)),
        &looks::plastic(rgb(0x2a_2c_2e)),
    );
    let reach = shoulder - elbow;
    world.add(
        Mesh::rod(22.0, reach.length() - 20.0, 28)
            .settle()
            .put(toward(reach, elbow + reach.normalize_or(Vec3::X) * 26.0)),
        &tube,
    );
    world.add(
        Mesh::rod(27.0, 40.0, 28).put(toward(reach, elbow + reach.normalize_or(Vec3::X) * 30.0)),
        &joint,
    );
    world.add(
        Mesh::ball(44.0, 28).at(shoulder.x, shoulder.y, shoulder.z),
        &joint,
    );
}

/// A screw clamp: jaws at `at`, its screw coming along `axis`; the bow lies toward `back`.
pub fn clamp(world: &mut World, at: Vec3, axis: Vec3, back: Vec3, opening: f32) {
    let z = axis.normalize_or(Vec3::Z);
    let x = (back - z * back.dot(z)).normalize_or(z.any_orthonormal_vector());
    let frame = Affine3A::from_mat3_translation(Mat3::from_cols(x, z.cross(x), z), at);
    let part = |m: Mesh| m.put(frame);
    let bow: Vec<Vec3> = [
        (0.0, -18.0),
        (34.0, -24.0),
        (78.0, -18.0),
        (88.0, opening / 2.0),
        (78.0, opening + 34.0),
        (34.0, opening + 40.0),
        (0.0, opening + 36.0),
    ]
    .iter()
    .map(|&(a, b)| Vec3::new(a, 0.0, b))
    .collect();
    let frame_look = looks::enamel(rgb(looks::ORANGE)).painted(|s| {
        let worn = ramp(0.62, 0.7, noise(s.rest / 9.0));
        s.colour = s.colour.lerp(Vec3::splat(0.25), 0.7 * worn);
    });
    let iron = Mesh::tube(&smooth(&bow, 8), 10, |_| 9.0).bend(|p| Vec3::new(p.x, p.y * 0.75, p.z));
    world.add(part(iron), &frame_look);
    let steel = looks::steel();
    world.add(part(Mesh::rod(10.0, 18.0, 18).at(0.0, 0.0, -19.0)), &steel);
    world.add(part(Mesh::rod(12.0, 7.0, 18).at(0.0, 0.0, opening)), &steel);
    let thread = looks::steel().painted(|s| {
        let turn = (s.rest.z / 3.2 + s.rest.y.atan2(s.rest.x) / std::f32::consts::TAU).fract();
        s.colour *= 0.45 + 0.75 * (turn.abs() - 0.5).abs() * 2.0;
    });
    world.add(
        part(Mesh::rod(6.5, 96.0, 16).at(0.0, 0.0, opening + 5.0)),
        &thread,
    );
    world.add(
        part(Mesh::rod(13.0, 26.0, 18).at(0.0, 0.0, opening + 24.0)),
        &frame_look,
    );
    let bar = Mesh::tube(
        &[
            Vec3::new(-6.0, -38.0, opening + 100.0),
            Vec3::new(6.0, 38.0, opening + 100.0),
        ],
        10,
        |_| 4.2,
    );
    world.add(part(bar), &steel);
    for k in [-1.0, 1.0] {
        world.add(
            part(Mesh::ball(6.2, 12).at(6.0 * k, 38.0 * k, opening + 100.0)),
            &steel,
        );
    }
}

/// A hand drill for spot welds; its bit ends at `tip`, the machine lies along `axis`.
pub fn drill(world: &mut World, tip: Vec3, axis: Vec3, down: Vec3) {
    let z = axis.normalize_or(Vec3::Z);
    let x = (down - z * down.dot(z)).normalize_or(z.any_orthonormal_vector());
    let frame = Affine3A::from_mat3_translation(Mat3::from_cols(x, z.cross(x), z), tip);
    let part = |m: Mesh| m.put(frame);
    let flute = looks::chrome().painted(|s| {
        let a = (s.rest.z / 13.0 + s.rest.y.atan2(s.rest.x) / std::f32::consts::TAU * 2.0)
            .fract()
            .abs();
        s.colour *= if a < 0.45 { 0.25 } else { 1.0 };
    });
    world.add(
        part(Mesh::lathe(&[(0.0, 0.0), (4.0, 2.4), (4.0, 52.0)], 20)),
        &flute,
    );
    world.add(
        part(Mesh::lathe(
            &[
                (5.0, 46.0),
                (13.0, 54.0),
                (19.0, 66.0),
                (20.0, 96.0),
                (15.0, 104.0),
            ],
            28,
        )),
        &looks::steel().painted(|s| {
            let knurl = ((s.rest.z / 3.0).fract().abs() - 0.5).abs();
            if s.rest.z > 70.0 {
                s.colour *= 0.55 + 0.9 * knurl;
            }
        }),
    );
    let body = looks::enamel(rgb(looks::GREEN));
    world.add(
        part(Mesh::lathe(
            &[
                (16.0, 102.0),
                (29.0, 108.0),
                (33.0, 124.0),
                (35.0, 190.0),
                (34.0, 262.0),
                (27.0, 280.0),
                (0.0, 284.0),
            ],
            32,
        )),
        &body,
    );
    world.add(
        part(Mesh::lathe(
            &[(34.0, 128.0), (36.2, 130.0), (36.2, 142.0), (34.0, 144.0)],
            32,
        )),
        &looks::plastic(rgb(0x22_24_26)),
    );
    for k in 0..5 {
        let slot =
            Mesh::block(Vec3::new(8.0, 30.0, 5.0), 2.0).at(-33.0, 0.0, 224.0 + 9.0 * k as f32);
        world.add(part(slot), &looks::plastic(Vec3::splat(0.01)));
    }
    let grip =
        Mesh::block(Vec3::new(150.0, 40.0, 52.0), 18.0).put(Affine3A::from_rotation_translation(
            Quat::from_rotation_y(0.22),
            Vec3::new(92.0, 0.0, 210.0),
        ));
    world.add(part(grip), &looks::plastic(rgb(0x24_26_28)));
    world.add(
        part(Mesh::block(Vec3::new(34.0, 18.0, 30.0), 8.0).at(54.0, 0.0, 178.0)),
        &looks::enamel(rgb(looks::VERMILION)),
    );
    let cable = smooth(
        &[
            Vec3::new(160.0, 0.0, 222.0),
            Vec3::new(230.0, 20.0, 240.0),
            Vec3::new(330.0, 120.0, 300.0),
            Vec3::new(520.0, 160.0, 260.0),
        ],
        10,
    );
    world.add(part(Mesh::tube(&cable, 10, |_| 6.5)), &looks::rubber());
}

/// A steel rule, lying in its own (x, y) plane from the origin: ticks, no numbers.
pub fn rule(world: &mut World, length: f32, frame: Affine3A) {
    let look = Look::metal(Vec3::splat(0.62), 0.30).painted(|s| {
        let (x, y) = (s.rest.x, s.rest.y);
        // Ticks as fine as the picture can show: every millimetre, or only the larger ones.
        let step = if s.pixel < 0.25 {
            1.0
        } else if s.pixel < 1.0 {
            5.0
        } else {
            10.0
        };
        let which = (x / step).round() as i32 * step as i32;
        let off = (x - which as f32).abs();
        let tall = if which % 10 == 0 {
            10.0
        } else if which % 5 == 0 {
            7.5
        } else {
            4.5
        };
        if off < (s.pixel * 0.5).max(0.16) && (y < -12.5 + tall || y > 12.5 - tall) {
            s.colour = Vec3::splat(0.02);
            s.metal = 0.0;
            s.rough = 0.7;
        }
        s.rough += 0.1 * (noise(Vec3::new(x * 0.05, y * 1.5, 0.0)) - 0.5);
    });
    let body = Mesh::block(Vec3::new(length, 25.0, 1.0), 0.3)
        .at(length / 2.0, 0.0, 0.5)
        .settle();
    world.add(body.put(frame), &look);
}

/// Digits as a marker pen would write them: strokes, for paints.
pub fn digits(text: &str, at: Vec2, height: f32) -> Vec<(Vec2, Vec2)> {
    let strokes = |c: char| -> &'static [&'static [(f32, f32)]] {
        match c {
            '0' => &[&[
                (0.3, 0.0),
                (0.05, 0.3),
                (0.05, 0.7),
                (0.3, 1.0),
                (0.55, 0.7),
                (0.55, 0.3),
                (0.3, 0.0),
            ]],
            '1' => &[&[(0.1, 0.75), (0.32, 1.0), (0.32, 0.0)]],
            '2' => &[&[
                (0.05, 0.8),
                (0.28, 1.0),
                (0.55, 0.75),
                (0.05, 0.0),
                (0.6, 0.03),
            ]],
            '4' => &[&[(0.45, 0.0), (0.45, 1.0), (0.02, 0.3), (0.62, 0.3)]],
            '6' => &[&[
                (0.5, 1.0),
                (0.12, 0.55),
                (0.08, 0.2),
                (0.3, 0.0),
                (0.55, 0.2),
                (0.5, 0.48),
                (0.1, 0.4),
            ]],
            '7' => &[
                &[(0.02, 0.98), (0.58, 1.0), (0.22, 0.0)],
                &[(0.15, 0.5), (0.5, 0.52)],
            ],
            _ => &[],
        }
    };
    let mut lines = Vec::new();
    for (i, c) in text.chars().enumerate() {
        let left = at + Vec2::new(i as f32 * height * 0.78, 0.0);
        for path in strokes(c) {
            for pair in path.windows(2) {
                let point = |p: (f32, f32)| left + Vec2::new(p.0, p.1) * height;
                lines.push((point(pair[0]), point(pair[1])));
            }
        }
    }
    lines
}

/// A hexagon-head bolt standing on a surface.
pub fn bolt(world: &mut World, at: Vec3, normal: Vec3, size: f32) {
    let look = Look::metal(Vec3::new(0.58, 0.54, 0.42), 0.35);
    let head = Mesh::lathe(
        &[
            (0.0, size * 0.7),
            (size * 0.78, size * 0.7),
            (size, size * 0.55),
            (size, 0.1),
        ],
        6,
    );
    world.add(head.put(toward(normal, at + normal * 1.8)), &look);
    let washer = Mesh::lathe(
        &[
            (0.0, 1.8),
            (size * 1.35, 1.8),
            (size * 1.45, 1.2),
            (size * 1.45, 0.0),
        ],
        24,
    );
    world.add(washer.put(toward(normal, at)), &look);
}
