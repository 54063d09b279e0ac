//! The report drawn.
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

mod estimate;
mod holds;
mod moved;
mod numbers;
mod people;
mod pictures;
mod prints;
mod shapes;
mod stages;
mod stations;
mod top;
mod trams;
mod whole;

use super::PaperSize;
use crate::archive::file;
use crate::archive::story::Story;
use crate::error::{Error, Result};
use crate::job::view::JobView;

pub(crate) use pictures::Pictures;

/// The report.
pub(crate) fn write(
    story: &Story,
    view: &JobView,
    document: &[u8],
    pictures: Pictures,
    size: PaperSize,
) -> Result<Option<Vec<u8>>> {
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
        .map_err(|e| Error::Internal(format!("{}: {e}", file::REPORT)))?;
    Ok(Some(pdf.bytes))
}

fn paper_size(size: PaperSize) -> datumtrail_paper::Size {
    match size {
        PaperSize::A4 => datumtrail_paper::Size::A4,
        PaperSize::Letter => datumtrail_paper::Size::Letter,
    }
}
