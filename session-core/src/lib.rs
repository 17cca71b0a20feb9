//! The capture session: plan, engine, devices, journal. No pixels, no window.
//!
//! Data flows one way: a [`plan`] becomes stops, the [`engine`] turns events into actions, the
//! [`runner`] carries them out on a [`turntable`] and a [`camera`], and the [`journal`] keeps what came.

pub mod adopt;
pub mod angle;
pub mod calibration;
pub mod camera;
pub mod cancel;
pub mod check;
pub mod clock;
pub mod engine;
pub mod file_name;
pub mod journal;
pub mod load;
pub mod motion;
pub mod optics;
pub mod plan;
pub mod rest;
pub mod runner;
pub mod shoot_list;
pub mod turntable;
pub mod view;
