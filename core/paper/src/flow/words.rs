//! Headings, paragraphs, lists and panels.

use super::{Flow, Held, INDENT, Piece, Role};
use crate::block::Panel;
use crate::ops::Op;
use crate::stack::{self, Chunk};
use crate::tags::Kind;
use crate::text::{Align, Span, Style};

/// The text of a panel, from its bar; with a shape.
const PANEL: f32 = 12.0;
const PANEL_SHAPE: f32 = 8.0;

impl Flow {
    pub(super) fn heading(&mut self, level: u8, text: &str) {
        let style = Style::heading(level);
        let width = self.frame.width();
        let lines = self
            .setter
            .lines(&[text.into()], &style, width, Align::Start);
        let mut ignored = 0;
        let title = self
            .setter
            .fonts
            .clean(text, &mut ignored)
            .replace('\n', " ");
        let kind = Kind::Heading(level, title.clone());
        if lines.is_empty() {
            return;
        }
        let group = self.tags.group(kind, None);
        let chunks = stack::chunks(lines, style.above, group);
        self.hold(Held {
            chunks,
            heading: Some((level, title)),
        });
    }

    /// Keeps something for what stands below it.
    pub(super) fn hold(&mut self, held: Held) {
        // Headings that fill half a page by themselves don't wait for anything.
        let waiting = self.held.iter().chain([&held]).flat_map(|h| &h.chunks);
        let tall = waiting.map(|c| c.above + c.height).sum::<f32>() > self.frame.height() / 2.0;
        self.held.push(held);
        if tall {
            self.room(0.0);
        }
    }

    pub(super) fn text(&mut self, style: &Style, spans: &[Span]) {
        let width = self.frame.width();
        let lines = self.setter.lines(spans, style, width, Align::Start);
        if lines.is_empty() {
            return;
        }
        let group = self.tags.group(Kind::Paragraph, None);
        let chunks = stack::chunks(lines, style.above, group);
        if style.keep {
            self.hold(Held {
                chunks,
                heading: None,
            });
        } else {
            self.paragraph(chunks, self.frame.left);
        }
    }

    /// Lines that may be parted, two on each page at least.
    pub(super) fn paragraph(&mut self, chunks: Vec<Chunk>, x: f32) {
        let together = if chunks.len() <= 3 { chunks.len() } else { 2 };
        let first: f32 = chunks[..together].iter().map(|c| c.above + c.height).sum();
        self.room(first);
        self.above(chunks.first().map_or(0.0, |c| c.above));
        let mut rest = chunks;
        loop {
            let mut fit = stack::fitting(&rest, self.left());
            let over = rest.len() - fit;
            if over == 1 && fit >= 2 {
                // The last line would stand alone on the next page.
                fit -= 1;
            }
            if over > 0 && fit == 1 && !self.at_top() {
                fit = 0;
            }
            if fit == 0 && self.at_top() {
                fit = 1;
            }
            let later = rest.split_off(fit);
            for (n, chunk) in rest.into_iter().enumerate() {
                if n > 0 {
                    self.y += chunk.above;
                }
                self.put_down(chunk, x);
            }
            if later.is_empty() {
                return;
            }
            self.new_page();
            rest = later;
        }
    }

    pub(super) fn list(&mut self, style: &Style, items: &[Vec<Span>]) {
        let list = self.tags.group(Kind::List, None);
        for (n, item) in items.iter().enumerate() {
            let width = self.frame.width() - INDENT;
            let lines = self.setter.lines(item, style, width, Align::Start);
            if lines.is_empty() {
                continue;
            }
            let li = self.tags.group(Kind::Item, Some(list));
            let body = self.tags.group(Kind::ItemBody, Some(li));
            let above = if n == 0 {
                style.above
            } else {
                style.above * 0.5
            };
            let mut chunks: Vec<Chunk> = stack::chunks(lines, above, body)
                .into_iter()
                .map(|chunk| chunk.indented(INDENT))
                .collect();
            let dot = style.size * 0.24;
            let middle = style.size * (style.leading * 0.5 + 0.04);
            if let Some(first) = chunks.first_mut() {
                let op = Op::rectangle(2.0, middle - dot / 2.0, dot, dot, style.color);
                first.ops.insert(0, op);
            }
            self.paragraph(chunks, self.frame.left);
        }
    }

    pub(super) fn panel(&mut self, panel: &Panel) {
        let shape = panel.shape.as_ref();
        let indent = PANEL + shape.map_or(0.0, |s| s.width + PANEL_SHAPE);
        let width = self.frame.width() - indent;
        let mut first = true;
        // Page, top and bottom of what stands of it there.
        let mut parts: Vec<(usize, f32, f32)> = Vec::new();
        for (style, spans) in &panel.texts {
            let lines = self.setter.lines(spans, style, width, Align::Start);
            if lines.is_empty() {
                continue;
            }
            let group = self.tags.group(Kind::Paragraph, None);
            let above = if first {
                style.above.max(10.0)
            } else {
                style.above
            };
            let mut chunks: Vec<Chunk> = stack::chunks(lines, above, group)
                .into_iter()
                .map(|chunk| chunk.indented(indent))
                .collect();
            if first && let Some(shape) = shape {
                let ops = shape.ops(&mut self.setter);
                let down = (chunks[0].height - shape.height) / 2.0;
                let drawn = ops.into_iter().map(|op| op.moved(PANEL, down));
                chunks[0].ops.splice(0..0, drawn);
            }
            first = false;
            for chunk in chunks {
                self.room(chunk.above + chunk.height);
                self.above(chunk.above);
                let (page, top) = (self.pages.len() - 1, self.y);
                self.put_down(chunk, self.frame.left);
                match parts.last_mut().filter(|(on, ..)| *on == page) {
                    Some((_, _, bottom)) => *bottom = self.y,
                    None => parts.push((page, top, self.y)),
                }
            }
        }
        for (page, top, bottom) in parts {
            let op = Op::rectangle(self.frame.left, top, 2.5, bottom - top, panel.bar);
            let (role, ops) = (Role::Artifact, vec![op]);
            self.pages[page].pieces.push(Piece { role, ops });
        }
    }
}
