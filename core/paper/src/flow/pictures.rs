//! Drawings, and pictures with captions.

use super::{Flow, GUTTER, Held};
use crate::block::{Gallery, Print};
use crate::drawing::Drawing;
use crate::ops::{self, Op, Path, Segment};
use crate::stack::{self, Chunk, Mark};
use crate::table::SetRow;
use crate::tags::Kind;
use crate::text::{Align, GREY, Span, Style};

/// Room for a caption below a picture that is as tall as it may be.
const CAPTION: f32 = 92.0;
/// Above a drawing; and how much smaller it may be made to stay on a page.
const FIGURE_ABOVE: f32 = 8.0;
const SMALLEST_FIGURE: f32 = 0.85;

impl Flow {
    pub(super) fn figure(&mut self, drawing: &Drawing, alt: &str, keep: bool) {
        let (width, most) = (self.frame.width(), self.frame.height());
        let mut scale = (width / drawing.width).min(most / drawing.height).min(1.0);
        // A little smaller, where it then still fits on this page with what waits for it.
        let waiting = self.held.iter().flat_map(|h| &h.chunks);
        let waiting: f32 = waiting.map(|c| c.above + c.height).sum();
        let there = (self.left() - waiting - FIGURE_ABOVE) / drawing.height;
        if !self.at_top() && (scale * SMALLEST_FIGURE..scale).contains(&there) {
            scale = there;
        }
        let mut ops = drawing.ops(&mut self.setter);
        for op in &mut ops {
            op.transform(scale, 0.0, 0.0);
        }
        let figure = self.tags.group(Kind::Figure(alt_text(alt)), None);
        let chunk = Chunk {
            height: drawing.height * scale,
            above: FIGURE_ABOVE,
            ops,
            mark: Mark::Figure(figure),
        };
        if keep {
            self.hold(Held {
                chunks: vec![chunk],
                heading: None,
            });
            return;
        }
        self.room((chunk.above + chunk.height).min(most));
        self.above(chunk.above);
        self.put_down(chunk, self.frame.left);
    }

    pub(super) fn gallery(&mut self, gallery: &Gallery) {
        let columns = gallery.columns.clamp(1, 2);
        let gutters = GUTTER * (columns - 1) as f32;
        let width = (self.frame.width() - gutters) / columns as f32;
        // Two rows a page: each may be half a page, and none is less than a third.
        let tallest = self.frame.height() / 2.0 - CAPTION;
        let least = self.frame.height() / 3.0 + 1.0;
        for prints in gallery.prints.chunks(columns) {
            let mut cells = Vec::new();
            for (n, print) in prints.iter().enumerate() {
                let x = (width + GUTTER) * n as f32;
                cells.push((x, self.print(print, width, tallest)));
            }
            let row = SetRow::of(cells, least);
            let whole = row.height.min(self.frame.height());
            self.room(whole);
            self.above(4.0);
            self.row(row, &[], false);
        }
    }

    /// A picture with its caption.
    pub(super) fn print(&mut self, print: &Print, width: f32, tallest: f32) -> Vec<Chunk> {
        let mut chunks = Vec::new();
        match &print.picture {
            Some(picture) => {
                let (w, h) = picture.fitted(width, tallest);
                let figure = self.tags.group(Kind::Figure(alt_text(&print.alt)), None);
                chunks.push(Chunk {
                    height: h,
                    above: 0.0,
                    ops: vec![Op::Image {
                        image: picture.image.clone(),
                        x: 0.0,
                        y: 0.0,
                        width: w,
                        height: h,
                    }],
                    mark: Mark::Figure(figure),
                });
            }
            None => {
                let style = Style::SMALL;
                let inner = width - 20.0;
                let spans = [Span::plain(print.missing.as_str())];
                let mut lines = self.setter.lines(&spans, &style, inner, Align::Start);
                lines.truncate(8);
                let height: f32 = lines.iter().map(|l| l.height).sum();
                chunks.push(Chunk {
                    height: 10.0,
                    above: 0.0,
                    ops: frame(width, height + 20.0),
                    mark: Mark::Artifact,
                });
                let group = self.tags.group(Kind::Paragraph, None);
                let lines = stack::chunks(lines, 0.0, group);
                chunks.extend(lines.into_iter().map(|c| c.indented(10.0)));
                chunks.push(Chunk {
                    height: 10.0,
                    above: 0.0,
                    ops: Vec::new(),
                    mark: Mark::Artifact,
                });
            }
        }
        for (n, (style, spans)) in print.caption.iter().enumerate() {
            let lines = self.setter.lines(spans, style, width, Align::Start);
            if !lines.is_empty() {
                let group = self.tags.group(Kind::Paragraph, None);
                let above = if n == 0 { 4.0 } else { style.above };
                chunks.extend(stack::chunks(lines, above, group));
            }
        }
        chunks
    }
}

/// A figure without words for those who can't see it would break PDF/UA.
fn alt_text(alt: &str) -> String {
    match alt.trim() {
        "" => "A picture without a description".into(),
        text => text.to_owned(),
    }
}

/// A dashed frame.
fn frame(width: f32, height: f32) -> Vec<Op> {
    vec![Op::Path(Path {
        segments: vec![
            Segment::Move(0.5, 0.5),
            Segment::Line(width - 0.5, 0.5),
            Segment::Line(width - 0.5, height - 0.5),
            Segment::Line(0.5, height - 0.5),
            Segment::Close,
        ],
        fill: None,
        stroke: Some(ops::Stroke {
            color: GREY,
            width: 0.6,
            dashed: true,
        }),
    })]
}
