//! Where the pictures are taken: the hall with its lights, and the yard in front of it.

use glam::{Vec2, Vec3};

use super::looks::{self, rgb};
use super::render::light::{Light, Sky};
use super::render::mesh::Mesh;
use super::render::noise::{hash, noise, ramp};
use super::render::{Look, World};

/// Height of the floor in the vehicle's frame when it stands on its wheels.
pub const GROUND: f32 = -210.0;

/// Light of the hall: rows of tubes, one door open to the day.
pub fn hall_sky() -> Sky {
    Sky {
        above: Vec3::new(0.20, 0.21, 0.22),
        level: Vec3::new(0.24, 0.24, 0.235),
        below: Vec3::new(0.105, 0.10, 0.095),
        tubes: Some((Vec3::new(3.4, 3.5, 3.5), 0.75, 0.045, 8.0)),
        opening: Some((Vec3::new(0.5, -1.0, 0.12), 24.0, Vec3::new(1.25, 1.4, 1.6))),
    }
}

/// Light under a raised vehicle: little from above, a bright floor to the sides.
pub fn below_sky() -> Sky {
    Sky {
        above: Vec3::new(0.07, 0.072, 0.075),
        level: Vec3::new(0.34, 0.35, 0.355),
        below: Vec3::new(0.22, 0.215, 0.205),
        tubes: None,
        opening: Some((Vec3::new(0.45, -1.0, 0.05), 30.0, Vec3::new(1.5, 1.6, 1.75))),
    }
}

/// Daylight under thin cloud.
pub fn day_sky() -> Sky {
    Sky {
        above: Vec3::new(0.42, 0.60, 0.86),
        level: Vec3::new(0.92, 0.94, 0.97),
        below: Vec3::new(0.16, 0.16, 0.165),
        tubes: None,
        opening: None,
    }
}

/// A lamp over the scene, as from the nearest row of tubes.
pub fn tube_light(at: Vec3, from: Vec3, reach: f32, strength: f32) -> Light {
    Light {
        from: at + from,
        at,
        reach,
        colour: Vec3::new(1.0, 0.985, 0.95) * strength,
        size: from.length() * 0.16,
        fades: false,
    }
}

/// An inspection lamp in someone's hand.
pub fn hand_lamp(from: Vec3, at: Vec3, reach: f32, strength: f32) -> Light {
    Light {
        from,
        at,
        reach,
        colour: Vec3::new(1.0, 0.97, 0.90) * strength,
        size: 28.0,
        fades: true,
    }
}

/// The hall around the point `middle` on its floor, seen toward +x turned by `degrees`.
pub fn hall(world: &mut World, middle: Vec3, degrees: f32, seed: u32) {
    let turn = glam::Quat::from_rotation_z(degrees.to_radians());
    let place = |m: Mesh, p: Vec3| m.bend(move |q| middle + turn * (q + p));

    world.add_shadowless(
        Mesh::net(30, 30, |u, v| Vec3::new(u - 0.5, v - 0.5, 0.0) * 26_000.0).bend(|p| p + middle),
        &looks::concrete(),
    );
    let wall = Look::plain(rgb(0xc9_cc_c9), 0.8).painted(|s| {
        let z = s.rest.z;
        let block = (z / 400.0).fract() * 400.0;
        let course = (z / 400.0).floor();
        let upright =
            (((s.rest.y + 400.0 * (course * 0.5).fract() * 2.0) / 800.0).fract() * 800.0).abs();
        let joint = ramp(0.0, 14.0, block.min(400.0 - block)).min(ramp(
            0.0,
            14.0,
            upright.min(800.0 - upright),
        ));
        s.colour *= 0.80 + 0.2 * joint;
        if z < 1250.0 {
            s.colour = rgb(0x47_6b_78) * (0.8 + 0.2 * joint);
            s.coat = 0.25;
        }
        s.colour *= 0.86 + 0.22 * noise(s.place / 800.0);
    });
    let far = 5600.0;
    let slab = Mesh::block(Vec3::new(100.0, 24_000.0, 5200.0), 0.0).settle();
    let slab = slab.at(0.0, 0.0, 2600.0).settle();
    world.add_shadowless(place(slab.clone(), Vec3::new(far, 0.0, 0.0)), &wall);
    world.add_shadowless(
        place(
            slab.bend(|p| Vec3::new(-p.y, p.x, p.z)),
            Vec3::new(0.0, 8600.0, 0.0),
        ),
        &wall,
    );

    let frame = looks::enamel(rgb(0x3b_42_47));
    for k in -3..=3 {
        let post = Mesh::block(Vec3::new(180.0, 180.0, 5200.0), 8.0);
        world.add(
            place(
                post,
                Vec3::new(far - 160.0, k as f32 * 3300.0 + 500.0, 2600.0),
            ),
            &frame,
        );
    }
    cabinets(world, &place, far, seed);
    let tube = Look::plain(Vec3::new(1.0, 1.0, 0.97), 0.5).glow(4.5);
    for row in -2..=2 {
        for k in 0..4 {
            let lamp = Mesh::block(Vec3::new(1500.0, 90.0, 50.0), 10.0);
            world.add_shadowless(
                place(
                    lamp,
                    Vec3::new(k as f32 * 2300.0 - 2200.0, row as f32 * 2100.0, 4100.0),
                ),
                &tube,
            );
        }
    }
}

/// Tool cabinets, shelves and drums along the back wall.
fn cabinets(world: &mut World, place: &impl Fn(Mesh, Vec3) -> Mesh, far: f32, seed: u32) {
    let colours = [
        looks::BLUE,
        0x59_60_66,
        looks::ORANGE,
        0x4d_56_5c,
        looks::BLUE,
        0x6a_6f_72,
    ];
    for (k, colour) in colours.iter().enumerate() {
        let wide = 620.0 + 160.0 * hash(seed ^ (k as u32 * 77 + 5));
        let tall = 850.0 + 350.0 * (hash(seed ^ (k as u32 * 31 + 9)) * 3.0).floor() / 2.0;
        let y = -5200.0 + k as f32 * 1900.0 + 240.0 * hash(seed ^ (k as u32 + 400));
        let drawers = looks::enamel(rgb(*colour)).painted(|s| {
            let line = (s.rest.z / 150.0 + 0.5).fract() * 150.0;
            s.colour *= 0.25 + 0.75 * ramp(2.0, 10.0, line.min(150.0 - line));
            if (line - 112.0).abs() < 14.0 && s.rest.y.abs() < 220.0 {
                s.colour = Vec3::splat(0.55);
                s.metal = 1.0;
            }
        });
        let cabinet = Mesh::block(Vec3::new(520.0, wide, tall), 12.0);
        world.add(
            place(cabinet, Vec3::new(far - 380.0, y, tall / 2.0 + 70.0)),
            &drawers,
        );
        if k % 2 == 0 {
            let crate_look = if k == 2 {
                looks::cardboard()
            } else {
                looks::enamel(rgb(0x8c_90_90))
            };
            let small = Mesh::block(Vec3::new(300.0, 340.0, 230.0), 6.0);
            world.add(
                place(small, Vec3::new(far - 380.0, y + 60.0, tall + 190.0)),
                &crate_look,
            );
        }
    }
    let board = looks::plastic(rgb(0xb9_b4_a6));
    world.add_shadowless(
        place(
            Mesh::block(Vec3::new(20.0, 2600.0, 1200.0), 4.0),
            Vec3::new(far - 80.0, -900.0, 2150.0),
        ),
        &board,
    );
    let tool = looks::steel();
    for k in 0..11 {
        let length = 190.0 + 260.0 * hash(seed ^ (900 + k));
        let handle = Mesh::block(Vec3::new(26.0, 34.0, length), 10.0);
        let y = -2050.0 + k as f32 * 230.0;
        world.add_shadowless(
            place(handle, Vec3::new(far - 110.0, y, 2500.0 - length / 2.0)),
            &tool,
        );
        let head = Mesh::block(Vec3::new(30.0, 90.0 + 60.0 * hash(seed ^ k), 60.0), 14.0);
        world.add_shadowless(place(head, Vec3::new(far - 112.0, y, 2520.0)), &tool);
    }
}

/// The yard: asphalt, the hall's front with its door, posts, a hedge and the sky.
pub fn yard(world: &mut World, seed: u32) {
    world.add_shadowless(
        Mesh::net(40, 40, |u, v| {
            Vec3::new((u - 0.5) * 60_000.0, (v - 0.5) * 60_000.0, GROUND)
        }),
        &looks::asphalt(),
    );
    let x = -5200.0;
    let cladding = Look::plain(rgb(0xbf_c6_c8), 0.55).coat(0.2).painted(|s| {
        let wave = ((s.rest.y + 20_000.0) / 190.0).fract() - 0.5;
        let side = ramp(0.30, 0.34, wave.abs()) * ramp(0.48, 0.44, wave.abs());
        looks::tilt(s, Vec3::Y * (0.8 * side * wave.signum()));
        s.colour *= 0.88 + 0.16 * noise(s.place / 1500.0);
        if s.rest.z > 1500.0 {
            s.colour = rgb(0x2d_6d_8f);
        }
    });
    let front = Mesh::block(Vec3::new(200.0, 26_000.0, 5400.0), 0.0).settle();
    world.add(front.at(x, 3000.0, 2700.0 + GROUND), &cladding);
    let door = Look::plain(rgb(0xe4_e2_da), 0.5).coat(0.3).painted(|s| {
        let slat = (s.rest.z / 520.0).fract() * 520.0;
        s.colour *= 0.55 + 0.45 * ramp(0.0, 20.0, slat.abs().min(520.0 - slat.abs()));
        let pane = looks::from_rounded(
            Vec2::new(
                (s.rest.y / 900.0).fract().abs() * 900.0 - 450.0,
                s.rest.z - 420.0,
            ),
            Vec2::ZERO,
            Vec2::new(620.0, 300.0),
            60.0,
        );
        if pane < 0.0 {
            s.colour = Vec3::splat(0.03);
            s.coat = 1.0;
        }
    });
    for y in [-1800.0, 3700.0] {
        world.add(
            Mesh::block(Vec3::new(60.0, 4200.0, 3900.0), 0.0).at(x + 110.0, y, 1950.0 + GROUND),
            &door,
        );
    }
    let post = looks::enamel(rgb(looks::YELLOW) * 0.8).painted(|s| {
        if ((s.rest.z / 260.0).fract().abs() - 0.5).abs() < 0.22 {
            s.colour = Vec3::splat(0.02);
        }
    });
    for y in [-4300.0, 950.0, 6300.0] {
        world.add(Mesh::rod(85.0, 1100.0, 20).at(x + 600.0, y, GROUND), &post);
    }
    let hedge = Look::plain(rgb(0x4c_63_3d), 0.9).crease(80.0).painted(|s| {
        s.colour *= 0.35 + 1.1 * noise(s.place / 70.0) * noise(s.place / 260.0) * 1.6;
        looks::wavy(s, 60.0, 0.9);
    });
    for (centre, size) in [
        (
            Vec3::new(-1000.0, 15_500.0, 0.0),
            Vec3::new(16_000.0, 1600.0, 2600.0),
        ),
        (
            Vec3::new(-6000.0, -14_500.0, 0.0),
            Vec3::new(14_000.0, 1500.0, 3400.0),
        ),
    ] {
        let lumps = Mesh::block(size, 500.0).at(centre.x, centre.y, GROUND + size.z * 0.4);
        let lumps = lumps.bend(|p| {
            p + Vec3::splat((noise(p / 900.0 + Vec3::splat(seed as f32 % 97.0)) - 0.5) * 900.0)
        });
        world.add(lumps, &hedge);
    }
    let line = Look::plain(rgb(0xdd_dd_d6), 0.8)
        .painted(|s| s.colour *= 0.5 + 0.5 * ramp(0.3, 0.5, noise(s.place / 45.0)));
    for y in [-1700.0, 1750.0] {
        world.add_shadowless(
            Mesh::block(Vec3::new(6500.0, 110.0, 4.0), 0.0).at(1300.0, y, GROUND + 1.0),
            &line,
        );
    }
}
