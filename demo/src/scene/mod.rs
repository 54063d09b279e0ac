//! The demo's photographs: what is drawn, and how each picture is set up.

pub mod livery;
pub mod looks;
pub mod motifs;
pub mod rail;
pub mod render;
pub mod shop;
pub mod tools;
pub mod underbody;
pub mod van;

pub use motifs::{Motif, draw};
