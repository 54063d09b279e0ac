//! Makes the table in `screening.md`: how often screening detects, rightly names and wrongly names
//! a moved reference point.
//!
//!     cargo run --release -p datumtrail-geometry --example screening_table > core/geometry/screening.md
//!
//! Each figure is the share of seeded runs. The reference points are those of an ordinary
//! underbody, spread over the passenger cell and beyond as their number grows; readings have the
//! same standard uncertainty u on each axis, and a moved point is displaced by a multiple of u in
//! a random direction.

use datumtrail_geometry::fit::Reference;
use datumtrail_geometry::frame::{Mat3, Vec3};
use datumtrail_geometry::screen::{Outcome, Screening, screen};
use rand::SeedableRng;
use rand::seq::index::sample;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

const RUNS: u32 = 4000;
const U: f64 = 0.5;

/// Length, width, height of an underbody's points, mm: the first n are used.
const POINTS: [[f64; 3]; 12] = [
    [200.0, -400.0, 70.0],
    [200.0, 400.0, 70.0],
    [1960.0, -630.0, 70.0],
    [1960.0, 630.0, 70.0],
    [880.0, -370.0, 10.0],
    [880.0, 370.0, 10.0],
    [1500.0, -380.0, 20.0],
    [1500.0, 380.0, 20.0],
    [500.0, -600.0, 120.0],
    [500.0, 600.0, 120.0],
    [2700.0, -470.0, 230.0],
    [2700.0, 470.0, 230.0],
];

struct Dice(ChaCha8Rng);

impl Dice {
    fn vector(&mut self) -> Vec3 {
        Vec3::from_fn(|_, _| StandardNormal.sample(&mut self.0))
    }

    fn direction(&mut self) -> Vec3 {
        self.vector().normalize()
    }
}

/// Noisy readings of the first n points, the chosen ones displaced.
fn survey(dice: &mut Dice, n: usize, chosen: &[usize], by: Vec3) -> Vec<Reference> {
    let point = |(i, p): (usize, &[f64; 3])| {
        let target = Vec3::from(*p);
        let moved = if chosen.contains(&i) {
            by
        } else {
            Vec3::zeros()
        };
        Reference {
            reading: target + moved + dice.vector() * U,
            reading_covariance: Mat3::identity() * U * U,
            target,
            target_covariance: Mat3::zeros(),
        }
    };
    POINTS.iter().take(n).enumerate().map(point).collect()
}

fn suspects(found: &Screening) -> Vec<usize> {
    match &found.outcome {
        Outcome::TooFewLeft { suspect } => found.moved.iter().copied().chain([*suspect]).collect(),
        _ => found.moved.clone(),
    }
}

#[derive(Default)]
struct Counts {
    detected: u32,
    rightly: u32,
    wrongly: u32,
    groups: u32,
    settled_wrongly: u32,
}

fn count(dice: &mut Dice, n: usize, how_many: usize, multiple: f64) -> Counts {
    let mut counts = Counts::default();
    for _ in 0..RUNS {
        let chosen = sample(&mut dice.0, n, how_many).into_vec();
        let by = dice.direction() * multiple * U;
        let Ok(found) = screen(&survey(dice, n, &chosen, by)) else {
            continue;
        };
        let named = suspects(&found);
        let right = named.iter().filter(|i| chosen.contains(i)).count();
        counts.detected += u32::from(found.rounds.first().is_some_and(|r| r.failed()));
        counts.rightly += u32::from(right == how_many && named.len() == how_many);
        counts.wrongly += u32::from(named.len() > right);
        counts.groups += u32::from(matches!(&found.outcome, Outcome::TwoGroups(two)
            if two.groups.iter().any(|g| g.members.len() == how_many
                && g.members.iter().all(|i| chosen.contains(i)))));
        counts.settled_wrongly +=
            u32::from(found.is_settled() && found.kept.iter().any(|i| chosen.contains(i)));
    }
    counts
}

fn percent(count: u32) -> String {
    format!("{:.1} %", 100.0 * f64::from(count) / f64::from(RUNS))
}

fn main() {
    let mut dice = Dice(ChaCha8Rng::seed_from_u64(2026));
    println!("**One point displaced** in a random direction, by a multiple of the standard");
    println!(
        "uncertainty u of one axis; shares of {RUNS} runs. \"Wrongly named\" counts every run in"
    );
    println!("which a point that did not move was named.");
    println!();
    println!("| reference points | displaced | detected | rightly named | wrongly named |");
    println!("|---|---|---|---|---|");
    for n in [4, 5, 6, 8, 12] {
        let none = count(&mut dice, n, 0, 0.0);
        let (alarms, wrongly) = (percent(none.detected), percent(none.wrongly));
        println!("| {n} | none | {alarms} (false alarm) | | {wrongly} |");
        for multiple in [3.0, 5.0, 10.0] {
            let c = count(&mut dice, n, 1, multiple);
            println!(
                "| {n} | one by {multiple} u | {} | {} | {} |",
                percent(c.detected),
                percent(c.rightly),
                percent(c.wrongly)
            );
        }
    }
    println!();
    println!(
        "**Three points moved together**, which screening does not assume: \"recognised\" means"
    );
    println!(
        "that the three were shown as one group, or named one by one; \"taken as settled\" that"
    );
    println!(
        "the set-up went on with at least one of them in it. With fewer than six points there"
    );
    println!("can be no two groups, and the points that stayed are the ones that look wrong.");
    println!();
    println!(
        "| reference points | displaced | detected | recognised | another named | taken as settled |"
    );
    println!("|---|---|---|---|---|---|");
    for n in [4, 5, 6, 8, 12] {
        for multiple in [3.0, 5.0, 10.0] {
            let c = count(&mut dice, n, 3, multiple);
            println!(
                "| {n} | three by {multiple} u | {} | {} | {} | {} |",
                percent(c.detected),
                percent(c.groups + c.rightly),
                percent(c.wrongly),
                percent(c.settled_wrongly)
            );
        }
    }
}
