//! The van in the yard and its struck corner.

use glam::Vec3;

use super::Shot;
use crate::scene::render::light::Light;
use crate::scene::render::{Camera, World};
use crate::scene::{looks, shop, van};

fn sun(at: Vec3, from: Vec3, reach: f32) -> Light {
    Light {
        from,
        at,
        reach,
        colour: Vec3::new(1.0, 0.94, 0.84) * 2.7,
        size: 700.0,
        fades: false,
    }
}

pub fn arrival(seed: u32) -> Shot {
    let mut world = World::new(shop::day_sky());
    shop::yard(&mut world, seed);
    van::add(&mut world, van::State::STRUCK);
    debris(&mut world);
    world.nook = 220.0;
    world.lights.push(sun(
        Vec3::new(1800.0, 0.0, 300.0),
        Vec3::new(9000.0, -12_000.0, 14_000.0),
        3300.0,
    ));
    let camera = Camera {
        eye: Vec3::new(6900.0, -3300.0, 1350.0),
        at: Vec3::new(2560.0, -170.0, 500.0),
        fov: 31.0,
        near: 50.0,
        aperture: 6.0,
        ..Camera::default()
    };
    Shot {
        world,
        camera,
        exposure: 1.0,
    }
}

pub fn struck_corner(seed: u32) -> Shot {
    let mut world = World::new(shop::day_sky());
    shop::yard(&mut world, seed);
    van::add(&mut world, van::State::STRUCK);
    debris(&mut world);
    world.nook = 130.0;
    world.lights.push(sun(
        Vec3::new(3500.0, -600.0, 300.0),
        Vec3::new(12_000.0, -9000.0, 13_000.0),
        1500.0,
    ));
    let camera = Camera {
        eye: Vec3::new(4950.0, -1900.0, 860.0),
        at: Vec3::new(3420.0, -640.0, 440.0),
        fov: 36.0,
        near: 50.0,
        aperture: 9.0,
        ..Camera::default()
    };
    Shot {
        world,
        camera,
        exposure: 1.0,
    }
}

pub fn hand_over(seed: u32) -> Shot {
    let mut world = World::new(shop::day_sky());
    shop::yard(&mut world, seed);
    van::add(&mut world, van::State::WHOLE);
    world.nook = 220.0;
    world.lights.push(sun(
        Vec3::new(1800.0, 0.0, 300.0),
        Vec3::new(12_500.0, -9000.0, 11_000.0),
        3300.0,
    ));
    let camera = Camera {
        eye: Vec3::new(7500.0, -2500.0, 1050.0),
        at: Vec3::new(2500.0, -60.0, 590.0),
        fov: 31.0,
        near: 50.0,
        aperture: 6.0,
        ..Camera::default()
    };
    Shot {
        world,
        camera,
        exposure: 1.06,
    }
}

/// Splinters of lamp glass and bumper below the corner.
fn debris(world: &mut World) {
    use crate::scene::render::mesh::Mesh;
    use crate::scene::render::noise::hash;
    for k in 0..26u32 {
        let h = |j: u32| hash(k * 13 + j * 101);
        let look = match k % 3 {
            0 => looks::plastic(looks::rgb(0xa8_1c_10)).coat(1.0),
            1 => looks::plastic(looks::rgb(0x30_32_35)),
            _ => looks::plastic(looks::rgb(0xd0_84_20)).coat(1.0),
        };
        let size = 12.0 + 40.0 * h(1) * h(2);
        let outline: Vec<glam::Vec2> = (0..5)
            .map(|i| glam::Vec2::from_angle(i as f32 * 1.26 + h(3)) * size * (0.5 + h(i + 20)))
            .collect();
        let at = Vec3::new(
            3560.0 + 520.0 * h(6),
            -880.0 + 480.0 * (h(7) - 0.35),
            shop::GROUND + 3.0,
        );
        world.add(
            Mesh::plate(&outline, 3.0)
                .along(Vec3::new(h(8) - 0.5, h(9) - 0.5, 2.2))
                .bend(|p| p + at),
            &look,
        );
    }
}
