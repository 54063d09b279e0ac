//! Two symmetrical pairs, their widths, the distance between them on one side, and a diagonal.
//!
//! With widths a and b, pairs c apart along the vehicle and h apart in height, mirrored left and
//! right:
//!
//! - same-side distance: true d^2 = c^2 + ((a-b)/2)^2 + h^2; level the same without h^2; projected
//!   length d = c
//! - diagonal: true D^2 = c^2 + ((a+b)/2)^2 + h^2; level the same without h^2
//!
//! So D^2 = d^2 + a b whenever both are of one kind. Otherwise h^2 enters, or ((a+b)/2)^2 takes the
//! place of a b: the sheet mixes kinds, and its heights tell which.
//!
//! Uncertainty: every figure carries its rounding; the diagonal one more, because it joins the two
//! sides, and a sheet that prints one figure for both says that they agree to its step, not
//! better. First order: dD = (d dd + (b da + a db) / 2) / D.

use super::finding::{Kind, Test};
use super::sheet::{Figure, Printed, Sheet};
use crate::frame::Side;
use crate::network::rounding_u;

/// Tests of all symmetrical fours in the sheet.
pub(super) fn tests(sheet: &Sheet) -> Vec<Test> {
    let mut tests = Vec::new();
    for (diagonal, figure) in sheet.figures.iter().enumerate() {
        if !crosses(figure) || figure.crosses_its_pair() {
            continue;
        }
        let Some((from, to)) = stations(figure) else {
            continue;
        };
        for (side, other) in sheet.figures.iter().enumerate() {
            let is_side = !crosses(other)
                && distance_kinds(other).is_some()
                && stations(other)
                    .is_some_and(|(p, q)| (p, q) == (from, to) || (q, p) == (from, to));
            if is_side && let Some(test) = four(sheet, diagonal, side, (from, to)) {
                tests.push(test);
            }
        }
        let partner = (sheet.figures.iter().enumerate().skip(diagonal + 1))
            .find(|(_, other)| is_partner(figure, other));
        if let Some((second, _)) = partner {
            tests.push(equal_diagonals(sheet, diagonal, second));
        }
    }
    tests
}

fn stations(figure: &Figure) -> Option<(usize, usize)> {
    Some((figure.a.station, figure.b?.station))
}

/// Whether a distance runs from one side to the other.
pub(super) fn crosses(figure: &Figure) -> bool {
    let sides = (figure.a.side, figure.b.and_then(|b| b.side));
    let opposite = matches!(
        sides,
        (Some(Side::Left), Some(Side::Right)) | (Some(Side::Right), Some(Side::Left))
    );
    match figure.what {
        Printed::Diagonal => true,
        Printed::TrueDistance | Printed::LevelDistance => opposite,
        _ => false,
    }
}

/// What a distance may mean, the plainest first.
pub(super) fn distance_kinds(figure: &Figure) -> Option<&'static [Printed]> {
    const TRUE: Printed = Printed::TrueDistance;
    const LEVEL: Printed = Printed::LevelDistance;
    match figure.what {
        Printed::TrueDistance => Some(&[TRUE]),
        Printed::LevelDistance => Some(&[LEVEL]),
        Printed::Length => Some(&[Printed::Length]),
        Printed::SameSide => Some(&[TRUE, LEVEL, Printed::Length]),
        Printed::Diagonal => Some(&[TRUE, LEVEL]),
        Printed::Height | Printed::Width => None,
    }
}

fn is_partner(a: &Figure, b: &Figure) -> bool {
    let Some(((a1, a2), (b1, b2))) = stations(a).zip(stations(b)) else {
        return false;
    };
    let sides = |f: &Figure| f.a.side.zip(f.b.and_then(|b| b.side));
    let Some(((s1, s2), (t1, t2))) = sides(a).zip(sides(b)) else {
        return false;
    };
    let mirrored = (a1, a2) == (b1, b2) && (s1, s2) == (t2, t1);
    let turned = (a1, a2) == (b2, b1) && (s1, s2) == (t1, t2);
    crosses(b) && a.what == b.what && (mirrored || turned)
}

/// The diagonal that the other three figures give.
fn diagonal_of(kinds: (Printed, Printed), d: f64, a: f64, b: f64, h: Option<f64>) -> Option<f64> {
    let (side, diagonal) = kinds;
    // what the side contributes along the vehicle plus across, levelled
    let across = ((a + b) / 2.0).powi(2);
    let square = match (side, diagonal) {
        (Printed::Length, Printed::LevelDistance) => d * d + across,
        (Printed::Length, _) => d * d + across + h?.powi(2),
        (Printed::LevelDistance, Printed::TrueDistance) => d * d + a * b + h?.powi(2),
        (Printed::TrueDistance, Printed::LevelDistance) => d * d + a * b - h?.powi(2),
        _ => d * d + a * b,
    };
    (square > 0.0).then(|| square.sqrt())
}

fn four(sheet: &Sheet, diagonal: usize, side: usize, pair: (usize, usize)) -> Option<Test> {
    let (wa, wb) = (sheet.width(pair.0)?, sheet.width(pair.1)?);
    let [big, small, fa, fb] = [diagonal, side, wa, wb].map(|i| &sheet.figures[i]);
    let (a, b, d) = (fa.value_mm, fb.value_mm, small.value_mm);
    let h = sheet
        .height(pair.0)
        .zip(sheet.height(pair.1))
        .map(|(p, q)| p - q);
    let mut answers: Vec<((Printed, Printed), f64)> = Vec::new();
    for &s in distance_kinds(small)? {
        for &k in distance_kinds(big)? {
            if let Some(expected) = diagonal_of((s, k), d, a, b, h) {
                answers.push(((s, k), expected));
            }
        }
    }
    // The plainest reading first: both of one kind.
    let &(_, expected) = answers.first()?;
    let step = |f: &Figure| rounding_u(f.step_mm);
    let u = (2.0 * step(big).powi(2)
        + (d / expected * step(small)).powi(2)
        + (b / (2.0 * expected) * step(fa)).powi(2)
        + (a / (2.0 * expected) * step(fb)).powi(2))
    .sqrt();
    let names = (&sheet.stations[pair.0].name, &sheet.stations[pair.1].name);
    let printed = big.value_mm;
    let mut others: Vec<&((Printed, Printed), f64)> = (answers.iter().skip(1))
        .filter(|(_, e)| (e - expected).abs() > 1e-9)
        .collect();
    others.sort_by(|p, q| (p.1 - printed).abs().total_cmp(&(q.1 - printed).abs()));
    let explanations = (others.into_iter())
        .filter(|(_, e)| ((printed - e) / u).abs() < 3.0)
        .map(|((s, k), e)| {
            format!(
                "with the {} meant as a {} and the diagonal as a {}, {e:.1} would be due",
                small.what.words(),
                s.words(),
                k.words()
            )
        })
        .collect();
    Some(Test {
        kind: Kind::Diagonal,
        points: sheet.labels(big),
        printed_mm: printed,
        expected_mm: expected,
        u_mm: u,
        words: format!(
            "the diagonal {} is printed as {printed}, but the widths {a} and {b} with {d} on one \
             side make it {expected:.1}",
            [names.0.as_str(), names.1.as_str()].join(" to ")
        ),
        explanations,
        figures: vec![diagonal, side, wa, wb],
    })
}

fn equal_diagonals(sheet: &Sheet, first: usize, second: usize) -> Test {
    let (f, g) = (&sheet.figures[first], &sheet.figures[second]);
    let u = (2.0 * rounding_u(f.step_mm).powi(2) + 2.0 * rounding_u(g.step_mm).powi(2)).sqrt();
    Test {
        kind: Kind::Diagonals,
        points: sheet.labels(f).into_iter().chain(sheet.labels(g)).collect(),
        printed_mm: f.value_mm,
        expected_mm: g.value_mm,
        u_mm: u,
        words: format!(
            "the diagonals {} ({}) and {} ({}) differ",
            sheet.labels(f).join(" to "),
            f.value_mm,
            sheet.labels(g).join(" to "),
            g.value_mm
        ),
        explanations: Vec::new(),
        figures: vec![first, second],
    }
}
