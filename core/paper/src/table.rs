//! Tables: their columns, heads and rows, and the room that each takes.

use crate::drawing::Drawing;
use crate::fonts::Weight;
use crate::ops::Op;
use crate::stack::{self, Chunk};
use crate::tags::{GroupId, Kind, Tags};
use crate::text::{Align, Color, Line, Setter, Span, Spans, Style};

/// A column.
#[derive(Clone, Copy, Debug)]
pub struct Column {
    pub width: Width,
    pub align: Align,
}

/// How wide a column is.
#[derive(Clone, Copy, Debug)]
pub enum Width {
    Points(f32),
    /// A share of what the others leave.
    Share(f32),
}

impl Column {
    /// Text, in a share of what the others leave.
    pub const fn text(share: f32) -> Self {
        Self {
            width: Width::Share(share),
            align: Align::Start,
        }
    }

    /// Text in so many points.
    pub const fn fixed(points: f32) -> Self {
        Self {
            width: Width::Points(points),
            align: Align::Start,
        }
    }

    /// Numbers in so many points, their decimal points one above the other.
    pub const fn decimal(points: f32) -> Self {
        Self {
            width: Width::Points(points),
            align: Align::Decimal,
        }
    }
}

/// A cell.
#[derive(Clone, Debug, Default)]
pub struct Cell {
    pub spans: Vec<Span>,
    /// A small drawing before the text. What it means has to stand in the text too.
    pub shape: Option<Drawing>,
    /// Columns that it spans, 0 and 1 meaning one.
    pub across: usize,
    /// Otherwise the column's own.
    pub align: Option<Align>,
    heads_row: bool,
}

impl Cell {
    pub fn text(text: impl Spans) -> Self {
        Self {
            spans: text.spans(),
            ..Self::default()
        }
    }

    pub fn shape(mut self, shape: Drawing) -> Self {
        self.shape = Some(shape);
        self
    }

    pub fn across(mut self, columns: usize) -> Self {
        self.across = columns;
        self
    }

    pub fn align(mut self, align: Align) -> Self {
        self.align = Some(align);
        self
    }

    /// It says what its row is about.
    pub fn heads_row(mut self) -> Self {
        self.heads_row = true;
        self
    }
}

/// Rows that stay together on a page where that is possible.
#[derive(Clone, Debug, Default)]
pub struct Group {
    /// The first column's cell, for all rows; the rows then begin with the second column.
    pub lead: Option<Cell>,
    pub rows: Vec<Vec<Cell>>,
    /// Never the last thing on a page: a title of what follows.
    pub keep: bool,
}

/// A table. Its head is repeated on every page.
#[derive(Clone, Debug)]
pub struct Table {
    /// What it shows, for those who can't see it.
    pub summary: String,
    pub columns: Vec<Column>,
    pub style: Style,
    /// Space above, points.
    pub above: f32,
    pub(crate) heads: Vec<Vec<Cell>>,
    pub(crate) groups: Vec<Group>,
}

impl Table {
    pub fn new(summary: &str, columns: Vec<Column>) -> Self {
        Self {
            summary: summary.to_owned(),
            columns,
            style: Style::TABLE,
            above: 8.0,
            heads: Vec::new(),
            groups: Vec::new(),
        }
    }

    /// A row of the head.
    pub fn head(&mut self, cells: Vec<Cell>) {
        self.heads.push(cells);
    }

    pub fn row(&mut self, cells: Vec<Cell>) {
        self.group(Group {
            rows: vec![cells],
            ..Group::default()
        });
    }

    /// A line across the table, above the rows that it is the title of.
    pub fn title(&mut self, text: &str) {
        let cell = Cell::text(Span::bold(text)).across(self.columns.len());
        self.group(Group {
            rows: vec![vec![cell.align(Align::Start)]],
            keep: true,
            ..Group::default()
        });
    }

    pub fn group(&mut self, group: Group) {
        if !group.rows.is_empty() {
            self.groups.push(group);
        }
    }

    pub fn is_empty(&self) -> bool {
        self.groups.is_empty()
    }
}

/// Space left and right of a cell's text, and above and below it.
pub(crate) const PAD_X: f32 = 3.5;
pub(crate) const PAD_Y: f32 = 2.2;
/// Space between a shape and its word.
const SHAPE_GAP: f32 = 3.0;
const HEAD_FILL: Color = [240, 240, 238];

/// A row whose cells are set.
#[derive(Clone, Debug)]
pub(crate) struct SetRow {
    /// Each cell's left edge, and what stands in it.
    pub cells: Vec<(f32, Vec<Chunk>)>,
    /// With the space above and below.
    pub height: f32,
    pub fill: Option<Color>,
}

impl SetRow {
    pub fn of(cells: Vec<(f32, Vec<Chunk>)>, least: f32) -> Self {
        let tallest = cells.iter().map(|(_, c)| stack::height(c));
        let height = tallest.fold(least, f32::max) + 2.0 * PAD_Y;
        Self {
            cells,
            height,
            fill: None,
        }
    }
}

/// A group whose cells are set.
pub(crate) struct SetGroup {
    pub rows: Vec<SetRow>,
    pub height: f32,
    pub keep: bool,
}

/// Sets a table's cells.
pub(crate) struct Measure<'a> {
    pub setter: &'a mut Setter,
    pub tags: &'a mut Tags,
    pub table: &'a Table,
    /// Each column's left edge; one more for the right edge.
    pub edges: Vec<f32>,
    /// The widest part from the decimal point on, for each column of numbers.
    fractions: Vec<f32>,
}

impl<'a> Measure<'a> {
    pub fn new(setter: &'a mut Setter, tags: &'a mut Tags, table: &'a Table, room: f32) -> Self {
        let edges = edges(&table.columns, room);
        let mut measure = Self {
            setter,
            tags,
            table,
            fractions: vec![0.0; table.columns.len()],
            edges,
        };
        for group in &table.groups {
            let first = usize::from(group.lead.is_some());
            for row in &group.rows {
                let mut column = first;
                for cell in row {
                    let decimal = measure.align(cell, column) == Align::Decimal;
                    if decimal && cell.across <= 1 && column < measure.fractions.len() {
                        let fraction = measure.fraction(cell);
                        let widest = &mut measure.fractions[column];
                        *widest = widest.max(fraction);
                    }
                    column += cell.across.max(1);
                }
            }
        }
        measure
    }

    fn align(&self, cell: &Cell, column: usize) -> Align {
        let own = self.table.columns.get(column).map(|c| c.align);
        cell.align.or(own).unwrap_or_default()
    }

    /// How wide a number is from its decimal point on.
    fn fraction(&mut self, cell: &Cell) -> f32 {
        let text: String = cell.spans.iter().map(|s| s.text.as_str()).collect();
        let Some(point) = text.find('.') else {
            return 0.0;
        };
        let style = self.table.style;
        let before = self.setter.unknown;
        let mut width = |text: &str| {
            let line = self.setter.one_line(text, &style, f32::MAX, Align::Start);
            line.map_or(0.0, |l| l.width)
        };
        let fraction = width(&text) - width(&text[..point]);
        self.setter.unknown = before;
        fraction
    }

    /// The head's rows, tagged.
    pub fn heads(&mut self, table: GroupId) -> Vec<SetRow> {
        if self.table.heads.is_empty() {
            return Vec::new();
        }
        let head = self.tags.group(Kind::TableHead, Some(table));
        let heads: Vec<Vec<Cell>> = self.table.heads.clone();
        let style = Style {
            weight: Weight::Bold,
            ..self.table.style
        };
        let mut set = Vec::new();
        for row in &heads {
            let tr = self.tags.group(Kind::Row, Some(head));
            let mut cells = Vec::new();
            let mut column = 0;
            for cell in row {
                let columns = cell.across.max(1);
                let th = self.tags.group(Kind::ColumnHead { columns }, Some(tr));
                // The head of a column of numbers stands over their right ends.
                let align = match self.align(cell, column) {
                    Align::Decimal => Align::End,
                    other => other,
                };
                cells.push(self.cell(cell, column, &style, align, th));
                column += columns;
            }
            let mut row = SetRow::of(cells, 0.0);
            row.fill = Some(HEAD_FILL);
            set.push(row);
        }
        set
    }

    /// A group's rows, tagged. A group that is taller than `most` loses its lead cell to its first
    /// row, so that it can be parted.
    pub fn group(&mut self, group: &Group, body: GroupId, most: f32) -> SetGroup {
        let style = self.table.style;
        let Some(lead) = &group.lead else {
            return SetGroup {
                keep: group.keep,
                ..self.rows(&group.rows, body)
            };
        };
        let first_tr = self.tags.group(Kind::Row, Some(body));
        let rows = group.rows.len();
        let kind = Kind::RowHead { rows };
        let th = self.tags.group(kind, Some(first_tr));
        let align = self.align(lead, 0);
        let lead_cell = self.cell(lead, 0, &style, align, th);
        let lead_height = stack::height(&lead_cell.1) + 2.0 * PAD_Y;
        let mut set = Vec::new();
        for (n, row) in group.rows.iter().enumerate() {
            let tr = match n {
                0 => first_tr,
                _ => self.tags.group(Kind::Row, Some(body)),
            };
            let cells = self.cells(row, 1, tr);
            set.push(SetRow::of(cells, style.size * style.leading));
        }
        let mut height: f32 = set.iter().map(|r| r.height).sum();
        if height.max(lead_height) <= most {
            if let Some(last) = set.last_mut() {
                last.height += (lead_height - height).max(0.0);
            }
            height = height.max(lead_height);
        } else if let Some(first) = set.first_mut() {
            first.height = first.height.max(lead_height);
            height = set.iter().map(|r| r.height).sum();
        }
        if let Some(first) = set.first_mut() {
            first.cells.insert(0, lead_cell);
        }
        SetGroup {
            rows: set,
            height,
            keep: false,
        }
    }

    fn rows(&mut self, rows: &[Vec<Cell>], body: GroupId) -> SetGroup {
        let least = self.table.style.size * self.table.style.leading;
        let mut set = Vec::new();
        for row in rows {
            let tr = self.tags.group(Kind::Row, Some(body));
            let cells = self.cells(row, 0, tr);
            set.push(SetRow::of(cells, least));
        }
        let height = set.iter().map(|r: &SetRow| r.height).sum();
        SetGroup {
            rows: set,
            height,
            keep: false,
        }
    }

    fn cells(&mut self, row: &[Cell], first: usize, tr: GroupId) -> Vec<(f32, Vec<Chunk>)> {
        let style = self.table.style;
        let mut cells = Vec::new();
        let mut column = first;
        for cell in row {
            let columns = cell.across.max(1);
            let kind = match cell.heads_row {
                true => Kind::RowHead { rows: 1 },
                false => Kind::Cell { columns },
            };
            let td = self.tags.group(kind, Some(tr));
            let align = self.align(cell, column);
            cells.push(self.cell(cell, column, &style, align, td));
            column += columns;
        }
        cells
    }

    fn cell(
        &mut self,
        cell: &Cell,
        column: usize,
        style: &Style,
        align: Align,
        group: GroupId,
    ) -> (f32, Vec<Chunk>) {
        let last = self.edges.len() - 1;
        let left = self.edges[column.min(last)] + PAD_X;
        let right = self.edges[(column + cell.across.max(1)).min(last)] - PAD_X;
        let shape_room = cell.shape.as_ref().map_or(0.0, |s| s.width + SHAPE_GAP);
        let room = (right - left - shape_room).max(style.size);
        let mut lines = self.setter.lines(&cell.spans, style, room, align);
        if align == Align::Decimal {
            let short = self.fractions.get(column).copied().unwrap_or(0.0) - self.fraction(cell);
            if let [only] = lines.as_mut_slice() {
                let by = -short.clamp(0.0, (room - only.width).max(0.0));
                for op in &mut only.ops {
                    op.transform(1.0, by, 0.0);
                }
            }
        }
        if let Some(shape) = &cell.shape {
            self.put_shape(shape, &mut lines, style);
        }
        (left, stack::chunks(lines, 0.0, group))
    }

    /// A shape before the first line, in the middle of its small letters; the text makes room.
    fn put_shape(&mut self, shape: &Drawing, lines: &mut Vec<Line>, style: &Style) {
        let ops = shape.ops(self.setter);
        if lines.is_empty() {
            lines.push(Line {
                height: style.size * style.leading,
                width: 0.0,
                ops: Vec::new(),
            });
        }
        for line in lines.iter_mut() {
            for op in &mut line.ops {
                op.transform(1.0, shape.width + SHAPE_GAP, 0.0);
            }
        }
        let baseline = lines[0].ops.iter().find_map(|op| match op {
            Op::Glyphs(run) => Some(run.y),
            _ => None,
        });
        let baseline = baseline.unwrap_or(style.size * style.leading * 0.72);
        // Half the height of a small letter.
        let middle = baseline - 0.26 * style.size;
        let top = middle - shape.height / 2.0;
        let first = &mut lines[0];
        first
            .ops
            .extend(ops.into_iter().map(|op| op.moved(0.0, top)));
    }
}

/// Where each column begins, and where the last ends. Together they are as wide as the room.
fn edges(columns: &[Column], room: f32) -> Vec<f32> {
    let points = |c: &Column| match c.width {
        Width::Points(points) => points.max(0.0),
        Width::Share(_) => 0.0,
    };
    let share = |c: &Column| match c.width {
        Width::Points(_) => 0.0,
        Width::Share(share) => share.max(0.0),
    };
    let fixed: f32 = columns.iter().map(points).sum();
    let shares: f32 = columns.iter().map(share).sum();
    // No share gets less than a tenth of the room.
    let least = if shares > 0.0 { room / 10.0 } else { 0.0 };
    let left = (room - fixed).max(least);
    let scale = room / (fixed + if shares > 0.0 { left } else { 0.0 }).max(1.0);
    // Fixed columns are made narrower where they don't fit, never wider.
    let scale = scale.min(1.0);
    let mut edges = vec![0.0];
    let mut at = 0.0;
    for column in columns {
        let of_share = if shares > 0.0 {
            left * share(column) / shares
        } else {
            0.0
        };
        at += (points(column) + of_share) * scale;
        edges.push(at);
    }
    edges
}
