//! What stands one below the other in a column, and may be parted between pages.

use crate::ops::Op;
use crate::tags::GroupId;
use crate::text::Line;

/// What can't be parted: a line, a picture. Its left edge and its top are at 0.
#[derive(Clone, Debug)]
pub(crate) struct Chunk {
    pub height: f32,
    /// Space above it; none at the top of a page.
    pub above: f32,
    pub ops: Vec<Op>,
    pub mark: Mark,
}

/// What a chunk is to a screen reader.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Mark {
    /// Letters of a group.
    Text(GroupId),
    /// A picture or drawing, the only content of its group.
    Figure(GroupId),
    /// Nothing: a rule, a repeated table head.
    Artifact,
}

impl Chunk {
    pub fn line(line: Line, above: f32, group: GroupId) -> Self {
        Self {
            height: line.height,
            above,
            ops: line.ops,
            mark: Mark::Text(group),
        }
    }

    pub fn indented(mut self, by: f32) -> Self {
        for op in &mut self.ops {
            op.transform(1.0, by, 0.0);
        }
        self
    }
}

/// Lines as chunks of one group, space above the first.
pub(crate) fn chunks(lines: Vec<Line>, above: f32, group: GroupId) -> Vec<Chunk> {
    let lines = lines.into_iter().enumerate();
    lines
        .map(|(n, line)| Chunk::line(line, if n == 0 { above } else { 0.0 }, group))
        .collect()
}

/// The height of all of them, the first's space above left out.
pub(crate) fn height(chunks: &[Chunk]) -> f32 {
    let all: f32 = chunks.iter().map(|c| c.above + c.height).sum();
    all - chunks.first().map_or(0.0, |c| c.above)
}

/// How many of them fit, from the first, into so much room.
pub(crate) fn fitting(chunks: &[Chunk], room: f32) -> usize {
    let mut used = 0.0;
    for (n, chunk) in chunks.iter().enumerate() {
        let above = if n == 0 { 0.0 } else { chunk.above };
        used += above + chunk.height;
        // Sums of the same heights in another order may differ in their last digits.
        if used > room + 0.01 {
            return n;
        }
    }
    chunks.len()
}
