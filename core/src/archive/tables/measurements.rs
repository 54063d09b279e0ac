//! `measurements.csv`: what follows from the readings.

use datumtrail_geometry::frame::direction;

use super::write::{Table, maybe, number, text, yes_no};
use crate::error::Result;
use crate::job::measure;
use crate::job::view::JobView;

const COLUMNS: [&str; 17] = [
    "survey",
    "stage",
    "recorded",
    "point",
    "side",
    "what",
    "reference",
    "axis",
    "sheet_mm",
    "reading_mm",
    "deviation_mm",
    "direction",
    "u_mm",
    "limit_mm",
    "limit_source",
    "p_inside",
    "verdict",
];

/// All deviations, computed from the readings and the sheet in the document.
///
/// One line for each axis of each point of the sheet, for each survey that counts.
///
/// | column | meaning |
/// |---|---|
/// | `survey` `stage` `recorded` | which survey, in which stage, when it was recorded |
/// | `point` `side` `what` | the control point, as the sheet has it |
/// | `reference` | `yes`: the set-up rests on it, and its deviation is judged by the others |
/// | `axis` | `length` (positive rearward), `width` (positive to the right), `height` (positive up) |
/// | `sheet_mm` `reading_mm` | where the sheet has it, and where it was found, in the vehicle's frame |
/// | `deviation_mm` `direction` | reading minus sheet, and the direction in words |
/// | `u_mm` | standard uncertainty of the deviation |
/// | `limit_mm` `limit_source` | the permitted deviation to either side, and who says so |
/// | `p_inside` | the probability that the true deviation is within the limit |
/// | `verdict` | `inside` `outside` `too_close_to_call` `no_limit_given` `not_measured` `unchecked` |
///
/// Surveys that can't be computed have no lines.
///
/// # Errors
/// [`Error::Internal`](crate::Error::Internal) only.
pub fn measurements(view: &JobView) -> Result<String> {
    let mut table = Table::new(&COLUMNS)?;
    for survey in view.standing_surveys() {
        let Ok(measured) = measure::measure(view, survey) else {
            continue;
        };
        for point in &measured.report().points {
            for (axis, seen) in point.axes() {
                let k = axis.index();
                let words = seen
                    .deviation_mm
                    .map_or("", |mm| direction(axis, mm, point.side));
                table.row([
                    text(&survey.id.0),
                    text(&survey.body.stage),
                    text(&survey.stamp.at),
                    text(point.point),
                    text(point.side.word()),
                    text(point.what),
                    yes_no(point.is_reference),
                    text(axis.word()),
                    point
                        .spec_mm
                        .get(k)
                        .map_or_else(String::new, |v| number(*v)),
                    maybe(point.reading_mm.and_then(|at| at.get(k).copied())),
                    maybe(seen.deviation_mm),
                    text(words),
                    maybe(seen.u_mm),
                    maybe(seen.limit_mm),
                    text(seen.limit_source.unwrap_or_default()),
                    maybe(seen.p_inside),
                    text(&seen.verdict.words().replace(' ', "_")),
                ])?;
            }
        }
    }
    table.finish()
}
