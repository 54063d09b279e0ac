//! Numbers and texts as fields, and the tables they stand in.

use crate::error::{Error, Result};

/// Debug is the shortest text that reads back as the same number, with an exponent where that is
/// shorter.
pub fn number(value: f64) -> String {
    format!("{value:?}")
}

pub fn maybe(value: Option<f64>) -> String {
    value.map_or_else(String::new, number)
}

pub fn yes_no(value: bool) -> String {
    if value { "yes" } else { "no" }.into()
}

pub fn text(value: &str) -> String {
    if value.starts_with(['=', '+', '-', '@', '\t', '\r']) {
        format!("'{value}")
    } else {
        value.to_owned()
    }
}

pub struct Table(csv::Writer<Vec<u8>>);

impl Table {
    pub fn new(header: &[&str]) -> Result<Self> {
        let mut table = Self(
            csv::WriterBuilder::new()
                .terminator(csv::Terminator::CRLF)
                .from_writer(Vec::new()),
        );
        table.0.write_record(header).map_err(internal)?;
        Ok(table)
    }

    pub fn row<const N: usize>(&mut self, fields: [String; N]) -> Result<()> {
        self.0.write_record(&fields).map_err(internal)
    }

    pub fn finish(self) -> Result<String> {
        let bytes = self.0.into_inner().map_err(internal)?;
        String::from_utf8(bytes).map_err(internal)
    }
}

fn internal(error: impl std::fmt::Display) -> Error {
    Error::Internal(format!("a table could not be written: {error}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_read_back_as_the_very_same() {
        for value in [
            0.1 + 0.2,
            -7.4e-9,
            1e300,
            -0.0,
            3.0,
            f64::MIN_POSITIVE,
            1.0 / 3.0,
        ] {
            let back: f64 = number(value).parse().unwrap();
            assert_eq!(back.to_bits(), value.to_bits(), "{}", number(value));
        }
    }

    #[test]
    fn a_text_never_becomes_a_formula() {
        assert_eq!(text("=1+1"), "'=1+1");
        assert_eq!(text("@cmd"), "'@cmd");
        assert_eq!(text("A'"), "A'");
    }
}
