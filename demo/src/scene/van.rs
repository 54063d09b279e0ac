//! The van: a small box-shaped delivery vehicle, loft of level slices, in the vehicle's frame.
//!
//! Its shape follows the sheet where they meet (wheelbase, sills, door opening); the rest is
//! invented. [`livery`](super::livery) decides what each part of the skin is painted with.

use glam::{Vec2, Vec3};

use super::render::mesh::Mesh;
use super::render::noise::{noise, ramp};
use super::render::{Look, World};
use super::shop::GROUND;
use super::{livery, van_parts};

/// Where the wheels are (x) and how large.
pub const AXLES: [f32; 2] = [0.0, 2728.0];
pub const TYRE: f32 = 306.0;
pub const HUB_HEIGHT: f32 = GROUND + TYRE;
/// The van's own colour.
pub const PAINT: u32 = 0xee_ec_e4;

/// What state the rear is in.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct State {
    /// The left rear corner is crushed.
    pub struck: bool,
    /// Bumper cover fitted.
    pub bumper: bool,
    /// Tail lamps fitted.
    pub lamps: bool,
    /// How far the left rear door stands open, in degrees.
    pub door: f32,
}

impl State {
    pub const WHOLE: State = State {
        struck: false,
        bumper: true,
        lamps: true,
        door: 0.0,
    };
    pub const STRUCK: State = State {
        struck: true,
        ..State::WHOLE
    };
}

/// A value looked up in a table of (height, value), straight between entries.
fn table(rows: &[(f32, f32)], z: f32) -> f32 {
    let mut before = rows[0];
    for &row in rows {
        if z <= row.0 {
            let t = ((z - before.0) / (row.0 - before.0).max(1e-3)).clamp(0.0, 1.0);
            return before.1 + (row.1 - before.1) * t;
        }
        before = row;
    }
    before.1
}

fn front(z: f32) -> f32 {
    table(
        &[
            (60.0, -690.0),
            (160.0, -780.0),
            (360.0, -800.0),
            (540.0, -775.0),
            (640.0, -700.0),
            (700.0, -560.0),
            (760.0, -300.0),
            (815.0, 20.0),
            (850.0, 190.0),
            (900.0, 255.0),
            (1200.0, 600.0),
            (1480.0, 950.0),
            (1570.0, 1110.0),
            (1610.0, 1300.0),
            (1630.0, 1460.0),
        ],
        z,
    )
}

/// Where the tail is at a height.
pub fn tail(z: f32) -> f32 {
    table(
        &[
            (60.0, 3560.0),
            (140.0, 3628.0),
            (560.0, 3640.0),
            (900.0, 3634.0),
            (1300.0, 3606.0),
            (1480.0, 3584.0),
            (1560.0, 3560.0),
            (1606.0, 3500.0),
            (1630.0, 3380.0),
        ],
        z,
    )
}

/// Half the width at a height.
pub fn half_width(z: f32) -> f32 {
    table(
        &[
            (60.0, 806.0),
            (130.0, 846.0),
            (300.0, 872.0),
            (560.0, 884.0),
            (640.0, 886.0),
            (700.0, 872.0),
            (860.0, 866.0),
            (1150.0, 838.0),
            (1420.0, 796.0),
            (1520.0, 768.0),
            (1580.0, 722.0),
            (1612.0, 660.0),
            (1630.0, 570.0),
        ],
        z,
    )
}

/// One level slice of the skin, from the middle of the tail along the right side to the front
/// and back along the left.
fn slice(z: f32) -> Vec<Vec3> {
    let (f, t, w) = (front(z), tail(z), half_width(z));
    let (rt, rf) = (105.0, 330.0);
    let mut half: Vec<Vec2> = Vec::new();
    for i in 0..22 {
        half.push(Vec2::new(t, (w - rt) * i as f32 / 22.0));
    }
    for i in 0..10 {
        let a = std::f32::consts::FRAC_PI_2 * i as f32 / 10.0;
        half.push(Vec2::new(t - rt + rt * a.cos(), w - rt + rt * a.sin()));
    }
    let (from, to) = (t - rt, f + rf);
    for i in 0..64 {
        // Denser towards the tail, where the damage is.
        let u = i as f32 / 64.0;
        half.push(Vec2::new(from + (to - from) * u.powf(1.5), w));
    }
    for i in 0..=9 {
        let a = std::f32::consts::FRAC_PI_2 * i as f32 / 9.0;
        half.push(Vec2::new(f + rf - rf * a.sin(), w - rf + rf * a.cos()));
    }
    half.push(Vec2::new(f, 0.0));
    let bow = |p: Vec2| {
        // Neither the sides nor the tail are quite flat.
        let s = ((p.x - 1500.0) / 2200.0).clamp(-1.0, 1.0);
        let y = p.y * (1.0 - 0.035 * s * s);
        let tail_bow = 24.0 * (p.y / w).powi(2);
        let nose_bow = 130.0 * (p.y / w).powi(2);
        let x = p.x - tail_bow * ramp(t - 300.0, t, p.x) + nose_bow * ramp(f + 700.0, f, p.x);
        Vec2::new(x, y)
    };
    let right = half.iter().map(|&p| bow(p).extend(z));
    let left = half
        .iter()
        .rev()
        .skip(1)
        .map(|&p| (bow(p) * Vec2::new(1.0, -1.0)).extend(z));
    right.chain(left).collect()
}

/// How the blow moved the skin: forward, inboard and down around the left rear corner, in folds.
pub fn blow(p: Vec3) -> Vec3 {
    let c = (p - Vec3::new(3660.0, -800.0, 350.0)) / Vec3::new(600.0, 560.0, 430.0);
    let near = (-c.length_squared() * 1.6).exp();
    if near < 0.01 {
        return p;
    }
    let fold = 1.0
        - (2.0 * noise(Vec3::new(p.x / 150.0, p.y / 170.0, p.z / 120.0) + Vec3::splat(5.3)) - 1.0)
            .abs();
    let crease = 1.0 - (2.0 * noise(Vec3::new(p.x / 64.0, p.y / 80.0, p.z / 58.0)) - 1.0).abs();
    let depth = near * (205.0 + 120.0 * (fold - 0.5) + 52.0 * (crease - 0.5));
    p + Vec3::new(
        -depth,
        0.55 * depth + 46.0 * near * (crease - 0.5),
        -0.12 * depth + 30.0 * near * (fold - 0.5),
    )
}

/// Adds the van, standing on the ground, to the world.
pub fn add(world: &mut World, state: State) {
    let bend = move |p: Vec3| if state.struck { blow(p) } else { p };
    let mut levels: Vec<f32> = (0..32).map(|i| 60.0 + 20.0 * i as f32).collect();
    levels.extend((0..=20).map(|i| 700.0 + 40.0 * i as f32));
    levels.extend([
        1522.0, 1545.0, 1565.0, 1582.0, 1596.0, 1608.0, 1618.0, 1625.0, 1630.0,
    ]);
    let rows: Vec<Vec<Vec3>> = levels.iter().map(|&z| slice(z)).collect();
    let rim = slice(1630.0);
    let roof: Vec<Vec<Vec3>> = (0..=6)
        .map(|k| {
            let t = k as f32 / 6.0;
            rim.iter()
                .map(|p| {
                    Vec3::new(
                        p.x,
                        p.y * (1.0 - t),
                        1630.0 + 26.0 * (1.0 - (1.0 - t) * (1.0 - t)),
                    )
                })
                .collect()
        })
        .collect();
    let skin = livery::skin(state);
    world.add(
        Mesh::through(&rows).and(Mesh::through(&roof)).bend(bend),
        &skin,
    );

    van_parts::bumper(world, state);
    van_parts::fittings(world, state);
    let dark = Look::plain(Vec3::splat(0.012), 0.9);
    world.add(
        Mesh::block(Vec3::new(4100.0, 1180.0, 150.0), 30.0).at(1400.0, 0.0, 110.0),
        &dark,
    );
    world.add(
        Mesh::block(Vec3::new(2100.0, 1560.0, 120.0), 30.0).at(1364.0, 0.0, 110.0),
        &dark,
    );
    for x in AXLES {
        for side in [-1.0, 1.0] {
            let steer = if x == 0.0 { 7.0 } else { 0.0 };
            van_parts::wheel(world, Vec3::new(x, side * 742.0, HUB_HEIGHT), side, steer);
            let arch = Mesh::net(24, 2, |u, v| {
                let a = std::f32::consts::PI * (u * 1.16 - 0.08);
                Vec3::new(
                    x + 372.0 * a.cos(),
                    side * (520.0 + 345.0 * v),
                    HUB_HEIGHT + 372.0 * a.sin(),
                )
            });
            world.add(arch, &dark);
        }
    }
}
