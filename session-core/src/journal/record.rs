//! The lines of a journal.

use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use super::exif_facts::ExposureFacts;
use super::ledger::StopKey;
use crate::angle::{Angle, StepsPerTurn};
use crate::camera::settings::{CameraSettings, FrameSettings};
use crate::check::{Flag, SeenAngle};

/// One line of the journal.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Entry {
    /// Counts lines from 1 without a gap.
    pub seq: u64,
    /// When it was written.
    pub at: Timestamp,
    /// What happened.
    #[serde(flatten)]
    pub record: Record,
}

/// One file of a frame.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct FileFacts {
    /// Its name in `frames/`.
    pub name: String,
    /// SHA-256 of its bytes, lower-case hex (FIPS 180-4).
    pub sha256: String,
    /// Its size in bytes.
    pub bytes: u64,
}

/// What happened.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Record {
    /// A run began on these devices.
    RunBegan {
        /// The program and its version.
        program: String,
        /// The table's name.
        table: String,
        /// The camera's name.
        camera: String,
        /// Steps in a turn of this table.
        steps_per_turn: StepsPerTurn,
        /// What the camera was set to.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        camera_settings: Option<CameraSettings>,
    },
    /// Frames shot with these settings belong to the set too; new ones are compared with them.
    SettingsAccepted {
        /// The settings.
        settings: FrameSettings,
    },
    /// Steps count from this zero now.
    ZeroSet {
        /// The zero's name.
        zero: String,
        /// The last exposure before it was taken, as frames may be kept after that; `None` in older journals.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        last_shot_before: Option<u64>,
    },
    /// A turn is about to be sent; without its `Turned` the position is the table's to tell.
    TurnIntent {
        /// The stop it leads to.
        stop: u32,
        /// The step to go to.
        to_step: i64,
    },
    /// A turn has ended where the table says.
    Turned {
        /// The stop it leads to.
        stop: u32,
        /// The step asked for.
        commanded_step: i64,
        /// The step reported.
        reported_step: i64,
    },
    /// A frame's files are complete on disk under `.part` names and about to get their own.
    Arriving(FrameRecord),
    /// A frame is kept.
    Kept(FrameRecord),
    /// A try at a stop gave no frame.
    FrameFailed {
        /// The exposure.
        shot: u64,
        /// The stop.
        stop: u32,
        /// Why.
        reason: String,
    },
    /// Files that belong to no stop for certain were put into quarantine.
    Held {
        /// Their names.
        names: Vec<String>,
        /// Why.
        reason: String,
    },
    /// None of the stop's frames is to be used.
    SetAside {
        /// The row's name.
        row: String,
        /// The stop's angle.
        angle: Angle,
        /// Whether it is the row's closing frame.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        closing: bool,
    },
    /// This version of the stop's frames is to be used.
    VersionChosen {
        /// The row's name.
        row: String,
        /// The stop's angle.
        angle: Angle,
        /// Whether it is the row's closing frame.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        closing: bool,
        /// The version.
        version: u32,
    },
    /// A frame was looked at; this takes the place of what was found on it before.
    Checked {
        /// The row's name.
        row: String,
        /// The stop's angle.
        angle: Angle,
        /// Whether it is the row's closing frame.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        closing: bool,
        /// The version.
        version: u32,
        /// What is wrong; empty when nothing is.
        flags: Vec<Flag>,
        /// The angle that the pictures show; without it what was measured before stays.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        seen_angle: Option<SeenAngle>,
    },
    /// All frames in use of a row were looked at together.
    RowChecked {
        /// The row's name.
        row: String,
    },
}

/// The source of frames that were files before the set was, matched to stops by their order.
pub const ADOPTED: &str = "adopted";

/// A frame with all that is known of it.
///
/// Row and angle name the stop, so that a frame keeps its meaning when a plan is changed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FrameRecord {
    /// The exposure's number in the session.
    pub shot: u64,
    /// The stop's number in the plan as it was.
    pub stop: u32,
    /// The row's name.
    pub row: String,
    /// The stop's exact angle along the plan's direction, degrees.
    pub angle: Angle,
    /// Whether it is its row's closing frame, no stop of the set.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub closing: bool,
    /// Counts the stop's frames from 1.
    pub version: u32,
    /// The step asked for.
    pub commanded_step: i64,
    /// The step the table reported; `None` for a frame whose angle no table confirmed.
    pub reported_step: Option<i64>,
    /// The camera's name; [`ADOPTED`] for files that were there before.
    pub source: String,
    /// When the exposure ended, by this computer's clock.
    pub exposed_at: Timestamp,
    /// The files; more than one for RAW with JPEG.
    pub files: Vec<FileFacts>,
    /// Exposure data from the first file that has any.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub exposure: Option<ExposureFacts>,
    /// What the camera said it was set to.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub camera_settings: Option<CameraSettings>,
    /// Where an adopted frame's files lay.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub originals: Vec<String>,
    /// Whether the frame was found complete after a crash and taken up then.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub recovered: bool,
}

impl FrameRecord {
    /// The stop it belongs to.
    pub fn key(&self) -> StopKey {
        StopKey { closing: self.closing, ..StopKey::new(&self.row, self.angle) }
    }

    /// What the frame was shot with, in words.
    pub fn settings(&self) -> FrameSettings {
        FrameSettings {
            from_file: self.exposure.as_ref().map(ExposureFacts::to_map).unwrap_or_default(),
            from_camera: self.camera_settings.as_ref().map(CameraSettings::to_map).unwrap_or_default(),
        }
    }
}
