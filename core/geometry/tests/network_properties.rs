//! What must not matter to a network, does not: the frame, the order, the unit, left and right.

mod network_common;

use datumtrail_geometry::frame::{Axis, Vec3};
use datumtrail_geometry::network::{Network, Observation, Options, Point, Quantity, Solution};
use network_common::{Random, distances, heights, vehicle};
use proptest::prelude::*;

fn solve(points: Vec<Point>, figures: Vec<Observation>) -> Solution {
    Network::new(points, figures)
        .and_then(|n| n.adjust(&Options::default()))
        .expect("a solution")
}

/// Ten points with a few wrong figures.
fn problem(seed: u64, blunders: usize) -> (Vec<Vec3>, Vec<Observation>) {
    let mut random = Random::new(seed);
    let truth = vehicle(5, &mut random);
    let mut figures = distances(&truth, 36, 4000.0, 0.5, &mut random);
    let all: Vec<usize> = (0..10).collect();
    figures.extend(heights(&truth, &all, 1.0, &mut random));
    for _ in 0..blunders {
        let index = random.below(36);
        figures[index].value_mm += random.uniform(8.0, 60.0);
    }
    (truth, figures)
}

fn about(at: &[Vec3]) -> Vec<Point> {
    (at.iter().enumerate())
        .map(|(i, p)| Point::new(i.to_string()).about(*p))
        .collect()
}

fn named(solution: &Solution) -> Vec<Vec<usize>> {
    let mut all: Vec<Vec<usize>> = (solution.contradictions.iter())
        .map(|c| {
            let mut figures = c.figures.clone();
            figures.sort_unstable();
            figures
        })
        .collect();
    all.sort();
    all
}

fn shuffled(n: usize, random: &mut Random) -> Vec<usize> {
    let mut order: Vec<usize> = (0..n).collect();
    for i in (1..n).rev() {
        order.swap(i, random.below(i + 1));
    }
    order
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    /// Turning the whole job about the vertical and shifting it turns and shifts the answer.
    #[test]
    fn the_frame_does_not_matter(seed in 0u64..1000, angle in -3.0..3.0f64, shift in -5e3..5e3f64) {
        let (truth, figures) = problem(seed, 1);
        let (c, s) = (angle.cos(), angle.sin());
        let turn = |p: &Vec3| Vec3::new(c * p.x - s * p.y + shift, s * p.x + c * p.y - shift, p.z);
        let turned: Vec<Vec3> = truth.iter().map(turn).collect();
        let here = solve(about(&truth), figures.clone());
        let there = solve(about(&turned), figures);
        prop_assert!((here.fit.chi2 - there.fit.chi2).abs() < 1e-6);
        prop_assert_eq!(named(&here), named(&there));
        for (a, b) in here.points.iter().zip(&there.points) {
            prop_assert!((turn(&a.position) - b.position).norm() < 1e-3);
        }
        for (a, b) in here.figures.iter().zip(&there.figures) {
            prop_assert!((a.redundancy - b.redundancy).abs() < 1e-6);
        }
    }

    #[test]
    fn the_order_does_not_matter(seed in 0u64..1000) {
        let (truth, figures) = problem(seed, 2);
        let mut random = Random::new(seed + 1);
        let figure_order = shuffled(figures.len(), &mut random);
        let point_order = shuffled(truth.len(), &mut random);
        let place: Vec<usize> = (0..truth.len())
            .map(|old| point_order.iter().position(|&p| p == old).expect("a permutation"))
            .collect();
        let here = solve(about(&truth), figures.clone());
        let points: Vec<Point> = point_order.iter().map(|&p| about(&truth)[p].clone()).collect();
        let moved: Vec<Observation> = (figure_order.iter())
            .map(|&i| Observation { quantity: figures[i].quantity.renumbered(|p| Some(place[p])).expect("placed"),
                ..figures[i]
            })
            .collect();
        let there = solve(points, moved);
        prop_assert!((here.fit.chi2 - there.fit.chi2).abs() < 1e-6);
        let back: Vec<Vec<usize>> = {
            let mut all: Vec<Vec<usize>> = named(&there)
                .into_iter()
                .map(|group| {
                    let mut group: Vec<usize> = group.iter().map(|&i| figure_order[i]).collect();
                    group.sort_unstable();
                    group
                })
                .collect();
            all.sort();
            all
        };
        prop_assert_eq!(named(&here), back);
        for (old, point) in here.points.iter().enumerate() {
            let other = &there.points[place[old]];
            prop_assert!((point.position - other.position).norm() < 1e-4);
        }
    }

    /// Left and right swapped: the answer is mirrored.
    #[test]
    fn swapping_left_and_right_mirrors_the_answer(seed in 0u64..1000) {
        let (truth, mut figures) = problem(seed, 1);
        let width = Quantity::Width { left: 2, right: 3 };
        figures.push(Observation::new(width, width.predict(&truth) + 0.3, 0.5));
        let mirror = |p: &Vec3| Vec3::new(p.x, -p.y, p.z);
        let here = solve(about(&truth), figures.clone());
        let mirrored: Vec<Vec3> = truth.iter().map(mirror).collect();
        for o in &mut figures {
            if let Quantity::Width { left, right } = o.quantity {
                o.quantity = Quantity::Width { left: right, right: left };
            }
        }
        let there = solve(about(&mirrored), figures);
        for (a, b) in here.points.iter().zip(&there.points) {
            prop_assert!((mirror(&a.position) - b.position).norm() < 1e-4);
        }
    }

    /// In other units the same network gives the same judgement and positions in those units.
    #[test]
    fn the_unit_does_not_matter(seed in 0u64..1000, unit in 0.4..4.0f64) {
        let (truth, figures) = problem(seed, 1);
        let here = solve(about(&truth), figures.clone());
        let scaled: Vec<Vec3> = truth.iter().map(|p| p * unit).collect();
        let other: Vec<Observation> = (figures.iter())
            .map(|o| Observation::new(o.quantity, o.value_mm * unit, o.u_mm * unit))
            .collect();
        let there = solve(about(&scaled), other);
        prop_assert!((here.fit.chi2 - there.fit.chi2).abs() < 1e-5);
        prop_assert_eq!(named(&here), named(&there));
        for (a, b) in here.points.iter().zip(&there.points) {
            prop_assert!((a.position * unit - b.position).norm() < 1e-3);
        }
    }

    /// Two readings of one distance weigh as their mean with the smaller uncertainty.
    #[test]
    fn two_readings_weigh_as_their_mean(seed in 0u64..1000, off in -1.0..1.0f64) {
        let (truth, figures) = problem(seed, 0);
        let first = figures[0];
        let mut twice = figures.clone();
        twice.push(Observation { value_mm: first.value_mm + off, ..first });
        let mut mean = figures;
        mean[0] = Observation::new(first.quantity, first.value_mm + off / 2.0, first.u_mm / 2f64.sqrt());
        let options = Options { leave_out_blunders: false, ..Options::default() };
        let solve = |figures| Network::new(about(&truth), figures).and_then(|n| n.adjust(&options));
        let (a, b) = (solve(twice).expect("a solution"), solve(mean).expect("a solution"));
        for (a, b) in a.points.iter().zip(&b.points) {
            prop_assert!((a.position - b.position).norm() < 1e-5);
            prop_assert!((a.covariance - b.covariance).abs().max() < 1e-6);
        }
    }
}

fn any_quantity() -> impl Strategy<Value = Quantity> {
    (0..9usize, 0..5usize, 0..5usize).prop_map(|(kind, from, to)| match kind {
        0 => Quantity::TrueDistance { from, to },
        1 => Quantity::LevelDistance { from, to },
        2 => Quantity::Length { from, to },
        3 => Quantity::Width {
            left: from,
            right: to,
        },
        4 => Quantity::HeightDifference { from, to },
        5 => Quantity::Span { point: from },
        6 => Quantity::TrueDiagonal { from, to },
        7 => Quantity::LevelDiagonal { from, to },
        _ => Quantity::Coordinate {
            point: from,
            axis: Axis::ALL[to % 3],
        },
    })
}

fn any_number() -> impl Strategy<Value = f64> {
    prop_oneof![
        5 => -3000.0..3000.0f64,
        1 => Just(0.0),
        1 => prop_oneof![Just(f64::NAN), Just(f64::INFINITY), Just(1e300), Just(-1e12), Just(1e-300)],
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    /// Any nonsense is refused or answered, never a panic.
    #[test]
    fn nonsense_is_refused_or_answered(
        stated in prop::collection::vec(prop::option::of(prop::array::uniform3(any_number())), 1..5),
        held in 0..4usize,
        figures in prop::collection::vec((any_quantity(), any_number(), any_number()), 0..12),
    ) {
        let points = (stated.iter().enumerate())
            .map(|(i, p)| match p {
                Some([x, y, z]) if i < held => {
                    Point::new(i.to_string()).known(Vec3::new(*x, *y, *z), if i == 0 { 0.0 } else { *x })
                }
                Some([x, y, z]) => Point::new(i.to_string()).about(Vec3::new(*x, *y, *z)),
                None => Point::new(i.to_string()),
            })
            .collect();
        let figures = figures.into_iter().map(|(q, v, u)| Observation::new(q, v, u.abs())).collect();
        match Network::new(points, figures).and_then(|n| n.adjust(&Options::default())) {
            Ok(solution) => {
                prop_assert!(solution.points.iter().all(|p| p.position.iter().all(|c| c.is_finite())));
                let _ = solution.notes();
                let _ = solution.best_extra(&Default::default(), 3);
            }
            Err(error) => prop_assert!(!error.to_string().is_empty()),
        }
    }
}
