//! What came off the van, on a trolley.

use glam::{Affine3A, Quat, Vec2, Vec3};

use super::Shot;
use crate::scene::looks::{self, rgb};
use crate::scene::render::mesh::{Mesh, rounded};
use crate::scene::render::noise::{hash, noise};
use crate::scene::render::{Camera, World};
use crate::scene::{shop, tools, underbody, van_parts};

/// What came off, laid out on a trolley: the beam, the broken lamp, trays of bolts.
pub fn trolley(seed: u32) -> Shot {
    let mut world = World::new(shop::hall_sky());
    shop::hall(&mut world, Vec3::new(-1800.0, 300.0, -860.0), 180.0, seed);
    let grey = looks::enamel(rgb(0x5d_66_6b));
    let mat = looks::rubber().painted(|s| {
        let groove = (s.rest.y / 16.0).fract();
        s.colour *= if groove.abs() < 0.25 { 0.6 } else { 1.15 };
    });
    for z in [0.0, -430.0] {
        world.add(
            Mesh::block(Vec3::new(640.0, 1500.0, 30.0), 8.0).at(0.0, 0.0, z - 16.0),
            &grey,
        );
        world.add(
            Mesh::block(Vec3::new(600.0, 1460.0, 4.0), 1.0).at(0.0, 0.0, z),
            &mat,
        );
        for (x, y, w, d) in [
            (318.0, 0.0, 6.0, 1500.0),
            (-318.0, 0.0, 6.0, 1500.0),
            (0.0, 748.0, 640.0, 6.0),
            (0.0, -748.0, 640.0, 6.0),
        ] {
            world.add(
                Mesh::block(Vec3::new(w, d, 60.0), 2.5).at(x, y, z + 8.0),
                &grey,
            );
        }
    }
    for (x, y) in [
        (-300.0, -730.0),
        (300.0, -730.0),
        (-300.0, 730.0),
        (300.0, 730.0),
    ] {
        world.add(Mesh::rod(17.0, 820.0, 16).at(x, y, -800.0), &looks::steel());
    }
    let place = Affine3A::from_rotation_translation(
        Quat::from_rotation_z(0.10) * Quat::from_rotation_y(-1.25),
        Vec3::new(-70.0, 40.0, 62.0),
    );
    underbody::beam(&mut world, place, true, &looks::old_structure());
    let lamp_turn = Quat::from_rotation_z(-0.9);
    van_parts::lamp_part(Vec3::new(170.0, -330.0, 4.0), lamp_turn, &mut world);
    // Trays of bolts, sorted.
    for (k, y) in [(0u32, 40.0), (1, 205.0), (2, 370.0)] {
        let colour = [looks::SKY_BLUE, looks::YELLOW, looks::GREEN][k as usize];
        let tray = looks::plastic(rgb(colour) * 0.8);
        let c = Vec3::new(190.0, y, 4.0);
        world.add(
            Mesh::block(Vec3::new(170.0, 130.0, 5.0), 2.0).bend(|p| p + c),
            &tray,
        );
        for (x, dy, w, d) in [
            (83.0, 0.0, 5.0, 130.0),
            (-83.0, 0.0, 5.0, 130.0),
            (0.0, 63.0, 170.0, 5.0),
            (0.0, -63.0, 170.0, 5.0),
        ] {
            world.add(
                Mesh::block(Vec3::new(w, d, 44.0), 2.0).bend(|p| p + c + Vec3::new(x, dy, 20.0)),
                &tray,
            );
        }
        for j in 0..9u32 {
            let h = |i: u32| hash(j * 17 + k * 97 + i * 5);
            let at = c + Vec3::new(-60.0 + 120.0 * h(1), -42.0 + 84.0 * h(2), 12.0 + 6.0 * h(3));
            let lean = Vec3::new(h(4) - 0.5, h(5) - 0.5, 0.25 * h(6));
            tools::bolt(&mut world, at, lean.normalize_or(Vec3::Z), 9.0);
            world.add(
                Mesh::rod(4.5, 26.0, 10).along(-lean).bend(|p| p + at),
                &looks::steel(),
            );
        }
    }
    let splinter = looks::plastic(rgb(0x34_36_39));
    let skin: Vec<Vec2> = rounded(330.0, 150.0, 40.0, 5);
    let piece = Mesh::plate(&skin[..skin.len() - 1], 5.0)
        .bend(|p| {
            Vec3::new(
                p.x,
                p.y,
                p.z + 26.0 * (p.x / 165.0).powi(2) + 10.0 * noise(p / 60.0),
            )
        })
        .put(Affine3A::from_rotation_translation(
            Quat::from_rotation_z(0.5),
            Vec3::new(120.0, -590.0, 16.0),
        ));
    world.add(piece, &splinter);
    let at = Vec3::new(40.0, -60.0, 0.0);
    world.lights.push(shop::tube_light(
        at,
        Vec3::new(700.0, -900.0, 2300.0),
        1100.0,
        2.2,
    ));
    world.lights.push(shop::tube_light(
        at,
        Vec3::new(-900.0, 1200.0, 1900.0),
        1100.0,
        0.8,
    ));
    world.nook = 70.0;
    let camera = Camera {
        eye: Vec3::new(1250.0, -620.0, 900.0),
        at,
        fov: 40.0,
        near: 40.0,
        aperture: 9.0,
        ..Camera::default()
    };
    Shot {
        world,
        camera,
        exposure: 1.0,
    }
}
