//! What a person should know before relying on a check.

use super::screened::{FurtherPoint, Hidden, Screened};
use super::{ALPHA, PointResult, RECOMMENDED_REFERENCES, Request};
use crate::fit::Belief;
use crate::frame::Axis;
use crate::verdict::{self, Verdict};
use serde::Serialize;

/// A warning; its `Display` is a sentence for a screen.
#[derive(Clone, Debug, PartialEq, Serialize, thiserror::Error)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Warning {
    #[error(
        "The reference points do not fit within the stated uncertainties (chi-square {chi2:.1} with \
         {dof} degrees of freedom, probability {p:.1e}): a reference point may have moved, or a \
         reading is wrong. Nothing is called inside until this is settled."
    )]
    SetUpTestFailed { chi2: f64, dof: usize, p: f64 },
    #[error(
        "Taken as moved and left out of the set-up: {}. The set-up rests on the other {kept} \
         reference points, which agree with each other.", points.join(", ")
    )]
    ReferencesMoved { points: Vec<String>, kept: usize },
    #[error(
        "Reference point {point} does not fit the others. Leaving it out would leave {left} \
         reference points, too few to be sure: add reference points. Nothing is called inside \
         until this is settled."
    )]
    ReferenceSuspect { point: String, left: usize },
    #[error(
        "A reference point may have moved, and these cannot be told apart: {}.{} Nothing is called \
         inside until this is settled.", points.join(", "), would_settle(further)
    )]
    ReferencesUndecided {
        points: Vec<String>,
        further: Option<FurtherPoint>,
    },
    #[error(
        "The reference points fall into two groups that each fit on their own: {} and {}. One of the \
         groups moved as a whole, and arithmetic cannot say which: choose the reference points of \
         the group that is undamaged. Nothing is called inside until this is settled.",
        first.join(", "), second.join(", ")
    )]
    TwoGroups {
        first: Vec<String>,
        second: Vec<String>,
        /// The mean deviation of the second group when the set-up rests on the first: length,
        /// width, height.
        shift_mm: [f64; 3],
    },
    #[error(
        "Weak geometry: an unnoticed move of {by} could shift {point} by {}, and its limit is \
         {limit_mm} mm. More reference points, farther apart, would help.",
        amount(shift_mm)
    )]
    WeakGeometry {
        point: String,
        by: String,
        shift_mm: Option<f64>,
        limit_mm: f64,
    },
    #[error(
        "The shared points of {} do not agree with those of the set-up it was joined to. Nothing is \
         called inside until this is settled.", parts.join(", ")
    )]
    JointDoubtful { parts: Vec<String> },
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
        "The uncertainty is too large for the limit: {}. Nothing there can be called inside \
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

fn would_settle(further: &Option<FurtherPoint>) -> String {
    match further {
        Some(f) => format!(
            " Using {} as a reference point too{} would tell apart moves from {:.1} mm on.",
            f.point,
            if f.measured { "" } else { ", once measured," },
            f.tells_apart_mm
        ),
        None => String::new(),
    }
}

fn amount(mm: &Option<f64>) -> String {
    match mm {
        Some(mm) => format!("{mm:.1} mm"),
        None => "any amount".to_owned(),
    }
}

/// A few entries in full, many by their number and the worst.
fn list(entries: &[TooCoarse]) -> String {
    let entry = |e: &TooCoarse| {
        let (axis, u, needed) = (e.axis.word(), e.u_mm, e.u_needed_mm);
        format!("{} {axis} (u {u:.2} mm, needs {needed:.2} mm)", e.point)
    };
    if entries.len() <= 3 {
        return entries.iter().map(entry).collect::<Vec<_>>().join(", ");
    }
    let excess = |e: &TooCoarse| e.u_mm / e.u_needed_mm;
    let worst = entries
        .iter()
        .max_by(|a, b| excess(a).total_cmp(&excess(b)))
        .map(entry)
        .unwrap_or_default();
    format!("{} axes, worst at {worst}", entries.len())
}

/// The warnings that follow from the results; those about screening are there already.
pub(super) fn about(
    warnings: &mut Vec<Warning>,
    request: &Request,
    points: &[PointResult],
    screened: &Screened,
    hidden: Option<&Hidden>,
    stated: bool,
) {
    let fitted = &screened.fitted;
    let level = if screened.screening.is_some() {
        ALPHA / 2.0
    } else {
        ALPHA
    };
    if screened.doubtful && screened.p < level {
        warnings.insert(
            0,
            Warning::SetUpTestFailed {
                chi2: fitted.chi2,
                dof: fitted.degrees_of_freedom,
                p: screened.p,
            },
        );
    }
    if let Some(common) = request.common.filter(|c| !c.unsettled().is_empty()) {
        warnings.push(Warning::JointDoubtful {
            parts: common.unsettled().to_vec(),
        });
    }
    if let Belief::StudentT { degrees_of_freedom } = fitted.belief {
        warnings.push(Warning::InstrumentScaled {
            factor: fitted.variance_factor.sqrt(),
            dof: degrees_of_freedom,
        });
    }
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
    if let Some(hidden) = hidden {
        warnings.extend(weak_geometry(hidden, points));
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

/// A hidden move that could shift the farthest point by more than its tightest limit.
fn weak_geometry(hidden: &Hidden, points: &[PointResult]) -> Option<Warning> {
    let farthest = points.iter().find(|p| p.point == hidden.farthest_point)?;
    let limits = Axis::ALL.map(|a| farthest.axis(a).limit_mm);
    let limit_mm = limits.into_iter().flatten().reduce(f64::min)?;
    let beyond = hidden.shift_mm.is_none_or(|mm| mm > limit_mm);
    beyond.then(|| Warning::WeakGeometry {
        point: hidden.farthest_point.clone(),
        by: hidden.shifted_by.clone(),
        shift_mm: hidden.shift_mm,
        limit_mm,
    })
}
