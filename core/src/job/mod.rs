//! The job document: one vehicle, one repair, one automerge document.
//!
//! # Schema, version 1.2
//!
//! ```text
//! format    "datumtrail.job"
//! schema    1              a newer major version is opened read-only
//! minor     2              additions that an older program may pass over
//! job       the job's identity, a UUID
//! copy_for  "insurer" or "owner", in a copy from which records were left out; else not there
//! about     { name | vehicle | zone | plan | part | layout : { value, by, person?, at } }
//! sheets, openings, closings, surveys, readings, trams, moves, photos, covers,
//! pictures, notes, supports, ticks, releases, ties, clocks, withdrawals, seals, receipts, skews,
//! devices
//!           each a map from a record's identity to the record
//! ```
//!
//! A record's identity is a UUID of version 7, so that identities sort by the time they were made
//! (the map `devices` is keyed by device instead). Every record carries `by` (the device's public
//! key), `person` where somebody said who they are, and `at` (RFC 3339 with offset).
//!
//! Records are written once and never changed. A correction is a new record whose `replaces` names
//! the old one; a withdrawal is a record in `withdrawals` that names its `target` and gives a
//! reason. So nothing is ever overwritten, and two devices that work apart never collide, except
//! in `about`: there, a value that two people set at once is shown with both values
//! ([`view::Settled`]), and setting it again settles it.
//!
//! What another version of the program added survives: unknown fields and maps are left alone,
//! and a record that can't be understood is counted and kept ([`view::JobView::unreadable`]).
//!
//! | module | what it is |
//! |---|---|
//! | [`record`] | what each kind of record holds |
//! | `tree` | records to automerge values and back; the only place with raw automerge calls |
//! | `edit` | the small named changes |
//! | `reduce` | a document made anew from the records that may go out |
//! | [`view`] | the typed read view |
//! | [`plan`] | stages and hold points as data |
//! | [`hold`] | whether a hold point is open, and what it misses |
//! | [`gather`] | the readings of a survey: repeats averaged, set-ups joined, temperature |
//! | [`measure`] | a survey through the geometry: set-up, deviations, verdicts |
//! | [`mend`] | blunders proposed, and the corrections that would mend them |
//! | [`compare`] | what moved between two surveys |
//! | [`damage`] | kinds and causes of damage, and how far it went |
//! | [`tram`] | tram readings: against the sheet, fours, positions |
//! | [`audit`] | the sheet against itself |
//! | [`stage`] | when each stage was open |
//! | [`correct`] | the move that brings a part in |
//! | [`tie`] | which stage a photo belongs to |
//! | [`alike`] | shots that came twice, bursts, photos of readings |

pub mod alike;
pub mod audit;
pub mod compare;
pub mod correct;
pub mod damage;
pub(crate) mod edit;
pub mod gather;
pub mod hold;
pub mod measure;
pub mod mend;
pub mod plan;
pub mod record;
mod reduce;
pub mod stage;
pub mod tie;
pub mod tram;
mod tree;
pub mod view;

pub(crate) use reduce::{Keep, Reduced, reduce};
pub use tree::SCHEMA;
pub(crate) use tree::{about_text, device_name, new_document};
