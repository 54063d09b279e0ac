//! The clock on the shop's wall.

use glam::Vec3;

use super::Shot;
use crate::scene::looks::{self, rgb};
use crate::scene::render::mesh::Mesh;
use crate::scene::render::{Camera, Look, World};
use crate::scene::shop;

/// The wall clock, showing the given time.
pub fn clock(hour: u8, minute: u8, second: u8, seed: u32) -> Shot {
    let mut world = World::new(shop::hall_sky());
    shop::hall(
        &mut world,
        Vec3::new(-5500.0 + 30.0, -2650.0, -2300.0),
        0.0,
        seed,
    );
    let face = Look::plain(rgb(0xf3_f1_ea), 0.5).coat(0.4);
    // The dial lies in the (y, z) plane and looks toward -x; y grows to the viewer's left.
    let dial = |m: Mesh| m.along(Vec3::NEG_X);
    world.add(dial(Mesh::lathe(&[(0.0, 12.0), (172.0, 12.0)], 72)), &face);
    let rim = looks::enamel(rgb(0x22_26_2a));
    world.add(
        dial(Mesh::lathe(
            &[
                (170.0, 12.0),
                (172.0, 34.0),
                (180.0, 42.0),
                (190.0, 38.0),
                (196.0, 20.0),
                (196.0, 0.0),
            ],
            72,
        )),
        &rim,
    );
    let black = looks::plastic(Vec3::splat(0.012));
    let ray = |turns: f32| {
        let a = turns * std::f32::consts::TAU;
        Vec3::new(0.0, -a.sin(), a.cos())
    };
    let hand = |from: f32, to: f32, width: f32, turns: f32, height: f32| {
        let along = ray(turns);
        let across = along.cross(Vec3::X);
        Mesh::block(Vec3::new(2.5, width, to - from), 0.8).bend(move |p| {
            Vec3::new(-height, 0.0, 0.0)
                + Vec3::X * p.x
                + across * p.y
                + along * (p.z + (from + to) / 2.0)
        })
    };
    for k in 0..60 {
        let (from, width) = if k % 15 == 0 {
            (126.0, 13.0)
        } else if k % 5 == 0 {
            (134.0, 9.0)
        } else {
            (152.0, 3.0)
        };
        world.add(hand(from, 164.0, width, k as f32 / 60.0, 13.0), &black);
    }
    let s = f32::from(second);
    let m = f32::from(minute) + s / 60.0;
    let h = f32::from(hour % 12) + m / 60.0;
    world.add(hand(-26.0, 92.0, 13.0, h / 12.0, 19.0), &black);
    world.add(hand(-30.0, 140.0, 9.0, m / 60.0, 24.0), &black);
    world.add(
        hand(-44.0, 150.0, 3.4, s / 60.0, 29.0),
        &looks::enamel(rgb(looks::VERMILION)),
    );
    world.add(
        dial(Mesh::rod(9.0, 34.0, 24)),
        &looks::enamel(rgb(looks::VERMILION)),
    );
    // A conduit, a shelf edge and a first-aid cross-less box keep it company.
    world.add(
        Mesh::rod(11.0, 900.0, 16).at(20.0, -6.0, 196.0),
        &looks::enamel(rgb(0xa8_ac_ac)),
    );
    world.add(
        Mesh::block(Vec3::new(240.0, 900.0, 24.0), 4.0).at(-90.0, 330.0, -330.0),
        &looks::wood(),
    );
    world.add(
        Mesh::block(Vec3::new(150.0, 200.0, 150.0), 5.0).at(-90.0, 250.0, -242.0),
        &looks::cardboard(),
    );
    world.add(
        Mesh::block(Vec3::new(120.0, 90.0, 190.0), 8.0).at(-90.0, 470.0, -222.0),
        &looks::enamel(rgb(looks::BLUE)),
    );
    let can = Mesh::lathe(
        &[
            (0.0, 0.0),
            (33.0, 0.0),
            (33.0, 128.0),
            (24.0, 140.0),
            (12.0, 142.0),
            (12.0, 160.0),
            (0.0, 160.0),
        ],
        30,
    );
    world.add(
        can.at(-100.0, 120.0, -318.0),
        &looks::enamel(rgb(0xd8_d4_c8)),
    );
    let at = Vec3::new(0.0, 40.0, -55.0);
    world.lights.push(shop::tube_light(
        at,
        Vec3::new(-1500.0, 900.0, 1700.0),
        800.0,
        2.0,
    ));
    world.nook = 60.0;
    let camera = Camera {
        eye: Vec3::new(-1500.0, -360.0, -330.0),
        at,
        fov: 30.0,
        near: 40.0,
        aperture: 6.0,
        ..Camera::default()
    };
    Shot {
        world,
        camera,
        exposure: 1.0,
    }
}
