//! Projected lengths that close: 87 to 88 plus 88 to 91 must be 87 to 91.
//!
//! Lengths along the vehicle are coordinate differences without a sign. Round any closed chain
//! they add up to zero under the right choice of signs; the sheet prints none, so the choice that
//! closes best is taken (2^(k-1) of them for k lengths). The misclosure of k figures rounded to
//! the same step has the standard uncertainty sqrt(k) step / sqrt(12).
//!
//! Every length is tested in the shortest chain through it, up to [`LONGEST`] lengths: with more,
//! some choice of signs closes by accident.

use std::collections::{BTreeMap, BTreeSet};

use super::digits::explain;
use super::finding::{Kind, Test};
use super::sheet::{Printed, Sheet};
use crate::network::rounding_u;

/// With five lengths of half a metre printed to 1 mm, an accidental closure has a chance of some
/// 10 %; with three, of 2 %.
const LONGEST: usize = 5;

/// The tests of all chains, each once, shortest first.
pub(super) fn tests(sheet: &Sheet) -> Vec<Test> {
    let lengths: Vec<(usize, usize, usize)> = (sheet.figures.iter().enumerate())
        .filter(|(_, f)| f.what == Printed::Length)
        .filter_map(|(i, f)| Some((i, f.a.station, f.b?.station)))
        .collect();
    let chains: BTreeSet<(usize, Vec<usize>)> = (lengths.iter())
        .filter_map(|&(skip, from, to)| {
            let mut chain = shortest_way(&lengths, skip, from, to)?;
            chain.push(skip);
            chain.sort_unstable();
            Some((chain.len(), chain))
        })
        .collect();
    chains
        .into_iter()
        .map(|(_, chain)| test(sheet, chain))
        .collect()
}

/// The fewest lengths that lead from one station to another without the skipped one.
fn shortest_way(
    lengths: &[(usize, usize, usize)],
    skip: usize,
    from: usize,
    to: usize,
) -> Option<Vec<usize>> {
    let mut came: BTreeMap<usize, (usize, usize)> = BTreeMap::new();
    let mut reached = vec![from];
    for _ in 1..LONGEST {
        let mut next = Vec::new();
        for &here in &reached {
            for &(i, a, b) in lengths.iter().filter(|(i, ..)| *i != skip) {
                let there = match here {
                    h if h == a => b,
                    h if h == b => a,
                    _ => continue,
                };
                if there != from && !came.contains_key(&there) {
                    came.insert(there, (i, here));
                    next.push(there);
                }
            }
        }
        if came.contains_key(&to) {
            break;
        }
        reached = next;
    }
    let mut chain = Vec::new();
    let mut here = to;
    while here != from {
        let &(figure, before) = came.get(&here)?;
        chain.push(figure);
        here = before;
    }
    Some(chain)
}

fn test(sheet: &Sheet, mut chain: Vec<usize>) -> Test {
    let value = |i: usize| sheet.figures[i].value_mm;
    // The longest is the one that the others must make up.
    chain.sort_by(|a, b| value(*b).total_cmp(&value(*a)).then(a.cmp(b)));
    let (whole, parts) = (chain[0], &chain[1..]);
    let printed = value(whole);
    let (expected, signs) = (0..1u32 << parts.len())
        .map(|signs| {
            let sum: f64 = (parts.iter().enumerate())
                .map(|(k, &i)| {
                    if signs >> k & 1 == 1 {
                        -value(i)
                    } else {
                        value(i)
                    }
                })
                .sum();
            (sum.abs(), signs)
        })
        .min_by(|a, b| (a.0 - printed).abs().total_cmp(&(b.0 - printed).abs()))
        .unwrap_or((0.0, 0));
    let u = (chain.iter())
        .map(|&i| rounding_u(sheet.figures[i].step_mm).powi(2))
        .sum::<f64>()
        .sqrt();
    let name = |i: usize| sheet.labels(&sheet.figures[i]).join(" to ");
    let sum: String = (parts.iter().enumerate())
        .map(|(k, &i)| {
            let sign = match (k, signs >> k & 1) {
                (0, 0) => "",
                (0, _) => "-",
                (_, 0) => " + ",
                (_, _) => " - ",
            };
            format!("{sign}{} ({})", name(i), value(i))
        })
        .collect();
    let stations: BTreeSet<usize> = (chain.iter())
        .flat_map(|&i| {
            let f = &sheet.figures[i];
            std::iter::once(f.a.station).chain(f.b.map(|b| b.station))
        })
        .collect();
    Test {
        kind: Kind::Chain,
        points: stations
            .into_iter()
            .map(|s| sheet.stations[s].name.clone())
            .collect(),
        printed_mm: printed,
        expected_mm: expected,
        u_mm: u,
        words: format!(
            "{} is printed as {printed}, but {sum} = {expected}",
            name(whole)
        ),
        explanations: slips(sheet, &chain, printed - expected, u),
        figures: chain,
    }
}

/// For every length of the chain, the slip that would make it close.
fn slips(sheet: &Sheet, chain: &[usize], misclosure: f64, u: f64) -> Vec<String> {
    let mut answers = Vec::new();
    for &i in chain {
        let figure = &sheet.figures[i];
        // Which way this length counts in the chosen sum does not matter: try both.
        for due in [figure.value_mm - misclosure, figure.value_mm + misclosure] {
            let slip = explain(figure.value_mm, due, 2.0 * u, figure.step_mm);
            if let Some(s) = slip {
                answers.push(format!(
                    "{} printed as {} instead of {} would be {}",
                    sheet.labels(figure).join(" to "),
                    figure.value_mm,
                    s.corrected_mm,
                    s.slip.words()
                ));
                break;
            }
        }
    }
    answers
}
