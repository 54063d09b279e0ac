//! Reading the damage: what moved, as few causes as explain it, in the trade's own kinds.
//!
//! A bent vehicle shows dozens of deviations and has one or two causes. For each end the deviations
//! d of the measured points, with their joint covariance S, are explained by the simplest model
//! that fits: nothing moved; one or both sides pushed as one, or each by its own amount; swung as one rigid block; bent or
//! ramped along the length; from some station outwards. Only where none fits are the points listed
//! one by one. [`read()`] says how the choice is made.
//!
//! From the chosen model come the kinds: mash, sidesway, sag or kick-up (what both sides share),
//! diamond, spread and twist (what tells them apart), each with its size and standard uncertainty
//! at the outer end of what moved. One cause is named once: a left rail driven back 12 mm is a mash
//! of the left side, not half a mash and a diamond. A kind is named only where it stands out
//! ([`NAMED_FROM`]).
//!
//! S must hold the build spread (how far an undamaged vehicle may itself be from the sheet);
//! without it a vehicle that was built 2 mm off reads as damaged.
//!
//! # How often it is right
//! Shares of seeded surveys of an invented van with u = 0.5 mm, a build spread of 0.6 mm and six
//! reference points in the cell, made by `examples/damage_table.rs`. "Kinds and side right" means
//! exactly the kinds that were done and no other; "something else fits" that another explanation
//! was listed as well, because the readings can't tell the two apart:
#![doc = include_str!("../../damage.md")]
//!
//! # Example
//!
//! ```
//! use datumtrail_geometry::damage::{self, Kind, Finding, Measured, MeasuredPoint, Zone, words};
//! use datumtrail_geometry::frame::{Side, Vec3};
//! use datumtrail_geometry::verdict::Verdict;
//! use nalgebra::DMatrix;
//!
//! // The left front rail was driven back 12 mm; the right one stayed.
//! let point = |name: &str, side: Side, x: f64, back: f64| MeasuredPoint {
//!     name: name.into(),
//!     side,
//!     spec: Vec3::new(x, if side == Side::Left { -450.0 } else { 450.0 }, 200.0),
//!     deviation: Vec3::new(back, 0.1, -0.2),
//!     limits: [None; 3],
//!     verdicts: [Verdict::NoLimitGiven; 3],
//!     is_reference: x > 300.0,
//!     zone: if x > 300.0 { Zone::Centre } else { Zone::Front },
//!     member: "rail".into(),
//! };
//! let points = vec![
//!     point("H", Side::Left, -550.0, 11.8), point("H'", Side::Right, -550.0, 0.3),
//!     point("A", Side::Left, 0.0, 12.2), point("A'", Side::Right, 0.0, -0.2),
//!     point("G", Side::Left, 900.0, 0.0), point("G'", Side::Right, 900.0, 0.0),
//! ];
//! let u = 0.5;
//! let measured = Measured::new(points, DMatrix::identity(18, 18) * u * u)?;
//! let zones = damage::read(&measured, 0.05)?;
//! let Finding::Moved { by, .. } = &zones[0].finding else { panic!() };
//! let named: Vec<Kind> = by.readings.iter().filter(|r| r.named()).map(|r| r.kind).collect();
//! assert_eq!(named, [Kind::Mash]);
//! assert_eq!(words::zone(&zones[0])[0], "Front: the left side was pushed as one.");
//! # Ok::<(), datumtrail_geometry::damage::DamageError>(())
//! ```

mod end;
mod kinds;
mod layout;
mod measured;
mod select;
mod shape;
pub mod words;

pub use kinds::{DamageReading, Kind, NAMED_FROM};
pub use layout::{Layout, Place, SheetPoint, Zone};
pub use measured::{DamageError, Measured, MeasuredPoint};
pub use select::{Explanation, Finding, MovedPoint, ZoneDamage, read};
pub use shape::{Scope, Shape};
