//! What a camera can do, whatever it is.

use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use serde::{Deserialize, Serialize};

use crate::cancel::CancelToken;

pub mod command;
pub mod folder;
pub mod http;
pub mod picture_files;
pub mod settings;
pub mod simulated;
pub mod sniff;

use settings::CameraSettings;

/// One exposure to make.
#[derive(Debug, Clone, PartialEq)]
pub struct ExposureRequest {
    /// The exposure's number in this session; never used twice.
    pub shot: u64,
    /// The stop's number in the set.
    pub stop: u32,
    /// The row's name.
    pub row: String,
    /// The stop's angle in degrees as text, as in the plan, such as `22.5`.
    pub degrees_text: String,
    /// The product's SKU.
    pub sku: String,
    /// Whether the table is to be seen without the product, as the white background of a listing wants it.
    pub empty_table: bool,
    /// How long the shutter is taken to be open, where the camera does not tell.
    pub exposure: Duration,
    /// An empty folder inside the session folder for files on their way.
    pub inbox: PathBuf,
}

/// One file of an exposure, complete, not yet kept.
#[derive(Debug, Clone)]
pub enum Arrival {
    /// A file inside the request's inbox; the session may remove it once it is kept.
    Inbox(PathBuf),
    /// A file somewhere else; it is copied and left alone.
    Foreign(PathBuf),
    /// Bytes in memory, with a name whose extension counts.
    Bytes {
        /// A file name.
        name: String,
        /// The file's content.
        bytes: Arc<Vec<u8>>,
    },
}

/// Says what went wrong with a camera.
#[derive(Debug, Clone, PartialEq, thiserror::Error, Serialize, Deserialize)]
pub enum CameraError {
    /// The camera is not there (any more).
    #[error("the camera is gone ({0}); check its cable, battery and sleep setting, then try again")]
    Lost(String),
    /// The exposure could not be made.
    #[error("the exposure failed: {0}")]
    Failed(String),
    /// No complete frame came in time.
    #[error("no complete frame came from {from} within {secs:.0} s{detail}")]
    NoFrame {
        /// The camera or folder.
        from: String,
        /// The wait in seconds.
        secs: f64,
        /// What came instead, if anything, and what to do.
        detail: String,
    },
    /// Something came that is not a whole picture.
    #[error("{file} is not a whole picture: {reason}")]
    BadFile {
        /// The file's name.
        file: String,
        /// What is wrong with it.
        reason: String,
    },
    /// More came than one exposure makes, so no one can say which belongs to the stop.
    #[error(
        "{count} frames came for one stop ({names}); none was taken for it, all are held in the session's quarantine folder"
    )]
    TooMany {
        /// How many.
        count: usize,
        /// Their names.
        names: String,
    },
    /// The work was stopped on request.
    #[error("the exposure was stopped on request")]
    Cancelled,
    /// The camera's settings make no sense.
    #[error("{0}")]
    BadSetup(String),
}

/// Fires the shutter over the table's line.
pub trait ShutterLine: Sync {
    /// Closes the shutter contact for `press`; returns when it has opened again.
    ///
    /// # Errors
    /// A sentence for people.
    fn fire(&self, press: Duration) -> Result<(), String>;
}

/// What a camera may use while it works.
pub struct CameraContext<'a> {
    /// Raised when the person stops the session.
    pub cancel: &'a CancelToken,
    /// The table's shutter line, when the table has one.
    pub shutter: Option<&'a dyn ShutterLine>,
    /// Shows a sentence to the person, such as 'Fire the shutter for stop 3 (30°)'.
    pub prompt: &'a dyn Fn(String),
}

/// One camera: job verbs only.
pub trait Camera: Send {
    /// A name for people and the journal.
    fn name(&self) -> String;

    /// Checks that the camera can be used before the session starts.
    fn probe(&mut self) -> Result<(), CameraError>;

    /// Makes one exposure; returns when the shutter has closed, so that the table may turn.
    fn expose(&mut self, request: &ExposureRequest, context: &CameraContext<'_>) -> Result<(), CameraError>;

    /// Brings in every file of that exposure, complete.
    fn fetch(
        &mut self,
        request: &ExposureRequest,
        context: &CameraContext<'_>,
    ) -> Result<Vec<Arrival>, CameraError>;

    /// The longest an exposure with its transfer can take before the camera itself gives up; beyond
    /// that it counts as hanging.
    fn patience(&self) -> Duration;

    /// Files that were seen but belong to no exposure for certain; the session keeps them apart.
    fn take_held(&mut self) -> Vec<Arrival> {
        Vec::new()
    }

    /// Reads what the camera is set to; `None` for a camera that cannot be asked.
    ///
    /// # Errors
    /// When a camera that can be asked does not answer.
    fn settings(&mut self) -> Result<Option<CameraSettings>, CameraError> {
        Ok(None)
    }

    /// Brings one JPEG of the camera's live picture; `None` for a camera that has none.
    ///
    /// # Errors
    /// When a camera that has one does not give it.
    fn live_frame(&mut self) -> Result<Option<Vec<u8>>, CameraError> {
        Ok(None)
    }
}
