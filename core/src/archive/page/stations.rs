//! The vehicle seen along its own length as a line of stations.
//!
//! The line is the vehicle's centre line, front to the left, its control points stations along it
//! to scale. Above it is the vehicle's right side, below it the left. Each side has three rows,
//! from the line outward: length, width, height. Length runs along the line; in the other two rows
//! up on the page is to the right, as seen from above, and up. So a part that was pushed forward
//! has an arrow to the left, one that sags an arrow down.
//!
//! Deviations are drawn larger than the vehicle, by a factor that the drawing states. Stations
//! that would touch are moved apart a little; their ticks on the line stay where they are.

use datumtrail_geometry::frame::{Axis, Side};
use datumtrail_geometry::verdict::Verdict;
use maud::{Markup, html};

use super::shapes::{Drawn, n, placed, shape, text_at};
use crate::archive::words;
use crate::job::measure::{CheckReport, PointReport};

/// Where a limit's post stands, in units of the drawing.
const POST: f64 = 8.5;
/// Half a row's height, and what of it an arrow may take; the rest is for its number.
const ROW: f64 = 31.0;
const ARROW_UP: f64 = 20.0;
/// The longest arrow along the line.
const ARROW_ALONG: f64 = 46.0;
/// The height of one lane of lengths.
const LANE: f64 = 13.0;
const MOST_LANES: usize = 7;
/// Left of the stations: the rows' names.
const LEFT: f64 = 44.0;
const RIGHT: f64 = 14.0;
/// Stations are at least this far apart.
const GAP: f64 = 14.0;
/// Half the height of the strip with the line and the stations' names.
const STRIP: f64 = 30.0;
/// A character's width, about.
const CHARACTER: f64 = 5.9;
/// Longer names are cut; the table has them whole.
const LONGEST_NAME: usize = 6;

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

struct Station<'a> {
    /// Where it lies along the vehicle, millimetres.
    mm: f64,
    /// Where its tick is, and where its column is.
    tick: f64,
    x: f64,
    right: Option<&'a PointReport<'a>>,
    left: Option<&'a PointReport<'a>>,
}

/// How many lanes the lengths take, on the right side and on the left. Pictures that are to be
/// compared get as many as the one that needs most.
pub fn lanes(report: &CheckReport<'_>, width: f64, per_mm: f64) -> [usize; 2] {
    let (stations, _, _) = stations(report, width);
    [Side::Right, Side::Left].map(|side| Band::new(&stations, side, per_mm, 1).count)
}

/// One survey as a picture.
#[derive(Clone, Copy, Debug)]
pub struct Picture<'a> {
    /// Units of the drawing; it becomes wider where the stations need it.
    pub width: f64,
    /// From [`common_scale`].
    pub per_mm: f64,
    /// At least so many lanes, from [`lanes`].
    pub lanes: [usize; 2],
    pub title: &'a str,
    /// What the identities of its title and description begin with.
    pub id: &'a str,
}

/// Draws a survey.
pub fn draw(report: &CheckReport<'_>, picture: &Picture<'_>) -> Markup {
    let Picture {
        width,
        per_mm,
        lanes: [on_right, on_left],
        title,
        id,
    } = *picture;
    let (stations, width, along) = stations(report, width);
    let right = Band::new(&stations, Side::Right, per_mm, on_right);
    let left = Band::new(&stations, Side::Left, per_mm, on_left);
    let centre = 8.0 + right.height() + STRIP;
    let bottom = centre + STRIP + left.height();
    let height = bottom + 30.0;
    let view = format!("0 0 {} {}", n(width), n(height));
    let (title_id, desc_id) = (format!("{id}-t"), format!("{id}-d"));
    let drawing = Drawing {
        centre,
        width,
        per_mm,
    };
    html! {
        svg.stations viewBox=(view) role="img" aria-labelledby={(title_id) " " (desc_id)}
            style={"aspect-ratio:" (n(width)) "/" (n(height))} {
            title id=(title_id) { (title) }
            desc id=(desc_id) { (description(report)) }
            (drawing.band(&stations, &right))
            (drawing.band(&stations, &left))
            (drawing.strip(&stations))
            (scale_bars(width, bottom + 18.0, per_mm, along))
        }
    }
}

/// The stations from front to rear, the drawing's width, and its units to a millimetre of vehicle.
fn stations<'a>(report: &'a CheckReport<'a>, width: f64) -> (Vec<Station<'a>>, f64, f64) {
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
fn apart(places: &[f64], gap: f64, from: f64, to: f64) -> Vec<f64> {
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
struct Band {
    side: Side,
    /// The lane of each station's length.
    lanes: Vec<usize>,
    count: usize,
}

impl Band {
    fn new(stations: &[Station<'_>], side: Side, per_mm: f64, at_least: usize) -> Self {
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

    fn lengths(&self) -> f64 {
        LANE * self.count as f64 + 6.0
    }

    fn height(&self) -> f64 {
        self.lengths() + 4.0 * ROW
    }
}

fn on<'a>(station: &Station<'a>, side: Side) -> Option<&'a PointReport<'a>> {
    match side {
        Side::Right => station.right,
        _ => station.left,
    }
}

struct Drawing {
    centre: f64,
    width: f64,
    per_mm: f64,
}

impl Drawing {
    fn band(&self, stations: &[Station<'_>], band: &Band) -> Markup {
        // Outward: up on the page for the right side, down for the left.
        let out = if band.side == Side::Right { -1.0 } else { 1.0 };
        let start = self.centre + out * STRIP;
        let width_row = start + out * (band.lengths() + ROW);
        let height_row = start + out * (band.lengths() + 3.0 * ROW);
        let end = start + out * (band.lengths() + 4.0 * ROW);
        let length_row = start + out * band.lengths() / 2.0;
        let right_end = self.width - RIGHT;
        let up = Drawn {
            per_mm: self.per_mm,
            longest: ARROW_UP,
        };
        let along = Drawn {
            per_mm: self.per_mm,
            longest: ARROW_ALONG,
        };
        html! {
            @for (y, name) in [(length_row, "length"), (width_row, "width"), (height_row, "height")] {
                (text_at(LEFT - 6.0, y + 3.0, "rw", name))
            }
            @let (corner, side) = match band.side {
                Side::Right => (end + 8.0, "right side"),
                _ => (end - 2.0, "left side"),
            };
            (text_at(2.0, corner, "sd", side))
            @for y in [width_row, height_row] {
                path.ax d=(format!("M{} {}H{}", n(LEFT), n(y), n(right_end))) {}
            }
            @for (station, lane) in stations.iter().zip(&band.lanes) {
                @if let Some(point) = on(station, band.side) {
                    @let x = station.x;
                    @let lane_y = start + out * (3.0 + LANE * (*lane as f64 + 0.5));
                    path.sk d=(format!("M{} {}V{}", n(x), n(start), n(end))) {}
                    g {
                        title { (said(point, Axis::Length)) }
                        (placed(x, lane_y, false, shape(&point.length, along)))
                        (number(point, Axis::Length, x, lane_y, along))
                    }
                    g {
                        title { (said(point, Axis::Width)) }
                        (placed(x, width_row, true, shape(&point.width, up)))
                        (number(point, Axis::Width, x, width_row, up))
                    }
                    g {
                        title { (said(point, Axis::Height)) }
                        (placed(x, height_row, true, shape(&point.height, up)))
                        (number(point, Axis::Height, x, height_row, up))
                    }
                }
            }
        }
    }

    /// The centre line with its ticks, the stations' names and the marks of reference points.
    fn strip(&self, stations: &[Station<'_>]) -> Markup {
        let c = self.centre;
        let end = self.width - RIGHT + 4.0;
        let mut right_names = Names::default();
        let mut left_names = Names::default();
        html! {
            path.cl-line d=(format!("M{} {}H{}", n(LEFT - 4.0), n(c), n(end))) {}
            path.nose d=(format!("M{} {}l7 -4.5v9Z", n(LEFT - 10.0), n(c))) {}
            (text_at(LEFT - 14.0, c + 3.0, "rw b", "front"))
            @for station in stations {
                path.tk d=(format!("M{} {}v8", n(station.tick), n(c - 4.0))) {}
                @if let Some(point) = station.right {
                    path.ld d=(format!("M{} {}L{} {}V{}", n(station.tick), n(c - 4.0),
                        n(station.x), n(c - 8.0), n(c - STRIP))) {}
                    @if point.is_reference { (reference(station.x, c - 11.5, false)) }
                    @let name = words::cut(point.point, LONGEST_NAME);
                    (text_at(station.x, c - 17.5 - 9.5 * right_names.tier(station.x, &name),
                        "nm", &name))
                }
                @if let Some(point) = station.left {
                    path.ld d=(format!("M{} {}L{} {}V{}", n(station.tick), n(c + 4.0),
                        n(station.x), n(c + 8.0), n(c + STRIP))) {}
                    @if point.is_reference { (reference(station.x, c + 11.5, true)) }
                    @let name = words::cut(point.point, LONGEST_NAME);
                    (text_at(station.x, c + 24.5 + 9.5 * left_names.tier(station.x, &name),
                        "nm", &name))
                }
            }
        }
    }
}

/// A name that would touch its neighbour moves out by a line.
#[derive(Default)]
struct Names {
    ends: [f64; 2],
}

impl Names {
    fn tier(&mut self, x: f64, name: &str) -> f64 {
        let half = name.chars().count() as f64 * CHARACTER / 2.0 + 1.0;
        let tier = usize::from(self.ends[0] > x - half);
        self.ends[tier] = x + half;
        tier as f64
    }
}

/// A surveyor's mark: the set-up rests on this point.
fn reference(x: f64, y: f64, down: bool) -> Markup {
    let turn = if down { "rotate(180)" } else { "" };
    html! {
        use href="#s-ref" transform=(format!("translate({} {}){turn}", n(x), n(y))) {}
    }
}

/// The size of what is outside, beside the arrow's tip, in millimetres.
fn number(point: &PointReport<'_>, axis: Axis, x: f64, y: f64, drawn: Drawn) -> Markup {
    let seen = match axis {
        Axis::Length => &point.length,
        Axis::Width => &point.width,
        Axis::Height => &point.height,
    };
    let (Verdict::Outside, Some(mm)) = (seen.verdict, seen.deviation_mm) else {
        return html! {};
    };
    let size = if mm.abs() < 9.95 {
        format!("{:.1}", mm.abs())
    } else {
        format!("{:.0}", mm.abs())
    };
    let tip = (mm * drawn.per_mm).clamp(-drawn.longest, drawn.longest);
    match axis {
        Axis::Length if tip < 0.0 => text_at(x + tip - 2.0, y + 3.0, "no e", &size),
        Axis::Length => text_at(x + tip + 2.0, y + 3.0, "no s", &size),
        _ if tip > 0.0 => text_at(x, y - tip - 2.0, "no", &size),
        _ => text_at(x, y - tip + 8.5, "no", &size),
    }
}

/// What a pointer resting on a shape is told.
fn said(point: &PointReport<'_>, axis: Axis) -> String {
    let seen = match axis {
        Axis::Length => &point.length,
        Axis::Width => &point.width,
        Axis::Height => &point.height,
    };
    let found = seen.deviation_mm.map_or(String::new(), |mm| {
        format!("{}, ", words::deviation(axis, mm, point.side))
    });
    format!(
        "{} {}: {found}{}",
        point.point,
        axis.word(),
        seen.verdict.words()
    )
}

fn description(report: &CheckReport<'_>) -> String {
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
    format!(
        "Control points along the vehicle's length, {measured} measured; {rest}. The table below has every number."
    )
}

/// Both scales, each as a bar and in words.
fn scale_bars(width: f64, y: f64, per_mm: f64, along: f64) -> Markup {
    let deviation = nice(30.0 / per_mm);
    let vehicle = nice(60.0 / along);
    let (d, v) = (deviation * per_mm, vehicle * along);
    let second = LEFT + d + 88.0;
    let times = per_mm / along;
    html! {
        path.sb d=(format!("M{} {}v6h{}v-6", n(LEFT), n(y - 3.0), n(d))) {}
        (text_at(LEFT + d + 5.0, y + 3.0, "sc", &format!("{} mm deviation", words::stated(deviation))))
        path.sb d=(format!("M{} {}v6h{}v-6", n(second), n(y - 3.0), n(v))) {}
        (text_at(second + v + 5.0, y + 3.0, "sc", &format!("{} mm along", words::stated(vehicle))))
        (text_at(width - RIGHT, y + 3.0, "sc e", &format!("{times:.0} : 1")))
    }
}

/// The nearest of 1, 2, 5, 10, 20 ... from below.
fn nice(value: f64) -> f64 {
    let decade = 10f64.powf(value.max(1e-9).log10().floor());
    let steps = [5.0, 2.0, 1.0];
    steps
        .iter()
        .map(|s| s * decade)
        .find(|s| *s <= value * (1.0 + 1e-9))
        .unwrap_or(decade)
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
