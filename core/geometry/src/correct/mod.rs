//! The move that brings a part in: which way, how far, and what to expect afterwards.
//!
//! A part (a rail section, a closing panel, a sub-frame) is a handful of control points that move
//! together. Each point has a position x_i, a target p_i and so a deviation d_i = x_i - p_i. A
//! rigid move with the freedoms m changes the deviations to d + G m, as long as m is small; the
//! exact positions are used and G is renewed until nothing changes any more.
//!
//! Two answers are offered, each for three kinds of [`Allowed`] move (free, slide, slide and turn):
//!
//! * [`best_move`] makes the weighted sum of squares least (Newton's method; the weights differ by
//!   axis, so the closed form through a singular value decomposition does not apply).
//! * [`minimax_move`] makes the worst reading, as a fraction of its limit, as small as it can be.
//!   Only it can say "no such move brings every point inside", and then it hands over the
//!   [`Proof`].
//!
//! # What the uncertainties mean
//!
//! Let e be the measurement error of the deviations, with covariance S, and m = -K d the move
//! computed from them. If the move is executed *exactly as computed*, the true deviation afterwards
//! is (d - e) + G m, while the expected one is d + G m: they differ by e, whole. So the standard
//! uncertainty of the deviation expected afterwards is that of the reading it came from
//! ([`Afterwards::u`], from S), and no smaller: moving a part does not average its measurement
//! errors away. How well a shop can execute a move is not part of it; the next survey tells.
//!
//! A different question is how much of the misfit is the part's own shape, which no move can
//! remove. That is (I - G K) d, and repeating the survey would scatter it with the covariance
//! (I - G K) S (I - G K)': [`Afterwards::u_misfit`]. The move itself has K S K'
//! ([`Move::covariance`]).
//!
//! # Sources
//!
//! Newton and Gauss-Newton for least squares: Nocedal and Wright, *Numerical Optimization*, 2nd
//! ed., chapter 10.
//! The rotation vector and its exponential: Murray, Li and Sastry, *A Mathematical Introduction to
//! Robotic Manipulation*, chapter 2. Minimax as a linear program and its dual: Boyd and
//! Vandenberghe, *Convex Optimization*, 4.3.1 and 5.8 (Farkas). The order "worst first, then the
//! next worst" that makes the minimax move unique: Ogryczak, Pioro and Tomaszewski,
//! "Telecommunications network design and max-min optimization problem", 2005. The search where a turn
//! is not linear: Hald and Madsen 1981. (Cited from memory.)
//!
//! # Example
//!
//! A rail end sits 7.2 mm too far forward and 3.6 mm low:
//!
//! ```
//! use datumtrail_geometry::correct::{Allowed, Part, PartPoint, best_move, words};
//! use datumtrail_geometry::frame::{Side, Vec3};
//!
//! let target = [
//!     ("R7", Vec3::new(3210.0, 530.0, 410.0)),
//!     ("R8", Vec3::new(3460.0, 545.0, 415.0)),
//!     ("R9", Vec3::new(3455.0, 490.0, 520.0)),
//! ];
//! let points = target.iter().map(|(name, target)| PartPoint {
//!     name: name.to_string(),
//!     side: Side::Right,
//!     position: target + Vec3::new(-7.2, 0.0, -3.6),
//!     target: *target,
//!     limits: [Some(3.0); 3],
//! });
//! let part = Part::new(points.collect(), None)?;
//! let answer = best_move(&part, &Allowed::Free)?;
//! assert_eq!(words::push(&part, &answer), "Push the part 7.2 mm rearward and 3.6 mm up.");
//! assert!(answer.outside().is_empty());
//! # Ok::<(), datumtrail_geometry::correct::MoveError>(())
//! ```

mod afterwards;
mod best;
mod chebyshev;
mod compare;
mod freedoms;
mod linear;
mod minimax;
mod part;
mod proof;
mod rigid;
mod search;
mod within;
pub mod words;

pub use afterwards::{Afterwards, Move};
pub use best::best_move;
pub use compare::{Achieved, AchievedPoint, compare};
pub use freedoms::{Allowed, LeftAlone};
pub use minimax::{Minimax, minimax_move};
pub use part::{MoveError, Part, PartPoint};
pub use proof::{Contradiction, Proof};
pub use rigid::RigidMove;
