//! Makes the table in `damage.md`, which the documentation of `damage` shows, and reproduces it to
//! the last digit (seeded, no clock, no thread): how often the damage of an invented van is read rightly.
//!
//!     cargo run --release -p datumtrail-geometry --example damage_table > core/geometry/damage.md
//!
//! Each row is a way to damage the front of the van of `tests/damage_scenes`; each figure is the
//! share of seeded surveys. Every survey draws anew how the van was built and how it was read.

#[path = "../tests/damage_scenes/mod.rs"]
mod damage_scenes;

use damage_scenes::*;
use datumtrail_geometry::damage::{self, Explanation, Finding, Kind, Scope, Shape};

const RUNS: u64 = 400;

/// What was done, and what of the answer names it rightly.
struct Scene {
    what: &'static str,
    damage: Damage,
    kinds: &'static [Kind],
    scope: Scope,
    points: usize,
}

const SCENES: [Scene; 10] = [
    Scene {
        what: "nothing",
        damage: undamaged,
        kinds: &[],
        scope: Scope::Both,
        points: 0,
    },
    Scene {
        what: "whole front 10 mm back",
        damage: mash,
        kinds: &[Kind::Mash],
        scope: Scope::Both,
        points: 10,
    },
    Scene {
        what: "left rail 12 mm back",
        damage: one_rail,
        kinds: &[Kind::Mash],
        scope: Scope::Left,
        points: 3,
    },
    Scene {
        what: "both rail ends 8 mm back",
        damage: rail_ends,
        kinds: &[Kind::Mash],
        scope: Scope::Both,
        points: 4,
    },
    Scene {
        what: "left front 14 mm back, right 6 mm",
        damage: each_side,
        kinds: &[Kind::Mash, Kind::Diamond],
        scope: Scope::Both,
        points: 10,
    },
    Scene {
        what: "front swung 12 mm right",
        damage: swung,
        kinds: &[Kind::Sidesway],
        scope: Scope::Both,
        points: 10,
    },
    Scene {
        what: "bent 10 mm left",
        damage: sidesway,
        kinds: &[Kind::Sidesway],
        scope: Scope::Both,
        points: 10,
    },
    Scene {
        what: "bent 9 mm down",
        damage: sag,
        kinds: &[Kind::Sag],
        scope: Scope::Both,
        points: 10,
    },
    Scene {
        what: "twisted 10 mm",
        damage: twist,
        kinds: &[Kind::Twist],
        scope: Scope::Both,
        points: 10,
    },
    Scene {
        what: "one tower point 7 mm in",
        damage: one_point,
        kinds: &[],
        scope: Scope::Right,
        points: 1,
    },
];

#[derive(Default)]
struct Counts {
    nothing: u64,
    points: u64,
    shapes: [u64; 7],
    /// Kinds and side exactly as done.
    kinds: u64,
    /// Runs in which something else could not be told apart.
    alternatives: u64,
    /// The points too.
    all: u64,
}

fn main() {
    println!(
        "| done to the front | nothing | push | push each | block | bend | warp | both | ramp | points | kinds and side right | points right too | something else fits |"
    );
    println!("|---|---|---|---|---|---|---|---|---|---|---|---|---|");
    for scene in &SCENES {
        let c = count(scene);
        let share = |n: u64| format!("{:.0} %", 100.0 * n as f64 / RUNS as f64);
        let shapes = c.shapes.map(share).join(" | ");
        println!(
            "| {} | {} | {shapes} | {} | {} | {} | {} |",
            scene.what,
            share(c.nothing),
            share(c.points),
            share(c.kinds),
            share(c.all),
            share(c.alternatives)
        );
    }
}

fn count(scene: &Scene) -> Counts {
    let mut c = Counts::default();
    for seed in 0..RUNS {
        let measured = survey(scene.damage, seed, 1.0);
        let zones = damage::read(&measured, 0.05).expect("a sound covariance");
        match &zones[0].finding {
            Finding::NotMeasured => unreachable!("the front is measured"),
            Finding::NothingMoved => {
                c.nothing += 1;
                c.kinds += u64::from(scene.points == 0);
                c.all += u64::from(scene.points == 0);
            }
            Finding::Points(points) => {
                c.points += 1;
                let right = scene.points == 1 && points.len() == 1;
                c.kinds += u64::from(right);
                c.all += u64::from(right);
            }
            Finding::Moved { by, or_by } => {
                let shape = Shape::ALL.iter().position(|s| *s == by.shape).unwrap_or(0);
                c.shapes[shape] += 1;
                c.alternatives += u64::from(!or_by.is_empty());
                let right = named(by) == scene.kinds && by.scope == scene.scope && scene.points > 1;
                c.kinds += u64::from(right);
                c.all += u64::from(right && by.points.len() == scene.points);
            }
        }
    }
    c
}

fn named(by: &Explanation) -> Vec<Kind> {
    by.readings
        .iter()
        .filter(|r| r.named())
        .map(|r| r.kind)
        .collect()
}
