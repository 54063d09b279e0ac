//! Pictures on the bench, at the trolley, and the clock on the wall.

use glam::{Affine3A, Quat, Vec2, Vec3};

use super::Shot;
use crate::scene::looks::{self, rgb};
use crate::scene::render::mesh::{Mesh, rounded};
use crate::scene::render::noise::{hash, noise, ramp};
use crate::scene::render::{Camera, Look, World};
use crate::scene::{shop, tools, underbody, van};

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
                tools::plug_weld(&mut world, place.transform_point3(w), Vec3::Z, 6.6);
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
            tools::bead(&mut world, &seam, 3.4);
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
        let handle = crate::scene::render::mesh::smooth(
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
    van::lamp_part(Vec3::new(170.0, -330.0, 4.0), lamp_turn, &mut world);
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
