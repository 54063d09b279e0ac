//! Permitted deviations. There is no built-in one, and each says whose it is: makers differ, from
//! 1.5 mm to 3 mm to none at all, so a number without a source proves nothing.

use serde::{Deserialize, Serialize};

use crate::error::SheetError;
use crate::names::clean_text;
use crate::problem::Fault;

/// Above this a limit is a slip: makers' printed ones are a few millimetres.
pub const MOST_LIMIT_MM: f64 = 100.0;

/// A permitted deviation to both sides, and whose it is.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Limit {
    /// The half-width of the permitted interval, in millimetres, above zero.
    pub mm: f64,
    /// Where it is printed, or whose own it is.
    pub source: String,
}

impl Limit {
    /// A limit with its source.
    ///
    /// # Errors
    /// [`SheetError::LimitWithoutSource`] for a blank source; [`SheetError::Record`] for a size
    /// that is not above 0 and at most [`MOST_LIMIT_MM`], or a source that can't be shown.
    pub fn new(mm: f64, source: &str) -> Result<Limit, SheetError> {
        match checked(mm, source) {
            Ok(limit) => Ok(limit),
            Err(Fault::LimitSource) => Err(SheetError::LimitWithoutSource { mm }),
            Err(fault) => Err(SheetError::record("the limit", fault)),
        }
    }
}

/// The same with a fault that a row can report.
pub(crate) fn checked(mm: f64, source: &str) -> Result<Limit, Fault> {
    let size = checked_size(mm)?;
    let source = clean_text(source)?;
    if source.is_empty() {
        return Err(Fault::LimitSource);
    }
    Ok(Limit { mm: size, source })
}

pub(crate) fn checked_size(mm: f64) -> Result<f64, Fault> {
    if mm > 0.0 && mm <= MOST_LIMIT_MM {
        Ok(mm)
    } else {
        Err(Fault::LimitSize { mm })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_limit_needs_a_source() {
        assert_eq!(
            Limit::new(3.0, "  ").unwrap_err().to_string(),
            "the limit of 3 mm has no source, and a limit without one proves nothing; say whose \
             it is, also where it is the shop's own"
        );
    }

    #[test]
    fn a_limit_is_a_few_millimetres() {
        for mm in [0.0, -3.0, 100.1, f64::NAN, f64::INFINITY] {
            assert!(Limit::new(mm, "the shop's own").is_err(), "{mm}");
        }
        assert_eq!(
            Limit::new(3.0, " the  shop's own ").unwrap().source,
            "the shop's own"
        );
    }
}
