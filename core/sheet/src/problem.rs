//! What is wrong in a file: where, what stands there, and what to do.
//!
//! A person who corrects a sheet wants to see all of its mistakes, not one a try, so reading goes
//! on after the first and the result is a [`Problems`]: nothing is loaded, everything is listed
//! (the first [`MOST_LISTED`] of it).

use std::fmt;

use datumtrail_geometry::frame::Side;

use crate::decimal::NumberFault;
use crate::limit::MOST_LIMIT_MM;
use crate::names::{MOST_NAME, MOST_TEXT};

/// How many problems are kept; their number is counted beyond that.
pub const MOST_LISTED: usize = 10;

/// One thing wrong at one place in a file.
#[derive(Clone, Debug, PartialEq)]
pub struct Problem {
    /// The line in the file, from 1, as a text editor counts.
    pub line: u64,
    /// The column, where the problem has one.
    pub column: Option<Column>,
    /// What is wrong there.
    pub fault: Fault,
}

/// A column of a file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Column {
    /// From 1, as a spreadsheet counts.
    pub number: usize,
    /// As the header spells it; empty where the header has no name for it.
    pub name: String,
}

impl fmt::Display for Column {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "column {}", self.number)?;
        if !self.name.is_empty() {
            write!(f, " ({})", printable(&self.name))?;
        }
        Ok(())
    }
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}", self.line)?;
        if let Some(column) = &self.column {
            write!(f, ", {column}")?;
        }
        write!(f, ": {}", self.fault)
    }
}

/// What can be wrong with a cell, a row or a header.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Fault {
    // the header
    #[error(
        "{} stands where the name of a column should be; put a line with the names above it, like \
         {}",
        shown(.text),
        .names.join(",")
    )]
    HeaderMissing {
        text: String,
        names: Vec<&'static str>,
    },
    #[error(
        "the column {name} is missing; the header has {}: add it, or check the spelling and the \
         separators",
        listed(.found)
    )]
    ColumnMissing {
        name: &'static str,
        found: Vec<String>,
    },
    #[error("{name} already stands in column {first}; keep one of the two")]
    ColumnDoubled { name: &'static str, first: usize },

    // a row
    #[error("the row ends after {found} of the header's {expected} fields; complete it")]
    RowShort { found: usize, expected: usize },
    #[error(
        "the row has {found} fields where the header has {expected}; put a text with separators \
         in it in quotes{}",
        if *.commas {
            ", and where decimals are written with a comma, separate the fields with semicolons"
        } else {
            ""
        }
    )]
    RowLong {
        found: usize,
        expected: usize,
        commas: bool,
    },
    #[error("{} stands in a column without a name; name the column or clear it", shown(.text))]
    ColumnNameless { text: String },
    #[error("row {most} was the last that is read here; split the file")]
    TooManyRows { most: usize },

    // a cell
    #[error("nothing stands here, and it is needed; fill it in")]
    Blank,
    #[error("{} {fault}", shown(.text))]
    Number { text: String, fault: NumberFault },
    #[error(
        "the text runs over the end of the line and takes in other fields, so a quote is probably \
         not closed; close it, or write \"\" for a quote that belongs to the text"
    )]
    QuoteOpen,
    #[error("{} holds an invisible character, U+{code:04X}; type the text again", shown(.text))]
    Invisible { text: String, code: u32 },
    #[error("the text is {found} characters long and at most {most} are read here; shorten it")]
    TextLong { found: usize, most: usize },
    #[error(
        "{} has a comma in it, and lists of points are separated by commas; give it another name",
        shown(.text)
    )]
    NameComma { text: String },
    #[error("{} is no side; write left, right or centre", shown(.text))]
    Side { text: String },
    #[error("{mm} mm is farther than {most} mm from zero; check the units and the decimal sign")]
    TooFar { mm: f64, most: f64 },
    #[error(
        "a limit of {mm} mm is not one: it must be above 0 and at most {MOST_LIMIT_MM} mm; correct \
         it, or leave the cell blank where the maker gives none"
    )]
    LimitSize { mm: f64 },
    #[error(
        "the limit has no source, and a limit without one proves nothing; say whose it is in the \
         column limit_source"
    )]
    LimitSource,
    #[error("a print step of {mm} mm is not one: it must be from 0 to {most} mm")]
    Step { mm: f64, most: f64 },
    #[error(
        "a standard uncertainty of {mm} mm is not one: it must be above 0 and at most {most} mm; \
         leave the cell blank where it is not known"
    )]
    Uncertainty { mm: f64, most: f64 },
    #[error(
        "only some of the three axes have an uncertainty; give u_x, u_y and u_z, or one u for all"
    )]
    UncertaintyPartial,
    #[error(
        "{} is no RFC 3339 time; write date, time and offset from UTC, like \
         2026-03-02T14:05:00+01:00",
        shown(.text)
    )]
    Time { text: String },

    // rows together
    #[error(
        "{} stands in line {first} already; a sheet has one position for a control point, so \
         remove one, or give each of the two a name of its own{}",
        shown(.name),
        if .name.ends_with('\'') { String::new() } else { format!(", like {name} and {name}'") }
    )]
    PointDoubled { name: String, first: u64 },
    #[error(
        "the same distance stands in line {first} already; a sheet has one value for it, so remove \
         one"
    )]
    DistanceDoubled { first: u64 },

    // distances
    #[error(
        "{} is no kind of distance; write true, level, width, height, projected-length, same-side \
         or diagonal",
        shown(.text)
    )]
    Kind { text: String },
    #[error("{} is no kind of tram reading; write true, level or height", shown(.text))]
    TramKind { text: String },
    #[error("a {kind} needs its second point")]
    EndMissing { kind: &'static str },
    #[error("a height is counted from the sheet's zero line and has one point; clear the second")]
    EndSurplus,
    #[error("a {kind} from {} to itself is no distance; name two points or two sides", shown(.name))]
    EndsSame { kind: &'static str, name: String },
    #[error(
        "a {kind} runs {}, but its ends say {} and {}; correct the sides or the kind",
        if *.along { "along one side" } else { "from one side to the other" },
        .a.word(),
        .b.word()
    )]
    EndSides {
        kind: &'static str,
        along: bool,
        a: Side,
        b: Side,
    },
    #[error("a side stands here without its point; name the point or clear the side")]
    SideAlone,
    #[error(
        "a {kind} of {mm} mm is not one: it must be {} {most} mm",
        if *.zero { "from 0 to" } else { "above 0 and at most" }
    )]
    DistanceSize {
        kind: &'static str,
        mm: f64,
        /// Whether zero would be one.
        zero: bool,
        most: f64,
    },

    // readings
    #[error("the sheet has no control point {}{}", shown(.name), like(.near))]
    PointUnknown { name: String, near: Option<String> },
}

/// Everything wrong in one file, in the order of its lines.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Problems {
    found: Vec<Problem>,
    count: usize,
}

impl Problems {
    /// The problems, at most [`MOST_LISTED`] of them.
    pub fn listed(&self) -> &[Problem] {
        &self.found
    }

    /// How many there are, listed or not.
    pub fn count(&self) -> usize {
        self.count
    }
}

/// The first problem on one line, and how many more there are.
impl fmt::Display for Problems {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.found.first() {
            Some(first) => write!(f, "{first}")?,
            None => write!(f, "no problem")?,
        }
        match self.count {
            0 | 1 => Ok(()),
            2 => write!(f, " (and 1 more problem)"),
            more => write!(f, " (and {} more problems)", more - 1),
        }
    }
}

/// Collects problems while a file is read to its end.
#[derive(Debug, Default)]
pub(crate) struct Collector(Vec<Problem>);

impl Collector {
    pub(crate) fn push(&mut self, problem: Problem) {
        self.0.push(problem);
    }

    pub(crate) fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// Keeps the problem of a result, or gives its value.
    pub(crate) fn note<T>(&mut self, result: Result<T, Problem>) -> Option<T> {
        result.map_err(|problem| self.push(problem)).ok()
    }

    /// `None` when nothing was wrong.
    pub(crate) fn finish(self) -> Option<Problems> {
        let mut found = self.0;
        if found.is_empty() {
            return None;
        }
        found.sort_by_key(|p| (p.line, p.column.as_ref().map_or(0, |c| c.number)));
        let count = found.len();
        found.truncate(MOST_LISTED);
        Some(Problems { found, count })
    }
}

/// Most characters of a cell that a message repeats.
const MOST_SHOWN: usize = 40;

/// Text from a file as it can be shown on one line of a terminal: quoted, with what does not print
/// escaped, and cut to a readable length.
pub(crate) fn shown(text: &str) -> String {
    if text.chars().count() <= MOST_SHOWN {
        return format!("{text:?}");
    }
    let start: String = text.chars().take(MOST_SHOWN).collect();
    format!("{start:?}...")
}

/// The same without quotes, for names of columns.
pub(crate) fn printable(text: &str) -> String {
    let escape = |c: char| match c {
        '\'' | '"' | '\\' => c.to_string(),
        c => c.escape_debug().to_string(),
    };
    text.chars().take(MOST_SHOWN).map(escape).collect()
}

fn listed(names: &[String]) -> String {
    const MOST: usize = 20;
    let names: Vec<String> = names
        .iter()
        .filter(|name| !name.is_empty())
        .take(MOST)
        .map(|name| shown(name))
        .collect();
    if names.is_empty() {
        "no names".to_owned()
    } else {
        names.join(", ")
    }
}

fn like(near: &Option<String>) -> String {
    match near {
        Some(near) => format!(
            "; it has {}, and names tell capitals from small letters",
            shown(near)
        ),
        None => "; check the name, or that this is the sheet of this vehicle".to_owned(),
    }
}

/// What a text may hold at most, by the words a problem uses for it.
pub(crate) fn too_long(text: &str, name: bool) -> Option<Fault> {
    let most = if name { MOST_NAME } else { MOST_TEXT };
    let found = text.chars().count();
    (found > most).then_some(Fault::TextLong { found, most })
}
