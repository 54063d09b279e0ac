//! What is bolted to the van's skin: bumper, wheels, handles, plate, lamps.

use glam::{Quat, Vec2, Vec3};

use super::livery;
use super::looks::{self, rgb};
use super::render::mesh::{Mesh, rounded};
use super::render::noise::{noise, ramp};
use super::render::{Look, World};
use super::van::{AXLES, HUB_HEIGHT, PAINT, State, TYRE, blow, half_width, tail};

/// The bumper cover: dark plastic, around the tail.
pub(crate) fn bumper(world: &mut World, state: State) {
    let look = looks::plastic(rgb(0x35_37_3a)).crease(50.0).painted(|s| {
        let seam = (s.rest.z - 262.0).abs();
        s.colour *= 0.4 + 0.6 * ramp(2.0, 7.0, seam);
        let reflector = (s.rest.y.abs() - 640.0).abs() < 75.0 && (s.rest.z - 205.0).abs() < 17.0;
        if reflector {
            s.colour = rgb(0xa8_1c_10);
            s.coat = 1.0;
        }
        let p = s.rest;
        let scratch =
            0.7 * noise(Vec3::new(p.x / 90.0, p.y / 110.0, p.z / 3.5)) + 0.3 * noise(p / 9.0);
        let scuffed = ramp(0.56, 0.74, scratch)
            * ramp(520.0, 200.0, p.distance(Vec3::new(3690.0, -720.0, 290.0)));
        if p.y < -300.0 && s.glow > 0.0 {
            s.colour = s.colour.lerp(Vec3::splat(0.16), scuffed);
            s.rough += 0.3 * scuffed;
        }
        s.glow = 0.0;
    });
    if !state.bumper {
        return;
    }
    let mut path: Vec<(Vec2, Vec2)> = Vec::new();
    let (w, t, r) = (868.0, 3690.0, 150.0);
    for i in 0..14 {
        path.push((
            Vec2::new(3120.0 + (t - r - 3120.0) * i as f32 / 14.0, w),
            Vec2::Y,
        ));
    }
    for i in 0..12 {
        let a = std::f32::consts::FRAC_PI_2 * (1.0 - i as f32 / 12.0);
        path.push((
            Vec2::new(t - r + r * a.cos(), w - r + r * a.sin()),
            Vec2::from_angle(a),
        ));
    }
    for i in 0..=26 {
        let y = (w - r) * (1.0 - i as f32 / 26.0);
        path.push((Vec2::new(t + 14.0 * (1.0 - (y / w).powi(2)), y), Vec2::X));
    }
    let mirrored: Vec<(Vec2, Vec2)> = path
        .iter()
        .rev()
        .skip(1)
        .map(|(p, n)| (Vec2::new(p.x, -p.y), Vec2::new(n.x, -n.y)))
        .collect();
    path.extend(mirrored);
    let profile = [
        (-70.0, 70.0),
        (-18.0, 78.0),
        (2.0, 100.0),
        (8.0, 140.0),
        (10.0, 200.0),
        (10.0, 258.0),
        (12.0, 262.0),
        (16.0, 300.0),
        (16.0, 350.0),
        (8.0, 380.0),
        (-14.0, 396.0),
        (-60.0, 400.0),
    ];
    let rows: Vec<Vec<Vec3>> = path
        .iter()
        .map(|(p, n)| {
            profile
                .iter()
                .map(|&(o, z)| (*p + *n * o).extend(z))
                .collect()
        })
        .collect();
    let mesh = Mesh::through(&rows).bend(|p| {
        if !state.struck {
            return p;
        }
        let q = blow(p);
        // The left end has come off its clips and hangs.
        let loose = ramp(3620.0, 3150.0, p.x) * ramp(0.0, -700.0, p.y);
        q + Vec3::new(0.0, -58.0, -74.0) * loose
    });
    let torn = if state.struck { look.glow(0.01) } else { look };
    let arch = move |p: Vec3| Vec2::new(p.x - AXLES[1], p.z - HUB_HEIGHT).length() < 372.0;
    world.add(
        mesh,
        &torn.without(move |p| arch(p) || (state.struck && torn_away(p))),
    );
}

/// Where the plastic broke away.
fn torn_away(p: Vec3) -> bool {
    let edge = noise(p / 38.0) * 70.0;
    Vec3::new(p.x - 3650.0, p.y + 800.0, (p.z - 210.0) * 0.8).length() < 40.0 + edge
}

/// Handles, hinges, plate, mirrors, roof rail, wiper.
pub(crate) fn fittings(world: &mut World, state: State) {
    let bend = move |p: Vec3| if state.struck { blow(p) } else { p };
    let black = looks::plastic(Vec3::splat(0.02));
    let handle = |size: Vec3, at: Vec3| Mesh::block(size, 9.0).bend(move |p| p + at);
    world.add(
        handle(
            Vec3::new(40.0, 150.0, 34.0),
            Vec3::new(3646.0, 110.0, 720.0),
        ),
        &black,
    );
    let plate = looks::plastic(rgb(0xe8_e4_d4)).painted(|s| {
        // Marks, not letters: there is no such number.
        let cell = ((s.rest.y + 260.0) / 62.0).floor();
        let inside = ((s.rest.y + 260.0) / 62.0).fract();
        let shape = noise(Vec3::new(
            cell * 9.7,
            (s.rest.z / 15.0).floor(),
            (inside * 3.0).floor(),
        ));
        if s.rest.z.abs() < 36.0
            && (0.16..0.84).contains(&inside)
            && shape > 0.45
            && s.rest.y.abs() < 215.0
        {
            s.colour = Vec3::splat(0.02);
        }
    });
    world.add(
        Mesh::block(Vec3::new(8.0, 520.0, 110.0), 3.0).at(3650.0, 0.0, 470.0),
        &plate,
    );
    for side in [-1.0, 1.0] {
        for z in [600.0, 1290.0] {
            let hinge = handle(
                Vec3::new(60.0, 26.0, 60.0),
                Vec3::new(tail(z) - 66.0, side * (half_width(z) - 26.0), z),
            );
            world.add(hinge.bend(bend), &looks::lacquer(rgb(PAINT)));
        }
        for (x, z) in [(1120.0, 760.0), (1400.0, 760.0)] {
            world.add(
                handle(Vec3::new(170.0, 36.0, 34.0), Vec3::new(x, side * 872.0, z)),
                &black,
            );
        }
        let mirror = Mesh::block(Vec3::new(110.0, 210.0, 250.0), 44.0).put(
            glam::Affine3A::from_rotation_translation(
                Quat::from_rotation_z(side * 0.15),
                Vec3::new(500.0, side * 985.0, 930.0),
            ),
        );
        world.add(mirror, &black);
        let rail = Mesh::block(Vec3::new(1080.0, 12.0, 26.0), 5.0).at(2830.0, side * 868.0, 790.0);
        world.add(rail, &black);
        let bar = Mesh::block(Vec3::new(2000.0, 34.0, 40.0), 14.0).at(2420.0, side * 560.0, 1662.0);
        world.add(bar, &black);
    }
    let wiper = Mesh::tube(
        &[
            Vec3::new(3646.0, -330.0, 860.0),
            Vec3::new(3640.0, -420.0, 880.0),
            Vec3::new(3626.0, -545.0, 1120.0),
        ],
        8,
        |_| 8.0,
    );
    world.add(wiper, &black);
    let stop = looks::plastic(rgb(0x8c_12_0a)).coat(1.0);
    world.add(
        Mesh::block(Vec3::new(30.0, 330.0, 34.0), 8.0).at(3574.0, 0.0, 1512.0),
        &stop,
    );
}

pub(crate) fn wheel(world: &mut World, hub: Vec3, side: f32, steer: f32) {
    let turn = Quat::from_rotation_z(steer.to_radians())
        * Quat::from_rotation_x(-side * std::f32::consts::FRAC_PI_2);
    let place = |m: Mesh| m.put(glam::Affine3A::from_rotation_translation(turn, hub));
    // Along the lathe's axis the outside is positive.
    let r = TYRE;
    let tyre = Mesh::lathe(
        &[
            (r - 104.0, 62.0),
            (r - 96.0, 82.0),
            (r - 60.0, 94.0),
            (r - 24.0, 92.0),
            (r - 8.0, 82.0),
            (r - 1.0, 66.0),
            (r, 40.0),
            (r, 20.0),
            (r, 0.0),
            (r, -20.0),
            (r, -40.0),
            (r - 1.0, -66.0),
            (r - 8.0, -82.0),
            (r - 100.0, -82.0),
        ],
        56,
    );
    let tread = looks::rubber().painted(|s| {
        let p = s.rest;
        let radius = Vec2::new(p.x, p.y).length();
        if radius > TYRE - 6.0 {
            let groove = [-42.0f32, -14.0, 14.0, 42.0]
                .iter()
                .any(|g| (p.z - g).abs() < 5.0);
            let block = ((p.y.atan2(p.x) * 34.0 / std::f32::consts::TAU) + p.z.abs() * 0.004)
                .fract()
                .abs();
            if groove || block < 0.12 {
                s.colour *= 0.25;
            }
        } else {
            // A faint raised ring on the sidewall.
            let ring = (radius - (TYRE - 52.0)).abs();
            s.colour *= 1.0 + 0.6 * ramp(5.0, 1.0, ring);
        }
    });
    world.add(place(tyre), &tread);
    let rim = Mesh::lathe(
        &[
            (r - 100.0, 70.0),
            (r - 108.0, 66.0),
            (r - 118.0, 40.0),
            (r - 132.0, 24.0),
            (120.0, 22.0),
            (96.0, 44.0),
            (66.0, 52.0),
            (60.0, 40.0),
            (34.0, 38.0),
            (30.0, 60.0),
            (0.0, 62.0),
        ],
        56,
    );
    let steel_wheel = Look::metal(Vec3::splat(0.50), 0.34).painted(|s| {
        let p = Vec2::new(s.rest.x, s.rest.y);
        let angle = (p.to_angle() / std::f32::consts::TAU * 10.0).fract().abs() - 0.5;
        let slot = Vec2::new((p.length() - 152.0) / 20.0, angle / 0.26).length();
        if slot < 1.0 {
            s.colour = Vec3::splat(0.012);
            s.metal = 0.0;
        } else {
            s.colour *= 0.65 + 0.35 * ramp(1.0, 1.35, slot);
        }
        for k in 0..5 {
            let nut = Vec2::from_angle(k as f32 * std::f32::consts::TAU / 5.0) * 50.0;
            if p.distance(nut) < 9.0 {
                s.colour = Vec3::splat(0.1);
            }
        }
    });
    world.add(place(rim), &steel_wheel);
}

/// The new or the old tail lamp as a part of its own, for benches and close pictures.
pub fn lamp_part(at: Vec3, turn: Quat, world: &mut World) {
    let outline = rounded(110.0, 330.0, 34.0, 6);
    let body = Mesh::plate(&outline[..outline.len() - 1], 46.0);
    let look = looks::plastic(rgb(0x9c_16_0c))
        .coat(1.0)
        .painted(|s| livery::lamp_glass(s, Vec2::new(s.rest.x, s.rest.y)));
    world.add(
        body.put(glam::Affine3A::from_rotation_translation(turn, at)),
        &look,
    );
}
