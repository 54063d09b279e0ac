//! Points from distances: the adjustment of a tram gauge's network.
//!
//! A shop with nothing but a tram gauge measures distances, heights and widths. This module finds
//! the positions they determine, says how sure they are, which figures contradict the rest, what
//! nothing checks, what remains open, and which single reading would help most.
//!
//! # The words
//!
//! - *True distance*: point to point. *Level distance*: projected onto the datum plane. Mixing
//!   them up is the classic mistake; [`compare`] questions a reading that fits the other kind.
//! - *Figure*: one observed or printed number with its standard uncertainty ([`Observation`]).
//! - *Free network*: nothing holds it. The figures fix its shape; [`Options::laid_onto`] says onto
//!   which points' stated positions it is laid.
//!
//! # Where to begin
//!
//! [`survey`] takes a tram survey as a shop has it: the sheet's points, which of them are trusted,
//! and the readings; it answers with positions and deviations ready for a verdict. [`compare`] and
//! [`cross_diagonals`] judge single readings without any network. [`Network`] is what stands behind.
//!
//! # The method
//!
//! Least squares, sum over the figures of ((value - predicted) / u)^2, by Gauss-Newton with
//! Levenberg's step control, from the stated positions or from positions found by trilateration
//! and multidimensional scaling. The covariance is the inverse of N = J' W J, its pseudo-inverse
//! for a free network (inner constraints: of all solutions the one with the smallest covariance),
//! carried over to other points by an S-transformation. Motions that change no figure are told
//! apart: those of the whole as one body are the choice of the frame; all others are reported as
//! undetermined, point by point ([`Located::undetermined`]).
//!
//! Every figure is judged by the others (Baarda's data snooping): r, the share of its own error
//! that shows; w, standard normal if nothing is wrong; the smallest blunder that would be found;
//! and where it would push a point, unfound. One test in m is made at alpha / m, so a network of
//! 400 good distances is doubted in 5 % of cases, not in a third of them.
//!
//! # Near-planar networks
//!
//! An underbody is nearly a plane. Distances then fix heights some ten times worse than lengths
//! and widths, and cannot tell up from down: the mirror image fits exactly as well
//! ([`Solution::blind_axes`]), single points may fit on either side of their neighbours
//! ([`Solution::alternatives`]), and a height may be so weak that distances bend over its own
//! uncertainty ([`Why::Bent`]). It is said, never guessed; a few measured heights settle it, and
//! [`Solution::best_extra`] names them.
//!
//! # Limits
//!
//! At most [`MOST_POINTS`] points and [`MOST_FIGURES`] figures; more are refused.
//!
//! Where no positions are stated, the start is a search: usually right with heights, and in a flat
//! network without any height it can end in a wrong mix of ups and downs, which then shows as
//! contradictions. State approximate positions wherever a sheet has them.
//!
//! # Sources
//!
//! W. Baarda, A testing procedure for use in geodetic networks (1968), and S-transformations and
//! criterion matrices (1973); P. Meissl (1969) and E. Grafarend, B. Schaffrin (1974) on inner
//! constraints; P. J. G. Teunissen, Adjustment theory and Testing theory (Delft). Checked in
//! `tests/` against scipy, PyGeodesy, and worked examples by Benning, Ghilani, Strang and Borre,
//! Hoepke, Weiss, Niemeier, and Blankenbach and Willert.

mod adjust;
mod flips;
mod judge;
mod local;
mod model;
mod plan;
mod quantity;
mod settle;
mod solution;
mod spectrum;
mod start;
mod survey;
mod tram;
mod trilaterate;
mod words;

pub use model::{
    MOST_FIGURES, MOST_POINTS, Network, NetworkError, Observation, Options, Place, Point,
    rounding_u,
};
pub use plan::{Deciding, Extra, Goal, Kind, OPEN_PRIOR_MM, Wanted};
pub use quantity::{Gradient, Quantity};
pub use solution::{
    Alternative, Checked, Contradiction, Fit, KnownCheck, Located, Shift, Solution, State,
    Undetermined, Why,
};
pub use survey::{
    RULED_OUT_MM, Standing, SurveyError, SurveyedPoint, TramPoint, TramSurvey, survey,
};
pub use tram::{
    DiagonalCheck, Diagonals, Four, SheetEnd, TramCheck, TramKind, compare, cross_diagonals,
    diagonals,
};
pub use trilaterate::three_spheres;
