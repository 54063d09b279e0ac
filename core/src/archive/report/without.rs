//! What stands in for the report in a build without it.

use super::PaperSize;
use crate::archive::story::Story;
use crate::error::Result;
use crate::job::record::RecordId;
use crate::job::view::JobView;

/// No pictures.
pub(crate) struct Pictures;

impl Pictures {
    pub fn of(_photos: usize) -> Self {
        Self
    }

    pub fn add(&mut self, _photo: &RecordId, _bytes: Vec<u8>) {}
}

/// No report.
pub(crate) fn write(
    _story: &Story,
    _view: &JobView,
    _document: &[u8],
    _pictures: Pictures,
    _size: PaperSize,
) -> Result<Option<Vec<u8>>> {
    Ok(None)
}
