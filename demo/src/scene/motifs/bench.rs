//! Test welds on the bench.

use glam::{Affine3A, Quat, Vec3};

use super::Shot;
use crate::scene::looks::{self, rgb};
use crate::scene::render::mesh::{Mesh, smooth};
use crate::scene::render::noise::{noise, ramp};
use crate::scene::render::{Camera, Look, World};
use crate::scene::{shop, tools, welds};

/// A bench top at z = 0 in front of a wall, under a lamp.
fn bench(seed: u32) -> World {
    let mut world = World::new(shop::hall_sky());
    shop::hall(&mut world, Vec3::new(-2600.0, 400.0, -900.0), 0.0, seed);
    let top = Mesh::block(Vec3::new(900.0, 2400.0, 50.0), 5.0)
        .at(150.0, 0.0, -25.0)
        .bend(|p| p)
        .settle();
    let planks = looks::wood().painted(|s| {
        let board = ((s.rest.x / 130.0).fract().abs() - 0.5).abs() * 130.0;
        s.colour *= 0.4 + 0.6 * ramp(64.8, 63.0, board);
    });
    // The grain runs along y.
    let turned = top.bend(|p| p);
    world.add(turned, &planks);
    let edge = Mesh::block(Vec3::new(20.0, 2400.0, 90.0), 4.0).at(608.0, 0.0, 20.0);
    world.add(edge, &looks::steel());
    world.nook = 40.0;
    world
}

fn lamp(world: &mut World, at: Vec3) {
    world.lights.push(shop::hand_lamp(
        at + Vec3::new(60.0, -420.0, 460.0),
        at,
        420.0,
        2.5,
    ));
    world.lights.push(shop::tube_light(
        at,
        Vec3::new(-900.0, 700.0, 1900.0),
        700.0,
        1.1,
    ));
}

/// A coupon's look: bare steel with the heat of the given welds.
fn coupon(welds: Vec<Vec3>) -> Look {
    looks::ground_steel().crease(50.0).painted(move |s| {
        let d = welds
            .iter()
            .map(|w| s.rest.distance(*w) - 4.5)
            .fold(f32::MAX, f32::min);
        looks::heat(s, d);
    })
}

pub fn coupons(seed: u32) -> Shot {
    let mut world = bench(seed);
    // Three pairs, lapped, with two plug welds each; one pair with a butt seam.
    for k in 0..3 {
        let turn = Quat::from_rotation_z(0.12 * (k as f32 - 1.0) + 0.1);
        let place = Affine3A::from_rotation_translation(
            turn,
            Vec3::new(10.0, -110.0 + 105.0 * k as f32, 0.0),
        );
        let welds: Vec<Vec3> = if k < 2 {
            vec![Vec3::new(-17.0, 0.0, 3.6), Vec3::new(17.0, 0.0, 3.6)]
        } else {
            (0..=12)
                .map(|i| Vec3::new(0.0, -36.0 + 6.0 * i as f32, 2.0))
                .collect()
        };
        let look = coupon(welds.clone());
        if k < 2 {
            world.add(
                Mesh::block(Vec3::new(150.0, 74.0, 1.8), 0.4)
                    .at(-46.0, 0.0, 0.9)
                    .settle()
                    .put(place),
                &look,
            );
            world.add(
                Mesh::block(Vec3::new(150.0, 74.0, 1.8), 0.4)
                    .at(46.0, 0.0, 2.75)
                    .settle()
                    .put(place),
                &look,
            );
            for w in welds {
                welds::plug_weld(&mut world, place.transform_point3(w), Vec3::Z, 6.6);
            }
        } else {
            world.add(
                Mesh::block(Vec3::new(96.0, 74.0, 1.8), 0.4)
                    .at(-48.8, 0.0, 0.9)
                    .settle()
                    .put(place),
                &look,
            );
            world.add(
                Mesh::block(Vec3::new(96.0, 74.0, 1.8), 0.4)
                    .at(48.8, 0.0, 0.9)
                    .settle()
                    .put(place),
                &look,
            );
            let seam: Vec<Vec3> = (0..=20)
                .map(|i| place.transform_point3(Vec3::new(0.0, -35.0 + 3.5 * i as f32, 2.2)))
                .collect();
            welds::bead(&mut world, &seam, 3.4);
        }
    }
    let turn = Quat::from_rotation_z(1.45);
    tools::rule(
        &mut world,
        300.0,
        Affine3A::from_rotation_translation(turn, Vec3::new(150.0, -190.0, 0.4)),
    );
    // Chalk, a pair of pliers' handles, and a glove's cuff of leather.
    world.add(
        Mesh::rod(6.0, 70.0, 14)
            .along(Vec3::new(0.3, 1.0, 0.0))
            .at(-130.0, 130.0, 6.0),
        &looks::plastic(rgb(0xe8_e8_e2)),
    );
    pliers(&mut world, Vec3::new(-150.0, -150.0, 9.0), 0.5);
    let at = Vec3::new(20.0, 0.0, 0.0);
    lamp(&mut world, at);
    let camera = Camera {
        eye: Vec3::new(390.0, -250.0, 380.0),
        at,
        fov: 34.0,
        near: 20.0,
        aperture: 9.0,
        ..Camera::default()
    };
    Shot {
        world,
        camera,
        exposure: 1.0,
    }
}

/// Pliers lying flat.
fn pliers(world: &mut World, at: Vec3, degrees: f32) {
    let turn = Affine3A::from_rotation_translation(Quat::from_rotation_z(degrees), at);
    let steel = looks::steel();
    for side in [-1.0f32, 1.0] {
        let handle = smooth(
            &[
                Vec3::new(0.0, 0.0, 0.0),
                Vec3::new(-26.0, side * 13.0, 0.0),
                Vec3::new(-80.0, side * 25.0, 0.0),
                Vec3::new(-150.0, side * 20.0, 0.0),
            ],
            8,
        );
        let grip = Mesh::tube(&handle, 12, |t| 6.0 + 2.0 * ramp(0.2, 0.4, t))
            .bend(|p| Vec3::new(p.x, p.y, p.z * 0.8));
        world.add(grip.put(turn), &looks::plastic(rgb(looks::BLUE)));
        let jaw = Mesh::block(Vec3::new(58.0, 10.0, 13.0), 4.0).bend(move |p| {
            Vec3::new(
                p.x + 30.0,
                p.y * (1.0 - p.x / 110.0) + side * (5.6 - p.x * 0.03),
                p.z,
            )
        });
        world.add(jaw.put(turn), &steel);
    }
    world.add(
        Mesh::rod(11.0, 16.0, 24).at(0.0, 0.0, -8.0).put(turn),
        &steel,
    );
}

pub fn peeled(seed: u32) -> Shot {
    let mut world = bench(seed);
    let iron = looks::enamel(rgb(0x2f_52_66)).painted(|s| {
        let worn = ramp(
            0.62,
            0.85,
            0.6 * noise(s.rest / 9.0) + 0.4 * noise(s.rest / 3.0),
        );
        s.colour = s.colour.lerp(Vec3::splat(0.16), 0.7 * worn);
    });
    let steel = looks::steel();
    // Vice: base, two jaws, screw.
    world.add(
        Mesh::block(Vec3::new(190.0, 130.0, 40.0), 14.0).at(0.0, 0.0, 20.0),
        &iron,
    );
    world.add(
        Mesh::block(Vec3::new(70.0, 120.0, 105.0), 16.0).at(-42.0, 0.0, 84.0),
        &iron,
    );
    world.add(
        Mesh::block(Vec3::new(64.0, 120.0, 105.0), 16.0).at(39.0, 0.0, 84.0),
        &iron,
    );
    for x in [-10.5, 10.5] {
        world.add(
            Mesh::block(Vec3::new(12.0, 126.0, 30.0), 1.5).at(x, 0.0, 130.0),
            &steel.clone().painted(|s| {
                let knurl = ((s.rest.y / 4.0).fract().abs() - 0.5).abs()
                    * ((s.rest.z / 4.0).fract().abs() - 0.5).abs();
                s.colour *= 0.5 + 2.2 * knurl;
            }),
        );
    }
    world.add(
        Mesh::rod(15.0, 120.0, 24)
            .along(Vec3::X)
            .at(60.0, 0.0, 70.0),
        &steel,
    );
    world.add(
        Mesh::tube(
            &[Vec3::new(160.0, -80.0, 40.0), Vec3::new(160.0, 80.0, 100.0)],
            14,
            |_| 7.0,
        ),
        &steel,
    );
    // One strip stands in the jaws, its nuggets torn off the other, which is curled away.
    let nuggets = [Vec3::new(0.0, -20.0, 200.0), Vec3::new(0.0, 20.0, 200.0)];
    let hot = coupon(nuggets.to_vec());
    world.add(
        Mesh::block(Vec3::new(1.8, 78.0, 130.0), 0.4)
            .at(-2.6, 0.0, 180.0)
            .settle(),
        &hot,
    );
    let curl = |u: f32, v: f32| {
        let s = 130.0 * v;
        let bend = 30.0;
        let (x, z) = if s < bend {
            (2.6, 118.0 + s)
        } else {
            let a = (s - bend) / 24.0;
            (2.6 + 24.0 * (1.0 - a.cos()), 118.0 + bend + 24.0 * a.sin())
        };
        Vec3::new(
            x + 4.0 * (u - 0.5) * v * (noise(Vec3::splat(v * 4.0)) - 0.5),
            -39.0 + 78.0 * u,
            z,
        )
    };
    let torn = hot
        .clone()
        .painted(|s| {
            for y in [-20.0, 20.0] {
                let d = Vec3::new(s.rest.x - 30.9, s.rest.y - y, s.rest.z - 171.6).length();
                s.colour *= 0.5 + 0.5 * ramp(9.0, 14.0, d);
            }
        })
        .without(|p| {
            [-20.0f32, 20.0].iter().any(|y| {
                let edge = 1.6 * (noise(p / 2.5) - 0.5);
                Vec3::new(p.x - 30.9, p.y - y, p.z - 171.6).length() < 8.4 + edge
            })
        });
    world.add(Mesh::net(40, 60, curl), &torn);
    world.add(
        Mesh::net(40, 60, |u, v| curl(u, v) + Vec3::new(1.5, 0.0, 0.4)),
        &torn,
    );
    for n in nuggets {
        let slug = Mesh::lathe(
            &[(0.0, 4.2), (3.0, 4.4), (6.6, 3.4), (7.6, 1.2), (8.0, 0.0)],
            26,
        )
        .bend(|p| p * (0.9 + 0.22 * noise(p / 3.0)));
        world.add(
            slug.along(Vec3::X)
                .bend(|p| p + n + Vec3::new(-1.4, 0.0, 0.0)),
            &Look::metal(Vec3::splat(0.34), 0.5).painted(|s| {
                s.colour *= 0.5 + 0.9 * noise(s.rest / 1.6);
            }),
        );
    }
    pliers(&mut world, Vec3::new(60.0, -190.0, 9.0), 2.4);
    let at = Vec3::new(10.0, 0.0, 160.0);
    lamp(&mut world, at);
    let camera = Camera {
        eye: Vec3::new(330.0, -190.0, 330.0),
        at,
        fov: 33.0,
        near: 20.0,
        aperture: 9.0,
        ..Camera::default()
    };
    Shot {
        world,
        camera,
        exposure: 1.0,
    }
}
