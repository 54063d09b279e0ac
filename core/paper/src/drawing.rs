//! Simple vector drawings with text, in points of their own.

use crate::fonts::Weight;
use crate::ops::{Op, Path, Segment, Stroke};
use crate::text::{Align, Color, INK, Setter, Style};

/// What lines and shapes are drawn with.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Pen {
    pub fill: Option<Color>,
    pub stroke: Option<(Color, f32)>,
    pub dashed: bool,
}

impl Pen {
    pub const fn line(color: Color, width: f32) -> Self {
        Self {
            fill: None,
            stroke: Some((color, width)),
            dashed: false,
        }
    }

    pub const fn fill(color: Color) -> Self {
        Self {
            fill: Some(color),
            stroke: None,
            dashed: false,
        }
    }

    pub const fn filled(mut self, color: Color) -> Self {
        self.fill = Some(color);
        self
    }

    pub const fn dashed(mut self) -> Self {
        self.dashed = true;
        self
    }
}

/// Which end of a text stands at its place.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Anchor {
    #[default]
    Start,
    Middle,
    End,
}

/// A drawing. What is drawn outside its size is not cut off, but moved nowhere either: keep within.
#[derive(Clone, Debug, PartialEq)]
pub struct Drawing {
    pub width: f32,
    pub height: f32,
    items: Vec<Item>,
}

#[derive(Clone, Debug, PartialEq)]
enum Item {
    Shape(Vec<Segment>, Pen),
    Text {
        x: f32,
        y: f32,
        anchor: Anchor,
        text: String,
        size: f32,
        weight: Weight,
        color: Color,
    },
}

impl Drawing {
    pub fn new(width: f32, height: f32) -> Self {
        Self {
            width: width.max(1.0),
            height: height.max(1.0),
            items: Vec::new(),
        }
    }

    pub fn line(&mut self, from: (f32, f32), to: (f32, f32), pen: Pen) {
        self.polyline(&[from, to], pen);
    }

    /// Straight lines from point to point.
    pub fn polyline(&mut self, points: &[(f32, f32)], pen: Pen) {
        self.items.push(Item::Shape(segments(points), pen));
    }

    /// The same, closed.
    pub fn polygon(&mut self, points: &[(f32, f32)], pen: Pen) {
        let mut segments = segments(points);
        segments.push(Segment::Close);
        self.items.push(Item::Shape(segments, pen));
    }

    pub fn rectangle(&mut self, x: f32, y: f32, width: f32, height: f32, pen: Pen) {
        let (r, b) = (x + width, y + height);
        self.polygon(&[(x, y), (r, y), (r, b), (x, b)], pen);
    }

    pub fn circle(&mut self, x: f32, y: f32, r: f32, pen: Pen) {
        // Four Bézier curves, as usual; off by at most 0.03 % of the radius.
        let k = r * 0.552_285;
        let segments = vec![
            Segment::Move(x + r, y),
            Segment::Curve([x + r, y + k, x + k, y + r, x, y + r]),
            Segment::Curve([x - k, y + r, x - r, y + k, x - r, y]),
            Segment::Curve([x - r, y - k, x - k, y - r, x, y - r]),
            Segment::Curve([x + k, y - r, x + r, y - k, x + r, y]),
            Segment::Close,
        ];
        self.items.push(Item::Shape(segments, pen));
    }

    /// Text on a baseline. It is cut where it would leave the drawing.
    pub fn text(&mut self, x: f32, y: f32, anchor: Anchor, text: impl Into<String>, style: &Style) {
        self.items.push(Item::Text {
            x,
            y,
            anchor,
            text: text.into(),
            size: style.size,
            weight: style.weight,
            color: style.color,
        });
    }

    /// The same, larger or smaller.
    pub fn scaled(mut self, scale: f32) -> Self {
        self.width *= scale;
        self.height *= scale;
        for item in &mut self.items {
            match item {
                Item::Text { x, y, size, .. } => {
                    *x *= scale;
                    *y *= scale;
                    *size *= scale;
                }
                Item::Shape(segments, pen) => {
                    *segments = transformed(std::mem::take(segments), scale, 0.0, 0.0);
                    if let Some((_, width)) = &mut pen.stroke {
                        *width *= scale;
                    }
                }
            }
        }
        self
    }

    /// Another drawing within this one.
    pub fn place(&mut self, other: &Drawing, dx: f32, dy: f32) {
        for item in &other.items {
            let mut item = item.clone();
            match &mut item {
                Item::Text { x, y, .. } => {
                    *x += dx;
                    *y += dy;
                }
                Item::Shape(segments, _) => {
                    *segments = transformed(std::mem::take(segments), 1.0, dx, dy);
                }
            }
            self.items.push(item);
        }
    }

    /// The drawing as it is put on a page.
    pub(crate) fn ops(&self, setter: &mut Setter) -> Vec<Op> {
        let mut ops = Vec::new();
        for item in &self.items {
            match item {
                Item::Shape(segments, pen) => ops.push(Op::Path(Path {
                    segments: segments.clone(),
                    fill: pen.fill,
                    stroke: pen.stroke.map(|(color, width)| Stroke {
                        color,
                        width,
                        dashed: pen.dashed,
                    }),
                })),
                Item::Text {
                    x,
                    y,
                    anchor,
                    text,
                    size,
                    weight,
                    color,
                } => {
                    let style = Style {
                        size: *size,
                        weight: *weight,
                        color: *color,
                        leading: 1.0,
                        above: 0.0,
                        keep: false,
                    };
                    let room = match anchor {
                        Anchor::Start => self.width - x,
                        Anchor::End => *x,
                        Anchor::Middle => 2.0 * x.min(self.width - x),
                    };
                    let Some(line) = setter.one_line(text, &style, room, Align::Start) else {
                        continue;
                    };
                    let left = match anchor {
                        Anchor::Start => *x,
                        Anchor::Middle => x - line.width / 2.0,
                        Anchor::End => x - line.width,
                    };
                    for op in line.ops {
                        ops.push(match op {
                            Op::Glyphs(run) => {
                                let baseline = run.y;
                                Op::Glyphs(run).moved(left, y - baseline)
                            }
                            other => other,
                        });
                    }
                }
            }
        }
        ops
    }
}

fn transformed(segments: Vec<Segment>, scale: f32, dx: f32, dy: f32) -> Vec<Segment> {
    let mut op = Op::Path(Path {
        segments,
        ..Path::default()
    });
    op.transform(scale, dx, dy);
    match op {
        Op::Path(path) => path.segments,
        _ => Vec::new(),
    }
}

fn segments(points: &[(f32, f32)]) -> Vec<Segment> {
    let mut points = points.iter();
    let first = points.next().map(|&(x, y)| Segment::Move(x, y));
    let rest = points.map(|&(x, y)| Segment::Line(x, y));
    first.into_iter().chain(rest).collect()
}

/// The text style of drawings.
pub const LABEL: Style = Style {
    size: 7.0,
    weight: Weight::Regular,
    color: INK,
    leading: 1.0,
    above: 0.0,
    keep: false,
};
