//! A number as it stands in print: its digits, and how finely it was written.
//!
//! A sheet's `203` and `402.5` say two things each: a length, and how it was rounded. Both are
//! kept, as a whole number of units of the last printed digit, so that inches turn into
//! millimetres with one rounding at the very end:
//!
//! ```
//! use datumtrail_sheet::{Decimal, Units};
//!
//! let printed = Decimal::parse("1.10", '.')?;
//! assert_eq!(printed.in_mm(Units::In), 27.94); // 1.1 * 25.4 in floating point is 27.939999...
//! assert_eq!(printed.step_in_mm(Units::In), 0.254);
//! # Ok::<(), datumtrail_sheet::NumberFault>(())
//! ```

use crate::units::Units;

/// More digits than any instrument prints; the bound keeps the arithmetic in range.
const MOST_DIGITS: usize = 30;

/// A finite decimal number with the number of decimals it was printed with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Decimal {
    /// The digits without the decimal sign: 4025 for `402.5`.
    unscaled: i128,
    /// Decimals printed: 1 for `402.5`. Never below zero.
    decimals: u32,
}

/// Why a cell is not a number that can be trusted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NumberFault {
    #[error("is not a number; write digits with a sign before them, like -402.5, and no unit")]
    NotANumber,
    #[error("is not a finite number; measure it again or remove the row")]
    NotFinite,
    #[error(
        "has a comma, which separates fields in this file; write a decimal point, or separate the \
         fields with semicolons"
    )]
    CommaAmongCommas,
    #[error(
        "has a point, but this file writes decimals with a comma, so it could be a thousands \
         mark; write every number with the same decimal sign and no thousands marks"
    )]
    PointAmongCommas,
    #[error("has more than one decimal sign; write it without thousands marks")]
    TwoMarks,
    #[error(
        "is a short form that dropped digits; have the spreadsheet show the number in full and \
         export again"
    )]
    DroppedDigits,
    #[error("has more than {MOST_DIGITS} digits; round it")]
    TooManyDigits,
}

impl Decimal {
    /// Reads `text`, trimmed, with `mark` (`.` or `,`) as the decimal sign.
    ///
    /// A sign may stand before the digits, also the typographic minus of a printed page. An
    /// exponent is read when the digits still reach the units (`1.966e+03`), and refused when they
    /// don't: `1.97E+03` is how a narrow spreadsheet column loses the last digits.
    ///
    /// # Errors
    /// [`NumberFault`], without the text; the caller knows where it stood.
    pub fn parse(text: &str, mark: char) -> Result<Decimal, NumberFault> {
        let text = text.trim();
        let unsigned = text.strip_prefix(['+', '-', '\u{2212}', '\u{2013}']);
        let negative = unsigned.is_some() && !text.starts_with('+');
        let unsigned = unsigned.unwrap_or(text);

        if ["nan", "inf", "infinity"].contains(&unsigned.to_lowercase().as_str()) {
            return Err(NumberFault::NotFinite);
        }
        let (mantissa, exponent) = match unsigned.split_once(['e', 'E']) {
            Some((mantissa, exponent)) => (mantissa, parse_exponent(exponent)?),
            None => (unsigned, 0),
        };
        let (whole, fraction) = split_at_mark(mantissa, mark)?;
        if whole.is_empty() && fraction.is_empty() {
            return Err(NumberFault::NotANumber);
        }

        let digits = format!("{whole}{fraction}");
        let digits = digits.trim_start_matches('0');
        if digits.len() > MOST_DIGITS {
            return Err(NumberFault::TooManyDigits);
        }
        let unscaled = if digits.is_empty() {
            0
        } else {
            digits
                .parse::<i128>()
                .map_err(|_| NumberFault::NotANumber)?
        };
        let printed = i64::try_from(fraction.len()).map_err(|_| NumberFault::TooManyDigits)?;
        let decimals = u32::try_from(printed - exponent).map_err(|_| NumberFault::DroppedDigits)?;
        Ok(Decimal {
            unscaled: if negative { -unscaled } else { unscaled },
            decimals,
        })
    }

    /// The value in millimetres: the floating-point number nearest to the exact product.
    pub fn in_mm(self, units: Units) -> f64 {
        nearest(self.unscaled * units.tenths_of_mm(), self.decimals + 1)
    }

    /// One unit of the last printed digit, in millimetres. Rounding to it spreads the true value
    /// evenly over one step, which is a variance of step^2 / 12 (GUM 4.3.7).
    pub fn step_in_mm(self, units: Units) -> f64 {
        nearest(units.tenths_of_mm(), self.decimals + 1)
    }
}

/// The floating-point number nearest to `digits / 10^decimals`; the standard library's reader
/// rounds correctly.
fn nearest(digits: i128, decimals: u32) -> f64 {
    format!("{digits}e-{decimals}").parse().unwrap_or(f64::NAN)
}

fn parse_exponent(text: &str) -> Result<i64, NumberFault> {
    let digits = text.strip_prefix(['+', '-']).unwrap_or(text);
    if digits.is_empty() || digits.len() > 3 || !all_digits(digits) {
        return Err(NumberFault::NotANumber);
    }
    text.parse().map_err(|_| NumberFault::NotANumber)
}

/// Splits the mantissa at its decimal sign, and names the mistake where there is another one.
fn split_at_mark(mantissa: &str, mark: char) -> Result<(&str, &str), NumberFault> {
    let number_like = mantissa
        .chars()
        .all(|c| c.is_ascii_digit() || c == '.' || c == ',');
    if !number_like {
        return Err(NumberFault::NotANumber);
    }
    let other = if mark == ',' { '.' } else { ',' };
    let marks = mantissa.matches(mark).count();
    match (marks, mantissa.matches(other).count()) {
        (0 | 1, 0) => Ok(mantissa.split_once(mark).unwrap_or((mantissa, ""))),
        (0, 1) if mark == '.' => Err(NumberFault::CommaAmongCommas),
        (0, 1) => Err(NumberFault::PointAmongCommas),
        _ => Err(NumberFault::TwoMarks),
    }
}

fn all_digits(text: &str) -> bool {
    text.bytes().all(|b| b.is_ascii_digit())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mm(text: &str) -> (f64, f64) {
        let d = Decimal::parse(text, '.').unwrap();
        (d.in_mm(Units::Mm), d.step_in_mm(Units::Mm))
    }

    #[test]
    fn value_and_step_come_from_the_digits() {
        assert_eq!(mm("203"), (203.0, 1.0));
        assert_eq!(mm("-402.5"), (-402.5, 0.1));
        assert_eq!(mm("634.10"), (634.1, 0.01));
        assert_eq!(mm("+.5"), (0.5, 0.1));
        assert_eq!(mm("7."), (7.0, 1.0));
        assert_eq!(mm("-0.0"), (0.0, 0.1));
        assert!(mm("-0.0").0.is_sign_positive());
        assert_eq!(mm("\u{2212}593"), (-593.0, 1.0));
    }

    #[test]
    fn an_exponent_is_read_only_where_it_drops_nothing() {
        assert_eq!(mm("1.966000e+03"), (1966.0, 0.001));
        assert_eq!(mm("5E-1"), (0.5, 0.1));
        assert_eq!(
            Decimal::parse("1.97E+03", '.'),
            Err(NumberFault::DroppedDigits)
        );
        assert_eq!(
            Decimal::parse("1e999", '.'),
            Err(NumberFault::DroppedDigits)
        );
        assert_eq!(Decimal::parse("1e9999", '.'), Err(NumberFault::NotANumber));
    }

    #[test]
    fn the_decimal_sign_is_one_of_two() {
        assert_eq!(
            Decimal::parse("402,5", ',').unwrap().in_mm(Units::Mm),
            402.5
        );
        assert_eq!(
            Decimal::parse("402,5", '.'),
            Err(NumberFault::CommaAmongCommas)
        );
        assert_eq!(
            Decimal::parse("1.966", ','),
            Err(NumberFault::PointAmongCommas)
        );
        assert_eq!(Decimal::parse("1,966.5", '.'), Err(NumberFault::TwoMarks));
        assert_eq!(Decimal::parse("1.966,5", ','), Err(NumberFault::TwoMarks));
        assert_eq!(Decimal::parse("1.966.5", '.'), Err(NumberFault::TwoMarks));
    }

    #[test]
    fn what_is_not_a_number_is_refused() {
        for text in [
            "", "-", ".", "12a", "0x10", "1_000", "203 mm", "1 966", "--5", "e3", "1e", "1e+-3",
            "٣",
        ] {
            assert_eq!(
                Decimal::parse(text, '.'),
                Err(NumberFault::NotANumber),
                "{text:?}"
            );
        }
        for text in ["NaN", "-inf", "Infinity"] {
            assert_eq!(Decimal::parse(text, '.'), Err(NumberFault::NotFinite));
        }
        assert_eq!(
            Decimal::parse(&"9".repeat(31), '.'),
            Err(NumberFault::TooManyDigits)
        );
    }

    /// The inch is 25.4 mm by definition, so these are exact decimal products.
    #[test]
    fn inches_convert_exactly() {
        for (inches, millimetres) in [
            ("1", 25.4),
            ("0.1", 2.54),
            ("10.1", 256.54),
            ("-77.4", -1965.96),
        ] {
            let d = Decimal::parse(inches, '.').unwrap();
            assert_eq!(d.in_mm(Units::In), millimetres);
        }
    }
}
