//! The slip of hand that would turn the expected value into the printed one.
//!
//! Only a suggestion: it is offered where a figure is already contradicted by the others, and only
//! when undoing the slip brings it back to what they expect, within the rounding. The rarer a
//! chance hit, the earlier a slip is tried: a wrong sign, a shifted decimal point, two neighbouring
//! digits swapped, one digit misread.

use serde::{Deserialize, Serialize};

/// A slip that explains a wrong figure.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Slip {
    WrongSign,
    ShiftedDecimalPoint,
    SwappedDigits,
    OneDigitMisread,
}

impl Slip {
    /// The words that screens use.
    pub fn words(self) -> &'static str {
        match self {
            Slip::WrongSign => "a wrong sign",
            Slip::ShiftedDecimalPoint => "a shifted decimal point",
            Slip::SwappedDigits => "two digits swapped",
            Slip::OneDigitMisread => "one digit misread",
        }
    }
}

/// A slip, and the value that undoes it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Suggestion {
    pub slip: Slip,
    pub corrected_mm: f64,
}

/// The slip that explains `printed` where `expected` was due within `tolerance`, in a print
/// rounded to `step`. None where there is none, or where `printed` is within the tolerance.
/// Millimetres.
///
/// ```
/// use datumtrail_geometry::audit::{Slip, explain};
///
/// let suggestion = explain(2983.0, 2938.0, 1.0, 1.0).unwrap();
/// assert_eq!(suggestion.slip, Slip::SwappedDigits);
/// assert_eq!(suggestion.corrected_mm, 2938.0);
/// assert_eq!(explain(-485.0, 485.0, 1.0, 1.0).unwrap().slip, Slip::WrongSign);
/// assert!(explain(2938.0, 2900.0, 1.0, 1.0).is_none());
/// ```
pub fn explain(printed: f64, expected: f64, tolerance: f64, step: f64) -> Option<Suggestion> {
    // Figures that differ by exactly the tolerance fit, however 386 - 385.9 comes out in binary.
    let fits = |value: f64| (value - expected).abs() <= tolerance + BINARY_MM;
    let usable = [printed, expected, tolerance].iter().all(|v| v.is_finite()) && step > 0.0;
    if !usable || fits(printed) {
        return None;
    }
    let found = |slip, corrected_mm| Some(Suggestion { slip, corrected_mm });
    if fits(-printed) {
        return found(Slip::WrongSign, -printed);
    }
    // By whole numbers, so that a shifted 385.9 is 38.59 and not 38.590000000000003.
    for (times, over) in [(10.0, 1.0), (1.0, 10.0), (100.0, 1.0), (1.0, 100.0)] {
        let shifted = |value: f64| value * times / over;
        // A shifted value is coarser than the print: compare within its own grain.
        if (shifted(printed) - expected).abs() <= tolerance.max(shifted(step) / 2.0) {
            return found(Slip::ShiftedDecimalPoint, shifted(printed));
        }
    }
    let digits = Digits::of(printed, step)?;
    let swapped = (1..digits.len()).map(|i| digits.with_swapped(i));
    if let Some(value) = swapped.into_iter().find(|v| fits(*v)) {
        return found(Slip::SwappedDigits, value);
    }
    // A misread last digit explains any small difference, so it explains nothing.
    let far_off = (printed - expected).abs() > 10.0 * step.max(tolerance / 2.0);
    let misread = (0..digits.len())
        .flat_map(|i| (0..10).map(move |d| (i, d)))
        .map(|(i, d)| digits.with_digit(i, d));
    misread
        .into_iter()
        .filter(|_| far_off)
        .find(|v| fits(*v))
        .and_then(|value| found(Slip::OneDigitMisread, value))
}

/// Far below any print's step, and far above the rounding of sums of millimetres in an `f64`.
const BINARY_MM: f64 = 1e-9;

/// A printed number as its digits, most significant first.
struct Digits {
    digits: Vec<u8>,
    /// How many of the last digit's units make one: 10 where tenths are printed.
    per_one: f64,
    negative: bool,
}

impl Digits {
    fn of(value: f64, step: f64) -> Option<Digits> {
        // By the last printed decimal place: 1 for steps of 1 or 5, 10 for 0.1 or 0.5, ...
        let per_one = 10f64.powi(-(step.log10().floor().min(0.0) as i32));
        let whole = (value.abs() * per_one).round();
        (whole < 1e12).then(|| Digits {
            digits: format!("{whole:.0}").bytes().map(|b| b - b'0').collect(),
            per_one,
            negative: value < 0.0,
        })
    }

    fn len(&self) -> usize {
        self.digits.len()
    }

    fn value(&self, digits: &[u8]) -> f64 {
        let whole = digits.iter().fold(0.0, |sum, d| 10.0 * sum + f64::from(*d));
        let value = whole / self.per_one;
        if self.negative { -value } else { value }
    }

    /// With the digits before and at `i` exchanged.
    fn with_swapped(&self, i: usize) -> f64 {
        let mut digits = self.digits.clone();
        digits.swap(i - 1, i);
        self.value(&digits)
    }

    fn with_digit(&self, i: usize, digit: u8) -> f64 {
        let mut digits = self.digits.clone();
        digits[i] = digit;
        self.value(&digits)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn slip(printed: f64, expected: f64, step: f64) -> Option<Slip> {
        explain(printed, expected, step, step).map(|s| s.slip)
    }

    #[test]
    fn what_is_suggested_reads_as_it_would_be_printed() {
        let swapped = explain(389.5, 385.9, 0.1, 0.1).unwrap();
        assert_eq!(swapped.corrected_mm.to_string(), "385.9");
        let shifted = explain(3859.0, 385.9, 0.1, 0.1).unwrap();
        assert_eq!(shifted.corrected_mm.to_string(), "385.9");
    }

    #[test]
    fn a_difference_of_exactly_the_tolerance_fits() {
        assert_eq!(slip(389.5, 386.0, 0.1), Some(Slip::SwappedDigits));
        assert_eq!(slip(386.0, 385.9, 0.1), None);
    }

    #[test]
    fn each_slip_is_recognised() {
        assert_eq!(slip(634.1, -634.1, 0.1), Some(Slip::WrongSign));
        assert_eq!(slip(63.4, 634.1, 0.1), Some(Slip::ShiftedDecimalPoint));
        assert_eq!(slip(4670.0, 467.0, 1.0), Some(Slip::ShiftedDecimalPoint));
        assert_eq!(slip(643.1, 634.1, 0.1), Some(Slip::SwappedDigits));
        assert_eq!(slip(-457.0, -475.0, 1.0), Some(Slip::SwappedDigits));
        assert_eq!(slip(1966.0, 1266.0, 1.0), Some(Slip::OneDigitMisread));
    }

    #[test]
    fn what_fits_or_has_no_simple_cause_is_left_alone() {
        assert_eq!(slip(634.1, 634.2, 0.1), None);
        assert_eq!(slip(2938.0, 2900.0, 1.0), None);
        assert_eq!(slip(1005.0, 986.0, 1.0), None);
        // 4 for 7 in the last place: too near to be worth a guess
        assert_eq!(slip(484.0, 487.0, 1.0), None);
        assert_eq!(explain(f64::NAN, 1.0, 1.0, 1.0), None);
        assert_eq!(explain(1.0, 2.0, 0.1, 0.0), None);
    }
}
