//! The probe at control points.

use glam::{Vec2, Vec3};

use super::Shot;
use super::box_section::stage;
use crate::scene::looks::{self, rgb};
use crate::scene::rail::{Rear, Works};
use crate::scene::render::mesh::Mesh;
use crate::scene::render::noise::{noise, ramp};
use crate::scene::render::{Camera, Look, World};
use crate::scene::{shop, tools, underbody};

/// The probe from below, its tip at a hole in the rail's underside.
pub fn probe_under(works: Works, tip: Vec3, seed: u32) -> Shot {
    let at = tip + Vec3::new(-10.0, -20.0, -40.0);
    let mut shot = stage(
        works,
        at,
        tip + Vec3::new(430.0, -560.0, -330.0),
        32.0,
        9.0,
        seed,
    );
    let hole = Mesh::lathe(&[(0.0, 0.0), (11.0, 0.2)], 22)
        .along(Vec3::NEG_Z)
        .bend(|p| p + tip - Vec3::Z * 0.4);
    shot.world.add(hole, &Look::plain(Vec3::splat(0.008), 1.0));
    tools::probe(
        &mut shot.world,
        tip - Vec3::Z * 1.0,
        Vec3::new(0.25, -0.30, -1.0),
        tip + Vec3::new(-260.0, -330.0, -620.0),
    );
    shot.world.nook = 60.0;
    shot
}

/// The probe at the end plate's centre hole, from behind.
pub fn probe_end(works: Works, seed: u32) -> Shot {
    let (rearward, drop) = match works.rear {
        Rear::New { rearward, drop } => (rearward, drop),
        _ => (0.0, 0.0),
    };
    let tip = Vec3::new(3526.0 + rearward, -514.0, 317.0 - drop);
    let at = tip + Vec3::new(-20.0, -10.0, -10.0);
    let mut shot = stage(
        works,
        at,
        tip + Vec3::new(520.0, -470.0, -60.0),
        36.0,
        9.0,
        seed,
    );
    tools::probe(
        &mut shot.world,
        tip,
        Vec3::new(1.0, 0.12, -0.32),
        tip + Vec3::new(520.0, 420.0, -360.0),
    );
    shot.world.nook = 55.0;
    shot
}

/// A sill from below with its tooling hole.
pub fn probe_sill(seed: u32) -> Shot {
    let mut world = World::new(shop::below_sky());
    shop::hall(
        &mut world,
        Vec3::new(2000.0, 1000.0, underbody::RAISED),
        90.0,
        seed,
    );
    let tip = Vec3::new(1986.0, -688.0, 55.0);
    let seal = looks::underseal()
        .without(move |p| Vec2::new(p.x - tip.x, p.y - tip.y).length() < 14.0 && p.z < 60.0);
    let section: Vec<Vec2> = [
        (-420.0, 96.0),
        (-600.0, 96.0),
        (-622.0, 55.0),
        (-742.0, 55.0),
        (-756.0, 66.0),
        (-758.0, 20.0),
        (-762.0, 20.0),
        (-764.0, 74.0),
        (-800.0, 92.0),
        (-842.0, 160.0),
        (-846.0, 300.0),
    ]
    .iter()
    .map(|&(y, z)| Vec2::new(y, z))
    .collect();
    let painted = seal.painted(|s| {
        if s.rest.y < -763.0 {
            s.colour = rgb(0xee_ec_e4) * (0.8 + 0.2 * noise(s.rest / 80.0));
            s.rough = 0.4;
            s.coat = 0.9;
        }
        let weld = ((s.rest.x / 46.0).fract().abs() - 0.5).abs() * 46.0;
        if s.rest.z < 50.0 {
            s.colour = s.colour.lerp(rgb(0x80_80_7c), 0.5) * (0.6 + 0.4 * ramp(2.0, 6.0, weld));
        }
    });
    world.add(Mesh::section(&section, 700.0, 2450.0, 60), &painted);
    let ring = Mesh::lathe(&[(13.0, -2.0), (14.5, 1.6), (18.0, 0.4)], 30)
        .along(Vec3::NEG_Z)
        .bend(|p| p + tip);
    world.add(ring, &looks::old_structure());
    for (x, y) in [(1860.0, -668.0), (2110.0, -690.0), (1760.0, -690.0)] {
        let plug = Mesh::lathe(&[(0.0, 3.0), (15.0, 3.0), (19.0, 0.6), (20.0, 0.0)], 26)
            .along(Vec3::NEG_Z)
            .at(x, y, 55.0);
        world.add(plug, &looks::rubber());
    }
    tools::probe(
        &mut world,
        tip - Vec3::Z * 1.5,
        Vec3::new(0.30, -0.30, -1.0),
        tip + Vec3::new(480.0, 120.0, -640.0),
    );
    let camera = Camera {
        eye: tip + Vec3::new(-390.0, -560.0, -300.0),
        at: tip + Vec3::new(15.0, -10.0, -50.0),
        fov: 33.0,
        near: 20.0,
        aperture: 9.0,
        ..Camera::default()
    };
    world.lights.push(shop::hand_lamp(
        tip + Vec3::new(-250.0, -650.0, -190.0),
        tip,
        500.0,
        2.4,
    ));
    world.lights.push(shop::tube_light(
        tip,
        Vec3::new(900.0, -2300.0, -350.0),
        900.0,
        1.2,
    ));
    world.nook = 55.0;
    Shot {
        world,
        camera,
        exposure: 0.82,
    }
}
