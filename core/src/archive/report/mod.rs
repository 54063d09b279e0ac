//! The story as `report.pdf`, for an insurer's file: A4 or US Letter, PDF/A-2a and PDF/UA-1.
//!
//! It is drawn from the same derived [`Story`] as `timeline.html`, and says nothing that the page
//! does not say. Its pictures are made from what goes out of each photo ([`super::outgoing`]), so
//! that a part that is covered in the archive is covered here.
//!
//! | file | what it draws |
//! |---|---|
//! | `top` | what was done, and the answer |
//! | `moved` | the damage in words, the moves and what came of them |
//! | `stations` | the line of stations, before and after |
//! | `shapes` | the verdicts' shapes |
//! | `numbers` | the table of deviations, before and after |
//! | `trams` | tram readings, and where the dimension sheet contradicts itself |
//! | `holds` | hold points and how they opened |
//! | `estimate` | notes that support a line of the estimate |
//! | `stages` | when each stage was open, and what was written down |
//! | `prints` | the photos |
//! | `pictures` | makes the photos small enough, on threads of its own |
//! | `people` | people, devices, seals, clocks, what was struck |
//! | `whole` | what the archive is, how to check it, and the cautions |
//!
//! Without the feature `report` there is no report and the archive says nothing of one.

#[cfg(feature = "report")]
mod estimate;
#[cfg(feature = "report")]
mod holds;
#[cfg(feature = "report")]
mod moved;
#[cfg(feature = "report")]
mod numbers;
#[cfg(feature = "report")]
mod people;
#[cfg(feature = "report")]
mod pictures;
#[cfg(feature = "report")]
mod prints;
#[cfg(feature = "report")]
mod shapes;
#[cfg(feature = "report")]
mod stages;
#[cfg(feature = "report")]
mod stations;
#[cfg(feature = "report")]
mod top;
#[cfg(feature = "report")]
mod trams;
#[cfg(feature = "report")]
mod whole;

#[cfg(feature = "report")]
pub(crate) use pictures::Pictures;

use super::story::Story;
use crate::error::Result;
use crate::job::view::JobView;

/// The paper that a report is laid out for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum PaperSize {
    /// 210 by 297 mm.
    #[default]
    A4,
    /// US Letter, 8.5 by 11 inches.
    Letter,
}

/// Whether this build writes reports.
pub const WRITTEN: bool = cfg!(feature = "report");

/// The report; none in a build without it.
#[cfg(feature = "report")]
pub(crate) fn write(
    story: &Story,
    view: &JobView,
    document: &[u8],
    pictures: Pictures,
    size: PaperSize,
) -> Result<Option<Vec<u8>>> {
    use crate::error::Error;

    let pictures = pictures.made();
    let mut paper = datumtrail_paper::Paper::new(whole::settings(story, view, size));
    let size = paper_size(size);
    top::draw(&mut paper, story);
    stations::draw(&mut paper, story, size);
    numbers::draw(&mut paper, story);
    moved::draw(&mut paper, story);
    trams::draw(&mut paper, story);
    holds::draw(&mut paper, story);
    estimate::draw(&mut paper, story, view);
    stages::draw(&mut paper, story);
    prints::draw(&mut paper, story, &pictures);
    people::draw(&mut paper, story, view);
    whole::draw(&mut paper, story, document);
    let pdf = paper
        .finish()
        .map_err(|e| Error::Internal(format!("{}: {e}", super::file::REPORT)))?;
    Ok(Some(pdf.bytes))
}

#[cfg(feature = "report")]
fn paper_size(size: PaperSize) -> datumtrail_paper::Size {
    match size {
        PaperSize::A4 => datumtrail_paper::Size::A4,
        PaperSize::Letter => datumtrail_paper::Size::Letter,
    }
}

/// Text with a capital at its beginning.
#[cfg(feature = "report")]
fn capital(text: &str) -> String {
    let mut letters = text.chars();
    match letters.next() {
        Some(first) => first.to_uppercase().chain(letters).collect(),
        None => String::new(),
    }
}

#[cfg(not(feature = "report"))]
pub(crate) use without::{Pictures, write};

/// What stands in for it in a build without reports.
#[cfg(not(feature = "report"))]
mod without {
    use super::{JobView, PaperSize, Result, Story};
    use crate::job::record::RecordId;

    pub(crate) struct Pictures;

    impl Pictures {
        pub fn of(_photos: usize) -> Self {
            Self
        }

        pub fn add(&mut self, _photo: &RecordId, _bytes: Vec<u8>) {}
    }

    pub(crate) fn write(
        _story: &Story,
        _view: &JobView,
        _document: &[u8],
        _pictures: Pictures,
        _size: PaperSize,
    ) -> Result<Option<Vec<u8>>> {
        Ok(None)
    }
}
