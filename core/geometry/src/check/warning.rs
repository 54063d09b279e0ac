//! What a person should know before relying on a check.

use super::{PointResult, RECOMMENDED_REFERENCES, Request};
use crate::fit::SetUp;
use crate::frame::Axis;
use crate::verdict::{self, Verdict};
use serde::Serialize;

/// A warning; its `Display` is a sentence for a screen.
#[derive(Clone, Debug, PartialEq, Serialize, thiserror::Error)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Warning {
    #[error(
        "The reference points do not fit the sheet within the stated uncertainties (chi-square \
         {chi2:.1} with {dof} degrees of freedom, probability {p:.1e}): a reference point may have \
         moved, or a reading is wrong. Nothing is called inside until this is settled."
    )]
    SetUpTestFailed { chi2: f64, dof: usize, p: f64 },
    #[error(
        "By choice, the instrument is taken as worse than stated: every uncertainty is multiplied \
         with {factor:.2}, and Student's t with {dof} degrees of freedom replaces the normal."
    )]
    InstrumentScaled { factor: f64, dof: usize },
    #[error("Uncertainty not stated: deviations are compared with their limits plainly.")]
    UncertaintyNotStated,
    #[error("Uncertainty not stated for {}: compared plainly.", points.join(", "))]
    UncertaintyNotStatedFor { points: Vec<String> },
    #[error("Build spread not stated: a flagged point may be as built.")]
    BuildSpreadNotStated,
    #[error(
        "The set-up rests on {used} reference points; six or more are recommended, because fewer \
         can hide a moved one.", used = used
    )]
    FewReferences { used: usize, recommended: usize },
    #[error(
        "The other reference points cannot judge {} on every axis: there it is unchecked, not \
         inside.", points.join(", ")
    )]
    UncheckedReferences { points: Vec<String> },
    #[error(
        "The uncertainty is too large for the limit at {}: nothing there can be called inside \
         before the instrument or the set-up is better.",
        list(entries)
    )]
    CannotDecide { entries: Vec<TooCoarse> },
}

/// An axis on which even a deviation of zero could not be called inside.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TooCoarse {
    pub point: String,
    pub axis: Axis,
    pub u_mm: f64,
    pub limit_mm: f64,
    /// The largest uncertainty that could decide this limit.
    pub u_needed_mm: f64,
}

fn list(entries: &[TooCoarse]) -> String {
    let entry = |e: &TooCoarse| {
        format!(
            "{} {} (u {:.2} mm, needs {:.2} mm)",
            e.point,
            e.axis.word(),
            e.u_mm,
            e.u_needed_mm
        )
    };
    entries.iter().map(entry).collect::<Vec<_>>().join(", ")
}

/// The warnings that follow from the results.
pub(super) fn about(
    warnings: &mut Vec<Warning>,
    request: &Request,
    points: &[PointResult],
    fitted: &SetUp,
    stated: bool,
) {
    let names = |keep: &dyn Fn(&PointResult) -> bool| -> Vec<String> {
        points
            .iter()
            .filter(|p| keep(p))
            .map(|p| p.point.clone())
            .collect()
    };
    let used = fitted.residuals.len();
    if used < RECOMMENDED_REFERENCES {
        warnings.push(Warning::FewReferences {
            used,
            recommended: RECOMMENDED_REFERENCES,
        });
    }
    let unchecked = names(&|p| {
        Axis::ALL
            .iter()
            .any(|&a| p.axis(a).verdict == Verdict::Unchecked)
    });
    if !unchecked.is_empty() {
        warnings.push(Warning::UncheckedReferences { points: unchecked });
    }
    if !stated {
        warnings.push(Warning::UncertaintyNotStated);
        return;
    }
    let plain = names(&|p| p.reading_mm.is_some() && !p.length.uncertainty_stated);
    if !plain.is_empty() {
        warnings.push(Warning::UncertaintyNotStatedFor { points: plain });
    }
    if request.build_spread_mm.is_none() {
        warnings.push(Warning::BuildSpreadNotStated);
    }
    let entries: Vec<TooCoarse> = points
        .iter()
        .flat_map(|p| Axis::ALL.map(|axis| (p, axis)))
        .filter_map(|(p, axis)| {
            let result = p.axis(axis);
            let (u_mm, limit_mm) = (result.u_mm?, result.limit_mm?);
            let u_needed_mm = verdict::largest_u_that_can_decide(limit_mm, fitted.belief);
            (u_mm > u_needed_mm).then(|| TooCoarse {
                point: p.point.clone(),
                axis,
                u_mm,
                limit_mm,
                u_needed_mm,
            })
        })
        .collect();
    if !entries.is_empty() {
        warnings.push(Warning::CannotDecide { entries });
    }
}
