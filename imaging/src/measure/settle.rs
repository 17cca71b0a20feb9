//! Placeholder while it is written.
