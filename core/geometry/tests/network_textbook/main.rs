//! Worked examples from textbooks and papers, with their published answers.
//!
//! All numbers come from the example files that GNU Gama distributes in `tests/krumm/`: input and
//! adjusted coordinates as published by Friedhelm Krumm, "Geodetic Network Adjustment Examples",
//! Geodaetisches Institut, Universitaet Stuttgart, Rev. 3.5 (2020), each with the book or paper it
//! was taken from. Metres there, millimetres here. Published standard deviations are a posteriori:
//! ours times sqrt(chi-square / degrees of freedom).

mod plane;
mod space;

use datumtrail_geometry::network::Options;

/// As the books do it: everything adjusted together.
fn keep_all() -> Options {
    Options {
        leave_out_blunders: false,
        ..Options::default()
    }
}
