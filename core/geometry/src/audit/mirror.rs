//! Left and right that should mirror and don't.
//!
//! A pair mirrors when the left point, reflected in the plane y = 0, is the right one; each of the
//! two coordinates is rounded, so their difference has the standard uncertainty
//! step sqrt(2) / sqrt(12). Vehicles do have asymmetrical pairs: one that differs is listed. It is
//! doubted only where a slip of hand in a single coordinate explains the whole difference.

use super::digits::explain;
use super::finding::{Asymmetry, Doubt, Kind, Test};
use super::sheet::{Sheet, Station};
use crate::frame::{Axis, Vec3};
use crate::network::rounding_u;

/// The three comparisons of every pair, in the order of the axes.
pub(super) fn tests(sheet: &Sheet) -> Vec<Test> {
    (sheet.stations.iter())
        .filter_map(|station| Some((station, station.left?, station.right?)))
        .flat_map(|(station, left, right)| {
            Axis::ALL.map(|axis| {
                let i = axis.index();
                Test {
                    kind: Kind::Mirror,
                    points: both(station),
                    printed_mm: reflect(left)[i],
                    expected_mm: right[i],
                    u_mm: 2f64.sqrt() * rounding_u(station.step_mm),
                    words: format!(
                        "{} and {} do not mirror in {}: {} and {}",
                        both(station)[0],
                        both(station)[1],
                        axis.word(),
                        left[i],
                        right[i]
                    ),
                    explanations: slips(left[i], right[i], axis, station),
                    figures: Vec::new(),
                }
            })
        })
        .collect()
}

fn both(station: &Station) -> Vec<String> {
    use crate::frame::Side;
    [Side::Left, Side::Right]
        .map(|s| station.label(Some(s)))
        .to_vec()
}

fn reflect(p: Vec3) -> Vec3 {
    Vec3::new(p.x, -p.y, p.z)
}

fn slips(left: f64, right: f64, axis: Axis, station: &Station) -> Vec<String> {
    let sign = if axis == Axis::Width { -1.0 } else { 1.0 };
    let [left_name, right_name] = [&both(station)[0], &both(station)[1]];
    let step = station.step_mm;
    [
        (left_name, left, sign * right),
        (right_name, right, sign * left),
    ]
    .into_iter()
    .filter_map(|(name, printed, due)| {
        let s = explain(printed, due, step, step)?;
        Some(format!(
            "{name} {} {printed} instead of {} would be {}",
            axis.word(),
            s.corrected_mm,
            s.slip.words()
        ))
    })
    .collect()
}

/// Sorts the failed pairs into asymmetrical ones and doubts. `failed` says which tests failed;
/// they come three to a pair.
pub(super) fn sort(
    sheet: &Sheet,
    tests: &[Test],
    failed: impl Fn(&Test) -> bool,
) -> (Vec<Asymmetry>, Vec<Doubt>) {
    let (mut asymmetric, mut doubts) = (Vec::new(), Vec::new());
    let pairs = sheet
        .stations
        .iter()
        .filter(|s| s.left.is_some() && s.right.is_some());
    for (station, three) in pairs.zip(tests.chunks(3)) {
        let wrong: Vec<&Test> = three.iter().filter(|t| failed(t)).collect();
        match wrong[..] {
            [] => {}
            [one] if !one.explanations.is_empty() => doubts.push(Doubt::from(one)),
            _ => {
                let value = |t: &Test| t.printed_mm - t.expected_mm;
                asymmetric.push(Asymmetry {
                    station: station.name.clone(),
                    difference: Vec3::from_iterator(three.iter().map(value)),
                });
            }
        }
    }
    (asymmetric, doubts)
}

/// Points printed on the wrong side of the centre plane. Where all are, the sheet's width axis
/// points the other way, and that is said once.
pub(super) fn sides(sheet: &Sheet) -> Vec<Doubt> {
    let sided: Vec<(&Station, crate::frame::Side, f64)> = (sheet.stations.iter())
        .flat_map(|s| {
            use crate::frame::Side::{Left, Right};
            [(s, Left, s.left), (s, Right, s.right)]
        })
        .filter_map(|(s, side, p)| Some((s, side, p?.y)))
        .collect();
    let wrong: Vec<&(&Station, crate::frame::Side, f64)> = (sided.iter())
        .filter(|(s, side, y)| {
            let outward = if *side == crate::frame::Side::Left {
                -y
            } else {
                *y
            };
            outward < -s.step_mm
        })
        .collect();
    let doubt = |(s, side, y): &(&Station, crate::frame::Side, f64)| Doubt {
        kind: Kind::Side,
        points: vec![s.label(Some(*side))],
        printed_mm: *y,
        expected_mm: -*y,
        w: 2.0 * y / rounding_u(s.step_mm),
        words: format!(
            "{} is a {} point, but its width coordinate {y} puts it on the other side",
            s.label(Some(*side)),
            side.word()
        ),
        explanations: vec!["a wrong sign, or the sides swapped".to_owned()],
    };
    if wrong.len() > 1 && wrong.len() == sided.len() {
        let mut one = doubt(wrong[0]);
        one.points = wrong
            .iter()
            .map(|(s, side, _)| s.label(Some(*side)))
            .collect();
        one.words = "every left point lies to the right and every right point to the left".into();
        one.explanations = vec!["the sheet's width axis points the other way".to_owned()];
        return vec![one];
    }
    wrong.into_iter().map(doubt).collect()
}
