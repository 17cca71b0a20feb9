//! A camera on a cable or the network, through libgphoto2.
//!
//! libgphoto2 can hang for ever, cannot be cancelled, and keeps a handle that a vanished camera has
//! spoilt. So it runs in a child process: this same program under a hidden command. The parent sends
//! one order at a time as a JSON line and gives each a deadline; a child that overruns is killed and
//! the next order starts a new one. Hangs, crashes and pulled cables have one and the same cure.
//!
//! The child only does what it is told (`device`); all decisions are the parent's (`camera`). All of it is
//! behind the feature `tether`, so that a plain build needs no system library.

use std::time::Duration;

use session_core::camera::Camera;

#[cfg(feature = "tether")]
mod camera;
#[cfg(feature = "tether")]
mod child;
#[cfg(feature = "tether")]
mod choice;
#[cfg(feature = "tether")]
mod device;
#[cfg(feature = "tether")]
mod heard;
#[cfg(feature = "tether")]
mod link;
#[cfg(feature = "tether")]
mod log;
#[cfg(feature = "tether")]
mod remote;
#[cfg(feature = "tether")]
mod wire;

#[cfg(feature = "tether")]
pub use child::run as run_child;

/// The settings that matter for a set, by the words the command line uses.
pub const SETTINGS: [&str; 8] = [
    "exposure-mode",
    "shutter",
    "aperture",
    "iso",
    "white-balance",
    "focus-mode",
    "image-format",
    "capture-target",
];

/// What a person chooses about a tethered camera.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TetherOptions {
    /// Settings to make before the set, such as `("iso", "100")`; names are those of [`SETTINGS`].
    pub settings: Vec<(String, String)>,
    /// Whether a frame leaves the camera's card once the session has taken it over.
    pub remove_from_card: bool,
    /// How long one file may take to come.
    pub frame_timeout: Duration,
}

impl Default for TetherOptions {
    fn default() -> Self {
        Self { settings: Vec::new(), remove_from_card: false, frame_timeout: Duration::from_secs(30) }
    }
}

/// A camera that is there.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FoundCamera {
    /// Maker and model as libgphoto2 knows them.
    pub model: String,
    /// The port for `tether:PORT`.
    pub port: String,
}

/// One setting of a camera, for people.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ShownSetting {
    /// One of [`SETTINGS`].
    pub name: String,
    /// What it is set to.
    pub value: String,
    /// What it can be set to; empty when it cannot be set from here.
    pub choices: Vec<String>,
}

/// What a camera tells about itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CameraReport {
    /// Maker, model and serial number, as far as it tells.
    pub name: String,
    /// The battery in the camera's own words.
    pub battery: Option<String>,
    /// Room on its cards, bytes.
    pub free_bytes: Option<u64>,
    /// Settings it has; one that is absent is normal.
    pub settings: Vec<ShownSetting>,
}

/// Builds the camera; nothing is opened before it is probed.
///
/// # Errors
/// When this program was built without tethering.
#[cfg(feature = "tether")]
pub fn open(port: Option<&str>, options: TetherOptions) -> Result<Box<dyn Camera>, String> {
    Ok(Box::new(camera::TetherCamera::new(port, options)))
}

/// Lists the cameras that are plugged in. A camera on the network is not found, only named.
///
/// # Errors
/// A sentence for people.
#[cfg(feature = "tether")]
pub fn list() -> Result<Vec<FoundCamera>, String> {
    let found = remote::list().map_err(|error| error.to_string())?;
    Ok(found.into_iter().map(|found| FoundCamera { model: found.model, port: found.port }).collect())
}

/// Asks a camera for its settings, battery and room.
///
/// # Errors
/// A sentence for people.
#[cfg(feature = "tether")]
pub fn report(port: Option<&str>) -> Result<CameraReport, String> {
    camera::TetherCamera::new(port, TetherOptions::default()).report().map_err(|error| error.to_string())
}

/// Brings one JPEG of a camera's live picture; `None` for a camera that has none.
///
/// # Errors
/// A sentence for people.
#[cfg(feature = "tether")]
pub fn live_frame(port: Option<&str>) -> Result<Option<Vec<u8>>, String> {
    camera::TetherCamera::new(port, TetherOptions::default()).live_frame().map_err(|error| error.to_string())
}

#[cfg(not(feature = "tether"))]
const NOT_BUILT_IN: &str = "this program was built without tethered cameras; install libgphoto2 with its headers, libclang and pkg-config (Debian: libgphoto2-dev libclang-dev pkg-config) and build it with `cargo build --release --features tether`";

/// Says that this program was built without tethering.
///
/// # Errors
/// Always.
#[cfg(not(feature = "tether"))]
pub fn open(_: Option<&str>, _: TetherOptions) -> Result<Box<dyn Camera>, String> {
    Err(NOT_BUILT_IN.to_owned())
}

/// Says that this program was built without tethering.
///
/// # Errors
/// Always.
#[cfg(not(feature = "tether"))]
pub fn list() -> Result<Vec<FoundCamera>, String> {
    Err(NOT_BUILT_IN.to_owned())
}

/// Says that this program was built without tethering.
///
/// # Errors
/// Always.
#[cfg(not(feature = "tether"))]
pub fn report(_: Option<&str>) -> Result<CameraReport, String> {
    Err(NOT_BUILT_IN.to_owned())
}

/// Says that this program was built without tethering.
///
/// # Errors
/// Always.
#[cfg(not(feature = "tether"))]
pub fn live_frame(_: Option<&str>) -> Result<Option<Vec<u8>>, String> {
    Err(NOT_BUILT_IN.to_owned())
}
