//! The vehicle seen along its own length as a line of stations.
//!
//! The line is the vehicle's centre line, front to the left, its control points stations along it
//! to scale. Above it is the vehicle's right side, below it the left. Each side has three rows,
//! from the line outward: length, width, height. Length runs along the line; in the other two rows
//! up on the page is to the right, as seen from above, and up. So a part that was pushed forward
//! has an arrow to the left, one that sags an arrow down.
//!
//! Where everything goes is [`places`](super::places)' business.

use datumtrail_geometry::frame::{Axis, Side};
use datumtrail_geometry::verdict::Verdict;
use maud::{Markup, html};

use super::places::{
    self, ARROW_ALONG, ARROW_UP, Band, LANE, LEFT, LONGEST_NAME, Names, RIGHT, ROW, STRIP, Station,
    nice, on, stations,
};
use super::shapes::{Drawn, n, placed, shape, text_at};
use crate::archive::words;
use crate::job::measure::{CheckReport, PointReport};

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
    let described = places::described(report);
    format!("A picture of {described}. The table below has every number.")
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
