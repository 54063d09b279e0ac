//! A sheet contradicts itself before anyone measures.
//!
//! Makers print dimension sheets by hand, mix kinds of distance and swap digits. This module
//! compares a sheet's figures with each other and says which cannot all be right. It never
//! corrects: what it offers beside a doubt is a suggestion.
//!
//! What is compared:
//!
//! 1. lengths along the vehicle that must add up ([`Kind::Chain`]);
//! 2. the diagonal of two symmetrical pairs against their widths and the distance on one side,
//!    D^2 = d^2 + a b ([`Kind::Diagonal`]), and two diagonals that must be equal;
//! 3. left points against their right partners ([`Kind::Mirror`]); a pair that differs is listed
//!    as asymmetrical, and doubted only where a slip of hand explains the difference;
//! 4. all figures together, by the network adjustment with the rounding of the print as
//!    uncertainty ([`Kind::Figure`], [`Kind::Position`]); where the sheet does not say what kind
//!    its distances are, every meaning is tried and the one that explains it best is named.
//!
//! A comparison fails where it is off by more than the two-sided normal quantile for its share of
//! 5 %, half of which goes to the comparisons 1 to 3 and half to 4 (Bonferroni), in units of the
//! uncertainty that rounding leaves. Sums of rounding errors have thinner tails than the normal,
//! so a sheet without errors is doubted in fewer than 5 % of cases.
//!
//! # What it finds in two published sheets
//!
//! Printed by `examples/audit_published.rs` from the tables in `tests/published/`; what they say of
//! the sheets is arithmetic, not judgement of their makers.
//!
#![doc = include_str!("../../audit.md")]
//!
//! # Units, cost, example
//!
//! Millimetres, in the vehicle's frame. Cost: some milliseconds for a sheet of fifty figures.
//!
//! ```
//! use datumtrail_geometry::audit::{End, Figure, Kind, Printed, Sheet, Station, audit};
//!
//! let stations = ["A", "B", "C"].map(|name| Station::new(name, 1.0)).to_vec();
//! let length = |a, b, value_mm| Figure {
//!     what: Printed::Length,
//!     a: End { station: a, side: None },
//!     b: Some(End { station: b, side: None }),
//!     value_mm,
//!     step_mm: 1.0,
//! };
//! // A to C should be 457; its last digits were swapped.
//! let figures = vec![length(0, 1, 42.0), length(1, 2, 415.0), length(0, 2, 475.0)];
//! let found = audit(&Sheet { stations, figures }, 0.05).unwrap();
//! let doubt = &found.doubts[0];
//! assert_eq!((doubt.kind, doubt.printed_mm, doubt.expected_mm), (Kind::Chain, 475.0, 457.0));
//! assert!(doubt.explanations[0].contains("457 would be two digits swapped"));
//! ```

mod chains;
mod digits;
mod finding;
mod fours;
mod layout;
mod mirror;
mod positions;
mod sheet;
mod whole;

pub use digits::{Slip, Suggestion, explain};
pub use finding::{Asymmetry, Audit, Doubt, Kind, Meaning, Reading, Test};
pub use positions::{Placed, Positions, positions};
pub use sheet::{AuditError, End, Figure, Printed, Sheet, Station};

use crate::stats;

/// Audits a sheet: doubts one without errors with probability `alpha` at most.
///
/// # Errors
/// [`AuditError`], naming the row or the station, where the sheet cannot be used.
pub fn audit(sheet: &Sheet, alpha: f64) -> Result<Audit, AuditError> {
    if !(alpha > 0.0 && alpha < 1.0) {
        return Err(AuditError::BadAlpha(alpha));
    }
    sheet.check()?;
    let mirror = mirror::tests(sheet);
    let mut tests = chains::tests(sheet);
    tests.extend(fours::tests(sheet));
    let share = alpha / 2.0 / (tests.len() + mirror.len()).max(1) as f64;
    let critical_w = stats::phi_inverse(1.0 - share / 2.0);
    let fails = |test: &Test| test.w().abs() > critical_w;
    let mut doubts = mirror::sides(sheet);
    let (asymmetric, slips) = mirror::sort(sheet, &mirror, fails);
    // A point on the wrong side fails to mirror too: once is enough.
    let sided: Vec<String> = doubts.iter().flat_map(|d| d.points.clone()).collect();
    doubts.extend(
        slips
            .into_iter()
            .filter(|d| !d.points.iter().any(|p| sided.contains(p))),
    );
    doubts.extend(tests.iter().filter(|t| fails(t)).map(Doubt::from));
    let whole = whole::compare(sheet, alpha / 2.0);
    doubts.extend(whole.doubts);
    // Rounding must not decide between two views of the same fault: the direct comparison first.
    let rank = |doubt: &Doubt| (doubt.w.abs() * 1e3).round();
    doubts.sort_by(|a, b| rank(b).total_cmp(&rank(a)));
    tests.extend(mirror);
    Ok(Audit {
        doubts,
        tests,
        critical_w,
        asymmetric,
        readings: whole.readings,
        meaning_is_clear: whole.clear,
        unchecked: whole.unchecked,
        remarks: whole.remarks,
    })
}
