//! Puts blocks on pages.

mod contents;
mod pictures;
mod rows;
mod words;

use self::contents::Late;
use crate::block::{Block, Paper};
use crate::ops::{self, Op};
use crate::size::Frame;
use crate::stack::{Chunk, Mark};
use crate::tags::{LeafId, LinkId, Tags};
use crate::text::{Align, LINE, Setter, Style};

/// A paper on its pages.
pub(crate) struct Laid {
    pub frame: Frame,
    pub pages: Vec<Page>,
    pub tags: Tags,
    pub headings: Vec<Bookmark>,
    pub setter: Setter,
}

/// One page.
#[derive(Default)]
pub(crate) struct Page {
    pub pieces: Vec<Piece>,
    pub links: Vec<Link>,
}

/// Something on a page that is one thing to a screen reader, or nothing.
pub(crate) struct Piece {
    pub role: Role,
    pub ops: Vec<Op>,
}

#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Role {
    Text(LeafId),
    Figure(LeafId),
    Head,
    Foot,
    Artifact,
}

/// A heading and where it came to stand.
pub(crate) struct Bookmark {
    pub level: u8,
    pub title: String,
    pub page: usize,
    pub y: f32,
}

/// A place that leads to a heading.
pub(crate) struct Link {
    pub id: LinkId,
    pub edges: [f32; 4],
    pub heading: usize,
    pub alt: String,
}

pub(crate) struct Flow {
    setter: Setter,
    tags: Tags,
    frame: Frame,
    pages: Vec<Page>,
    y: f32,
    /// Headings that wait for what they stand above.
    held: Vec<Held>,
    headings: Vec<Bookmark>,
    late: Vec<Late>,
}

struct Held {
    chunks: Vec<Chunk>,
    /// Level and title of a heading.
    heading: Option<(u8, String)>,
}

/// The text of a list, from the left.
const INDENT: f32 = 11.0;
/// Between pictures.
const GUTTER: f32 = 16.0;

impl Flow {
    pub fn lay(paper: &Paper) -> Laid {
        let frame = paper.settings.size.frame();
        let mut flow = Self {
            setter: Setter::new(),
            tags: Tags::default(),
            frame,
            pages: vec![Page::default()],
            y: frame.top,
            held: Vec::new(),
            headings: Vec::new(),
            late: Vec::new(),
        };
        for block in &paper.blocks {
            flow.block(block, &paper.blocks);
        }
        flow.room(0.0);
        flow.numbers();
        flow.running(&paper.settings.head, &paper.settings.foot);
        Laid {
            frame,
            pages: flow.pages,
            tags: flow.tags,
            headings: flow.headings,
            setter: flow.setter,
        }
    }

    fn block(&mut self, block: &Block, all: &[Block]) {
        match block {
            Block::Heading(level, text) => self.heading(*level, text),
            Block::Text(style, spans) => self.text(style, spans),
            Block::List(style, items) => self.list(style, items),
            Block::Panel(panel) => self.panel(panel),
            Block::Table(table) => self.table(table),
            Block::Figure { drawing, alt, keep } => self.figure(drawing, alt, *keep),
            Block::Gallery(gallery) => self.gallery(gallery),
            Block::Contents(title, deepest) => self.contents(title, *deepest, all),
            Block::NewPage => {
                self.room(0.0);
                if !self.at_top() {
                    self.new_page();
                }
            }
            Block::Space(points) => {
                if !self.at_top() {
                    self.y = (self.y + points).min(self.frame.bottom);
                }
            }
        }
    }

    fn at_top(&self) -> bool {
        self.y <= self.frame.top
    }

    fn left(&self) -> f32 {
        self.frame.bottom - self.y
    }

    fn new_page(&mut self) {
        self.pages.push(Page::default());
        self.y = self.frame.top;
    }

    /// Makes room for what can't be parted and stands next, and puts the headings that waited for
    /// it.
    fn room(&mut self, height: f32) {
        let held = std::mem::take(&mut self.held);
        let chunks = held.iter().flat_map(|h| &h.chunks);
        let waiting: f32 = chunks.map(|c| c.above + c.height).sum();
        if !self.at_top() && waiting + height > self.left() + 0.01 {
            self.new_page();
        }
        for one in held {
            let mut heading = one.heading;
            for chunk in one.chunks {
                // Only a heading longer than a page comes to its end here.
                if chunk.height > self.left() {
                    self.new_page();
                }
                self.above(chunk.above);
                if let Some((level, title)) = heading.take() {
                    self.headings.push(Bookmark {
                        level,
                        title,
                        page: self.pages.len() - 1,
                        y: self.y,
                    });
                }
                self.put_down(chunk, self.frame.left);
            }
        }
    }

    /// Space above; none at the top of a page.
    fn above(&mut self, points: f32) {
        if !self.at_top() {
            self.y += points;
        }
    }

    /// Puts a chunk where we are, and goes on below it.
    fn put_down(&mut self, chunk: Chunk, x: f32) {
        let height = chunk.height;
        self.put(chunk, x, self.y);
        self.y += height;
    }

    fn put(&mut self, chunk: Chunk, x: f32, y: f32) -> usize {
        let ops: Vec<Op> = chunk.ops.into_iter().map(|op| op.moved(x, y)).collect();
        let page = self.pages.len() - 1;
        let role = match chunk.mark {
            Mark::Text(group) => Role::Text(self.tags.leaf(group)),
            Mark::Figure(group) => {
                if let Some(edges) = ops::bounds(&ops) {
                    self.tags.place(group, page, edges);
                }
                Role::Figure(self.tags.leaf(group))
            }
            Mark::Artifact => Role::Artifact,
        };
        let pieces = &mut self.pages[page].pieces;
        pieces.push(Piece { role, ops });
        pieces.len() - 1
    }

    fn artifact(&mut self, op: Op) {
        let page = self.pages.len() - 1;
        self.pages[page].pieces.push(Piece {
            role: Role::Artifact,
            ops: vec![op],
        });
    }

    /// What stands above and below each page.
    fn running(&mut self, head: &[String; 2], foot: &str) {
        let Frame {
            page,
            left,
            right,
            top,
            bottom,
        } = self.frame;
        let style = Style::SMALL.sized(7.5);
        let count = self.pages.len();
        let room = right - left;
        // The reference on the right is whole; the title on the left is cut where it must be.
        let wanted = self
            .setter
            .one_line(&head[1], &style, f32::MAX, Align::Start);
        let reference = wanted.map_or(0.0, |line| line.width + 1.0).min(room * 0.6);
        for n in 0..count {
            let number = format!("page {} of {count}", n + 1);
            let head_y = top - 24.0;
            let foot_y = bottom + 14.0;
            let all = [
                (
                    Role::Head,
                    head[0].as_str(),
                    head_y,
                    Align::Start,
                    room - reference - 14.0,
                ),
                (Role::Head, head[1].as_str(), head_y, Align::End, reference),
                (Role::Foot, foot, foot_y, Align::Start, room * 0.7),
                (Role::Foot, number.as_str(), foot_y, Align::End, room * 0.25),
            ];
            for (role, text, y, align, room) in all {
                let Some(line) = self.setter.one_line(text, &style, room, align) else {
                    continue;
                };
                let x = if align == Align::End {
                    right - room
                } else {
                    left
                };
                let ops = line.ops.into_iter().map(|op| op.moved(x, y)).collect();
                self.pages[n].pieces.push(Piece { role, ops });
            }
            let thin = Op::rule(left, top - 10.0, right - left, 0.4, LINE);
            self.pages[n].pieces.push(Piece {
                role: Role::Artifact,
                ops: vec![thin],
            });
        }
        debug_assert!(bottom < page.1);
    }
}
