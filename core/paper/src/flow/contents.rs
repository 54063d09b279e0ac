//! The contents, and the page numbers that are known only at the end.

use super::{Flow, GUTTER, INDENT, Link};
use crate::block::Block;
use crate::ops::Op;
use crate::stack::Chunk;
use crate::tags::{GroupId, Kind};
use crate::text::{Align, Style};

/// The contents' lines, and the room for a number at their end.
const CONTENTS: Style = Style::BODY;
const CONTENTS_NUMBER: f32 = 30.0;

/// A page number that is known only at the end.
pub(super) struct Late {
    page: usize,
    piece: usize,
    heading: usize,
    right: f32,
    baseline: f32,
    style: Style,
}

impl Flow {
    pub(super) fn contents(&mut self, title: &str, deepest: u8, all: &[Block]) {
        self.text(&Style::heading(3).keep(), &[title.into()]);
        let toc = self.tags.group(Kind::Contents, None);
        let headings = all.iter().filter_map(|block| match block {
            Block::Heading(level, text) => Some((*level, text)),
            _ => None,
        });
        let shown = headings.enumerate();
        let shown = shown.filter(|(_, (level, _))| *level > 1 && *level <= deepest);
        let shown: Vec<(usize, u8, String)> = shown
            .map(|(n, (level, text))| (n, level, text.clone()))
            .collect();
        let row = CONTENTS.size * CONTENTS.leading + 2.0;
        // Two columns where all of it fits on a page so, else one.
        let rows = shown.len().div_ceil(2);
        if row * rows as f32 > self.frame.height() / 2.0 {
            for (heading, level, text) in shown {
                self.room(row);
                let (left, right) = (self.frame.left, self.frame.right);
                self.entry(toc, heading, level, &text, [left, right]);
                self.y += row;
            }
            return;
        }
        self.room(row * rows as f32 + 3.0);
        self.above(3.0);
        let top = self.y;
        let width = (self.frame.width() - GUTTER * 1.5) / 2.0;
        for (n, (heading, level, text)) in shown.into_iter().enumerate() {
            let left = self.frame.left + (n / rows) as f32 * (width + GUTTER * 1.5);
            self.y = top + row * (n % rows) as f32;
            self.entry(toc, heading, level, &text, [left, left + width]);
        }
        self.y = top + row * rows as f32;
    }

    /// A line of the contents, where we are.
    pub(super) fn entry(
        &mut self,
        toc: GroupId,
        heading: usize,
        level: u8,
        text: &str,
        edges: [f32; 2],
    ) {
        let [left, right] = edges;
        let indent = f32::from(level - 2) * INDENT;
        let room = right - left - CONTENTS_NUMBER - indent;
        let Some(line) = self.setter.one_line(text, &CONTENTS, room, Align::Start) else {
            return;
        };
        let baseline = line.ops.iter().find_map(|op| match op {
            Op::Glyphs(run) => Some(run.y),
            _ => None,
        });
        let item = self.tags.group(Kind::ContentsItem, Some(toc));
        let group = self.tags.group(Kind::Link, Some(item));
        let chunk = Chunk::line(line, 0.0, group).indented(indent);
        let (y, height) = (self.y, chunk.height);
        let piece = self.put(chunk, left, y);
        let page = self.pages.len() - 1;
        self.late.push(Late {
            page,
            piece,
            heading,
            right,
            baseline: y + baseline.unwrap_or(height),
            style: CONTENTS,
        });
        let id = self.tags.link(group);
        self.pages[page].links.push(Link {
            id,
            edges: [left, y, right, y + height],
            heading,
            alt: format!("To the section {text}"),
        });
    }

    /// The page numbers of the contents, now that they are known.
    pub(super) fn numbers(&mut self) {
        for late in std::mem::take(&mut self.late) {
            let Some(bookmark) = self.headings.get(late.heading) else {
                continue;
            };
            // The space keeps the number from running into the title where text is read out.
            let text = (bookmark.page + 1).to_string();
            let line = self.setter.one_line(&text, &late.style, 40.0, Align::Start);
            let Some(line) = line else { continue };
            let x = late.right - line.width;
            let ops = line.ops.into_iter().map(|op| match op {
                Op::Glyphs(run) => {
                    let y = run.y;
                    Op::Glyphs(run).moved(x, late.baseline - y)
                }
                other => other,
            });
            self.pages[late.page].pieces[late.piece].ops.extend(ops);
        }
    }
}
