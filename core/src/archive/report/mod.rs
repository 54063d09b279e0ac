//! The story as `report.pdf`, for an insurer's file: A4 or US Letter, PDF/A-2a and PDF/UA-1.
//!
//! It is drawn from the same derived [`Story`](super::story::Story) as `timeline.html`, and says nothing that the page
//! does not say. Its pictures are made from what goes out of each photo ([`super::outgoing`]), so
//! that a part that is covered in the archive is covered here.
//!
//! Without the feature `report` there is no report and the archive says nothing of one.

#[cfg(feature = "report")]
mod drawn;
#[cfg(not(feature = "report"))]
mod without;

#[cfg(feature = "report")]
pub(crate) use drawn::{Pictures, write};
#[cfg(not(feature = "report"))]
pub(crate) use without::{Pictures, write};

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
