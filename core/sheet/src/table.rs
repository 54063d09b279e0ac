//! A tolerant reader for tables in text: what spreadsheets and instruments call CSV.
//!
//! Tolerant of how a table is written, strict about what it says:
//!
//! - UTF-8 with or without a byte order mark; any line end; blank lines, also those that a
//!   spreadsheet leaves as bare separators; quoted fields, also over two lines;
//!   spaces around fields.
//! - Columns in any order; their names in any case, with spaces, hyphens or underscores.
//! - Fields separated by commas, semicolons or tabs: the one that makes the most of the header's
//!   names known. Between commas the decimal sign is the point. Otherwise it is the comma where any
//!   number of the file has one, and the point where none has; a file never mixes them, for then
//!   `1.966` could be one or two thousand.
//! - A column that nobody asked for is left out and named in [`Table::unknown`], so that a
//!   misspelt one doesn't vanish in silence.
//!
//! The lexing is the `csv` crate's (RFC 4180). Everything wrong is reported with its line and
//! column.

use crate::decimal::Decimal;
use crate::error::SheetError;
use crate::header::{self, Header, Schema};
use crate::names::{clean_name, clean_text};
use crate::problem::{Collector, Column, Fault, Problem};
use crate::records::{Records, blank};
use crate::text::decode;

/// Most rows that are read: some ten times the largest survey.
pub const MOST_ROWS: usize = 10_000;

/// A table whose header and rows fit together.
#[derive(Debug)]
pub(crate) struct Table {
    kind: usize,
    header: Header,
    rows: Vec<(u64, Vec<String>)>,
    separator: char,
    decimal_sign: char,
}

impl Table {
    /// Reads a table of one of several kinds: the one of which the header has the most columns, the
    /// first of `kinds` where that is even.
    ///
    /// # Errors
    /// What makes the file no table of that kind, with nothing read: not text, empty, a header
    /// without a needed column or with one twice, no rows. Rows of the wrong length do not stop the
    /// reading; they go to `problems` with whatever else the caller finds in the other rows.
    pub(crate) fn read(
        bytes: &[u8],
        kinds: &[&'static Schema],
        problems: &mut Collector,
    ) -> Result<Table, SheetError> {
        let text = decode(bytes)?;
        let (separator, kind, schema) =
            header::sniff(header::first_record(&text), kinds).ok_or(SheetError::Empty)?;
        let mut records = Records::new(&text, separator);

        let (header_line, names) = records.next().ok_or(SheetError::Empty)?;
        let names: Vec<String> = names.iter().map(|name| name.trim().to_owned()).collect();
        if let Some(faulty) = header::missing(header_line, &names, kinds) {
            return Err(SheetError::Faulty(faulty));
        }
        let mut table = Table {
            kind,
            header: Header::read(header_line, names, schema).map_err(SheetError::Faulty)?,
            rows: Vec::new(),
            separator: char::from(separator),
            decimal_sign: '.',
        };
        for (line, cells) in records {
            if table.rows.len() == MOST_ROWS {
                problems.push(table.problem(line, 0, Fault::TooManyRows { most: MOST_ROWS }));
                break;
            }
            if let Some(cells) = problems.note(table.fit(line, cells)) {
                table.rows.push((line, cells));
            }
        }
        if table.rows.is_empty() && problems.is_empty() {
            return Err(SheetError::NoRows { line: header_line });
        }
        table.decimal_sign = table.find_decimal_sign();
        Ok(table)
    }

    /// Which of the kinds asked for the table is, from 0.
    pub(crate) fn kind(&self) -> usize {
        self.kind
    }

    /// The rows, in order.
    pub(crate) fn rows(&self) -> impl Iterator<Item = Row<'_>> {
        self.rows.iter().map(|(line, cells)| Row {
            table: self,
            line: *line,
            cells,
        })
    }

    /// Named columns that no one asked for.
    pub(crate) fn unknown(&self) -> Vec<Column> {
        self.header.unknown()
    }

    /// Gives a row the header's length, or says what is wrong with it. Blank fields beyond the
    /// header are what spreadsheets add; they are cut.
    fn fit(&self, line: u64, mut cells: Vec<String>) -> Result<Vec<String>, Problem> {
        let expected = self.header.len();
        let found = cells.len();
        // A text on two lines is no mistake, but a quote that is never closed swallows whole rows,
        // and with another one further down even leaves the right number of fields.
        let swallowed = |cell: &String| cell.contains('\n') && cell.contains(self.separator);
        if let Some(at) = cells.iter().position(swallowed) {
            return Err(self.problem(line, at, Fault::QuoteOpen));
        }
        if found < expected {
            return Err(self.problem(line, found, Fault::RowShort { found, expected }));
        }
        if cells.iter().skip(expected).any(|cell| !blank(cell)) {
            let long = Fault::RowLong {
                found,
                expected,
                commas: self.separator == ',',
            };
            return Err(self.problem(line, expected, long));
        }
        cells.truncate(expected);
        for (at, (name, cell)) in self.header.names().zip(&cells).enumerate() {
            if name.is_empty() && !blank(cell) {
                let text = cell.clone();
                return Err(self.problem(line, at, Fault::ColumnNameless { text }));
            }
        }
        Ok(cells)
    }

    fn find_decimal_sign(&self) -> char {
        let numbers = self.header.numbers();
        let mut cells = self
            .rows
            .iter()
            .flat_map(|(_, cells)| numbers.iter().filter_map(|at| cells.get(*at)));
        if self.separator != ',' && cells.any(|cell| cell.contains(',')) {
            ','
        } else {
            '.'
        }
    }

    fn problem(&self, line: u64, at: usize, fault: Fault) -> Problem {
        Problem {
            line,
            column: Some(self.header.column(at)),
            fault,
        }
    }
}

/// One row of a [`Table`]; columns are asked for by the names of the schema.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Row<'t> {
    table: &'t Table,
    line: u64,
    cells: &'t [String],
}

impl Row<'_> {
    /// The line in the file, from 1.
    pub(crate) fn line(&self) -> u64 {
        self.line
    }

    /// A text with single spaces inside and none around; `None` where it is blank or the table
    /// has no such column.
    ///
    /// # Errors
    /// A text that is too long or holds an invisible character.
    pub(crate) fn text(&self, name: &str) -> Result<Option<String>, Problem> {
        self.cell(name, clean_text)
    }

    /// The name of a point: a text with plain strokes and no comma.
    ///
    /// # Errors
    /// As [`Row::text`], and a comma in it.
    pub(crate) fn name(&self, name: &str) -> Result<Option<String>, Problem> {
        self.cell(name, clean_name)
    }

    /// A number with its printed decimals.
    ///
    /// # Errors
    /// What is not a finite number written with the decimal sign of this file.
    pub(crate) fn number(&self, name: &str) -> Result<Option<Decimal>, Problem> {
        self.cell(name, |text| {
            Decimal::parse(text, self.table.decimal_sign).map_err(|fault| Fault::Number {
                text: text.to_owned(),
                fault,
            })
        })
    }

    /// The cell through `read`, where it is there and not blank.
    pub(crate) fn cell<T>(
        &self,
        name: &str,
        read: impl FnOnce(&str) -> Result<T, Fault>,
    ) -> Result<Option<T>, Problem> {
        self.table
            .header
            .place_of(name)
            .and_then(|at| self.cells.get(at))
            .map(|cell| cell.trim())
            .filter(|cell| !cell.is_empty())
            .map(read)
            .transpose()
            .map_err(|fault| self.problem(name, fault))
    }

    /// A value that every row must have.
    ///
    /// # Errors
    /// The value's own problem, or that it is blank.
    pub(crate) fn needed<T>(
        &self,
        name: &str,
        value: Result<Option<T>, Problem>,
    ) -> Result<T, Problem> {
        value?.ok_or_else(|| self.problem(name, Fault::Blank))
    }

    /// Something wrong in this row, at the column of that name where the table has it.
    pub(crate) fn problem(&self, name: &str, fault: Fault) -> Problem {
        let header = &self.table.header;
        Problem {
            line: self.line,
            column: header.place_of(name).map(|at| header.column(at)),
            fault,
        }
    }
}
#[cfg(test)]
mod tests {
    use super::*;
    use crate::header::Field;
    use crate::problem::Problems;

    static NAMED: [Field; 3] = [
        Field::text("name"),
        Field::number("long_value"),
        Field::text("note").optional(),
    ];

    fn read(text: &str) -> (Table, Option<Problems>) {
        let mut problems = Collector::default();
        let table = Table::read(text.as_bytes(), &[&NAMED], &mut problems).unwrap();
        (table, problems.finish())
    }

    fn values(text: &str) -> Vec<(u64, String, String)> {
        let (table, problems) = read(text);
        assert_eq!(problems, None);
        table
            .rows()
            .map(|row| {
                let value = row.number("long_value").unwrap();
                let mm = value.map(|v| v.in_mm(crate::Units::Mm).to_string());
                (
                    row.line(),
                    row.text("name").unwrap().unwrap_or_default(),
                    mm.unwrap_or_default(),
                )
            })
            .collect()
    }

    fn expect(rows: &[(u64, &str, &str)]) -> Vec<(u64, String, String)> {
        rows.iter()
            .map(|(line, name, value)| (*line, (*name).to_owned(), (*value).to_owned()))
            .collect()
    }

    #[test]
    fn line_numbers_are_an_editors_whatever_the_line_ends() {
        let plain = "\n\nname,long_value\nA,1\n\n,\n  \nB,2\nC,3";
        let expected = expect(&[(4, "A", "1"), (8, "B", "2"), (9, "C", "3")]);
        for line_end in ["\n", "\r\n", "\r"] {
            assert_eq!(values(&plain.replace('\n', line_end)), expected);
            assert_eq!(
                values(&(plain.replace('\n', line_end) + line_end)),
                expected
            );
        }
    }

    #[test]
    fn line_breaks_inside_quotes_count_too() {
        let mut problems = Collector::default();
        let text = b"name,long_value\n\n\"A\n\n\",1\nB,x,y\n\nC,\"2,\nD,3\n";
        let table = Table::read(text, &[&NAMED], &mut problems).unwrap();
        let rows: Vec<u64> = table.rows().map(|row| row.line()).collect();
        let found = problems.finish().unwrap();
        let faulty: Vec<u64> = found.listed().iter().map(|p| p.line).collect();
        assert_eq!((rows, faulty), (vec![3], vec![6, 8]));
    }

    #[test]
    fn separators_and_decimal_signs() {
        let expected = expect(&[(2, "A", "-402.5"), (3, "B", "7")]);
        for text in [
            "name,long_value\nA,-402.5\nB,7",
            "\u{feff}name,long_value\nA,-402.5\nB,7",
            "name;long_value\nA;-402,5\nB;7",
            "name;long_value\nA;-402.5\nB;7",
            "name\tlong_value\nA\t-402,5\nB\t7",
            "Long Value ; NAME \n -402,5 ; A \n7;B",
            "\"name\",\"long-value\"\n\"A\",\"-402.5\"\n\"B\",\"7\"",
            "note,a;b,name,long_value\nx,y,A,-402.5\nx,y,B,7",
            "name,long_value,,\nA,-402.5,,\nB,7,,,,",
        ] {
            assert_eq!(values(text), expected, "{text}");
        }
    }

    #[test]
    fn quotes_keep_separators_and_quotes() {
        let (table, problems) = read("name,long_value,note\nA,1,\"rail, \"\"left\"\" end\"\n");
        assert_eq!(problems, None);
        let row = table.rows().next().unwrap();
        assert_eq!(row.text("note").unwrap().unwrap(), "rail, \"left\" end");
    }

    #[test]
    fn an_unknown_column_is_named() {
        let (table, _) = read("name,long_value,limt,\nA,1,3,");
        assert_eq!(
            table.unknown(),
            [Column {
                number: 3,
                name: "limt".to_owned()
            }]
        );
    }

    #[test]
    fn the_kind_with_the_most_known_columns_is_taken() {
        static OTHER: [Field; 2] = [Field::text("name"), Field::text("kind")];
        let mut problems = Collector::default();
        let table = Table::read(b"kind,name\nx,A", &[&NAMED, &OTHER], &mut problems).unwrap();
        assert_eq!(table.kind(), 1);
    }
}
