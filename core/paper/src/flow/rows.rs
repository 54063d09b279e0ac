//! Tables, and rows of any cells: parted between pages, the head repeated.

use super::Flow;
use crate::ops::Op;
use crate::stack::{self, Chunk, Mark};
use crate::table::{self, Measure, SetRow, Table};
use crate::tags::Kind;
use crate::text::{Color, INK, LINE};

impl Flow {
    pub(super) fn table(&mut self, table: &Table) {
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
    pub(super) fn next(&mut self, heads: &[SetRow], repeat: bool, width: f32) {
        self.new_page();
        if repeat {
            self.heads(heads.to_vec(), false, width);
        }
    }

    /// The head, the first time for readers, and else as decoration.
    pub(super) fn heads(&mut self, heads: Vec<SetRow>, tagged: bool, width: f32) {
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
    pub(super) fn row(&mut self, row: SetRow, heads: &[SetRow], repeat: bool) {
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

    pub(super) fn cells(
        &mut self,
        cells: Vec<(f32, Vec<Chunk>)>,
        height: f32,
        fill: Option<Color>,
    ) {
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
}
