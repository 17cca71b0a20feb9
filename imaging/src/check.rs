//! Turns measurements into flags: what was seen on a frame, how much, and what to do.
//!
//! A frame is judged against its neighbours, never against a fixed ideal: a soft glaze is no
//! blur, a grey background no wrong exposure. [`check_frame_quick`] judges a frame as it
//! arrives, [`check_set`] a whole row, angles included.

mod flag;
mod photo;
mod same;
mod set;

pub use flag::{Flag, FlagKind};
pub use photo::check_frame_quick;
pub use set::{
    FrameInput, FrameReport, SetReport, check_looks, check_measured, check_measured_until, check_set,
};
