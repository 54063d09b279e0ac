//! Dimension sheets and files of readings: from what people have to what can be computed with.
//!
//! A *sheet* is what a maker publishes for one vehicle: control points and distances, each with a
//! limit where the maker gives one. A *reading* is one observed position of one control point. Both
//! come as tables from spreadsheets and instruments, in whatever units, directions, separators and
//! decimal signs these use, and leave this crate in millimetres, the sheet in the vehicle's frame.
//!
//! | module | what it is |
//! |---|---|
//! | [`load`] | a file of control points or distances to a [`Sheet`] |
//! | [`readings`] | a file of readings |
//! | [`render`] | a sheet back to a table, for an archive |
//! | [`warning`] | what is odd in a sheet that could be read |
//! | [`problem`] | what is wrong in a file that was refused, by line and column |
//!
//! # How a table may be written
//! - UTF-8 with or without a byte order mark; any line end; blank lines; quoted fields; spaces
//!   around fields.
//! - Columns in any order; their names in any case, with spaces, hyphens or underscores. A column
//!   that is not known is left out with a warning, so that a misspelt one doesn't vanish in silence.
//! - Fields separated by commas, semicolons or tabs. Between commas the decimal sign is the point;
//!   otherwise it is the comma where any number of the file has one. A file that mixes them is
//!   refused. Thousands marks are not read: with semicolons `1,966` is a little under two.
//!
//! # A sheet, read and refused
//! ```
//! use datumtrail_sheet::{LoadOptions, Units, load};
//!
//! let options = LoadOptions {
//!     source: "invented for this page".to_owned(),
//!     units: Units::Mm,
//!     limit_mm: Some(3.0),
//!     limit_source: Some("the shop's own".to_owned()),
//!     ..LoadOptions::default()
//! };
//! let file = b"point,side,what,x,y,z\nA,left,rail end,203,-402.5,71\nA',right,rail end,203,402.5,71\n";
//! let loaded = load::load(file, &options)?;
//! let sheet = &loaded.value;
//! assert_eq!(sheet.partner("A").map(|point| point.name.as_str()), Some("A'"));
//! assert!(loaded.warnings.is_empty());
//!
//! // A file that is wrong in two places loads nothing, and says both.
//! let file = b"point,side,what,x,y,z\nA,left,rail end,2o3,-402.5,71\nA',rihgt,rail end,203,402.5,71\n";
//! let refused = load::load(file, &options).unwrap_err();
//! let lines: Vec<String> = refused.problems().iter().map(|p| p.to_string()).collect();
//! assert_eq!(lines, [
//!     "line 2, column 4 (x): \"2o3\" is not a number; write digits with a sign before them, like -402.5, and no unit",
//!     "line 3, column 2 (side): \"rihgt\" is no side; write left, right or centre",
//! ]);
//! # Ok::<(), datumtrail_sheet::SheetError>(())
//! ```

mod axes;
mod decimal;
mod distance;
mod error;
mod header;
mod limit;
mod names;
mod point;
mod records;
mod sheet;
mod table;
mod text;
mod units;

pub mod load;
pub mod problem;
pub mod readings;
pub mod render;
pub mod trams;
pub mod warning;

pub use axes::Axes;
pub use decimal::{Decimal, NumberFault};
pub use distance::{Distance, DistanceKind, End};
pub use error::{MOST_BYTES, NotText, SheetError};
pub use limit::{Limit, MOST_LIMIT_MM};
pub use load::{LoadOptions, Loaded};
pub use names::{MOST_NAME, MOST_TEXT, point_name, stem};
pub use point::{ControlPoint, MOST_COORDINATE_MM, MOST_STEP_MM};
pub use problem::{Fault, Problem, Problems};
pub use readings::Reading;
pub use sheet::{Declared, Sheet};
pub use table::MOST_ROWS;
pub use trams::TramReading;
pub use units::Units;
pub use warning::Warning;
