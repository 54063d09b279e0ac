//! `measurements.csv` and `readings.csv`: numbers that can be recomputed and compared.
//!
//! Both are plain CSV (RFC 4180, UTF-8, a header, a decimal point). Every number is the shortest
//! text that reads back as the very same 64-bit number, so nothing is lost between the computation
//! and whoever repeats it. An empty field means: there is none.
//!
//! A text that begins with `=`, `+`, `-` or `@` gets a `'` in front: a spreadsheet would take it
//! for a formula, and texts come from many hands.
//!
//! # measurements.csv
//! One line for each axis of each point of the sheet, for each survey that counts.
//!
//! | column | meaning |
//! |---|---|
//! | `survey` `stage` `recorded` | which survey, in which stage, when it was recorded |
//! | `point` `side` `what` | the control point, as the sheet has it |
//! | `reference` | `yes`: the set-up rests on it, and its deviation is judged by the others |
//! | `axis` | `length` (positive rearward), `width` (positive to the right), `height` (positive up) |
//! | `sheet_mm` `reading_mm` | where the sheet has it, and where it was found, in the vehicle's frame |
//! | `deviation_mm` `direction` | reading minus sheet, and the direction in words |
//! | `u_mm` | standard uncertainty of the deviation |
//! | `limit_mm` `limit_source` | the permitted deviation to either side, and who says so |
//! | `p_inside` | the probability that the true deviation is within the limit |
//! | `verdict` | `inside` `outside` `too_close_to_call` `no_limit_given` `not_measured` `unchecked` |
//!
//! # readings.csv
//! One line for each reading, also those that no longer count.
//!
//! | column | meaning |
//! |---|---|
//! | `survey` `stage` `instrument` | which survey |
//! | `reading` `point` | the reading's identity, and the control point |
//! | `x_mm` `y_mm` `z_mm` | as observed, in the instrument's own frame |
//! | `u_x_mm` `u_y_mm` `u_z_mm` | standard uncertainty, where it was stated with the reading |
//! | `survey_u_mm` | the one that the survey states for all its readings |
//! | `reference` | `yes`: the survey's set-up rests on this point |
//! | `time` | when it was taken, where that is known |
//! | `recorded` `author` | when and by whom it was recorded |
//! | `counts` | `yes`, or `no` for one that was corrected or withdrawn |
//! | `replaced_by_or_withdrawn` | the reading that corrects it, or the reason for withdrawing it |

use datumtrail_geometry::frame::direction;

use super::words;
use crate::error::{Error, Result};
use crate::job::gather;
use crate::job::measure;
use crate::job::view::JobView;

const MEASUREMENTS: [&str; 17] = [
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

const READINGS: [&str; 18] = [
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
];

/// Two results of the same computation may differ by this much, in millimetres or in probability:
/// far below anything that matters, and far above what two computers' last digits do.
pub const TOLERANCE: f64 = 1e-6;

/// All deviations, computed from the readings and the sheet in the document.
///
/// Surveys that can't be computed have no lines.
///
/// # Errors
/// [`Error::Internal`] only.
pub fn measurements(view: &JobView) -> Result<String> {
    let mut table = Table::new(&MEASUREMENTS)?;
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

/// All readings as they were observed, also those that no longer count.
///
/// # Errors
/// [`Error::Internal`] only.
pub fn readings(view: &JobView) -> Result<String> {
    let mut table = Table::new(&READINGS)?;
    for reading in &view.readings {
        let survey = view.surveys.iter().find(|s| s.id == reading.body.survey);
        let body = &reading.body;
        let u = |k: usize| maybe(body.u.and_then(|u| u.get(k).copied()));
        let of_survey = |get: fn(&crate::job::record::Survey) -> &str| {
            survey.map_or_else(String::new, |s| text(get(&s.body)))
        };
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
            yes_no(reading.stands() && survey.is_some_and(|s| s.stands())),
            text(&gone),
        ])?;
    }
    table.finish()
}

/// Where a table differs from what was computed again, one sentence each, at most `most`.
///
/// Numbers may differ by [`TOLERANCE`]; all else must be the same.
pub fn differences(computed: &str, found: &[u8], most: usize) -> Vec<String> {
    let mut all = Vec::new();
    let mut ours = csv::ReaderBuilder::new().from_reader(computed.as_bytes());
    let mut theirs = csv::ReaderBuilder::new().flexible(true).from_reader(found);
    let header = ours.headers().cloned().unwrap_or_default();
    match theirs.headers() {
        Ok(found) if *found == header => {}
        Ok(_) => return vec!["its columns are not the expected ones".into()],
        Err(e) => return vec![format!("it can't be read: {e}")],
    }
    let (mut ours, mut theirs) = (ours.records(), theirs.records());
    for line in 2.. {
        if all.len() >= most {
            break;
        }
        match (ours.next(), theirs.next()) {
            (None, None) => break,
            (Some(Ok(a)), Some(Ok(b))) => {
                let named = |column: &str| {
                    let at = header.iter().position(|h| h == column);
                    at.and_then(|at| a.get(at)).unwrap_or_default()
                };
                let place = [named("point"), named("axis")].join(" ");
                for (column, name) in header.iter().enumerate() {
                    let a = a.get(column).unwrap_or_default();
                    let b = b.get(column).unwrap_or_default();
                    if !same(a, b) {
                        all.push(format!(
                            "line {line} ({}): {name} is {}, and {} was computed from the readings",
                            place.trim(),
                            shown(b),
                            shown(a)
                        ));
                    }
                }
            }
            (Some(_), None) => {
                all.push(format!(
                    "it ends before line {line}, and there should be more"
                ));
                break;
            }
            (None, Some(_)) => {
                all.push(format!(
                    "line {line} and those behind it should not be there"
                ));
                break;
            }
            (_, Some(Err(e))) => {
                all.push(format!("line {line} can't be read: {e}"));
                break;
            }
            (Some(Err(e)), _) => {
                all.push(format!("what was computed can't be read: {e}"));
                break;
            }
        }
    }
    all.truncate(most);
    all
}

fn same(a: &str, b: &str) -> bool {
    if a == b {
        return true;
    }
    match (a.parse::<f64>(), b.parse::<f64>()) {
        (Ok(a), Ok(b)) => (a - b).abs() <= TOLERANCE,
        _ => false,
    }
}

fn shown(value: &str) -> String {
    match value {
        "" => "empty".into(),
        text => format!("«{}»", words::cut(text, 60)),
    }
}

/// Debug is the shortest text that reads back as the same number, with an exponent where that is
/// shorter.
fn number(value: f64) -> String {
    format!("{value:?}")
}

fn maybe(value: Option<f64>) -> String {
    value.map_or_else(String::new, number)
}

fn yes_no(value: bool) -> String {
    if value { "yes" } else { "no" }.into()
}

fn text(value: &str) -> String {
    if value.starts_with(['=', '+', '-', '@', '\t', '\r']) {
        format!("'{value}")
    } else {
        value.to_owned()
    }
}

struct Table(csv::Writer<Vec<u8>>);

impl Table {
    fn new(header: &[&str]) -> Result<Self> {
        let mut table = Self(
            csv::WriterBuilder::new()
                .terminator(csv::Terminator::CRLF)
                .from_writer(Vec::new()),
        );
        table.0.write_record(header).map_err(internal)?;
        Ok(table)
    }

    fn row<const N: usize>(&mut self, fields: [String; N]) -> Result<()> {
        self.0.write_record(&fields).map_err(internal)
    }

    fn finish(self) -> Result<String> {
        let bytes = self.0.into_inner().map_err(internal)?;
        String::from_utf8(bytes).map_err(internal)
    }
}

fn internal(error: impl std::fmt::Display) -> Error {
    Error::Internal(format!("a table could not be written: {error}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_read_back_as_the_very_same() {
        for value in [
            0.1 + 0.2,
            -7.4e-9,
            1e300,
            -0.0,
            3.0,
            f64::MIN_POSITIVE,
            1.0 / 3.0,
        ] {
            let back: f64 = number(value).parse().unwrap();
            assert_eq!(back.to_bits(), value.to_bits(), "{}", number(value));
        }
    }

    #[test]
    fn a_text_never_becomes_a_formula() {
        assert_eq!(text("=1+1"), "'=1+1");
        assert_eq!(text("@cmd"), "'@cmd");
        assert_eq!(text("A'"), "A'");
    }

    #[test]
    fn differences_are_named_by_line_and_column() {
        let computed = "point,axis,u_mm\nA,length,0.5\nB,width,1e-9\n";
        let none = differences(
            computed,
            b"point,axis,u_mm\nA,length,0.5000000001\nB,width,0\n",
            9,
        );
        assert_eq!(none, Vec::<String>::new());
        let one = differences(
            computed,
            b"point,axis,u_mm\nA,length,0.6\nB,width,1e-9\n",
            9,
        );
        assert_eq!(
            one,
            ["line 2 (A length): u_mm is «0.6», and «0.5» was computed from the readings"]
        );
        for (found, expected) in [
            ("point,axis,u_mm\nA,length,0.5\n", "ends before line 3"),
            (
                "point,axis,u_mm\nA,length,0.5\nB,width,0\nC,width,0\n",
                "line 4",
            ),
            ("point,axis\nA,length\n", "columns"),
            ("point,axis,u_mm\nA,length,\nB,width,1e-9\n", "empty"),
            ("point,axis,u_mm\nA,length,NaN\nB,width,1e-9\n", "«NaN»"),
        ] {
            let all = differences(computed, found.as_bytes(), 9);
            assert!(all.len() == 1 && all[0].contains(expected), "{all:?}");
        }
    }
}
