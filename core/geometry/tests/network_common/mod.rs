//! Seeded random vehicles and readings for the network tests. All invented.
#![allow(dead_code, reason = "each test file uses its own part")]

use datumtrail_geometry::frame::{Side, Vec3};
use datumtrail_geometry::network::{Observation, Point, Quantity};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

/// ChaCha: the same numbers on every machine.
pub struct Random(ChaCha8Rng);

impl Random {
    pub fn new(seed: u64) -> Random {
        Random(ChaCha8Rng::seed_from_u64(seed))
    }

    pub fn uniform(&mut self, low: f64, high: f64) -> f64 {
        self.0.random_range(low..high)
    }

    pub fn below(&mut self, n: usize) -> usize {
        self.0.random_range(0..n)
    }

    pub fn normal(&mut self) -> f64 {
        self.0.sample(StandardNormal)
    }
}

/// An underbody: pairs along four metres, heights within 250 mm.
pub fn vehicle(pairs: usize, random: &mut Random) -> Vec<Vec3> {
    (0..pairs)
        .flat_map(|i| {
            let along = -600.0 + 3900.0 * i as f64 / (pairs.max(2) - 1) as f64;
            let x = along + random.uniform(-60.0, 60.0);
            let y = random.uniform(350.0, 640.0);
            let z = random.uniform(0.0, 250.0);
            [Vec3::new(x, -y, z), Vec3::new(x, y, z)]
        })
        .collect()
}

pub fn names(count: usize) -> Vec<Point> {
    (0..count)
        .map(|i| {
            let side = if i % 2 == 0 { Side::Left } else { Side::Right };
            Point::new(format!("{}{}", i / 2, &side.word()[..1])).on(side)
        })
        .collect()
}

/// Distances between different pairs of points no farther apart than `reach`, every second one
/// level, as measured with standard uncertainty u: every point gets its share.
pub fn distances(
    at: &[Vec3],
    count: usize,
    reach: f64,
    u: f64,
    random: &mut Random,
) -> Vec<Observation> {
    let mut pairs: Vec<(usize, usize)> = (0..at.len())
        .flat_map(|a| (0..a).map(move |b| (b, a)))
        .filter(|&(a, b)| (at[a] - at[b]).norm() < reach)
        .collect();
    for i in (1..pairs.len()).rev() {
        pairs.swap(i, random.below(i + 1));
    }
    // Take the pairs whose points have the fewest distances first.
    let mut taken = vec![0usize; at.len()];
    let mut chosen = Vec::new();
    while chosen.len() < count && !pairs.is_empty() {
        let best = (0..pairs.len())
            .min_by_key(|&i| taken[pairs[i].0] + taken[pairs[i].1])
            .expect("not empty");
        let (from, to) = pairs.swap_remove(best);
        taken[from] += 1;
        taken[to] += 1;
        let quantity = if chosen.len() % 2 == 0 {
            Quantity::TrueDistance { from, to }
        } else {
            Quantity::LevelDistance { from, to }
        };
        let value = quantity.predict(at) + u * random.normal();
        chosen.push(Observation::new(quantity, value, u));
    }
    chosen
}

pub fn heights(at: &[Vec3], which: &[usize], u: f64, random: &mut Random) -> Vec<Observation> {
    (which.iter())
        .map(|&p| Observation::new(Quantity::height(p), at[p].z + u * random.normal(), u))
        .collect()
}
