//! A set's state in one object, for people and programs.

use serde::Serialize;

use super::exif_facts::ExposureFacts;
use super::folder::SessionFile;
use super::ledger::{Frame, Ledger, StopKey};
use super::record::{ADOPTED, FrameRecord};
use super::recover::Recovery;
use crate::camera::settings::CameraSettings;
use crate::check::{Flag, SeenAngle};
use crate::engine::StopState;
use crate::plan::Stop;

/// A set's state.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SetStatus {
    /// The product's SKU.
    pub sku: String,
    /// Whether every stop has a frame in use.
    pub complete: bool,
    /// Every stop of the plan, left-out ones excluded.
    pub stops: Vec<StopReport>,
    /// The rows' closing frames, where the plan asks for them; no part of the set.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub closing: Vec<ClosingReport>,
    /// What is amiss with the folder, as sentences; empty when all is in order.
    pub notes: Vec<String>,
}

/// One stop's state.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StopReport {
    /// The stop's number in the set, from 1.
    pub index: u32,
    /// The row's name.
    pub row: String,
    /// The planned angle along the plan's direction, degrees; a closing frame's is one turn more.
    pub degrees: f64,
    /// The step nearest to it within the first turn, anticlockwise positive.
    pub steps: i64,
    /// Whether it has its frame.
    pub state: StopState,
    /// The picture in use, relative to the session folder.
    pub file: Option<String>,
    /// Its SHA-256.
    pub sha256: Option<String>,
    /// What checks found on the frame in use.
    pub flags: Vec<Flag>,
    /// Every kept version, oldest first.
    pub versions: Vec<VersionReport>,
}

/// A row's closing frame.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ClosingReport {
    /// The frame, under a number of its own.
    #[serde(flatten)]
    pub stop: StopReport,
    /// Whether it stands one whole turn of the table on from its row's first frame in use; only then it
    /// shows whether the turn closes.
    pub is_a_turn_on: bool,
}

/// One kept version of a stop.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct VersionReport {
    /// Counts from 1.
    pub version: u32,
    /// Whether it is the one in use.
    pub in_use: bool,
    /// All its files, relative to the session folder; the first is the picture to show.
    pub files: Vec<String>,
    /// SHA-256 of each file.
    pub sha256: Vec<String>,
    /// What checks found on it; `None` when it was not looked at.
    pub flags: Option<Vec<Flag>>,
    /// The angle that the pictures show, or why they cannot tell; `None` when it was not measured.
    pub seen_angle: Option<SeenAngle>,
    /// The step the table was sent to, counted from zero over all turns.
    pub commanded_step: i64,
    /// The step the table reported; `None` for adopted frames, whose angle no table confirmed.
    pub reported_step: Option<i64>,
    /// When the exposure ended.
    pub exposed_at: String,
    /// Exposure data from the file.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub exposure: Option<ExposureFacts>,
    /// What the camera said it was set to.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub camera_settings: Option<CameraSettings>,
    /// Whether the files were there before the set, so that no table confirmed the angle.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub adopted: bool,
}

impl SetStatus {
    pub(super) fn new(file: &SessionFile, stops: &[Stop], ledger: &Ledger, recovery: &Recovery) -> Self {
        let report_of = |stop: &Stop| {
            let row = &file.plan.rows[stop.row].name;
            let key = StopKey { closing: stop.closing, ..StopKey::new(row, stop.angle) };
            let frame = ledger.frame(&key);
            let in_use = frame.and_then(|frame| frame.in_use());
            let first = in_use.and_then(|frame| frame.files.first());
            StopReport {
                index: stop.index,
                row: row.clone(),
                degrees: stop.planned_degrees(),
                steps: file
                    .steps_per_turn
                    .nearest_step(file.plan.direction.table_angle(stop.angle.wrapped())),
                state: ledger.state_of(&key),
                file: first.map(|file| format!("frames/{}", file.name)),
                sha256: first.map(|file| file.sha256.clone()),
                flags: frame
                    .zip(in_use)
                    .and_then(|(frame, in_use)| frame.found.get(&in_use.version).cloned())
                    .unwrap_or_default(),
                versions: frame
                    .map(|frame| frame.versions.iter().map(|version| report(version, frame)).collect())
                    .unwrap_or_default(),
            }
        };
        let closing = stops.iter().filter(|stop| stop.closing).map(|stop| ClosingReport {
            stop: report_of(stop),
            is_a_turn_on: ledger.is_a_turn_on(
                &file.plan.rows[stop.row].name,
                stop.angle,
                file.steps_per_turn,
            ),
        });
        let closing = closing.collect();
        let stops: Vec<StopReport> = stops.iter().filter(|stop| !stop.closing).map(report_of).collect();
        Self {
            sku: file.plan.sku.clone(),
            complete: stops.iter().all(|stop| stop.state == StopState::Kept),
            stops,
            closing,
            notes: recovery.sentences(),
        }
    }

    /// The stops whose frame in use is flagged.
    pub fn flagged(&self) -> impl Iterator<Item = &StopReport> {
        self.stops.iter().filter(|stop| !stop.flags.is_empty())
    }

    /// How many stops have a frame in use.
    pub fn kept(&self) -> usize {
        self.stops.iter().filter(|stop| stop.state == StopState::Kept).count()
    }
}

fn report(frame: &FrameRecord, of: &Frame) -> VersionReport {
    VersionReport {
        version: frame.version,
        in_use: Some(frame.version) == of.chosen,
        files: frame.files.iter().map(|file| format!("frames/{}", file.name)).collect(),
        sha256: frame.files.iter().map(|file| file.sha256.clone()).collect(),
        flags: of.found.get(&frame.version).cloned(),
        seen_angle: of.seen_angles.get(&frame.version).cloned(),
        commanded_step: frame.commanded_step,
        reported_step: frame.reported_step,
        exposed_at: frame.exposed_at.to_string(),
        exposure: frame.exposure.clone(),
        camera_settings: frame.camera_settings.clone(),
        adopted: frame.source == ADOPTED,
    }
}
