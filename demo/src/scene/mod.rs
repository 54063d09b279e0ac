//! The demo's photographs: what is drawn, and how each picture is set up.

mod livery;
mod looks;
pub mod motifs;
mod rail;
mod rail_surface;
pub mod render;
mod shop;
mod tools;
mod underbody;
mod van;
mod van_parts;
mod welds;

pub use motifs::{Motif, draw};
