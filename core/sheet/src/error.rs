//! Why a file or a statement was refused. Nothing is ever half loaded.

use crate::problem::{Fault, Problem, Problems, shown};

/// The largest file that is read, in bytes. A sheet has some hundred lines; a survey a few
/// thousand.
pub const MOST_BYTES: usize = 4 << 20;

/// Why nothing was loaded. The caller knows the file's name and puts it in front.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum SheetError {
    #[error("line 1, column 1: the file is empty; export the table again")]
    Empty,
    #[error("line {line}: the header stands here and no row follows; export the table again")]
    NoRows { line: u64 },
    #[error(
        "the file has {bytes} bytes and at most {MOST_BYTES} are read here; it is probably no table"
    )]
    TooLarge { bytes: usize },
    #[error("line {line}, byte {byte}: {what}")]
    NotText {
        line: u64,
        /// The byte in its line, from 1.
        byte: usize,
        what: NotText,
    },
    #[error("{0}")]
    Faulty(Problems),

    // what a person states when loading
    #[error("{} is not a unit that is read here; write mm or in", shown(.text))]
    Units { text: String },
    #[error(
        "{} does not say where x, y and z grow; write one of forward and rearward, one of left and \
         right, one of up and down, in the order of the sheet's columns, like rearward,right,up",
        shown(.text)
    )]
    Axes { text: String },
    #[error(
        "{text} is a left-handed set of directions, so one of the words may be wrong; where the \
         sheet really counts so, write {text},left-handed"
    )]
    LeftHanded { text: String },
    #[error(
        "the sheet has no source; say where its numbers were printed, so that anyone can look them \
         up"
    )]
    NoSource,
    #[error(
        "the limit of {mm} mm has no source, and a limit without one proves nothing; say whose it \
         is, also where it is the shop's own"
    )]
    LimitWithoutSource { mm: f64 },

    // values that did not come from a file
    #[error("{what}: {fault}")]
    Record { what: String, fault: Fault },
    #[error("{0}")]
    PointUnknown(Fault),
    #[error("the sheet holds no point and no distance")]
    Nothing,
}

/// What a file is that is no text.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NotText {
    #[error("this is a workbook or a zip, not a table in text; save it as CSV (UTF-8)")]
    Zip,
    #[error(
        "this is a PDF, not a table in text; copy its table into a spreadsheet and save as CSV"
    )]
    Pdf,
    #[error("the text is UTF-16; save it as CSV (UTF-8)")]
    Utf16,
    #[error("a zero byte stands here, so this is a binary file, not a table in text")]
    Binary,
    #[error("the byte 0x{0:02X} stands here, which is not UTF-8; save the table as CSV (UTF-8)")]
    NotUtf8(u8),
}

impl SheetError {
    /// The problems of a file that could be read as a table; empty for other errors.
    pub fn problems(&self) -> &[Problem] {
        match self {
            SheetError::Faulty(problems) => problems.listed(),
            _ => &[],
        }
    }

    pub(crate) fn record(what: impl Into<String>, fault: Fault) -> SheetError {
        SheetError::Record {
            what: what.into(),
            fault,
        }
    }
}
