//! Where everything in the line of stations goes: the scale, the stations along the vehicle, the
//! lanes of the lengths, the names.
//!
//! Deviations are drawn larger than the vehicle, by a factor that the drawing states. Stations that
//! would touch are moved apart a little; their ticks on the line stay where they are.

use datumtrail_geometry::frame::Side;
use datumtrail_geometry::verdict::Verdict;

use crate::archive::words;
use crate::job::measure::{CheckReport, PointReport};

/// Where a limit's post stands, in units of the drawing.
pub const POST: f64 = 8.5;
/// Half a row's height, and what of it an arrow may take; the rest is for its number.
pub const ROW: f64 = 31.0;
pub const ARROW_UP: f64 = 20.0;
/// The longest arrow along the line.
pub const ARROW_ALONG: f64 = 46.0;
/// The height of one lane of lengths.
pub const LANE: f64 = 13.0;
pub const MOST_LANES: usize = 7;
/// Left of the stations: the rows' names.
pub const LEFT: f64 = 44.0;
pub const RIGHT: f64 = 14.0;
/// Stations are at least this far apart.
pub const GAP: f64 = 14.0;
/// Half the height of the strip with the line and the stations' names.
pub const STRIP: f64 = 30.0;
/// A character's width, about.
pub const CHARACTER: f64 = 5.9;
/// Longer names are cut; the table has them whole.
pub const LONGEST_NAME: usize = 6;

/// How all pictures of one page draw deviations, so that they can be compared.
///
/// The median limit's post stands [`POST`] units from zero; without limits the largest deviation
/// fills a row.
pub fn common_scale(reports: &[CheckReport<'_>]) -> f64 {
    let axes = || {
        reports
            .iter()
            .flat_map(|r| &r.points)
            .flat_map(|p| p.axes())
    };
    let mut limits: Vec<f64> = axes()
        .filter_map(|(_, a)| a.limit_mm)
        .filter(|l| *l > 0.0)
        .collect();
    limits.sort_by(f64::total_cmp);
    if let Some(median) = limits.get(limits.len() / 2) {
        return POST / median;
    }
    let largest = axes()
        .filter_map(|(_, a)| a.deviation_mm)
        .fold(0.0, |most: f64, mm| most.max(mm.abs()));
    if largest > 0.0 {
        ARROW_UP / largest
    } else {
        1.0
    }
}

pub struct Station<'a> {
    /// Where it lies along the vehicle, millimetres.
    pub mm: f64,
    /// Where its tick is, and where its column is.
    pub tick: f64,
    pub x: f64,
    pub right: Option<&'a PointReport<'a>>,
    pub left: Option<&'a PointReport<'a>>,
}

/// How many lanes the lengths take, on the right side and on the left. Pictures that are to be
/// compared get as many as the one that needs most.
pub fn lanes(report: &CheckReport<'_>, width: f64, per_mm: f64) -> [usize; 2] {
    let (stations, _, _) = stations(report, width);
    [Side::Right, Side::Left].map(|side| Band::new(&stations, side, per_mm, 1).count)
}

/// The stations from front to rear, the drawing's width, and its units to a millimetre of vehicle.
pub fn stations<'a>(report: &'a CheckReport<'a>, width: f64) -> (Vec<Station<'a>>, f64, f64) {
    let mut points: Vec<&PointReport<'_>> = report.points.iter().collect();
    points.sort_by(|a, b| a.spec_mm[0].total_cmp(&b.spec_mm[0]));
    let ends = (points.first(), points.last());
    let (from, to) = match ends {
        (Some(first), Some(last)) => (
            first.spec_mm[0],
            last.spec_mm[0].max(first.spec_mm[0] + 1.0),
        ),
        _ => (0.0, 1.0),
    };
    let per_mm_along = |width: f64| (width - LEFT - RIGHT - 2.0 * GAP) / (to - from);
    // Left and right of a pair share a station, also where they are not quite opposite.
    let together = 3.0 / per_mm_along(width);
    let mut all: Vec<Station<'a>> = Vec::new();
    for point in points {
        let mm = point.spec_mm[0];
        let on_right = point.side == Side::Right;
        let joins = all.iter_mut().rev().take(4).find(|s| {
            let free = if on_right {
                s.right.is_none()
            } else {
                s.left.is_none()
            };
            free && mm - s.mm <= together
        });
        match joins {
            Some(station) if on_right => station.right = Some(point),
            Some(station) => station.left = Some(point),
            None => all.push(Station {
                mm,
                tick: 0.0,
                x: 0.0,
                right: on_right.then_some(point),
                left: (!on_right).then_some(point),
            }),
        }
    }
    let width = width.max(LEFT + RIGHT + GAP * (all.len() as f64 + 2.0));
    let along = per_mm_along(width);
    for station in &mut all {
        station.tick = LEFT + GAP + (station.mm - from) * along;
    }
    let columns = apart(
        &all.iter().map(|s| s.tick).collect::<Vec<_>>(),
        GAP,
        LEFT + GAP,
        width - RIGHT - GAP,
    );
    for (station, x) in all.iter_mut().zip(columns) {
        station.x = x;
    }
    (all, width, along)
}

/// Moves sorted places apart to at least `gap`, within `from` and `to`, each as little as may be:
/// groups that touch are spread about their common middle.
pub fn apart(places: &[f64], gap: f64, from: f64, to: f64) -> Vec<f64> {
    // Each group: how many, and where its first would best be.
    let mut groups: Vec<(usize, f64)> = Vec::new();
    let within = |count: usize, first: f64| {
        let room = to - gap * (count as f64 - 1.0);
        first.min(room).max(from)
    };
    for &place in places {
        groups.push((1, within(1, place)));
        while let [.., (n1, first1), (n2, first2)] = groups.as_slice() {
            let (n1, first1, n2, first2) = (*n1, *first1, *n2, *first2);
            if first1 + gap * n1 as f64 <= first2 + 1e-9 {
                break;
            }
            let best2 = first2 - gap * n1 as f64;
            let (w1, w2) = (n1 as f64, n2 as f64);
            let joined = (first1 * w1 + best2 * w2) / (w1 + w2);
            groups.truncate(groups.len() - 2);
            groups.push((n1 + n2, within(n1 + n2, joined)));
        }
    }
    groups
        .into_iter()
        .flat_map(|(count, first)| (0..count).map(move |i| first + gap * i as f64))
        .collect()
}

/// The three rows of one side.
pub struct Band {
    pub side: Side,
    /// The lane of each station's length.
    pub lanes: Vec<usize>,
    pub count: usize,
}

impl Band {
    pub fn new(stations: &[Station<'_>], side: Side, per_mm: f64, at_least: usize) -> Self {
        // Where each lane is taken up to.
        let mut taken: Vec<f64> = Vec::new();
        let lanes = stations
            .iter()
            .map(|station| {
                let Some(point) = on(station, side) else {
                    return 0;
                };
                let at = point.length.deviation_mm.unwrap_or(0.0) * per_mm;
                let tip = at.clamp(-ARROW_ALONG, ARROW_ALONG);
                let number = match point.length.verdict {
                    Verdict::Outside => 4.0 + 4.0 * CHARACTER,
                    _ => 0.0,
                };
                let reach = POST + 2.0;
                let (back, ahead) = if tip < 0.0 {
                    (number - tip, 0.0)
                } else {
                    (0.0, tip + number)
                };
                let from = station.x - reach.max(back);
                let to = station.x + reach.max(ahead);
                let lane = taken
                    .iter()
                    .position(|end| *end <= from)
                    .unwrap_or(taken.len());
                let lane = lane.min(MOST_LANES - 1);
                match taken.get_mut(lane) {
                    Some(end) => *end = end.max(to),
                    None => taken.push(to),
                }
                lane
            })
            .collect();
        Self {
            side,
            lanes,
            count: taken.len().max(at_least).max(1),
        }
    }

    pub fn lengths(&self) -> f64 {
        LANE * self.count as f64 + 6.0
    }

    pub fn height(&self) -> f64 {
        self.lengths() + 4.0 * ROW
    }
}

pub fn on<'a>(station: &Station<'a>, side: Side) -> Option<&'a PointReport<'a>> {
    match side {
        Side::Right => station.right,
        _ => station.left,
    }
}

/// A name that would touch its neighbour moves out by a line.
#[derive(Default)]
pub struct Names {
    pub ends: [f64; 2],
}

impl Names {
    pub fn tier(&mut self, x: f64, name: &str) -> f64 {
        let half = name.chars().count() as f64 * CHARACTER / 2.0 + 1.0;
        let tier = usize::from(self.ends[0] > x - half);
        self.ends[tier] = x + half;
        tier as f64
    }
}

/// The nearest of 1, 2, 5, 10, 20 ... from below.
pub fn nice(value: f64) -> f64 {
    let decade = 10f64.powf(value.max(1e-9).log10().floor());
    let steps = [5.0, 2.0, 1.0];
    steps
        .iter()
        .map(|s| s * decade)
        .find(|s| *s <= value * (1.0 + 1e-9))
        .unwrap_or(decade)
}

/// How many points a picture shows as measured, and which are outside, for those who can't see it.
pub(in crate::archive) fn described(report: &CheckReport<'_>) -> String {
    let outside: Vec<&str> = report
        .points
        .iter()
        .filter(|p| p.axes().iter().any(|(_, a)| a.verdict == Verdict::Outside))
        .map(|p| p.point)
        .collect();
    let measured = report
        .points
        .iter()
        .filter(|p| p.reading_mm.is_some())
        .count();
    let rest = if outside.is_empty() {
        "no point is outside its limits".to_owned()
    } else {
        format!("outside their limits: {}", words::list(&outside))
    };
    format!("control points along the vehicle's length, {measured} measured; {rest}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn scale_bars_are_round_numbers() {
        for (value, expected) in [(10.6, 10.0), (9.9, 5.0), (0.3, 0.2), (500.0, 500.0)] {
            assert!((nice(value) - expected).abs() < 1e-9, "{value}");
        }
    }

    proptest! {
        #[test]
        fn stations_are_moved_apart_and_stay_in_order(
            mut places in prop::collection::vec(0.0..500.0f64, 1..30),
        ) {
            places.sort_by(f64::total_cmp);
            let moved = apart(&places, 14.0, 0.0, 500.0);
            prop_assert_eq!(moved.len(), places.len());
            for pair in moved.windows(2) {
                prop_assert!(pair[1] - pair[0] >= 14.0 - 1e-6);
            }
            prop_assert!(moved.first() >= Some(&-1e-6) && moved.last() <= Some(&(500.0 + 1e-6)));
            // Those with room enough stay where they are.
            let roomy = places.windows(2).all(|p| p[1] - p[0] >= 14.0);
            if roomy {
                for (a, b) in places.iter().zip(&moved) {
                    prop_assert!((a - b).abs() < 1e-6);
                }
            }
        }
    }
}
