//! `trams.csv`: the tram readings, and each against the sheet.

use std::collections::HashMap;

use super::write::{Table, maybe, number, text, yes_no};
use crate::error::Result;
use crate::job::measure;
use crate::job::record::RecordId;
use crate::job::tram::{self, TramReport};
use crate::job::view::JobView;

const COLUMNS: [&str; 22] = [
    "reading",
    "stage",
    "kind",
    "from",
    "to",
    "value_mm",
    "u_mm",
    "instrument",
    "file",
    "time",
    "recorded",
    "author",
    "counts",
    "replaced_by_or_withdrawn",
    "sheet_mm",
    "sheet_prints_it",
    "deviation_mm",
    "deviation_u_mm",
    "limit_mm",
    "limit_source",
    "p_inside",
    "verdict",
];

/// All tram readings as they were observed, also those that no longer count.
///
/// | column | meaning |
/// |---|---|
/// | `reading` `stage` | the reading's identity, and its stage |
/// | `kind` | `true` (point to point), `level` (projected onto the datum plane), `height` (of one point above it) |
/// | `from` `to` | the control points; a height has no `to` |
/// | `value_mm` `u_mm` | what the gauge showed, and its standard uncertainty, where that was stated |
/// | `instrument` `file` `time` | with what it was taken, the file it came in, when it was taken |
/// | `recorded` `author` | when and by whom it was recorded |
/// | `counts` | `yes`, or `no` for one that was corrected or withdrawn |
/// | `replaced_by_or_withdrawn` | the reading that corrects it, or the reason for withdrawing it |
/// | `sheet_mm` | the same distance by the sheet; from here on empty where it can't be compared |
/// | `sheet_prints_it` | `yes`, or `no` where the sheet's positions give it |
/// | `deviation_mm` `deviation_u_mm` | reading minus sheet, and its standard uncertainty |
/// | `limit_mm` `limit_source` `p_inside` `verdict` | as in `measurements.csv` |
///
/// # Errors
/// [`Error::Internal`](crate::Error::Internal) only.
pub fn trams(view: &JobView) -> Result<String> {
    let compared = measure::sheet_of(view)
        .map(|sheet| tram::compare(view, &sheet, None, None).readings)
        .unwrap_or_default();
    let compared: HashMap<&RecordId, &TramReport> =
        compared.iter().map(|r| (&r.reading, r)).collect();
    let mut table = Table::new(&COLUMNS)?;
    for reading in &view.trams {
        let body = &reading.body;
        let seen = compared.get(&reading.id);
        let maybe_text = |value: &Option<String>| text(value.as_deref().unwrap_or_default());
        let gone = match (&reading.replaced_by, &reading.withdrawn) {
            (_, Some(withdrawn)) => withdrawn.reason.clone(),
            (Some(id), None) => id.0.clone(),
            (None, None) => String::new(),
        };
        table.row([
            text(&reading.id.0),
            text(&body.stage),
            text(body.kind.words()),
            text(&body.a),
            maybe_text(&body.b),
            number(body.value_mm),
            maybe(body.u_mm),
            maybe_text(&body.instrument),
            maybe_text(&body.file),
            maybe_text(&body.time),
            text(&reading.stamp.at),
            text(&view.author(&reading.stamp)),
            yes_no(reading.stands()),
            text(&gone),
            maybe(seen.map(|s| s.sheet_mm)),
            seen.map_or_else(String::new, |s| yes_no(s.printed)),
            maybe(seen.map(|s| s.deviation_mm)),
            maybe(seen.and_then(|s| s.u_mm)),
            maybe(seen.and_then(|s| s.limit_mm)),
            seen.map_or_else(String::new, |s| maybe_text(&s.limit_source)),
            maybe(seen.and_then(|s| s.p_inside)),
            seen.map_or_else(String::new, |s| text(&s.verdict.words().replace(' ', "_"))),
        ])?;
    }
    table.finish()
}
