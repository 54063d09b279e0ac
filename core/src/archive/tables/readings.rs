//! `readings.csv`: what was observed.

use super::write::{Table, maybe, number, text, yes_no};
use crate::error::Result;
use crate::job::gather;
use crate::job::record::{RecordId, Survey};
use crate::job::view::{Entry, JobView};

const COLUMNS: [&str; 20] = [
    "survey",
    "stage",
    "instrument",
    "reading",
    "point",
    "x_mm",
    "y_mm",
    "z_mm",
    "u_x_mm",
    "u_y_mm",
    "u_z_mm",
    "survey_u_mm",
    "reference",
    "time",
    "recorded",
    "author",
    "counts",
    "replaced_by_or_withdrawn",
    "why",
    "joins",
];

/// All readings as they were observed, also those that no longer count.
///
/// One line for each reading, also those that no longer count.
///
/// | column | meaning |
/// |---|---|
/// | `survey` `stage` `instrument` | which survey |
/// | `reading` `point` | the reading's identity, and the control point |
/// | `x_mm` `y_mm` `z_mm` | as observed, in the instrument's own frame |
/// | `u_x_mm` `u_y_mm` `u_z_mm` | standard uncertainty, where it was stated with the reading |
/// | `survey_u_mm` | the one that the survey states for all its readings, with what seating adds |
/// | `reference` | `yes`: the survey's own set-up rests on this point |
/// | `time` | when it was taken, where that is known |
/// | `recorded` `author` | when and by whom it was recorded |
/// | `counts` | `yes`, or `no` for one that was corrected or withdrawn |
/// | `replaced_by_or_withdrawn` | the reading that corrects it, or the reason for withdrawing it |
/// | `why` | why this reading replaces an earlier one, where it mends a blunder |
/// | `joins` | the survey that the set-up was joined to; empty where it stands by itself |
///
/// # Errors
/// [`Error::Internal`](crate::Error::Internal) only.
pub fn readings(view: &JobView) -> Result<String> {
    let mut table = Table::new(&COLUMNS)?;
    for reading in &view.readings {
        let survey = view.surveys.iter().find(|s| s.id == reading.body.survey);
        let body = &reading.body;
        let u = |k: usize| maybe(body.u.and_then(|u| u.get(k).copied()));
        let of_survey =
            |get: fn(&Survey) -> &str| survey.map_or_else(String::new, |s| text(get(&s.body)));
        let joins = survey.and_then(|s| s.body.joins.as_ref());
        let gone = match (&reading.replaced_by, &reading.withdrawn) {
            (_, Some(withdrawn)) => withdrawn.reason.clone(),
            (Some(id), None) => id.0.clone(),
            (None, None) => String::new(),
        };
        table.row([
            text(&body.survey.0),
            of_survey(|s| &s.stage),
            of_survey(|s| s.instrument.as_deref().unwrap_or_default()),
            text(&reading.id.0),
            text(&body.point),
            number(body.x),
            number(body.y),
            number(body.z),
            u(0),
            u(1),
            u(2),
            maybe(survey.and_then(|s| gather::general_u(&s.body))),
            yes_no(survey.is_some_and(|s| s.body.refs.contains(&body.point))),
            text(body.time.as_deref().unwrap_or_default()),
            text(&reading.stamp.at),
            text(&view.author(&reading.stamp)),
            yes_no(reading.stands() && counts(view, survey)),
            text(&gone),
            text(body.why.as_deref().unwrap_or_default()),
            text(joins.map_or("", |base| base.0.as_str())),
        ])?;
    }
    table.finish()
}

/// Whether a survey counts: a set-up that joined one that was withdrawn has nothing to stand on.
fn counts(view: &JobView, survey: Option<&Entry<Survey>>) -> bool {
    survey.is_some_and(|survey| {
        let base = survey.body.joins.as_ref();
        let base_counts =
            |base: &RecordId| view.surveys.iter().any(|s| s.id == *base && s.stands());
        survey.stands() && base.is_none_or(base_counts)
    })
}
