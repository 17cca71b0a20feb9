//! The lines of a journal.

use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use super::exif_facts::ExposureFacts;
use crate::angle::{Angle, StepsPerTurn};

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
    },
    /// Steps count from this zero now.
    ZeroSet {
        /// The zero's name.
        zero: String,
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
    },
    /// This version of the stop's frames is to be used.
    VersionChosen {
        /// The row's name.
        row: String,
        /// The stop's angle.
        angle: Angle,
        /// The version.
        version: u32,
    },
}

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
    /// Counts the stop's frames from 1.
    pub version: u32,
    /// The step asked for.
    pub commanded_step: i64,
    /// The step the table reported.
    pub reported_step: i64,
    /// The camera's name.
    pub source: String,
    /// When the exposure ended, by this computer's clock.
    pub exposed_at: Timestamp,
    /// The files; more than one for RAW with JPEG.
    pub files: Vec<FileFacts>,
    /// Exposure data from the first file that has any.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub exposure: Option<ExposureFacts>,
    /// Whether the frame was found complete after a crash and taken up then.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub recovered: bool,
}
