//! How long a check takes: `cargo bench -p datumtrail-geometry --bench check`.

use criterion::{Criterion, criterion_group, criterion_main};
use datumtrail_geometry::blunder::propose;
use datumtrail_geometry::check::{Options, Reading, Request, Target, check};
use datumtrail_geometry::frame::{Side, Vec3};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use std::hint::black_box;

/// A vehicle of `n` points in pairs, and a noisy survey of it with some points displaced.
fn vehicle(n: usize, displaced: &[usize], by: Vec3) -> (Vec<Target>, Vec<Reading>) {
    let mut dice = ChaCha8Rng::seed_from_u64(7);
    let mut normal = || -> f64 { StandardNormal.sample(&mut dice) };
    let mut targets = Vec::new();
    let mut readings = Vec::new();
    for k in 0..n {
        let along = k as f64 / n as f64;
        let (side, sign) = if k % 2 == 0 {
            (Side::Left, -1.0)
        } else {
            (Side::Right, 1.0)
        };
        let at = [
            -600.0 + 3600.0 * along,
            sign * (400.0 + 230.0 * (9.0 * along).sin()),
            120.0 + 110.0 * (5.0 * along).cos(),
        ];
        let moved = if displaced.contains(&k) {
            by
        } else {
            Vec3::zeros()
        };
        let read = Vec3::from(at) + moved + Vec3::from_fn(|_, _| 0.4 * normal());
        let name = format!("P{k}");
        targets.push(Target::new(name.clone(), side, at, 1.0).with_limit(3.0));
        readings.push(Reading::new(name, read.into(), Some(0.4)));
    }
    (targets, readings)
}

fn references(step: usize, n: usize) -> Vec<String> {
    (0..n).map(|k| format!("P{}", k * step)).collect()
}

fn benches(c: &mut Criterion) {
    let (targets, readings) = vehicle(40, &[], Vec3::zeros());
    let six = references(7, 6);
    let plain = Request {
        options: Options {
            screen: false,
            ..Options::default()
        },
        ..Request::new(&readings, &targets, &six)
    };
    c.bench_function("check 40 points, 6 references, plain", |b| {
        b.iter(|| check(black_box(&plain)));
    });
    let screened = Request::new(&readings, &targets, &six);
    c.bench_function("check 40 points, 6 references, screened", |b| {
        b.iter(|| check(black_box(&screened)));
    });

    let twelve = references(6, 12);
    let cases = [
        ("nothing moved", vec![], Vec3::zeros()),
        ("one moved", vec![18], Vec3::new(0.0, 0.0, 9.0)),
        // Half of the reference points as a block: no single point explains it.
        (
            "two groups",
            vec![0, 6, 12, 18, 24],
            Vec3::new(-9.0, 4.0, 3.0),
        ),
    ];
    for (name, displaced, by) in cases {
        let (targets, readings) = vehicle(72, &displaced, by);
        let request = Request::new(&readings, &targets, &twelve);
        c.bench_function(&format!("check 60 points, 12 references, {name}"), |b| {
            b.iter(|| check(black_box(&request)));
        });
        c.bench_function(
            &format!("blunders, 60 points, 12 references, {name}"),
            |b| {
                b.iter(|| propose(black_box(&request), &[]));
            },
        );
    }
    let answer = check(&Request::new(&readings, &targets, &six));
    c.bench_function("joint covariance of 40 points", |b| {
        b.iter(|| answer.as_ref().map(|a| a.deviations()));
    });
}

criterion_group!(all, benches);
criterion_main!(all);
