//! Where the points belong: front, centre or rear, and the member whose chain they are on.
//!
//! The sheet's own columns come first. What they leave open is proposed from the geometry, for a
//! person to confirm:
//!
//! * **Zones.** Between the ends and the passenger cell a sheet has few points. The border between
//!   front and centre is the middle of the widest gap, along the length, whose middle lies between
//!   15 % and 45 % of the measured length; between centre and rear, between 55 % and 85 %. Where
//!   there is no point to make a gap with, the thirds of the length.
//! * **Members.** On each side, points belong to one chain when steps of at most 150 mm, seen along
//!   the vehicle (in width and height), lead from one to the other. A chain is named by its side
//!   and its ends.
//!
//! The figures are ours, chosen to do well on published underbody sheets; no standard gives any.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::check::Target;
use crate::frame::{Side, Vec3};

/// How near two points of one member are, seen along the vehicle (mm).
pub(super) const SAME_MEMBER_MM: f64 = 150.0;
/// Where, in shares of the length, a border between front and centre is looked for.
const FRONT_BORDER: (f64, f64) = (0.15, 0.45);
const REAR_BORDER: (f64, f64) = (0.55, 0.85);

/// A part of the vehicle along its length.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Zone {
    Front,
    Centre,
    Rear,
}

impl Zone {
    /// From front to rear.
    pub const ALL: [Zone; 3] = [Zone::Front, Zone::Centre, Zone::Rear];

    /// The word that screens use.
    pub fn word(self) -> &'static str {
        match self {
            Zone::Front => "front",
            Zone::Centre => "centre",
            Zone::Rear => "rear",
        }
    }

    /// The zone that a word of the sheet's column means; case and surrounding space don't matter.
    pub fn of_word(word: &str) -> Option<Self> {
        match word.trim().to_lowercase().as_str() {
            "front" => Some(Zone::Front),
            "centre" | "center" | "middle" => Some(Zone::Centre),
            "rear" => Some(Zone::Rear),
            _ => None,
        }
    }

    /// +1 where rearward leads away from the passenger cell, -1 where forward does; the centre has
    /// no outward direction.
    pub fn outward(self) -> Option<f64> {
        match self {
            Zone::Front => Some(-1.0),
            Zone::Centre => None,
            Zone::Rear => Some(1.0),
        }
    }
}

/// A point of the sheet, with what the sheet says about its place.
#[derive(Clone, Debug, PartialEq)]
pub struct SheetPoint {
    pub name: String,
    pub side: Side,
    /// mm, vehicle frame.
    pub spec: Vec3,
    pub zone: Option<Zone>,
    pub member: Option<String>,
}

/// A control point of a check, without a zone or a member: both are left to the geometry.
impl From<&Target> for SheetPoint {
    fn from(target: &Target) -> Self {
        SheetPoint {
            name: target.point.clone(),
            side: target.side,
            spec: target.position_mm,
            zone: None,
            member: None,
        }
    }
}

/// Where a point belongs, and whether the sheet says so or the geometry proposes it.
#[derive(Clone, Debug, PartialEq)]
pub struct Place {
    pub side: Side,
    /// mm, vehicle frame.
    pub spec: Vec3,
    pub zone: Zone,
    pub zone_proposed: bool,
    pub member: String,
    pub member_proposed: bool,
}

/// The places of all points of a sheet.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Layout {
    places: BTreeMap<String, Place>,
}

impl Layout {
    /// Takes the sheet's zones and members, and proposes what it leaves open. The order of the
    /// points does not matter. O(n^2).
    pub fn propose(points: &[SheetPoint]) -> Self {
        let (front, rear) = borders(points);
        let members = members(points);
        let place = |(p, member): (&SheetPoint, String)| {
            let proposed = if p.spec.x < front {
                Zone::Front
            } else if p.spec.x > rear {
                Zone::Rear
            } else {
                Zone::Centre
            };
            let place = Place {
                side: p.side,
                spec: p.spec,
                zone: p.zone.unwrap_or(proposed),
                zone_proposed: p.zone.is_none(),
                member_proposed: p.member.is_none(),
                member: p.member.clone().unwrap_or(member),
            };
            (p.name.clone(), place)
        };
        Layout {
            places: points.iter().zip(members).map(place).collect(),
        }
    }

    /// The place of a point.
    pub fn place(&self, point: &str) -> Option<&Place> {
        self.places.get(point)
    }

    /// All places by the points' names.
    pub fn places(&self) -> impl Iterator<Item = (&str, &Place)> {
        self.places
            .iter()
            .map(|(name, place)| (name.as_str(), place))
    }
}

/// The lengths at which the front ends and the rear begins.
fn borders(points: &[SheetPoint]) -> (f64, f64) {
    let mut x: Vec<f64> = points.iter().map(|p| p.spec.x).collect();
    x.sort_by(f64::total_cmp);
    let (first, last) = match (x.first(), x.last()) {
        (Some(first), Some(last)) => (*first, *last),
        _ => return (f64::NEG_INFINITY, f64::INFINITY),
    };
    let at = |share: f64| first + share * (last - first);
    let widest = |(from, to): (f64, f64), otherwise: f64| {
        let gaps = x
            .windows(2)
            .map(|pair| (pair[1] - pair[0], (pair[0] + pair[1]) / 2.0));
        let fitting = gaps.filter(|(_, middle)| (at(from)..at(to)).contains(middle));
        fitting
            .max_by(|a, b| a.0.total_cmp(&b.0))
            .map_or(at(otherwise), |(_, middle)| middle)
    };
    (
        widest(FRONT_BORDER, 1.0 / 3.0),
        widest(REAR_BORDER, 2.0 / 3.0),
    )
}

/// A proposed member's name for each point.
fn members(points: &[SheetPoint]) -> Vec<String> {
    // Each point starts as its own chain; near ones join (single linkage).
    let mut chain: Vec<usize> = (0..points.len()).collect();
    for i in 0..points.len() {
        for j in 0..i {
            let (a, b) = (&points[i], &points[j]);
            let apart = (a.spec - b.spec).yz().norm();
            if a.side == b.side && apart <= SAME_MEMBER_MM && chain[i] != chain[j] {
                let (from, to) = (chain[i], chain[j]);
                chain
                    .iter_mut()
                    .filter(|c| **c == from)
                    .for_each(|c| *c = to);
            }
        }
    }
    let name = |i: usize| {
        let on_chain = || (0..points.len()).filter(|&j| chain[j] == chain[i]);
        let by_length = |a: &usize, b: &usize| {
            let (a, b) = (&points[*a], &points[*b]);
            a.spec
                .x
                .total_cmp(&b.spec.x)
                .then_with(|| a.name.cmp(&b.name))
        };
        let side = points[i].side.word();
        match (on_chain().min_by(by_length), on_chain().max_by(by_length)) {
            (Some(a), Some(b)) if a != b => {
                format!("{side} {}\u{2013}{}", points[a].name, points[b].name)
            }
            _ => format!("{side} {}", points[i].name),
        }
    };
    (0..points.len()).map(name).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn point(name: &str, side: Side, x: f64, y: f64, z: f64) -> SheetPoint {
        SheetPoint {
            name: name.into(),
            side,
            spec: Vec3::new(x, y, z),
            zone: None,
            member: None,
        }
    }

    /// Renault, Mégane Scénic (from 1995), section 40: see `tests/published`.
    fn published() -> Vec<SheetPoint> {
        let sheet = include_str!("../../tests/published/megane-scenic-1995-underbody.csv");
        let lines = sheet.lines().skip(1);
        let of_line = |line: &str| {
            let f: Vec<&str> = line.split(',').collect();
            let side = if f[1] == "left" {
                Side::Left
            } else {
                Side::Right
            };
            let n = |k: usize| f[k].parse::<f64>().unwrap();
            point(f[0], side, n(3), n(4), n(5))
        };
        lines.map(of_line).collect()
    }

    #[test]
    fn a_published_underbody_falls_into_front_centre_and_rear() {
        let layout = Layout::propose(&published());
        let zone = |name: &str| layout.place(name).unwrap().zone;
        for front in ["C", "H", "H'", "F", "F1'", "A"] {
            assert_eq!(zone(front), Zone::Front, "{front}");
        }
        for centre in ["G", "G'", "M"] {
            assert_eq!(zone(centre), Zone::Centre, "{centre}");
        }
        for rear in ["B", "D'", "J", "L'"] {
            assert_eq!(zone(rear), Zone::Rear, "{rear}");
        }
    }

    #[test]
    fn its_rails_are_chains_of_their_own() {
        let layout = Layout::propose(&published());
        let member = |name: &str| layout.place(name).unwrap().member.as_str();
        for on_the_rail in ["H", "A", "G", "M", "D", "J", "L"] {
            assert_eq!(member(on_the_rail), member("C"), "{on_the_rail}");
        }
        assert_eq!(member("F"), member("F1"), "the shock absorber mountings");
        assert_ne!(member("F"), member("C"));
        assert_ne!(
            member("B"),
            member("C"),
            "the axle mountings are further out"
        );
        assert_ne!(member("C"), member("C'"));
        assert_eq!(member("C"), "left C\u{2013}L");
    }

    #[test]
    fn the_sheet_is_right_and_the_order_does_not_matter() {
        let mut points = published();
        points[0].zone = Some(Zone::Centre);
        points[0].member = Some("left rail".into());
        let layout = Layout::propose(&points);
        let place = layout.place("A").unwrap();
        assert_eq!((place.zone, place.zone_proposed), (Zone::Centre, false));
        assert_eq!(
            (place.member.as_str(), place.member_proposed),
            ("left rail", false)
        );
        points.reverse();
        assert_eq!(Layout::propose(&points), layout);
    }

    #[test]
    fn a_zone_is_read_from_its_own_word() {
        for zone in Zone::ALL {
            assert_eq!(Zone::of_word(zone.word()), Some(zone));
        }
        assert_eq!(Zone::of_word(" Center "), Some(Zone::Centre));
        assert_eq!(Zone::of_word("engine"), None);
    }

    #[test]
    fn few_points_do_no_harm() {
        assert_eq!(Layout::propose(&[]).places().count(), 0);
        let one = Layout::propose(&[point("A", Side::Centre, 5.0, 0.0, 0.0)]);
        assert_eq!(one.place("A").unwrap().zone, Zone::Centre);
    }
}
