//! Puts blocks on pages.

use crate::block::{Block, Gallery, Panel, Paper, Print};
use crate::drawing::Drawing;
use crate::ops::{self, Op, Path, Segment};
use crate::size::Frame;
use crate::stack::{self, Chunk, Mark};
use crate::table::{self, Measure, SetRow, Table};
use crate::tags::{GroupId, Kind, LeafId, LinkId, Tags};
use crate::text::{Align, Color, GREY, INK, LINE, Setter, Span, Style};

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

/// A page number that is known only at the end.
struct Late {
    page: usize,
    piece: usize,
    heading: usize,
    right: f32,
    baseline: f32,
    style: Style,
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
/// The text of a panel, from its bar; with a shape.
const PANEL: f32 = 12.0;
const PANEL_SHAPE: f32 = 8.0;
/// Between pictures.
const GUTTER: f32 = 16.0;
/// Room for a caption below a picture that is as tall as it may be.
const CAPTION: f32 = 92.0;
/// Above a drawing; and how much smaller it may be made to stay on a page.
const FIGURE_ABOVE: f32 = 8.0;
const SMALLEST_FIGURE: f32 = 0.85;
/// The contents' lines, and the room for a number at their end.
const CONTENTS: Style = Style::BODY;
const CONTENTS_NUMBER: f32 = 30.0;

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

    fn heading(&mut self, level: u8, text: &str) {
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
    fn hold(&mut self, held: Held) {
        // Headings that fill half a page by themselves don't wait for anything.
        let waiting = self.held.iter().chain([&held]).flat_map(|h| &h.chunks);
        let tall = waiting.map(|c| c.above + c.height).sum::<f32>() > self.frame.height() / 2.0;
        self.held.push(held);
        if tall {
            self.room(0.0);
        }
    }

    fn text(&mut self, style: &Style, spans: &[Span]) {
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
    fn paragraph(&mut self, chunks: Vec<Chunk>, x: f32) {
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

    fn list(&mut self, style: &Style, items: &[Vec<Span>]) {
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

    fn panel(&mut self, panel: &Panel) {
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

    fn figure(&mut self, drawing: &Drawing, alt: &str, keep: bool) {
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

    fn table(&mut self, table: &Table) {
        let (left, width, full) = (self.frame.left, self.frame.width(), self.frame.height());
        let tag = self.tags.group(Kind::Table(table.summary.clone()), None);
        let mut measure = Measure::new(&mut self.setter, &mut self.tags, table, width);
        let heads = measure.heads(tag);
        let mut head_height: f32 = heads.iter().map(|r| r.height).sum();
        // A head that fills the page would leave no room for rows: it then stands once.
        let repeat = head_height < full / 3.0;
        let body = measure.tags.group(Kind::TableBody, Some(tag));
        let most = full - if repeat { head_height } else { 0.0 };
        let groups: Vec<_> = table
            .groups
            .iter()
            .map(|g| measure.group(g, body, most))
            .collect();
        let first: f32 = groups.iter().take(2).map(|g| g.height).sum();
        let first = first.min(most / 2.0);
        if repeat {
            self.room(table.above + head_height + first);
        } else {
            self.room(0.0);
        }
        self.above(table.above);
        self.heads(heads.clone(), true, width);
        if !repeat {
            head_height = 0.0;
        }
        let heights: Vec<f32> = groups.iter().map(|g| g.height).collect();
        for (n, group) in groups.into_iter().enumerate() {
            // What must not be the last on a page needs room for what comes next, too.
            let next = heights.get(n + 1).filter(|_| group.keep);
            let wanted = group.height + next.copied().unwrap_or(0.0).min(most / 2.0);
            let fits = wanted <= self.left() + 0.01;
            let started = self.y > self.frame.top + head_height;
            if !fits && started && (wanted <= most || self.left() < 60.0) {
                self.next(&heads, repeat, width);
            }
            for row in group.rows {
                self.row(row, &heads, repeat);
            }
            self.artifact(Op::rule(left, self.y, width, 0.4, LINE));
        }
    }

    /// A new page, with the table's head on it again.
    fn next(&mut self, heads: &[SetRow], repeat: bool, width: f32) {
        self.new_page();
        if repeat {
            self.heads(heads.to_vec(), false, width);
        }
    }

    /// The head, the first time for readers, and else as decoration.
    fn heads(&mut self, heads: Vec<SetRow>, tagged: bool, width: f32) {
        if heads.is_empty() {
            return;
        }
        let left = self.frame.left;
        for mut row in heads {
            if !tagged {
                let chunks = row.cells.iter_mut().flat_map(|(_, chunks)| chunks);
                chunks.for_each(|chunk| chunk.mark = Mark::Artifact);
            }
            self.row(row, &[], false);
        }
        self.artifact(Op::rule(left, self.y, width, 0.8, INK));
    }

    /// A row of cells; parted where it is taller than the room that a whole page has.
    fn row(&mut self, row: SetRow, heads: &[SetRow], repeat: bool) {
        let width = self.frame.width();
        let SetRow {
            mut cells,
            height,
            fill,
        } = row;
        if height <= self.left() + 0.01 {
            self.cells(cells, height, fill);
            return;
        }
        let head_height: f32 = match repeat {
            true => heads.iter().map(|r| r.height).sum(),
            false => 0.0,
        };
        let fresh = self.frame.top + head_height + 0.01;
        if self.y > fresh && height <= self.frame.bottom - fresh {
            self.next(heads, repeat, width);
            self.cells(cells, height, fill);
            return;
        }
        loop {
            let room = self.left() - 2.0 * table::PAD_Y;
            let fits = |chunks: &[Chunk]| stack::fitting(chunks, room);
            if self.y > fresh && cells.iter().all(|(_, chunks)| fits(chunks) == 0) {
                self.next(heads, repeat, width);
                continue;
            }
            let mut later = Vec::new();
            let mut now = Vec::new();
            for (x, mut chunks) in cells {
                // On a fresh page something has to go down, or it would never end.
                let least = if self.y <= fresh { 1 } else { 0 };
                let fit = fits(&chunks).max(least).min(chunks.len());
                let rest = chunks.split_off(fit);
                later.push((x, rest));
                now.push((x, chunks));
            }
            let used = now
                .iter()
                .map(|(_, c)| stack::height(c))
                .fold(0.0, f32::max);
            self.cells(now, used + 2.0 * table::PAD_Y, fill);
            if later.iter().all(|(_, chunks)| chunks.is_empty()) {
                return;
            }
            self.next(heads, repeat, width);
            cells = later;
        }
    }

    fn cells(&mut self, cells: Vec<(f32, Vec<Chunk>)>, height: f32, fill: Option<Color>) {
        if let Some(fill) = fill {
            let (left, width) = (self.frame.left, self.frame.width());
            self.artifact(Op::rectangle(left, self.y, width, height, fill));
        }
        for (x, chunks) in cells {
            let mut y = self.y + table::PAD_Y;
            for (n, chunk) in chunks.into_iter().enumerate() {
                if n > 0 {
                    y += chunk.above;
                }
                let down = chunk.height;
                self.put(chunk, self.frame.left + x, y);
                y += down;
            }
        }
        self.y += height;
    }

    fn gallery(&mut self, gallery: &Gallery) {
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
    fn print(&mut self, print: &Print, width: f32, tallest: f32) -> Vec<Chunk> {
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

    fn contents(&mut self, title: &str, deepest: u8, all: &[Block]) {
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
    fn entry(&mut self, toc: GroupId, heading: usize, level: u8, text: &str, edges: [f32; 2]) {
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
    fn numbers(&mut self) {
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
