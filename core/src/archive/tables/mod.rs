//! `measurements.csv`, `readings.csv`, `trams.csv` and `estimate-notes.csv`: tables that can be made
//! again and compared.
//!
//! All are plain CSV (RFC 4180, UTF-8, a header, a decimal point). Every number is the shortest
//! text that reads back as the very same 64-bit number, so nothing is lost between the computation
//! and whoever repeats it. An empty field means: there is none.
//!
//! A text that begins with `=`, `+`, `-` or `@` gets a `'` in front: a spreadsheet would take it
//! for a formula, and texts come from many hands.
//!
//! [`measurements()`], [`readings()`], [`trams()`] and [`estimate()`] say what their columns mean.

mod differences;
mod estimate;
mod measurements;
mod readings;
mod trams;
mod write;

pub use differences::{TOLERANCE, differences};
pub use estimate::estimate;
pub use measurements::measurements;
pub use readings::readings;
pub use trams::trams;
