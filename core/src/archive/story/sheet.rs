//! The dimension sheet: the files it comes from, and where it contradicts itself.

use datumtrail_sheet::Sheet;
use serde::Serialize;

use crate::archive::file;
use crate::job::audit::{self, SheetAudit};
use crate::job::record::{self, RecordId};
use crate::job::view::{Entry, JobView};

/// The dimension sheet that counts.
#[derive(Clone, Debug, Serialize)]
pub struct SheetStory {
    pub id: RecordId,
    pub file: String,
    /// Where the maker published it; of several files, each source once.
    pub source: String,
    pub units: String,
    pub axes: Option<String>,
    pub limit_mm: Option<f64>,
    pub limit_source: Option<String>,
    pub at: String,
    pub author: String,
    /// Every file that it comes from, in the order in which they were loaded.
    pub files: Vec<SheetFile>,
    /// Sheets that were loaded before it, and no longer count.
    pub earlier: usize,
    /// Control points and distances in it.
    pub points: usize,
    pub distances: usize,
    /// The sheet against itself.
    pub audit: Option<SheetAudit>,
    /// Why it could not be held against itself.
    pub not_audited: Option<String>,
}

/// One file of the sheet.
#[derive(Clone, Debug, Serialize)]
pub struct SheetFile {
    pub id: RecordId,
    /// Its name as it came.
    pub file: String,
    pub source: String,
    pub at: String,
    pub author: String,
    /// Where it lies in the archive, below `data/`.
    pub archived: String,
}

/// The sheets that count, the first loaded first, each with its name in the archive.
pub(in crate::archive) fn files(view: &JobView) -> Vec<(String, &Entry<record::Sheet>)> {
    let mut chain: Vec<&Entry<record::Sheet>> = view.sheet().into_iter().collect();
    while let Some(adds_to) = chain.last().and_then(|s| s.body.adds_to.as_ref()) {
        let earlier = view.sheets.iter().find(|s| s.id == *adds_to && s.stands());
        // A chain that bites its own tail ends here.
        match earlier.filter(|e| !chain.iter().any(|known| known.id == e.id)) {
            Some(earlier) => chain.push(earlier),
            None => break,
        }
    }
    let name = |index: usize| match index {
        0 => file::SHEET.to_owned(),
        n => file::SHEET.replace(".csv", &format!("-{}.csv", n + 1)),
    };
    let in_order = chain.into_iter().rev().enumerate();
    in_order.map(|(n, sheet)| (name(n), sheet)).collect()
}

pub(super) fn tell(view: &JobView, sheet: Option<&Sheet>) -> Option<SheetStory> {
    let entry = view.sheet()?;
    let body = &entry.body;
    let files: Vec<SheetFile> = files(view)
        .into_iter()
        .map(|(archived, part)| SheetFile {
            id: part.id.clone(),
            file: part.body.file.clone(),
            source: part.body.source.clone(),
            at: part.stamp.at.clone(),
            author: view.author(&part.stamp),
            archived,
        })
        .collect();
    let (audit, not_audited) = match sheet.map(audit::audit) {
        Some(Ok(audit)) => (Some(audit), None),
        Some(Err(error)) => (None, Some(error.to_string())),
        None => (None, Some("the sheet can't be read".into())),
    };
    Some(SheetStory {
        id: entry.id.clone(),
        file: body.file.clone(),
        source: sheet.map_or(&body.source[..], Sheet::source).to_owned(),
        units: body.units.clone(),
        axes: body.axes.clone(),
        limit_mm: body.limit_mm,
        limit_source: body.limit_source.clone(),
        at: entry.stamp.at.clone(),
        author: view.author(&entry.stamp),
        earlier: view.sheets.len() - files.len(),
        files,
        points: sheet.map_or(0, |s| s.points().len()),
        distances: sheet.map_or(0, |s| s.distances().len()),
        audit,
        not_audited,
    })
}
