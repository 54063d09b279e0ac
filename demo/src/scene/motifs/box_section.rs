//! Pictures at the left rear rail: damage, cut, joint, welds, protection, and the probe.

use glam::{Affine3A, Mat3, Vec2, Vec3};

use super::Shot;
use crate::scene::looks::{self, rgb};
use crate::scene::rail::{JOINT, Joint, Rear, Works};
use crate::scene::render::mesh::{Mesh, smooth};
use crate::scene::render::noise::{noise, ramp};
use crate::scene::render::{Camera, Look, World};
use crate::scene::{shop, tools, underbody};

const IN_PLACE: Rear = Rear::New {
    rearward: 0.0,
    drop: 0.0,
};

/// The rear from below, lit from the left and by a hand lamp near the camera.
pub(super) fn stage(works: Works, at: Vec3, eye: Vec3, fov: f32, aperture: f32, seed: u32) -> Shot {
    let mut world = World::new(shop::below_sky());
    underbody::add(&mut world, works, seed);
    let camera = Camera {
        eye,
        at,
        fov,
        near: 20.0,
        aperture,
        ..Camera::default()
    };
    let away = (eye - at).normalize_or(Vec3::NEG_Y);
    let side = away.cross(Vec3::Z).normalize_or(Vec3::X);
    let distance = eye.distance(at);
    world.lights.push(shop::hand_lamp(
        at + away * distance * 0.75 - side * distance * 0.55 + Vec3::Z * distance * 0.28,
        at,
        distance * 0.75,
        2.8,
    ));
    world.lights.push(shop::tube_light(
        at,
        Vec3::new(1500.0, -2300.0, -250.0),
        900.0,
        1.3,
    ));
    world.nook = 55.0;
    Shot {
        world,
        camera,
        exposure: 1.0,
    }
}

pub fn from_below(works: Works, seed: u32) -> Shot {
    let mut shot = stage(
        works,
        Vec3::new(3285.0, -470.0, 285.0),
        Vec3::new(4050.0, -1130.0, -190.0),
        33.0,
        9.0,
        seed,
    );
    shot.world.nook = 80.0;
    shot.exposure = 0.85;
    shot
}

/// The joint from outside; `near` scales the distance.
pub fn side(joint: Joint, near: f32, seed: u32) -> Shot {
    let at = Vec3::new(JOINT + 34.0 * near, -520.0, 306.0);
    let eye = at + Vec3::new(90.0, -620.0, -120.0) * near;
    let mut shot = stage(
        Works {
            rear: IN_PLACE,
            joint,
        },
        at,
        eye,
        27.0,
        7.0 * near,
        seed,
    );
    shot.world.nook = 36.0;
    shot
}

/// The open box from behind along its whole length.
pub fn whole_box(seed: u32) -> Shot {
    let at = Vec3::new(3190.0, -510.0, 304.0);
    let mut shot = stage(
        Works {
            rear: IN_PLACE,
            joint: Joint::Hidden,
        },
        at,
        at + Vec3::new(360.0, -470.0, -60.0),
        32.0,
        5.0,
        seed,
    );
    shot.world.nook = 40.0;
    shot
}

pub fn cut_line(seed: u32) -> Shot {
    let at = Vec3::new(3078.0, -545.0, 306.0);
    let mut shot = stage(
        Works {
            rear: Rear::Collapsed,
            joint: Joint::Marked,
        },
        at,
        at + Vec3::new(110.0, -560.0, -90.0),
        30.0,
        7.0,
        seed,
    );
    // A rule held along the plate, its end on the hole ahead.
    let axes = Mat3::from_cols(Vec3::X, Vec3::Z, Vec3::NEG_Y);
    tools::rule(
        &mut shot.world,
        200.0,
        Affine3A::from_mat3_translation(axes, Vec3::new(2950.0, -563.0, 274.0)),
    );
    shot.world.nook = 40.0;
    shot
}

pub fn drilling(seed: u32) -> Shot {
    let at = Vec3::new(3130.0, -570.0, 300.0);
    let mut shot = stage(
        Works {
            rear: Rear::Collapsed,
            joint: Joint::Marked,
        },
        at + Vec3::new(-20.0, -40.0, -10.0),
        at + Vec3::new(330.0, -560.0, -10.0),
        34.0,
        8.0,
        seed,
    );
    tools::drill(
        &mut shot.world,
        Vec3::new(3132.0, -553.0, 371.0),
        Vec3::new(-0.42, -1.0, -0.22),
        Vec3::new(0.1, 0.1, -1.0),
    );
    // Drilled so far: bright rings around dark holes.
    for k in 0..4 {
        let centre = Vec3::new(3132.0 + 38.0 * k as f32, -557.0, 248.0);
        let ring = Mesh::lathe(
            &[(0.0, -1.2), (3.4, -1.0), (4.2, 0.0), (6.2, 0.5), (6.8, 0.0)],
            20,
        )
        .along(Vec3::NEG_Y);
        shot.world.add(
            ring.bend(|p| p + centre),
            &looks::chrome().painted(|s| {
                if Vec2::new(s.rest.x, s.rest.y).length() < 3.6 {
                    s.colour *= 0.06;
                }
            }),
        );
    }
    shot.world.nook = 50.0;
    shot
}

pub fn stub(seed: u32) -> Shot {
    let at = Vec3::new(3070.0, -515.0, 308.0);
    let mut shot = stage(
        Works {
            rear: Rear::Gone,
            joint: Joint::Bare,
        },
        at,
        at + Vec3::new(520.0, -330.0, -110.0),
        30.0,
        7.0,
        seed,
    );
    shot.world.nook = 50.0;
    shot
}

pub fn trial_fit(seed: u32) -> Shot {
    let works = Works {
        rear: Rear::New {
            rearward: -7.4,
            drop: 3.8,
        },
        joint: Joint::Bare,
    };
    let at = Vec3::new(3190.0, -520.0, 295.0);
    let mut shot = stage(
        works,
        at,
        at + Vec3::new(210.0, -860.0, -150.0),
        30.0,
        9.0,
        seed,
    );
    for x in [3040.0, 3112.0] {
        tools::clamp(
            &mut shot.world,
            Vec3::new(x, -556.0, 250.0),
            Vec3::new(0.0, -1.0, 0.0),
            Vec3::new(0.0, -0.2, -1.0),
            7.0,
        );
    }
    tools::clamp(
        &mut shot.world,
        Vec3::new(3300.0, -556.0, 248.0),
        Vec3::new(0.0, -1.0, 0.0),
        Vec3::new(0.25, -0.2, -1.0),
        7.0,
    );
    underbody::beam_in_place(&mut shot.world);
    shot.world.nook = 60.0;
    shot
}

/// A screw between a bracket and the section draws it rearward; a rule shows by how much.
pub fn moving(seed: u32) -> Shot {
    let works = Works {
        rear: IN_PLACE,
        joint: Joint::Untouched,
    };
    let at = Vec3::new(3098.0, -540.0, 296.0);
    let mut shot = stage(
        works,
        at,
        at + Vec3::new(60.0, -430.0, -60.0),
        30.0,
        5.0,
        seed,
    );
    // Layout dye up to where the section's edge had been, and the bright strip that the move laid
    // bare.
    let dye = Look::plain(rgb(0x1b_3f_73), 0.5)
        .coat(0.4)
        .painted(|s| s.colour *= 0.8 + 0.4 * noise(s.rest / 12.0));
    for (length, x, look) in [
        (34.0, JOINT - 24.4, &dye),
        (7.4, JOINT - 3.7, &looks::ground_steel()),
    ] {
        shot.world.add(
            Mesh::block(Vec3::new(length, 1.0, 86.0), 0.0).at(x, -475.0, 310.0),
            look,
        );
        for z in [-9.5, 113.5] {
            shot.world.add(
                Mesh::block(Vec3::new(length, 1.0, 18.0), 0.0).at(x, -552.6, 258.0 + z),
                look,
            );
        }
    }
    let axes = Mat3::from_cols(Vec3::X, Vec3::Z, Vec3::NEG_Y);
    tools::rule(
        &mut shot.world,
        150.0,
        Affine3A::from_mat3_translation(axes, Vec3::new(JOINT - 60.0, -553.0, 276.0)),
    );
    tools::clamp(
        &mut shot.world,
        Vec3::new(3034.0, -556.0, 368.0),
        Vec3::new(0.0, -1.0, 0.0),
        Vec3::new(-0.4, -0.2, 1.0),
        7.0,
    );
    // Screw with two brackets.
    let steel = looks::steel();
    for x in [3040.0, 3196.0] {
        shot.world.add(
            Mesh::block(Vec3::new(16.0, 34.0, 58.0), 3.0).at(x, -566.0, 236.0),
            &looks::enamel(rgb(looks::ORANGE)),
        );
    }
    let thread = looks::steel().painted(|s| {
        let t = (s.rest.z / 3.4 + s.rest.y.atan2(s.rest.x) / std::f32::consts::TAU)
            .fract()
            .abs();
        s.colour *= 0.4 + 0.9 * (t - 0.5).abs() * 2.0;
    });
    shot.world.add(
        Mesh::rod(6.5, 210.0, 18)
            .along(Vec3::X)
            .at(3016.0, -570.0, 222.0),
        &thread,
    );
    for x in [3054.0, 3176.0, 3206.0] {
        shot.world.add(
            Mesh::lathe(&[(0.0, 0.0), (12.0, 0.0), (12.0, 11.0), (0.0, 11.0)], 6)
                .along(Vec3::X)
                .at(x, -570.0, 222.0),
            &steel,
        );
    }
    shot.world.nook = 36.0;
    shot
}

pub fn closing_plate(seed: u32) -> Shot {
    let at = Vec3::new(3150.0, -540.0, 306.0);
    let mut shot = stage(
        Works {
            rear: IN_PLACE,
            joint: Joint::Closed,
        },
        at,
        at + Vec3::new(150.0, -720.0, -110.0),
        30.0,
        8.0,
        seed,
    );
    for (x, tilt) in [(3018.0, -0.3), (3118.0, 0.1), (3222.0, 0.25), (3330.0, 0.4)] {
        tools::clamp(
            &mut shot.world,
            Vec3::new(x, -558.0, 248.0),
            Vec3::new(0.0, -1.0, 0.0),
            Vec3::new(tilt, -0.15, -1.0),
            8.0,
        );
    }
    for (x, tilt) in [(3064.0, -0.2), (3270.0, 0.3)] {
        tools::clamp(
            &mut shot.world,
            Vec3::new(x, -558.0, 371.0),
            Vec3::new(0.0, -1.0, 0.0),
            Vec3::new(tilt, -0.3, 1.0),
            8.0,
        );
    }
    shot.world.nook = 45.0;
    shot
}

/// Wax runs out of the drain holes while the lance sprays inside.
pub fn cavity_wax(seed: u32) -> Shot {
    let works = Works {
        rear: IN_PLACE,
        joint: Joint::Coated,
    };
    let hole = Vec3::new(3236.0, -561.0, 310.0);
    let at = hole + Vec3::new(-10.0, 0.0, -10.0);
    let mut shot = stage(
        works,
        at,
        hole + Vec3::new(-170.0, -470.0, -70.0),
        32.0,
        6.0,
        seed,
    );
    let hose = smooth(
        &[
            hole + Vec3::new(-6.0, 60.0, 2.0),
            hole + Vec3::new(2.0, -4.0, -1.0),
            hole + Vec3::new(12.0, -110.0, -18.0),
            hole + Vec3::new(90.0, -260.0, -80.0),
            hole + Vec3::new(240.0, -420.0, -120.0),
        ],
        10,
    );
    shot.world.add(
        Mesh::tube(&hose, 14, |_| 4.6),
        &looks::plastic(rgb(0xd9_d4_c4)),
    );
    let collar = Mesh::lathe(&[(4.0, 0.0), (9.0, 2.0), (9.0, 20.0), (4.8, 24.0)], 24)
        .along(Vec3::new(0.08, -1.0, -0.14))
        .bend(|p| p + hole + Vec3::new(2.0, -28.0, -5.0));
    shot.world
        .add(collar, &looks::enamel(rgb(looks::VERMILION)));
    let wax = Look::plain(rgb(0x9a_5c_14), 0.12).coat(1.0).crease(80.0);
    let blob = |world: &mut World, from: Vec3, length: f32, width: f32| {
        let path: Vec<Vec3> = (0..=20)
            .map(|i| {
                let t = i as f32 / 20.0;
                from + Vec3::new(1.5 * (t * 9.0 + from.x).sin(), -1.0, -length * t)
            })
            .collect();
        world.add(
            Mesh::tube(&path, 12, |t| {
                width * (0.55 + 0.3 * (1.0 - t) + 0.45 * ramp(0.75, 0.92, t) * ramp(1.02, 0.95, t))
            })
            .bend(|p| Vec3::new(p.x, from.y + (p.y - from.y) * 0.45, p.z)),
            &wax,
        );
    };
    for (dx, length, width) in [
        (-16.0, 46.0, 4.2),
        (-7.0, 30.0, 3.4),
        (5.0, 58.0, 4.6),
        (14.0, 22.0, 3.0),
    ] {
        blob(
            &mut shot.world,
            hole + Vec3::new(dx, -1.4, -10.0),
            length,
            width,
        );
    }
    let film = Mesh::lathe(&[(0.0, 1.1), (20.0, 1.0), (27.0, 0.0)], 40)
        .along(Vec3::NEG_Y)
        .bend(|p| {
            let q = Vec3::new(p.x * 1.15, p.y, p.z * 0.72 * (1.0 + 0.25 * noise(p / 8.0)));
            q + hole + Vec3::new(0.0, 0.2, 0.0)
        });
    let around = wax
        .clone()
        .without(|p| Vec2::new(p.x / 22.0, p.y / 18.0).length() < 0.9);
    shot.world.add(film, &around);
    // Drops under the rail.
    for (x, y) in [(3172.0, -512.0), (3344.0, -512.0)] {
        let drop = Mesh::ball(7.0, 18)
            .bend(|p| Vec3::new(p.x, p.y, if p.z < 0.0 { p.z * 1.9 } else { p.z * 0.5 }));
        shot.world.add(drop.at(x, y, 254.0), &wax);
    }
    shot.world.nook = 40.0;
    shot
}
