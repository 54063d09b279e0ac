//! Units of length: what a file is written in. Inside, everything is millimetres.

use serde::{Deserialize, Serialize};

use crate::error::SheetError;

/// What the numbers of a file are counted in.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Units {
    /// Millimetres.
    #[default]
    Mm,
    /// Inches of exactly 25.4 mm (international yard and pound agreement, 1959).
    In,
}

impl Units {
    /// Reads `mm` or `in`, in any case and with spaces around.
    ///
    /// # Errors
    /// [`SheetError::Units`] for anything else.
    pub fn parse(text: &str) -> Result<Units, SheetError> {
        match text.trim().to_lowercase().as_str() {
            "mm" => Ok(Units::Mm),
            "in" => Ok(Units::In),
            _ => Err(SheetError::Units {
                text: text.to_owned(),
            }),
        }
    }

    /// The word that [`Units::parse`] reads.
    pub fn word(self) -> &'static str {
        match self {
            Units::Mm => "mm",
            Units::In => "in",
        }
    }

    /// Tenths of a millimetre in one unit: a whole number, so that conversion can be exact.
    pub(crate) fn tenths_of_mm(self) -> i128 {
        match self {
            Units::Mm => 10,
            Units::In => 254,
        }
    }
}

impl std::fmt::Display for Units {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.word())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_are_read_in_any_case() {
        assert_eq!(Units::parse(" MM ").unwrap(), Units::Mm);
        assert_eq!(Units::parse("In").unwrap(), Units::In);
    }

    #[test]
    fn other_words_are_refused_with_what_to_write() {
        assert_eq!(
            Units::parse("cm").unwrap_err().to_string(),
            "\"cm\" is not a unit that is read here; write mm or in"
        );
    }
}
