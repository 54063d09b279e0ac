//! What a page is drawn with.

use std::sync::Arc;

use krilla::image::Image;
use krilla::text::KrillaGlyph;

use crate::fonts::Weight;
use crate::text::Color;

/// One thing drawn, its place relative to whatever holds it.
#[derive(Clone, Debug)]
pub(crate) enum Op {
    Glyphs(Glyphs),
    Path(Path),
    Image {
        image: Image,
        x: f32,
        y: f32,
        width: f32,
        height: f32,
    },
}

/// Letters of one style on one line; `y` is the baseline.
#[derive(Clone, Debug)]
pub(crate) struct Glyphs {
    pub x: f32,
    pub y: f32,
    /// Without the space at a line's end, which hangs over.
    pub width: f32,
    pub weight: Weight,
    pub size: f32,
    pub color: Color,
    pub glyphs: Vec<KrillaGlyph>,
    pub text: Arc<str>,
}

#[derive(Clone, Debug, Default)]
pub(crate) struct Path {
    pub segments: Vec<Segment>,
    pub fill: Option<Color>,
    pub stroke: Option<Stroke>,
}

#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Segment {
    Move(f32, f32),
    Line(f32, f32),
    Curve([f32; 6]),
    Close,
}

#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Stroke {
    pub color: Color,
    pub width: f32,
    pub dashed: bool,
}

impl Op {
    /// A filled rectangle.
    pub fn rectangle(x: f32, y: f32, width: f32, height: f32, fill: Color) -> Self {
        Op::Path(Path {
            segments: vec![
                Segment::Move(x, y),
                Segment::Line(x + width, y),
                Segment::Line(x + width, y + height),
                Segment::Line(x, y + height),
                Segment::Close,
            ],
            fill: Some(fill),
            stroke: None,
        })
    }

    /// A horizontal line.
    pub fn rule(x: f32, y: f32, width: f32, thick: f32, color: Color) -> Self {
        Op::Path(Path {
            segments: vec![Segment::Move(x, y), Segment::Line(x + width, y)],
            fill: None,
            stroke: Some(Stroke {
                color,
                width: thick,
                dashed: false,
            }),
        })
    }

    pub fn moved(mut self, dx: f32, dy: f32) -> Self {
        self.transform(1.0, dx, dy);
        self
    }

    /// Scales about the origin, then moves.
    pub fn transform(&mut self, scale: f32, dx: f32, dy: f32) {
        match self {
            Op::Glyphs(run) => {
                run.x = run.x * scale + dx;
                run.y = run.y * scale + dy;
                run.width *= scale;
                run.size *= scale;
            }
            Op::Image {
                x,
                y,
                width,
                height,
                ..
            } => {
                *x = *x * scale + dx;
                *y = *y * scale + dy;
                *width *= scale;
                *height *= scale;
            }
            Op::Path(path) => {
                let point = |x: f32, y: f32| (x * scale + dx, y * scale + dy);
                for segment in &mut path.segments {
                    *segment = match *segment {
                        Segment::Move(x, y) => {
                            let (x, y) = point(x, y);
                            Segment::Move(x, y)
                        }
                        Segment::Line(x, y) => {
                            let (x, y) = point(x, y);
                            Segment::Line(x, y)
                        }
                        Segment::Curve([a, b, c, d, e, f]) => {
                            let ((a, b), (c, d), (e, f)) = (point(a, b), point(c, d), point(e, f));
                            Segment::Curve([a, b, c, d, e, f])
                        }
                        Segment::Close => Segment::Close,
                    };
                }
                if let Some(stroke) = &mut path.stroke {
                    stroke.width *= scale;
                }
            }
        }
    }

    /// Left, top, right, bottom. Letters count from their ascent to their descent.
    pub fn bounds(&self) -> [f32; 4] {
        match self {
            Op::Glyphs(run) => [
                run.x,
                run.y - 0.78 * run.size,
                run.x + run.width,
                run.y + 0.22 * run.size,
            ],
            Op::Image {
                x,
                y,
                width,
                height,
                ..
            } => [*x, *y, x + width, y + height],
            Op::Path(path) => {
                let empty = [f32::MAX, f32::MAX, f32::MIN, f32::MIN];
                let points = path.segments.iter().flat_map(|segment| match *segment {
                    Segment::Move(x, y) | Segment::Line(x, y) => vec![(x, y)],
                    Segment::Curve([a, b, c, d, e, f]) => vec![(a, b), (c, d), (e, f)],
                    Segment::Close => vec![],
                });
                points.fold(empty, |[l, t, r, b], (x, y)| {
                    [l.min(x), t.min(y), r.max(x), b.max(y)]
                })
            }
        }
    }
}

/// What holds all of them.
pub(crate) fn bounds(ops: &[Op]) -> Option<[f32; 4]> {
    let all = ops.iter().map(Op::bounds);
    all.reduce(|[l, t, r, b], [l2, t2, r2, b2]| [l.min(l2), t.min(t2), r.max(r2), b.max(b2)])
}
