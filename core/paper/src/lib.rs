//! Flowing text, tables, drawings and pictures as a PDF that archives and screen readers accept:
//! PDF/A-2a and PDF/UA-1, tagged, its fonts embedded.
//!
//! A [`Paper`] collects blocks; [`Paper::finish`] lays them out on pages and writes them.
//! The same blocks give the same bytes.
//!
//! ```
//! use datumtrail_paper::{Paper, Settings, Style, Table, Column, Cell};
//!
//! let mut paper = Paper::new(Settings::titled("A short paper"));
//! paper.heading(1, "A short paper");
//! paper.text(Style::BODY, "Two numbers:");
//! let columns = vec![Column::text(1.0), Column::decimal(60.0)];
//! let mut table = Table::new("Two numbers", columns);
//! table.head(vec![Cell::text("What"), Cell::text("mm")]);
//! table.row(vec![Cell::text("first").heads_row(), Cell::text("12.5")]);
//! table.row(vec![Cell::text("second").heads_row(), Cell::text("3.25")]);
//! paper.table(table);
//! let pdf = paper.finish()?;
//! assert!(pdf.bytes.starts_with(b"%PDF-1.7"));
//! assert_eq!(pdf.pages, 1);
//! # Ok::<(), datumtrail_paper::Error>(())
//! ```
//!
//! Lengths are points (1/72 inch), from the top left corner, down.
//!
//! | module | what it is |
//! |---|---|
//! | [`size`] | paper sizes, margins |
//! | [`fonts`] | the embedded fonts, and which letters they have |
//! | [`text`] | spans, styles, lines |
//! | [`drawing`] | simple vector drawings with text |
//! | [`picture`] | JPEGs, taken as they are |
//! | [`table`] | tables that break across pages with their heads repeated |
//! | [`block`] | what a paper is made of |
//! | `flow` | puts blocks on pages |
//! | `tags` | the tree of what is a heading, a table, a figure |
//! | `write` | pages and tree as PDF |

pub mod block;
pub mod drawing;
mod flow;
pub mod fonts;
mod ops;
pub mod picture;
pub mod size;
mod stack;
pub mod table;
mod tags;
#[cfg(test)]
mod tests;
pub mod text;
mod write;

pub use block::{Gallery, Paper, Print, Settings};
pub use drawing::{Anchor, Drawing, Pen};
pub use picture::Picture;
pub use size::Size;
pub use table::{Cell, Column, Group, Table};
pub use text::{Align, Color, Span, Style};
pub use write::Moment;

/// A finished paper.
#[derive(Clone, Debug)]
pub struct Pdf {
    pub bytes: Vec<u8>,
    pub pages: usize,
    /// Letters that the fonts don't have, and that are shown by their numbers (`[U+4E2D]`).
    pub unknown_letters: usize,
}

/// Why a paper could not be written.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// The picture is not a JPEG that can be taken as it is.
    #[error("the picture can't be put on paper: {0}")]
    Picture(String),
    /// What was laid out breaks a rule of PDF/A or PDF/UA: a mistake of ours.
    #[error("the PDF could not be written: {0}")]
    Pdf(String),
}
