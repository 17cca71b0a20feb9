//! Pixels in, measurements and finished pictures out. No devices, no window.
//!
//! Invariant: nothing here talks to a device, keeps session state or draws a window. Files
//! arrive as bytes and leave as bytes; a damaged file is a value, never a panic.

pub mod check;
pub mod decode;
pub mod export;
pub mod finish;
pub mod look;
pub mod measure;
pub mod picture;
pub mod scene;
pub mod srgb;

pub use picture::Picture;
