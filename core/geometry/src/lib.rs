//! Pure numbers for measuring a vehicle's structure: no files, no clock, no document.
//!
//! Read the modules in this order and they tell one story:
//!
//! | module | what it answers |
//! |---|---|
//! | [`frame`] | axes, sides, and directions in words |
//! | [`fit`] | the set-up: from the instrument's frame to the vehicle's, with its covariance |
//! | [`verdict`] | limit, uncertainty, decision |
//! | [`check`] | a whole survey at once: set-up, deviations, verdicts, warnings |
//! | [`screen`] | which reference point moved; two groups; what would settle it |
//! | [`sensitivity`] | what a set-up could have missed, and what that would do |
//! | [`plan`] | what a choice of reference points and instrument can decide, before measuring |
//! | [`blunder`] | swapped names, mirrored sides, wrong units, shifted decimal points |
//! | [`compare`] | what moved between two surveys, independent of the sheet |
//! | [`join`] | several set-ups of one stage, joined through shared points |
//! | [`repeat`] | repeated readings averaged, with a test of repeatability |
//! | [`temperature`] | steel and aluminium at other temperatures than 20 degrees |
//! | [`rule`] | whether a survey meets what a hold point asks |
//! | [`damage`] | what moved, as few causes as explain it: mash, sidesway, sag, twist, diamond, spread |
//! | [`extent`] | how far along each member the structure moved |
//! | [`correct`] | the move that brings a part in, and the proof where none does |
//! | [`network`] | positions from distances: the tram gauge's network, adjusted |
//! | [`audit`] | a sheet that contradicts itself before anyone measures |
//! | [`stats`] | the few distributions that the rest stands on |
//!
//! Everything is in millimetres, in the vehicle's right-handed frame: x (length) positive
//! rearward, y (width) positive to the vehicle's right, z (height) positive up.

pub mod audit;
pub mod blunder;
pub mod check;
pub mod compare;
pub mod correct;
pub mod damage;
pub mod extent;
pub mod fit;
pub mod frame;
pub mod join;
pub mod network;
pub mod plan;
pub mod repeat;
pub mod rule;
pub mod screen;
pub mod sensitivity;
pub mod stats;
pub mod temperature;
pub mod verdict;
