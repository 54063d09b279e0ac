//! The kinds of blunder, and what each would have the readings be.

use crate::check::{Reading, Target};
use crate::frame::{Mat3, Side, Vec3};
use serde::Serialize;
use std::collections::HashMap;

/// Two points are left and right partners when one lies this near to the mirror image of the
/// other, mm: real vehicles are not quite symmetrical.
const PARTNER_MM: f64 = 100.0;

/// A blunder; its `Display` is a sentence for a screen.
#[derive(Clone, Debug, PartialEq, Serialize, thiserror::Error)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Blunder {
    #[error("The labels of {a} and {b} may be swapped.")]
    LabelsSwapped { a: String, b: String },
    #[error("Left and right labels may be exchanged throughout.")]
    SidesExchanged,
    #[error(
        "One axis of the readings may have the wrong sign (the instrument's frame is mirrored)."
    )]
    AxisSign,
    #[error("All readings may be {}.", units(*factor))]
    Units { factor: f64 },
    #[error("The reading of {point} may be {}.", units(*factor))]
    ReadingUnits { point: String, factor: f64 },
    #[error(
        "The decimal point of the {} coordinate of {point} may be shifted (times {factor}).",
        ordinal(*coordinate)
    )]
    DecimalShifted {
        point: String,
        /// Of the reading, from 0.
        coordinate: usize,
        factor: f64,
    },
    #[error("The sign of the {} coordinate of {point} may be wrong.", ordinal(*coordinate))]
    ReadingSign {
        point: String,
        /// Of the reading, from 0.
        coordinate: usize,
    },
    #[error("The readings fit another sheet, {sheet}.")]
    OtherSheet { sheet: String },
}

fn ordinal(coordinate: usize) -> &'static str {
    ["first", "second", "third"]
        .get(coordinate)
        .copied()
        .unwrap_or("last")
}

/// What readings are that must be multiplied with a factor to be millimetres.
fn units(factor: f64) -> String {
    let known = [
        (25.4, "in inches"),
        (1.0 / 25.4, "converted from inches once too often"),
        (10.0, "in centimetres"),
        (0.1, "in tenths of a millimetre"),
        (1000.0, "in metres"),
        (0.001, "in micrometres"),
    ];
    match known.iter().find(|(f, _)| *f == factor) {
        Some((_, words)) => (*words).to_owned(),
        None => format!("in other units (times {factor})"),
    }
}

/// The readings as they would be without the blunder. Covariances stay with the label in a swap
/// (they belong to the place in the room as much as to the name) and scale with the units.
///
/// Another sheet changes no reading; a point without a reading is left alone.
pub fn corrected(blunder: &Blunder, readings: &[Reading], targets: &[Target]) -> Vec<Reading> {
    let change = |r: &Reading, f: &dyn Fn(&Reading) -> Vec3| Reading {
        position_mm: f(r),
        ..r.clone()
    };
    let at_point = |point: &str, f: &dyn Fn(&Reading) -> Vec3| -> Vec<Reading> {
        let one = |r: &Reading| {
            if r.point == point {
                change(r, f)
            } else {
                r.clone()
            }
        };
        readings.iter().map(one).collect()
    };
    let renamed = |partner: &dyn Fn(&str) -> Option<String>| -> Vec<Reading> {
        let one = |r: &Reading| Reading {
            point: partner(&r.point).unwrap_or_else(|| r.point.clone()),
            ..r.clone()
        };
        readings.iter().map(one).collect()
    };
    match blunder {
        Blunder::LabelsSwapped { a, b } => renamed(&|point| {
            if point == a {
                Some(b.clone())
            } else if point == b {
                Some(a.clone())
            } else {
                None
            }
        }),
        Blunder::SidesExchanged => {
            let partners = partners(targets);
            renamed(&|point| partners.get(point).cloned())
        }
        Blunder::AxisSign => {
            let mirror = Mat3::from_diagonal(&Vec3::new(1.0, -1.0, 1.0));
            readings
                .iter()
                .map(|r| Reading {
                    point: r.point.clone(),
                    position_mm: mirror * r.position_mm,
                    covariance_mm2: r.covariance_mm2.map(|c| mirror * c * mirror),
                })
                .collect()
        }
        // The uncertainty was stated in millimetres, so it stays.
        Blunder::Units { factor } => readings
            .iter()
            .map(|r| change(r, &|r| r.position_mm * *factor))
            .collect(),
        Blunder::ReadingUnits { point, factor } => at_point(point, &|r| r.position_mm * *factor),
        Blunder::DecimalShifted {
            point,
            coordinate,
            factor,
        } => at_point(point, &|r| scaled(r.position_mm, *coordinate, *factor)),
        Blunder::ReadingSign { point, coordinate } => {
            at_point(point, &|r| scaled(r.position_mm, *coordinate, -1.0))
        }
        Blunder::OtherSheet { .. } => readings.to_vec(),
    }
}

/// A position with one coordinate multiplied.
pub(super) fn scaled(mut p: Vec3, coordinate: usize, factor: f64) -> Vec3 {
    if let Some(c) = p.get_mut(coordinate) {
        *c *= factor;
    }
    p
}

/// The partner on the other side of each point that has one: the nearest to its mirror image, for
/// whom it is the nearest too.
fn partners(targets: &[Target]) -> HashMap<String, String> {
    let nearest = |t: &Target| -> Option<&Target> {
        let image = Vec3::new(t.position_mm.x, -t.position_mm.y, t.position_mm.z);
        targets
            .iter()
            .filter(|o| t.side != Side::Centre && o.side == t.side.opposite())
            .map(|o| (o, (o.position_mm - image).norm()))
            .filter(|(_, away)| *away <= PARTNER_MM)
            .min_by(|a, b| a.1.total_cmp(&b.1))
            .map(|(o, _)| o)
    };
    targets
        .iter()
        .filter_map(|t| {
            let partner = nearest(t)?;
            let mutual = nearest(partner).is_some_and(|back| back.point == t.point);
            mutual.then(|| (t.point.clone(), partner.point.clone()))
        })
        .collect()
}
