//! The verdicts' shapes on paper, as on the page ([`crate::archive::page`]): a filled dot between two
//! posts, an arrow that leaves them, a dot with whiskers over a post; hollow where no limit was
//! given, struck through where nothing can be said. Colours are Okabe and Ito's, darkened where
//! they carry thin lines, and never the only sign.

use datumtrail_geometry::verdict::Verdict;
use datumtrail_paper::text::INK;
use datumtrail_paper::{Color, Drawing, Pen};

use crate::job::measure::AxisReport;

pub const BLUE: Color = [0, 103, 163];
pub const VERMILION: Color = [185, 74, 0];
pub const AMBER: Color = [230, 159, 0];
pub const SOFT: Color = [90, 94, 102];
pub const PAPER: Color = [255, 255, 255];

/// How deviations are drawn: points to a millimetre, and how long an arrow may become.
#[derive(Clone, Copy, Debug)]
pub struct Scale {
    pub per_mm: f32,
    pub longest: f32,
}

/// Where a shape stands: its zero, and whether its line runs along the page or up it.
#[derive(Clone, Copy, Debug)]
pub struct Place {
    pub x: f32,
    pub y: f32,
    pub upright: bool,
}

impl Place {
    /// A point of the shape: `along` its line, and `across` it.
    fn at(self, along: f32, across: f32) -> (f32, f32) {
        if self.upright {
            // Positive is up the page.
            (self.x + across, self.y - along)
        } else {
            (self.x + along, self.y + across)
        }
    }
}

/// Draws one axis.
pub fn draw(drawing: &mut Drawing, place: Place, seen: &AxisReport<'_>, scale: Scale) {
    let mm = seen.deviation_mm.unwrap_or(0.0) as f32;
    let tip = (mm * scale.per_mm).clamp(-scale.longest, scale.longest);
    let cut = (mm * scale.per_mm).abs() > scale.longest;
    let line = |drawing: &mut Drawing, from: (f32, f32), to: (f32, f32), pen: Pen| {
        drawing.line(place.at(from.0, from.1), place.at(to.0, to.1), pen);
    };
    if let Some(limit) = seen.limit_mm {
        let post = limit as f32 * scale.per_mm;
        for at in [-post, post] {
            if at.abs() <= scale.longest {
                line(drawing, (at, -4.6), (at, 4.6), Pen::line(INK, 1.2));
            }
        }
    }
    let (x, y) = place.at(tip, 0.0);
    match seen.verdict {
        Verdict::Inside => {
            if tip.abs() > 2.5 {
                line(drawing, (0.0, 0.0), (tip, 0.0), Pen::line(BLUE, 1.3));
            }
            drawing.circle(x, y, 2.3, Pen::fill(BLUE));
        }
        Verdict::Outside => arrow(drawing, place, tip, cut),
        Verdict::TooCloseToCall => {
            if let Some(u) = seen.u_mm {
                let reach = (2.0 * u as f32 * scale.per_mm).clamp(3.8, scale.longest);
                let pen = Pen::line(INK, 1.0);
                line(drawing, (tip - reach, 0.0), (tip + reach, 0.0), pen);
                for end in [tip - reach, tip + reach] {
                    line(drawing, (end, -2.5), (end, 2.5), pen);
                }
            }
            drawing.circle(x, y, 2.3, Pen::line(INK, 0.9).filled(AMBER));
        }
        Verdict::NoLimitGiven => {
            if tip.abs() > 2.5 {
                line(drawing, (0.0, 0.0), (tip, 0.0), Pen::line(SOFT, 1.2));
            }
            drawing.circle(x, y, 2.2, Pen::line(SOFT, 1.1).filled(PAPER));
        }
        Verdict::Unchecked => {
            let (x, y) = place.at(0.0, 0.0);
            drawing.circle(x, y, 2.2, Pen::line(SOFT, 1.1).filled(PAPER));
            drawing.line((x - 3.3, y + 3.3), (x + 3.3, y - 3.3), Pen::line(SOFT, 1.1));
        }
        Verdict::NotMeasured => {
            line(drawing, (-2.2, 0.0), (2.2, 0.0), Pen::line(SOFT, 1.1));
        }
    }
}

/// From zero to the deviation; two strokes across the shaft where it is longer than drawn.
fn arrow(drawing: &mut Drawing, place: Place, tip: f32, cut: bool) {
    let way = if tip < 0.0 { -1.0 } else { 1.0 };
    let pen = Pen::line(VERMILION, 1.7);
    drawing.line(place.at(0.0, 0.0), place.at(tip - way * 4.2, 0.0), pen);
    let head = [
        place.at(tip, 0.0),
        place.at(tip - way * 5.8, -3.3),
        place.at(tip - way * 5.8, 3.3),
    ];
    drawing.polygon(&head, Pen::fill(VERMILION));
    let (x, y) = place.at(0.0, 0.0);
    drawing.circle(x, y, 1.3, Pen::fill(VERMILION));
    if cut {
        let middle = tip * 0.55;
        let gap = [
            place.at(middle, -4.0),
            place.at(middle - 2.5, 4.0),
            place.at(middle + 0.5, 4.0),
            place.at(middle + 3.0, -4.0),
        ];
        drawing.polygon(&gap, Pen::fill(PAPER));
        let thin = Pen::line(VERMILION, 1.0);
        drawing.line(gap[0], gap[1], thin);
        drawing.line(gap[3], gap[2], thin);
    }
}

/// A verdict's shape as an emblem, for tables and lists.
pub fn emblem(verdict: Verdict) -> Drawing {
    let mut drawing = Drawing::new(23.0, 9.6);
    let (mm, u, limit) = match verdict {
        Verdict::Inside => (Some(0.3), Some(0.3), Some(3.0)),
        Verdict::Outside => (Some(6.2), Some(0.3), Some(3.0)),
        Verdict::TooCloseToCall => (Some(2.5), Some(1.2), Some(3.0)),
        Verdict::NoLimitGiven => (Some(1.6), Some(0.3), None),
        Verdict::Unchecked | Verdict::NotMeasured => (None, None, Some(3.0)),
    };
    let seen = AxisReport {
        deviation_mm: mm,
        u_mm: u,
        limit_mm: limit,
        limit_source: None,
        p_inside: None,
        verdict,
    };
    let place = Place {
        x: 7.6,
        y: 4.8,
        upright: false,
    };
    let scale = Scale {
        per_mm: 2.35,
        longest: 15.0,
    };
    draw(&mut drawing, place, &seen, scale);
    drawing
}

/// A surveyor's mark: the set-up rests on this point.
pub fn reference(drawing: &mut Drawing, x: f32, y: f32, down: bool) {
    let way = if down { -1.0 } else { 1.0 };
    let corners = [
        (x, y - 3.0 * way),
        (x + 3.2, y + 2.6 * way),
        (x - 3.2, y + 2.6 * way),
    ];
    drawing.polygon(&corners, Pen::line(INK, 0.9).filled(PAPER));
}
