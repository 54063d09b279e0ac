pub mod cameras;
pub mod plan;
pub mod random;
pub mod readings;
pub mod scene;
pub mod truth;
pub mod vehicle;
