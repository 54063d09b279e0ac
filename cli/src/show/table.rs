//! Columns that line up.

use super::WIDTH;

/// A table whose last column is cut to fit the width.
pub struct Table {
    rows: Vec<Vec<String>>,
}

impl Table {
    /// A table with these heads.
    pub fn new(heads: &[&str]) -> Self {
        Self {
            rows: vec![heads.iter().map(|h| (*h).to_owned()).collect()],
        }
    }

    /// Adds a row.
    pub fn row(&mut self, cells: Vec<String>) {
        self.rows.push(cells);
    }

    /// The lines.
    pub fn show(&self) -> String {
        let columns = self.rows.iter().map(Vec::len).max().unwrap_or(0);
        let widths: Vec<usize> = (0..columns)
            .map(|c| {
                let cells = self.rows.iter().filter_map(|r| r.get(c));
                cells.map(|cell| cell.chars().count()).max().unwrap_or(0)
            })
            .collect();
        let mut out = String::new();
        for (n, row) in self.rows.iter().enumerate() {
            let mut line = String::new();
            for (c, cell) in row.iter().enumerate() {
                if c > 0 {
                    line.push_str("  ");
                }
                line.push_str(cell);
                if c + 1 < row.len() {
                    let missing = widths[c] - cell.chars().count();
                    line.extend(std::iter::repeat_n(' ', missing));
                }
            }
            out.push_str(&cut(line.trim_end(), WIDTH));
            out.push('\n');
            if n == 0 {
                let all: usize = widths.iter().sum::<usize>() + 2 * columns.saturating_sub(1);
                out.push_str(&"─".repeat(all.min(WIDTH)));
                out.push('\n');
            }
        }
        out
    }
}

/// The text, or as much of it as fits with an ellipsis.
pub fn cut(text: &str, width: usize) -> String {
    if text.chars().count() <= width {
        return text.to_owned();
    }
    let mut short: String = text.chars().take(width.saturating_sub(1)).collect();
    short.truncate(short.trim_end().len());
    short.push('…');
    short
}
