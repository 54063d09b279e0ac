//! `estimate-notes.csv`: what supports the lines of the estimate.

use super::write::{Table, text, yes_no};
use crate::error::Result;
use crate::job::record::RecordId;
use crate::job::view::JobView;

const COLUMNS: [&str; 14] = [
    "support",
    "operation",
    "part",
    "reason",
    "note",
    "note_text",
    "stage",
    "photos",
    "readings",
    "points",
    "recorded",
    "author",
    "counts",
    "replaced_by_or_withdrawn",
];

/// Every line of the estimate that a note supports, also those that no longer count.
///
/// | column | meaning |
/// |---|---|
/// | `support` | the line's identity |
/// | `operation` `part` `reason` | what has to be done, to what, and why |
/// | `note` `note_text` `stage` | the note behind it, what that says, and its stage |
/// | `photos` | photos that show it: the names that their files end with, separated by `; ` |
/// | `readings` `points` | readings that show it: identities, and their control points |
/// | `recorded` `author` | when and by whom it was written |
/// | `counts` | `yes`, or `no` where it, or its note, was corrected or withdrawn |
/// | `replaced_by_or_withdrawn` | the line that corrects it, or the reason for withdrawing it |
///
/// # Errors
/// [`Error::Internal`](crate::Error::Internal) only.
pub fn estimate(view: &JobView) -> Result<String> {
    let mut table = Table::new(&COLUMNS)?;
    for support in &view.supports {
        let body = &support.body;
        let note = view.notes.iter().find(|n| n.id == body.note);
        let photo = |id: &RecordId| {
            let photo = view.photos.iter().find(|p| p.id == *id);
            photo.map_or_else(|| id.0.clone(), |p| p.body.name.clone())
        };
        let point = |id: &RecordId| {
            let reading = view.readings.iter().find(|r| r.id == *id)?;
            Some(reading.body.point.clone())
        };
        let ids = |ids: &[RecordId]| ids.iter().map(|id| id.0.clone()).collect::<Vec<_>>();
        let gone = match (&support.replaced_by, &support.withdrawn) {
            (_, Some(withdrawn)) => withdrawn.reason.clone(),
            (Some(id), None) => id.0.clone(),
            (None, None) => String::new(),
        };
        let photos: Vec<String> = body.photos.iter().map(photo).collect();
        let points: Vec<String> = body.readings.iter().filter_map(point).collect();
        table.row([
            text(&support.id.0),
            text(&body.operation),
            text(&body.part),
            text(&body.reason),
            text(&body.note.0),
            text(note.map_or("", |n| n.body.text.as_str())),
            text(
                note.and_then(|n| n.body.stage.as_deref())
                    .unwrap_or_default(),
            ),
            text(&photos.join("; ")),
            text(&ids(&body.readings).join("; ")),
            text(&points.join("; ")),
            text(&support.stamp.at),
            text(&view.author(&support.stamp)),
            yes_no(support.stands() && note.is_some_and(|n| n.stands())),
            text(&gone),
        ])?;
    }
    table.finish()
}
