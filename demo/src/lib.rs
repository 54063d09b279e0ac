//! An invented job, told as a story that anyone can run.
//!
//! A small delivery van was struck at its left rear corner; the end section of one rear rail
//! collapsed. The new section bolts up, looks right, and sits 7.4 mm too deep in its joint. This
//! crate holds what happened and what was seen of it; it computes no result. Readings are raw, in
//! frames of the instrument's own; photographs are files as a camera writes them, one camera's
//! clock being wrong. What they mean, the engine has to find.
//!
//! | module | what is in it |
//! |---|---|
//! | [`vehicle`] | the van, its dimension sheet, the shop and its people |
//! | [`truth`] | what was physically the case at each survey: kept from the engine |
//! | [`readings`] | what the instrument wrote down |
//! | [`plan`] | the stages in time, and the notes |
//! | [`cameras`] | two cameras and the files they wrote |
//! | [`scene`] | how the photographs are drawn |
//! | [`story`] | all of it played through the shop, by the calls that the command line makes |
//!
//! Everything is invented: vehicle, maker, shop, people, instrument, cameras, dates and numbers.
//!
//! ```
//! use datumtrail_demo::readings::{SEED, readings_csv};
//! use datumtrail_demo::truth::Survey;
//!
//! let file = readings_csv(Survey::FirstFit, SEED);
//! assert!(file.starts_with("point,x,y,z\n"));
//! assert_eq!(file.lines().count(), 35);
//! ```

pub mod cameras;
pub mod plan;
mod random;
pub mod readings;
mod roll;
pub mod scene;
pub mod story;
pub mod truth;
pub mod vehicle;
