//! Measures frames: what is seen in one, and what a whole turn of them says about axis and angles.
//!
//! Everything is measured on one reduced decoding of the file ([`MEASURING_EDGE_PX`]); lengths
//! are given in pixels of the whole frame. Nothing here judges: `check` turns measurements into
//! flags.

pub mod angle;
pub mod axis;
mod backdrop;
pub mod colour;
mod fourier;
pub mod frame;
mod lookalike;
mod outline;
mod plane;
pub mod register;
pub mod settle;
pub mod sharpness;
mod solve;
mod track;
mod turn_model;

pub use frame::{FrameFacts, Measured, measure, measure_decoded};
pub use plane::Plane;

/// Longest side of the picture that is measured, in pixels.
pub const MEASURING_EDGE_PX: u32 = 2048;
