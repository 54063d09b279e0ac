//! What moved between two surveys of a job, independent of the sheet.

use datumtrail_geometry::check::SetUpResult;
use datumtrail_geometry::compare::{self, Comparison, Moved};
use serde::Serialize;

use super::measure;
use super::record::{self, RecordId};
use super::view::{Entry, JobView};
use crate::error::{Error, Result};

/// Two surveys compared.
#[derive(Clone, Debug)]
pub struct Compared {
    pub before: RecordId,
    pub before_stage: String,
    pub after: RecordId,
    pub after_stage: String,
    pub references: Vec<String>,
    pub comparison: Comparison,
}

/// The interface of `compare --json`.
#[derive(Clone, Debug, Serialize)]
pub struct CompareReport<'a> {
    pub before: &'a RecordId,
    pub before_stage: &'a str,
    pub after: &'a RecordId,
    pub after_stage: &'a str,
    pub references: &'a [String],
    pub setup: &'a SetUpResult,
    pub points: &'a [Moved],
}

/// Compares a later survey with an earlier one, set up on the points named, or on the reference
/// points that both have.
///
/// # Errors
/// [`Error::Measurement`] where the two have too few of them in common.
pub fn compare(
    view: &JobView,
    before: &Entry<record::Survey>,
    after: &Entry<record::Survey>,
    references: &[String],
) -> Result<Compared> {
    let first = measure::measure(view, before)?;
    let second = measure::measure(view, after)?;
    let references: Vec<String> = if references.is_empty() {
        let both = |r: &&String| after.body.refs.contains(r);
        before.body.refs.iter().filter(both).cloned().collect()
    } else {
        references.to_vec()
    };
    let comparison = compare::compare(
        &first.check,
        &first.gathered.readings,
        &second.gathered.readings,
        &references,
    )
    .map_err(|e| {
        Error::Measurement(
            format!(
                "the surveys {} and {} can't be compared on {}: {e}",
                before.id.short(),
                after.id.short(),
                if references.is_empty() {
                    "no common reference points".into()
                } else {
                    references.join(", ")
                }
            ),
            "name points that were read in both and have not moved: --refs A,A',G,G'".into(),
        )
    })?;
    Ok(Compared {
        before: before.id.clone(),
        before_stage: before.body.stage.clone(),
        after: after.id.clone(),
        after_stage: after.body.stage.clone(),
        references,
        comparison,
    })
}

impl Compared {
    /// As `compare --json` shows it.
    pub fn report(&self) -> CompareReport<'_> {
        CompareReport {
            before: &self.before,
            before_stage: &self.before_stage,
            after: &self.after,
            after_stage: &self.after_stage,
            references: &self.references,
            setup: &self.comparison.setup,
            points: &self.comparison.points,
        }
    }
}
