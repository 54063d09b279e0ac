//! The line of stations, before and after: the vehicle seen along its own length.
//!
//! Front to the left, the right side above and the left side below. Each side has three rows, from
//! the line outward: length, width, height. Length runs along the line; in the other two rows up on
//! the page is to the right, as seen from above, and up. Where everything goes is told by the same
//! [`places`] as on the page, so both show the same picture.

use datumtrail_geometry::frame::{Axis, Side};
use datumtrail_geometry::verdict::Verdict;
use datumtrail_paper::drawing::LABEL;
use datumtrail_paper::text::{GREY, INK};
use datumtrail_paper::{Anchor, Drawing, Paper, Pen, Size, Span, Style};

use super::shapes::{self, Place, Scale, emblem};
use crate::archive::page::places::{self, Band, LANE, LEFT, Names, RIGHT, Station, nice, on};
use crate::archive::story::{Story, SurveyStory};
use crate::archive::words;
use crate::job::measure::{CheckReport, PointReport};

/// Half a row's height, and what of it an arrow may take; the rest is for its number.
const ROW: f32 = 25.0;
const ARROW_UP: f32 = 17.0;
const ARROW_ALONG: f32 = 46.0;
/// Half the height of the strip with the line and the stations' names.
const STRIP: f32 = 31.0;
const TOP: f32 = 4.0;
const BELOW: f32 = 26.0;
/// Longer names are cut; the table has them whole.
const LONGEST_NAME: usize = 7;
/// The page's letters are so much wider.
const NARROWER: f64 = 1.3;
const NAME: Style = LABEL.bold();
const SMALL: Style = LABEL.sized(6.8).colored(GREY);
const NUMBER: Style = LABEL.sized(7.0).colored(shapes::VERMILION);

pub fn draw(paper: &mut Paper, story: &Story, size: Size) {
    let Some(newest) = story.newest().filter(|s| s.tally.is_some()) else {
        return;
    };
    let before = story
        .comparison
        .as_ref()
        .and_then(|c| story.survey(&c.before));
    let shown: Vec<&SurveyStory> = before.into_iter().chain([newest]).collect();
    let reports: Vec<CheckReport<'_>> = shown.iter().filter_map(|s| s.report()).collect();
    let (width, _) = size.room();
    let per_mm = places::common_scale(&reports);

    paper.heading(2, "Where it stands");
    paper.text(
        Style::BODY.keep(),
        "The vehicle seen along its own length: its centre line with the control points as \
         stations, front to the left, the right side above and the left side below. Deviations from \
         the sheet are drawn larger than the vehicle; the posts stand at the limits. In the rows of \
         width and height, up on the page is to the vehicle's right, and up.",
    );
    legend(paper, width);
    let two = shown.len() == 2;
    for (n, (survey, report)) in shown.iter().zip(&reports).enumerate() {
        let word = match (two, n) {
            (true, 0) => "Before: ",
            (true, _) => "After: ",
            (false, _) => "",
        };
        let phrase = survey
            .tally
            .as_ref()
            .map(|t| t.phrase())
            .unwrap_or_default();
        let caption = [
            Span::bold(format!("{word}{}", survey.name)),
            Span::plain(format!(", {}: {phrase}", words::moment(&survey.at))),
        ];
        paper.text(Style::BODY.above(9.0).keep(), caption.to_vec());
        let drawing = picture(report, width, per_mm as f32);
        paper.figure(drawing, &description(survey, report));
    }
}

fn legend(paper: &mut Paper, width: f32) {
    let entries = [
        (Some(Verdict::Inside), "inside"),
        (Some(Verdict::Outside), "outside, size in mm"),
        (Some(Verdict::TooCloseToCall), "too close to call"),
        (Some(Verdict::NoLimitGiven), "no limit given"),
        (Some(Verdict::Unchecked), "unchecked"),
        (None, "reference point"),
    ];
    let column = width / 3.0;
    let mut drawing = Drawing::new(width, 29.0);
    for (n, (verdict, words)) in entries.iter().enumerate() {
        let (x, y) = (column * (n % 3) as f32, 14.5 * (n / 3) as f32);
        match verdict {
            Some(verdict) => drawing.place(&emblem(*verdict), x, y),
            None => shapes::reference(&mut drawing, x + 8.0, y + 5.2, false),
        }
        drawing.text(x + 28.0, y + 7.4, Anchor::Start, *words, &LABEL.sized(8.0));
    }
    let alt = "Legend. Inside: a dot between two posts. Outside: an arrow leaving the posts, with \
               its size. Too close to call: a dot with whiskers over a post. No limit given: a \
               hollow dot. Unchecked: a hollow dot struck through. Reference point: a triangle.";
    paper.figure_kept(drawing, alt);
}

fn picture(report: &CheckReport<'_>, width: f32, per_mm: f32) -> Drawing {
    let (stations, width, along) = places::stations(report, f64::from(width));
    let right = Band::new(&stations, Side::Right, f64::from(per_mm), 1);
    let left = Band::new(&stations, Side::Left, f64::from(per_mm), 1);
    let band = |b: &Band| b.lengths() as f32 + 4.0 * ROW;
    let centre = TOP + band(&right) + STRIP;
    let bottom = centre + STRIP + band(&left);
    let mut picture = Picture {
        drawing: Drawing::new(width as f32, bottom + BELOW),
        centre,
        per_mm,
        right_end: (width - RIGHT) as f32,
    };
    picture.band(&stations, &right);
    picture.band(&stations, &left);
    picture.strip(&stations);
    picture.scales(bottom + 15.0, along as f32);
    picture.drawing
}

struct Picture {
    drawing: Drawing,
    centre: f32,
    per_mm: f32,
    right_end: f32,
}

impl Picture {
    fn band(&mut self, stations: &[Station<'_>], band: &Band) {
        // Outward: up on the page for the right side, down for the left.
        let out = if band.side == Side::Right { -1.0 } else { 1.0 };
        let lengths = band.lengths() as f32;
        let start = self.centre + out * STRIP;
        let width_row = start + out * (lengths + ROW);
        let height_row = start + out * (lengths + 3.0 * ROW);
        let end = start + out * (lengths + 4.0 * ROW);
        let left = LEFT as f32;
        let rows = [
            (start + out * lengths / 2.0, "length"),
            (width_row, "width"),
            (height_row, "height"),
        ];
        for (y, name) in rows {
            self.drawing
                .text(left - 6.0, y + 2.4, Anchor::End, name, &SMALL);
        }
        let (corner, side) = match band.side {
            Side::Right => (end + 6.0, "right side"),
            _ => (end - 1.0, "left side"),
        };
        self.drawing.text(0.0, corner, Anchor::Start, side, &NAME);
        for y in [width_row, height_row] {
            let faint = Pen::line([205, 205, 200], 0.5);
            self.drawing.line((left, y), (self.right_end, y), faint);
        }
        for (station, lane) in stations.iter().zip(&band.lanes) {
            let Some(point) = on(station, band.side) else {
                continue;
            };
            let x = station.x as f32;
            let lane_y = start + out * (3.0 + LANE as f32 * (*lane as f32 + 0.5));
            let stalk = Pen::line([222, 222, 218], 0.5);
            self.drawing.line((x, start), (x, end), stalk);
            let rows = [
                (Axis::Length, &point.length, lane_y, false, ARROW_ALONG),
                (Axis::Width, &point.width, width_row, true, ARROW_UP),
                (Axis::Height, &point.height, height_row, true, ARROW_UP),
            ];
            for (axis, seen, y, upright, longest) in rows {
                let scale = Scale {
                    per_mm: self.per_mm,
                    longest,
                };
                shapes::draw(&mut self.drawing, Place { x, y, upright }, seen, scale);
                self.number(point, axis, x, y, longest);
            }
        }
    }

    /// The size of what is outside, beside the arrow's tip, in millimetres.
    fn number(&mut self, point: &PointReport<'_>, axis: Axis, x: f32, y: f32, longest: f32) {
        let (_, seen) = point.axes()[axis.index()];
        let (Verdict::Outside, Some(mm)) = (seen.verdict, seen.deviation_mm) else {
            return;
        };
        let size = match mm.abs() {
            size if size < 9.95 => format!("{size:.1}"),
            size => format!("{size:.0}"),
        };
        let tip = (mm as f32 * self.per_mm).clamp(-longest, longest);
        let (x, y, anchor) = match axis {
            Axis::Length if tip < 0.0 => (x + tip - 2.0, y + 2.5, Anchor::End),
            Axis::Length => (x + tip + 2.0, y + 2.5, Anchor::Start),
            _ if tip > 0.0 => (x, y - tip - 1.8, Anchor::Middle),
            _ => (x, y - tip + 6.8, Anchor::Middle),
        };
        self.drawing.text(x, y, anchor, size, &NUMBER);
    }

    /// The centre line with its ticks, the stations' names and the marks of reference points.
    fn strip(&mut self, stations: &[Station<'_>]) {
        let c = self.centre;
        let left = LEFT as f32;
        let thick = Pen::line(INK, 2.0);
        self.drawing
            .line((left - 4.0, c), (self.right_end + 4.0, c), thick);
        let nose = [
            (left - 10.0, c),
            (left - 3.0, c - 4.0),
            (left - 3.0, c + 4.0),
        ];
        self.drawing.polygon(&nose, Pen::fill(INK));
        self.drawing
            .text(left - 14.0, c + 2.4, Anchor::End, "front", &NAME);
        let thin = Pen::line([150, 150, 146], 0.5);
        let mut above = Names::default();
        let mut below = Names::default();
        for station in stations {
            let (tick, x) = (station.tick as f32, station.x as f32);
            self.drawing
                .line((tick, c - 3.5), (tick, c + 3.5), Pen::line(INK, 1.0));
            let sides = [
                (station.right, -1.0, &mut above),
                (station.left, 1.0, &mut below),
            ];
            for (point, out, names) in sides {
                let Some(point) = point else { continue };
                let ends = [
                    (tick, c + 3.5 * out),
                    (x, c + 7.0 * out),
                    (x, c + STRIP * out),
                ];
                self.drawing.polyline(&ends, thin);
                if point.is_reference {
                    shapes::reference(&mut self.drawing, x, c + 11.0 * out, out > 0.0);
                }
                let name = words::cut(point.point, LONGEST_NAME);
                // The tiers are reckoned with wider letters than these.
                let tier = names.tier(station.x * NARROWER, &name) as f32;
                let y = if out < 0.0 {
                    c - 17.5 - 8.0 * tier
                } else {
                    c + 22.5 + 8.0 * tier
                };
                // The station's line must not run through its name.
                let wide = 4.6 * name.chars().count() as f32 + 2.0;
                let gap = Pen::fill(shapes::PAPER);
                self.drawing
                    .rectangle(x - wide / 2.0, y - 6.0, wide, 7.5, gap);
                self.drawing.text(x, y, Anchor::Middle, name, &NAME);
            }
        }
    }

    /// Both scales, each as a bar and in words.
    fn scales(&mut self, y: f32, along: f32) {
        let left = LEFT as f32;
        let deviation = nice(f64::from(30.0 / self.per_mm));
        let vehicle = nice(f64::from(60.0 / along));
        let (d, v) = (deviation as f32 * self.per_mm, vehicle as f32 * along);
        let second = left + d + 96.0;
        for (x, length, text) in [
            (
                left,
                d,
                format!("{} mm deviation", words::stated(deviation)),
            ),
            (
                second,
                v,
                format!("{} mm along the vehicle", words::stated(vehicle)),
            ),
        ] {
            let bar = [
                (x, y - 2.5),
                (x, y + 2.5),
                (x + length, y + 2.5),
                (x + length, y - 2.5),
            ];
            self.drawing.polyline(&bar, Pen::line(INK, 0.8));
            self.drawing
                .text(x + length + 5.0, y + 2.6, Anchor::Start, text, &SMALL);
        }
        let times = format!(
            "deviations {:.0} times larger than the vehicle",
            self.per_mm / along
        );
        self.drawing
            .text(self.right_end, y + 2.6, Anchor::End, times, &SMALL);
    }
}

/// For those who can't see it.
fn description(survey: &SurveyStory, report: &CheckReport<'_>) -> String {
    format!(
        "{}: {}. The table of numbers has every deviation.",
        survey.name,
        places::described(report)
    )
}
