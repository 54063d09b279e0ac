//! The header of a table: which separator and which columns it has.

use crate::decimal::Decimal;
use crate::problem::{Collector, Column, Fault, Problem, Problems};

/// A column that a kind of table may have.
#[derive(Debug)]
pub struct Field {
    /// In lower case with underscores.
    pub name: &'static str,
    /// Whether it holds numbers; these decide the decimal sign.
    pub number: bool,
    /// Whether the header must have it.
    pub needed: bool,
}

impl Field {
    /// A column of text, needed.
    pub const fn text(name: &'static str) -> Field {
        Field {
            name,
            number: false,
            needed: true,
        }
    }

    /// A column of numbers, needed.
    pub const fn number(name: &'static str) -> Field {
        Field {
            name,
            number: true,
            needed: true,
        }
    }

    /// The same, where the header may lack it.
    pub const fn optional(self) -> Field {
        Field {
            needed: false,
            ..self
        }
    }
}

/// The columns of one kind of table.
pub type Schema = [Field];

/// A header that has every column it needs, each once.
#[derive(Debug)]
pub(crate) struct Header {
    /// The names as they are spelt.
    names: Vec<String>,
    schema: &'static Schema,
    /// Where each field of the schema stands, from 0.
    places: Vec<Option<usize>>,
}

impl Header {
    /// Finds the schema's fields among the names of a header.
    ///
    /// # Errors
    /// Every column that is missing or doubled.
    pub(crate) fn read(
        line: u64,
        names: Vec<String>,
        schema: &'static Schema,
    ) -> Result<Header, Problems> {
        let mut problems = Collector::default();
        let mut places = Vec::with_capacity(schema.len());
        for field in schema {
            let mut found = names
                .iter()
                .enumerate()
                .filter(|(_, name)| canonical(name) == field.name);
            let first = found.next().map(|(at, _)| at);
            places.push(first);
            match (first, found.next()) {
                (None, _) if field.needed => problems.push(Problem {
                    line,
                    column: None,
                    fault: Fault::ColumnMissing {
                        name: field.name,
                        found: names.clone(),
                    },
                }),
                (Some(first), Some((second, name))) => problems.push(Problem {
                    line,
                    column: Some(Column {
                        number: second + 1,
                        name: name.clone(),
                    }),
                    fault: Fault::ColumnDoubled {
                        name: field.name,
                        first: first + 1,
                    },
                }),
                _ => {}
            }
        }
        match problems.finish() {
            Some(faulty) => Err(faulty),
            None => Ok(Header {
                names,
                schema,
                places,
            }),
        }
    }

    /// How many columns there are.
    pub(crate) fn len(&self) -> usize {
        self.names.len()
    }

    /// The columns' names as they are spelt.
    pub(crate) fn names(&self) -> impl Iterator<Item = &str> {
        self.names.iter().map(String::as_str)
    }

    /// Where the field of that name stands, from 0, if the table has it.
    pub(crate) fn place_of(&self, name: &str) -> Option<usize> {
        self.fields()
            .find(|(field, _)| field.name == name)
            .map(|(_, at)| at)
    }

    /// Where numbers stand.
    pub(crate) fn numbers(&self) -> Vec<usize> {
        self.fields()
            .filter(|(field, _)| field.number)
            .map(|(_, at)| at)
            .collect()
    }

    /// The column at a place counted from 0; also one beyond the header, which has no name.
    pub(crate) fn column(&self, at: usize) -> Column {
        Column {
            number: at + 1,
            name: self.names.get(at).cloned().unwrap_or_default(),
        }
    }

    /// Named columns that the schema does not have.
    pub(crate) fn unknown(&self) -> Vec<Column> {
        (0..self.len())
            .filter(|at| !self.places.contains(&Some(*at)))
            .map(|at| self.column(at))
            .filter(|column| !column.name.is_empty())
            .collect()
    }

    fn fields(&self) -> impl Iterator<Item = (&Field, usize)> {
        let with_place = self.schema.iter().zip(&self.places);
        with_place.filter_map(|(field, place)| Some((field, (*place)?)))
    }
}

/// The text up to the first line end behind something that is not blank.
pub(crate) fn first_record(text: &str) -> &str {
    text.lines()
        .find(|line| {
            !line
                .chars()
                .all(|c| c.is_whitespace() || ",;\"".contains(c))
        })
        .unwrap_or_default()
}

/// The separator and kind that make the most names of the header known; the earlier one where that
/// is even.
pub(crate) fn sniff(
    header: &str,
    kinds: &[&'static Schema],
) -> Option<(u8, usize, &'static Schema)> {
    let mut best = None;
    let mut most = None;
    for separator in *b",;\t" {
        let names: Vec<String> = header
            .split(char::from(separator))
            .map(|name| canonical(name.trim_matches(|c: char| c == '"' || c.is_whitespace())))
            .collect();
        for (kind, schema) in kinds.iter().enumerate() {
            let known = schema
                .iter()
                .filter(|field| names.iter().any(|name| name == field.name))
                .count();
            if most.is_none_or(|most| known > most) {
                most = Some(known);
                best = Some((separator, kind, *schema));
            }
        }
    }
    best
}

/// A header's name as schemas spell it.
fn canonical(name: &str) -> String {
    name.trim().to_lowercase().replace([' ', '-'], "_")
}

/// The problem of a table that begins with its numbers: a line with a number in it that names not
/// even two columns.
pub(crate) fn missing(line: u64, names: &[String], kinds: &[&'static Schema]) -> Option<Problems> {
    let is_number = |text: &String| ['.', ','].iter().any(|s| Decimal::parse(text, *s).is_ok());
    let at = names.iter().position(is_number)?;
    let is_known = |name: &String| {
        let mut fields = kinds.iter().flat_map(|schema| schema.iter());
        fields.any(|field| field.name == canonical(name))
    };
    if names.iter().filter(|name| is_known(name)).count() >= 2 {
        return None;
    }
    let schema = kinds.first().copied().unwrap_or_default();
    let needed = schema.iter().filter(|field| field.needed);
    let mut problems = Collector::default();
    problems.push(Problem {
        line,
        column: Some(Column {
            number: at + 1,
            name: String::new(),
        }),
        fault: Fault::HeaderMissing {
            text: names.get(at).cloned().unwrap_or_default(),
            names: needed.map(|field| field.name).collect(),
        },
    });
    problems.finish()
}
