//! How long a tram network takes: 60 points and 400 distances, adjusted, judged and searched for
//! blunders. The goal is 50 ms.

#[path = "../tests/network_common/mod.rs"]
mod network_common;

use criterion::{Criterion, criterion_group, criterion_main};
use datumtrail_geometry::frame::Vec3;
use datumtrail_geometry::network::{Network, Observation, Options, Wanted};
use network_common::{Random, distances, names, vehicle};
use std::hint::black_box;

fn sixty_points(blunders: usize) -> Network {
    let mut random = Random::new(7);
    let truth = vehicle(30, &mut random);
    let mut figures: Vec<Observation> = distances(&truth, 400, 2200.0, 0.5, &mut random);
    for k in 0..blunders {
        figures[100 * k + 17].value_mm += 20.0;
    }
    let points = (names(60).into_iter().zip(&truth))
        .map(|(point, at)| point.about(at + Vec3::from_fn(|_, _| 3.0 * random.normal())))
        .collect();
    Network::new(points, figures).expect("a valid network")
}

fn benches(criterion: &mut Criterion) {
    let clean = sixty_points(0);
    let options = Options::default();
    criterion.bench_function("network of 60 points and 400 distances", |b| {
        b.iter(|| black_box(&clean).adjust(&options));
    });
    let wrong = sixty_points(3);
    criterion.bench_function("the same with three blunders", |b| {
        b.iter(|| black_box(&wrong).adjust(&options));
    });
    let solution = clean.adjust(&options).expect("a solution");
    criterion.bench_function("the best extra reading for 60 points", |b| {
        b.iter(|| black_box(&solution).best_extra(&Wanted::default(), 3));
    });
}

criterion_group!(network, benches);
criterion_main!(network);
