//! An invented van, ways to damage it, and surveys of it: for the tests and for the table of
//! `examples/damage_table.rs`.
#![allow(dead_code)] // each user takes its own part

use datumtrail_geometry::check::{Check, Reading, Request, Target, check};
use datumtrail_geometry::damage::{Layout, Measured, SheetPoint};
use datumtrail_geometry::frame::{Side, Vec3};
use nalgebra::Rotation3;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

pub const U_MM: f64 = 0.5;
pub const BUILD_SPREAD_MM: f64 = 0.6;
pub const LIMIT_MM: f64 = 3.0;

/// Name, length, half width, height of the pairs; the right one of each has a prime.
const PAIRS: [(&str, [f64; 3]); 11] = [
    ("H", [-600.0, 460.0, 240.0]),
    ("C", [-350.0, 455.0, 235.0]),
    ("A", [-50.0, 440.0, 110.0]),
    ("F", [0.0, 600.0, 650.0]),
    ("E", [-250.0, 590.0, 640.0]),
    ("G", [850.0, 370.0, 10.0]),
    ("M", [1300.0, 380.0, 15.0]),
    ("N", [1750.0, 400.0, 20.0]),
    ("D", [2600.0, 470.0, 230.0]),
    ("J", [2900.0, 480.0, 232.0]),
    ("L", [3080.0, 410.0, 180.0]),
];

pub const REFERENCES: [&str; 6] = ["G", "G'", "M", "M'", "N", "N'"];

pub fn sheet() -> Vec<Target> {
    let pair = |(name, [x, y, z]): (&str, [f64; 3])| {
        [
            Target::new(name, Side::Left, [x, -y, z], 1.0).with_limit(LIMIT_MM),
            Target::new(format!("{name}'"), Side::Right, [x, y, z], 1.0).with_limit(LIMIT_MM),
        ]
    };
    PAIRS.into_iter().flat_map(pair).collect()
}

pub fn layout() -> Layout {
    Layout::propose(&sheet().iter().map(SheetPoint::from).collect::<Vec<_>>())
}

/// How the damage displaces a point: from its side (-1 left, +1 right) and position, mm.
pub type Damage = fn(&str, f64, Vec3) -> Vec3;

fn on_rail(name: &str) -> bool {
    ["H", "C", "A"].contains(&name.trim_end_matches('\''))
}

/// From 0 at the foremost reference points to 1 at the front end.
fn along_the_front(x: Vec3) -> f64 {
    ((850.0 - x.x) / 1450.0).max(0.0)
}

pub fn undamaged(_: &str, _: f64, _: Vec3) -> Vec3 {
    Vec3::zeros()
}

/// The whole front 10 mm back.
pub fn mash(_: &str, _: f64, x: Vec3) -> Vec3 {
    Vec3::x() * if x.x < 400.0 { 10.0 } else { 0.0 }
}

/// The left front rail 12 mm back; the shock towers stayed.
pub fn one_rail(name: &str, side: f64, x: Vec3) -> Vec3 {
    let moved = side < 0.0 && x.x < 400.0 && on_rail(name);
    Vec3::x() * if moved { 12.0 } else { 0.0 }
}

/// Both rail ends 8 mm back from C forward.
pub fn rail_ends(name: &str, _: f64, x: Vec3) -> Vec3 {
    let moved = x.x < -300.0 && on_rail(name);
    Vec3::x() * if moved { 8.0 } else { 0.0 }
}

/// The front swung to the right about the height axis at the firewall: 12 mm at its end.
pub fn swung(_: &str, _: f64, x: Vec3) -> Vec3 {
    let hinge = Vec3::new(400.0, 0.0, 200.0);
    let turned = Rotation3::new(Vec3::new(0.0, 0.0, -0.012)) * (x - hinge);
    if x.x < 400.0 {
        turned - (x - hinge)
    } else {
        Vec3::zeros()
    }
}

/// Bent sideways, 10 mm to the left at the front end, without shortening.
pub fn sidesway(_: &str, _: f64, x: Vec3) -> Vec3 {
    Vec3::y() * -10.0 * along_the_front(x)
}

/// Bent down, 9 mm at the front end.
pub fn sag(_: &str, _: f64, x: Vec3) -> Vec3 {
    Vec3::z() * -9.0 * along_the_front(x)
}

/// Right side up and left side down, 5 mm each at the front end.
pub fn twist(_: &str, side: f64, x: Vec3) -> Vec3 {
    Vec3::z() * 5.0 * side * along_the_front(x)
}

/// Left rear corner struck: the last two points of the left rear rail 7 mm forward, 3 mm up.
pub fn rear_corner(_: &str, side: f64, x: Vec3) -> Vec3 {
    let moved = side < 0.0 && x.x > 2800.0;
    if moved {
        Vec3::new(-7.0, 0.0, 3.0)
    } else {
        Vec3::zeros()
    }
}

/// Left front driven back 14 mm, right front 6 mm, each side as one.
pub fn each_side(_: &str, side: f64, x: Vec3) -> Vec3 {
    Vec3::x() * if x.x < 400.0 { 10.0 - 4.0 * side } else { 0.0 }
}

/// Both ends struck: the front 10 mm back, the last two stations of both rear rails 8 mm forward.
pub fn both_ends(_: &str, _: f64, x: Vec3) -> Vec3 {
    let back = if x.x < 400.0 { 10.0 } else { 0.0 };
    let forward = if x.x > 2800.0 { 8.0 } else { 0.0 };
    Vec3::x() * (back - forward)
}

/// One point only.
pub fn one_point(name: &str, _: f64, _: Vec3) -> Vec3 {
    if name == "E'" {
        Vec3::new(2.0, -7.0, 1.0)
    } else {
        Vec3::zeros()
    }
}

pub fn side_of(target: &Target) -> f64 {
    match target.side {
        Side::Left => -1.0,
        Side::Right => 1.0,
        Side::Centre => 0.0,
    }
}

/// A survey of a van with that damage: built a little off the sheet, read with noise from an
/// arbitrary place, set up on the six reference points of the cell. `noise` scales both.
pub fn survey(damage: Damage, seed: u64, noise: f64) -> Measured {
    measure(&sheet(), &readings(damage, seed, noise))
}

/// What the instrument read, in the order of the sheet.
pub fn readings(damage: Damage, seed: u64, noise: f64) -> Vec<Reading> {
    let mut dice = ChaCha8Rng::seed_from_u64(seed);
    let mut vector = |size: f64| {
        Vec3::from_fn(|_, _| {
            let z: f64 = StandardNormal.sample(&mut dice);
            z * size * noise
        })
    };
    let turn = Rotation3::from_euler_angles(0.4, -1.1, 2.3);
    let read = |t: &Target| {
        let displaced = damage(&t.point, side_of(t), t.position_mm);
        let at = t.position_mm + displaced + vector(BUILD_SPREAD_MM) + vector(1.0 / 12_f64.sqrt());
        let seen = turn * (at - Vec3::new(-1800.0, 2600.0, 900.0)) + vector(U_MM);
        Reading::new(t.point.clone(), seen.into(), Some(U_MM))
    };
    sheet().iter().map(read).collect()
}

/// From readings to what damage and extent are read from, with zones and members proposed from
/// that sheet.
pub fn measure(targets: &[Target], readings: &[Reading]) -> Measured {
    measure_from(targets, readings, &REFERENCES.map(String::from))
}

/// The same, set up on other reference points.
pub fn measure_from(targets: &[Target], readings: &[Reading], references: &[String]) -> Measured {
    let check = checked(targets, readings, references);
    let layout = Layout::propose(&targets.iter().map(SheetPoint::from).collect::<Vec<_>>());
    let measured = Measured::of_check(&check, &layout).expect("a sound covariance");
    measured.expect("an uncertainty is stated")
}

/// A survey that is also set up on four points at the end that was not hit. With the cell alone,
/// 0.9 m long, the ends of the van are known to 1.6 mm in height, and 3 mm can't be told there.
pub fn wide_survey(damage: Damage, seed: u64, noise: f64, also: [&str; 4]) -> Measured {
    let references: Vec<String> = REFERENCES
        .iter()
        .chain(&also)
        .map(|r| r.to_string())
        .collect();
    measure_from(&sheet(), &readings(damage, seed, noise), &references)
}

/// The check of a survey with the van's build spread, without screening.
pub fn checked(targets: &[Target], readings: &[Reading], references: &[String]) -> Check {
    let mut request = Request::new(readings, targets, references);
    request.build_spread_mm = Some(BUILD_SPREAD_MM);
    request.options.screen = false;
    check(&request).expect("a survey that can be set up")
}
