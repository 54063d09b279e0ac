//! What is around the left rear rail when the van stands raised on its rack.

use glam::{Affine3A, Quat, Vec2, Vec3};

use super::looks::{self, rgb};
use super::rail::{self, Works};
use super::render::mesh::{Mesh, smooth};
use super::render::noise::{noise, ramp};
use super::render::{Look, World};
use super::{livery, shop, tools, van};

/// Height of the floor under the raised van, in the vehicle's frame.
pub const RAISED: f32 = -1450.0;

/// The rear of the van from below: rail, floor, axle, panels, and the hall around it.
pub fn add(world: &mut World, works: Works, seed: u32) {
    shop::hall(world, Vec3::new(3000.0, 1000.0, RAISED), 90.0, seed);
    rail::add(world, works);
    floor(world);
    axle(world);
    panels(world);
    other_side(world);
    rack(world);
}

/// The load floor with its pressed ribs, and the cross member at x = 3344.
fn floor(world: &mut World) {
    let pan = Mesh::net(120, 90, |u, v| {
        let (x, y) = (2380.0 + 1160.0 * u, -590.0 + 1180.0 * v);
        let ribs = ramp(0.25, 0.4, ((y / 130.0).fract().abs() - 0.5).abs());
        let within =
            ramp(2420.0, 2470.0, x) * ramp(3490.0, 3440.0, x) * ramp(455.0, 430.0, y.abs());
        Vec3::new(x, y, 384.0 - 11.0 * ribs * within)
    });
    world.add(pan, &looks::underseal());
    let member = Look {
        ..looks::underseal()
    };
    let hat = [
        (-44.0, 380.0),
        (-34.0, 312.0),
        (-28.0, 306.0),
        (28.0, 306.0),
        (34.0, 312.0),
        (44.0, 380.0),
    ];
    let rows: Vec<Vec<Vec3>> = (0..=40)
        .map(|i| {
            hat.iter()
                .map(|&(x, z)| Vec3::new(3344.0 + x, -466.0 + 932.0 * i as f32 / 40.0, z))
                .collect()
        })
        .collect();
    world.add(Mesh::through(&rows), &member);
    let spare = Mesh::lathe(
        &[
            (0.0, -92.0),
            (190.0, -92.0),
            (232.0, -80.0),
            (252.0, -40.0),
            (262.0, 40.0),
        ],
        48,
    )
    .at(2990.0, 60.0, 372.0);
    world.add(spare, &looks::underseal());
    let pipe = looks::plastic(rgb(0x25_27_29));
    for (k, y) in [(0.0f32, -405.0f32), (1.0, -388.0), (2.0, -371.0)] {
        let path = smooth(
            &[
                Vec3::new(2300.0, y, 300.0),
                Vec3::new(2600.0, y, 318.0),
                Vec3::new(2760.0, y + 14.0 * k, 350.0),
                Vec3::new(3300.0, y, 356.0),
            ],
            12,
        );
        world.add(Mesh::tube(&path, 10, |_| 4.2 + k), &pipe);
    }
    // Silencer, on the other side of the spare wheel's well.
    let silencer = Mesh::block(Vec3::new(480.0, 230.0, 150.0), 70.0).at(3150.0, 350.0, 250.0);
    world.add(
        silencer,
        &Look::metal(rgb(0x8a_80_70), 0.5).painted(|s| {
            s.colour *= 0.6 + 0.6 * noise(s.rest / 60.0);
            let rust = ramp(
                0.55,
                0.7,
                noise(s.rest / 24.0) * 0.6 + 0.4 * noise(s.rest / 8.0),
            );
            s.colour = s.colour.lerp(rgb(0x6b_3d_1e), 0.6 * rust);
            s.metal = 1.0 - 0.7 * rust;
        }),
    );
    let tail = smooth(
        &[
            Vec3::new(3380.0, 350.0, 240.0),
            Vec3::new(3500.0, 360.0, 215.0),
            Vec3::new(3640.0, 370.0, 190.0),
        ],
        8,
    );
    world.add(
        Mesh::tube(&tail, 16, |_| 23.0),
        &Look::metal(rgb(0x9a_92_84), 0.4),
    );
}

/// Axle beam, spring, damper and the brake drum; the wheel is off.
fn axle(world: &mut World) {
    let x = van::AXLES[1];
    let black = looks::plastic(rgb(0x24_26_28)).painted(|s| {
        let dirt = ramp(0.45, 0.75, noise(s.rest / 60.0));
        s.colour = s.colour.lerp(rgb(0x6b_60_50), 0.6 * dirt);
    });
    let beam = smooth(
        &[
            Vec3::new(x - 20.0, -640.0, 88.0),
            Vec3::new(x - 110.0, -360.0, 92.0),
            Vec3::new(x - 130.0, 0.0, 92.0),
            Vec3::new(x - 110.0, 360.0, 92.0),
            Vec3::new(x - 20.0, 640.0, 88.0),
        ],
        10,
    );
    world.add(Mesh::tube(&beam, 20, |_| 52.0), &black);
    for side in [-1.0f32, 1.0] {
        let drum = Mesh::lathe(
            &[
                (0.0, 60.0),
                (48.0, 60.0),
                (52.0, 30.0),
                (118.0, 24.0),
                (124.0, 16.0),
                (124.0, -40.0),
                (100.0, -52.0),
            ],
            48,
        )
        .along(Vec3::new(0.0, side, 0.0))
        .at(x, side * 700.0, 96.0);
        world.add(
            drum,
            &Look::metal(rgb(0x7a_6a_5c), 0.55)
                .painted(|s| s.colour *= 0.55 + 0.7 * noise(s.rest / 22.0)),
        );
        let coil: Vec<Vec3> = (0..=150)
            .map(|i| {
                let a = i as f32 * 0.24;
                Vec3::new(
                    x + 30.0 + 58.0 * a.cos(),
                    side * 520.0 + 58.0 * a.sin(),
                    120.0 + 1.5 * i as f32,
                )
            })
            .collect();
        world.add(
            Mesh::tube(&coil, 9, |_| 7.5),
            &looks::enamel(rgb(0x30_3c_46)),
        );
        let damper = [
            Vec3::new(x - 60.0, side * 560.0, 84.0),
            Vec3::new(x - 150.0, side * 570.0, 400.0),
        ];
        world.add(
            Mesh::tube(&damper, 18, |t| if t < 0.5 { 30.0 } else { 27.0 }),
            &looks::enamel(rgb(0x22_24_26)),
        );
    }
}

/// The inner side, the outer quarter with its cut lower edge, and the rear panel.
fn panels(world: &mut World) {
    let overspray = looks::old_structure();
    let inner = Mesh::net(50, 16, |u, v| {
        let x = 2380.0 + 1160.0 * u;
        let bulge = 36.0 * ramp(3120.0, 2900.0, x);
        Vec3::new(x, -600.0 - bulge, 384.0 + 320.0 * v)
    });
    world.add(inner, &overspray);
    for y in [-1.0f32, 1.0] {
        let quarter = Mesh::net(60, 16, |u, v| {
            let x = 2360.0 + 1230.0 * u;
            let arch = (372.0f32.powi(2) - (x - van::AXLES[1]).powi(2))
                .max(0.0)
                .sqrt()
                + 96.0;
            let low = if y < 0.0 { 448.0 } else { 330.0 };
            let low = arch.max(low).min(600.0);
            let z = low + (760.0 - low) * v;
            Vec3::new(x, y * (van::half_width(z) - 14.0), z)
        });
        world.add(quarter, &livery::skin(van::State::WHOLE));
    }
    let rear = Mesh::net(40, 12, |u, v| {
        Vec3::new(3548.0, -690.0 + 1380.0 * u, 396.0 + 220.0 * v)
    });
    world.add(rear, &overspray);
}

/// The right rail, whole.
fn other_side(world: &mut World) {
    let section: Vec<Vec2> = [
        (472.0, 362.0),
        (472.0, 258.0),
        (554.0, 258.0),
        (554.0, 362.0),
    ]
    .iter()
    .map(|&(y, z)| Vec2::new(y, z))
    .collect();
    world.add(
        Mesh::section(&section, 2560.0, rail::END, 8),
        &looks::old_structure(),
    );
    world.add(
        Mesh::block(Vec3::new(5.0, 124.0, 146.0), 1.0).at(rail::END, 514.0, 317.0),
        &looks::old_structure(),
    );
}

/// The rack's rails and a clamp on the sill, ahead of the wheel.
fn rack(world: &mut World) {
    let blue = looks::enamel(rgb(0x2c_4a_5a));
    for y in [-560.0, 560.0] {
        world.add(
            Mesh::block(Vec3::new(5200.0, 190.0, 240.0), 14.0).at(1700.0, y, RAISED + 620.0),
            &blue,
        );
    }
    for x in [900.0, 2150.0, 3900.0] {
        world.add(
            Mesh::block(Vec3::new(170.0, 1700.0, 150.0), 12.0).at(x, 0.0, RAISED + 780.0),
            &blue,
        );
    }
    let steel = looks::enamel(rgb(looks::ORANGE));
    for y in [-690.0f32, 690.0] {
        world.add(
            Mesh::block(Vec3::new(110.0, 90.0, 760.0), 10.0).at(2120.0, y, RAISED + 1120.0),
            &looks::steel(),
        );
        world.add(
            Mesh::block(Vec3::new(190.0, 130.0, 120.0), 16.0).at(2120.0, y, 20.0),
            &steel,
        );
        let sill = Mesh::block(Vec3::new(1700.0, 120.0, 90.0), 30.0).at(1480.0, y, 80.0);
        world.add(sill, &looks::old_structure());
        for x in [2080.0, 2160.0] {
            tools::bolt(
                world,
                Vec3::new(x, y - 66.0 * y.signum().abs(), 20.0),
                Vec3::NEG_Y,
                13.0,
            );
        }
    }
}

/// The bumper beam bolted to both end plates; `crumpled` as it came off.
pub fn beam(world: &mut World, place: Affine3A, crumpled: bool, look: &Look) {
    let hat: Vec<Vec2> = [
        (-46.0, -60.0),
        (-40.0, -44.0),
        (0.0, -40.0),
        (6.0, -30.0),
        (6.0, 30.0),
        (0.0, 40.0),
        (-40.0, 44.0),
        (-46.0, 60.0),
    ]
    .iter()
    .map(|&(a, b)| Vec2::new(a, b))
    .collect();
    let rows: Vec<Vec<Vec3>> = (0..=110)
        .map(|i| {
            let y = -650.0 + 1300.0 * i as f32 / 110.0;
            let bow = 26.0 * (1.0 - (y / 650.0).powi(2));
            hat.iter().map(|p| Vec3::new(p.x + bow, y, p.y)).collect()
        })
        .collect();
    let mesh = Mesh::through(&rows).bend(move |p| {
        if !crumpled {
            return p;
        }
        let t = ramp(-150.0, -650.0, p.y);
        let fold = (noise(p / 46.0) - 0.5) * 34.0 * t;
        Vec3::new(
            p.x - 190.0 * t * t + fold,
            p.y + 60.0 * t,
            p.z * (1.0 + 0.35 * (noise(p / 70.0) - 0.5) * t) + 18.0 * t,
        )
    });
    world.add(mesh.put(place), look);
}

/// The beam in its place on the rails, with bolts.
pub fn beam_in_place(world: &mut World) {
    let look = Look::plain(rgb(0xb4_b7_b6), 0.42).coat(0.3).painted(|s| {
        // Galvanised: spangles.
        let spangle = noise(Vec3::new(
            (s.rest.y / 17.0).floor() + noise(s.rest / 9.0),
            (s.rest.z / 15.0).floor(),
            1.0,
        ));
        s.colour *= 0.8 + 0.3 * spangle;
    });
    beam(
        world,
        Affine3A::from_rotation_translation(
            Quat::IDENTITY,
            Vec3::new(rail::END + 52.0, 0.0, 317.0),
        ),
        false,
        &look,
    );
    for y in [-548.0, -480.0, 480.0, 548.0] {
        for z in [282.0, 352.0] {
            tools::bolt(world, Vec3::new(rail::END + 60.0, y, z), Vec3::X, 11.0);
        }
    }
}
