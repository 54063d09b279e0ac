//! The van's rear in the hall: stripped, and with everything bolted on.

use glam::Vec3;

use super::Shot;
use crate::scene::looks::{self, rgb};
use crate::scene::rail::{self, Joint, Rear, Works};
use crate::scene::render::mesh::Mesh;
use crate::scene::render::{Camera, World};
use crate::scene::{shop, tools, underbody, van};

/// The van standing in the hall, seen from behind.
fn hall(state: van::State, seed: u32) -> World {
    let mut world = World::new(shop::hall_sky());
    shop::hall(
        &mut world,
        Vec3::new(-400.0, 0.0, shop::GROUND),
        180.0,
        seed,
    );
    van::add(&mut world, state);
    world.nook = 160.0;
    world
}

/// The rails' ends and the rear panel, visible while the bumper cover is off.
fn behind_the_bumper(world: &mut World, works: Works) {
    rail::add(world, works);
    let old = looks::old_structure();
    let right = Mesh::block(Vec3::new(420.0, 82.0, 104.0), 8.0).at(3310.0, 514.0, 310.0);
    world.add(right, &old);
    world.add(
        Mesh::block(Vec3::new(5.0, 124.0, 146.0), 1.0).at(rail::END, 514.0, 317.0),
        &old,
    );
    let panel = Mesh::net(40, 10, |u, v| {
        Vec3::new(3420.0, -800.0 + 1600.0 * u, 150.0 + 250.0 * v)
    });
    world.add(panel, &looks::underseal());
    let lower = Mesh::net(30, 6, |u, v| {
        Vec3::new(3440.0 + 90.0 * v, -800.0 + 1600.0 * u, 382.0)
    });
    world.add(lower, &looks::lacquer(rgb(van::PAINT)));
}

fn lights(world: &mut World, at: Vec3, reach: f32) {
    world.lights.push(shop::tube_light(
        at,
        Vec3::new(1700.0, -1500.0, 3600.0),
        reach,
        2.0,
    ));
    world.lights.push(shop::tube_light(
        at,
        Vec3::new(2600.0, 900.0, 2600.0),
        reach,
        1.0,
    ));
}

pub fn bumper_off(seed: u32) -> Shot {
    let state = van::State {
        struck: true,
        bumper: false,
        lamps: false,
        door: 0.0,
    };
    let mut world = hall(state, seed);
    behind_the_bumper(
        &mut world,
        Works {
            rear: Rear::Collapsed,
            joint: Joint::Untouched,
        },
    );
    lights(&mut world, Vec3::new(3500.0, -200.0, 300.0), 1500.0);
    // The beam lies on a mat in front.
    let mat =
        Mesh::block(Vec3::new(900.0, 1700.0, 12.0), 4.0).at(4300.0, -150.0, shop::GROUND + 6.0);
    world.add(mat, &looks::rubber());
    let place = glam::Affine3A::from_rotation_translation(
        glam::Quat::from_rotation_z(0.25) * glam::Quat::from_rotation_y(-1.3),
        Vec3::new(4300.0, -120.0, shop::GROUND + 50.0),
    );
    underbody::beam(&mut world, place, true, &looks::old_structure());
    let camera = Camera {
        eye: Vec3::new(5900.0, -1750.0, 900.0),
        at: Vec3::new(3560.0, -160.0, 300.0),
        fov: 36.0,
        near: 50.0,
        aperture: 8.0,
        ..Camera::default()
    };
    Shot {
        world,
        camera,
        exposure: 1.05,
    }
}

pub fn beam_bolted(seed: u32) -> Shot {
    let state = van::State {
        bumper: false,
        ..van::State::WHOLE
    };
    let mut world = hall(state, seed);
    behind_the_bumper(
        &mut world,
        Works {
            rear: Rear::New {
                rearward: -7.4,
                drop: 3.8,
            },
            joint: Joint::Bare,
        },
    );
    underbody::beam_in_place(&mut world);
    lights(&mut world, Vec3::new(3500.0, -200.0, 300.0), 1500.0);
    let camera = Camera {
        eye: Vec3::new(5650.0, -1150.0, 640.0),
        at: Vec3::new(3560.0, -190.0, 455.0),
        fov: 36.0,
        near: 50.0,
        aperture: 8.0,
        ..Camera::default()
    };
    Shot {
        world,
        camera,
        exposure: 1.05,
    }
}

/// The gap between door and quarter beside the lamp, a feeler in it.
pub fn panel_gap(seed: u32) -> Shot {
    let state = van::State {
        bumper: false,
        ..van::State::WHOLE
    };
    let mut world = hall(state, seed);
    behind_the_bumper(
        &mut world,
        Works {
            rear: Rear::New {
                rearward: -7.4,
                drop: 3.8,
            },
            joint: Joint::Bare,
        },
    );
    underbody::beam_in_place(&mut world);
    lights(&mut world, Vec3::new(3600.0, -680.0, 640.0), 700.0);
    let at = Vec3::new(3640.0, -690.0, 640.0);
    let wedge = Mesh::block(Vec3::new(70.0, 5.0, 26.0), 1.0).at(3640.0, -694.0, 620.0);
    world.add(wedge, &looks::enamel(rgb(looks::YELLOW)));
    let leaf = Mesh::block(Vec3::new(90.0, 1.6, 16.0), 0.4).at(3655.0, -694.0, 700.0);
    world.add(leaf, &looks::steel());
    tools::bolt(
        &mut world,
        Vec3::new(3680.0, -694.0, 700.0),
        Vec3::NEG_Y,
        6.0,
    );
    let camera = Camera {
        eye: Vec3::new(4330.0, -1130.0, 800.0),
        at,
        fov: 33.0,
        near: 30.0,
        aperture: 9.0,
        ..Camera::default()
    };
    world.nook = 60.0;
    Shot {
        world,
        camera,
        exposure: 1.0,
    }
}
