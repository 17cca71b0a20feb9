//! The window, driven by its labels as a person or a screen reader would.

#![allow(clippy::unwrap_used, clippy::disallowed_methods, reason = "a test that cannot be set up has failed")]

mod devices;
mod everywhere;
mod fault;
mod finishing;
mod fixtures;
mod list;
mod look;
mod plan;
mod ring;
mod session;
mod sets;
mod setup;
mod stage;
mod strip;

use fixtures::{draw, start, until, window};
