//! What a person may see of a running session. Window and command line read the same.

use std::path::PathBuf;
use std::sync::Arc;

use crate::check::{Flag, SeenAngle};
use crate::engine::{Activity, Mode, StopState};
use crate::motion::Direction;

/// The whole state of a session at one moment; cheap to share, replaced as a whole.
#[derive(Debug, Clone, PartialEq)]
pub struct SessionView {
    /// The product's SKU.
    pub sku: String,
    /// The session's folder.
    pub folder: PathBuf,
    /// The plan's direction.
    pub direction: Direction,
    /// Row names in order.
    pub rows: Vec<RowView>,
    /// All stops in shooting order, closing frames among them.
    pub stops: Vec<StopView>,
    /// What the session is doing.
    pub mode: Mode,
    /// Where the plate stands, degrees along the plan's direction, within one turn; `None` while unknown.
    pub plate_deg: Option<f64>,
    /// Stops still to be shot in this run.
    pub left: usize,
    /// Seconds until this run is done, from this session's own pace once it has one.
    pub secs_left: Option<f64>,
    /// Whether all is shot and the last checks are being waited for.
    pub checking: bool,
    /// The table's name.
    pub table: String,
    /// The camera's name.
    pub camera: String,
}

/// A row, for headings and prompts.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RowView {
    /// The row's name.
    pub name: String,
    /// The photographer's note on the camera.
    pub tilt_note: String,
}

/// One stop.
#[derive(Debug, Clone, PartialEq)]
pub struct StopView {
    /// The stop's number in the set, from 1.
    pub index: u32,
    /// Its row, from 0.
    pub row: usize,
    /// Whether it is its row's closing frame, no stop of the set.
    pub closing: bool,
    /// Its angle along the plan's direction, degrees within one turn; for placing it.
    pub degrees: f64,
    /// The angle as text, such as `22.5`.
    pub degrees_text: String,
    /// Whether it has its frame.
    pub state: StopState,
    /// What is being done for it now.
    pub activity: Activity,
    /// Left out of this run by the photographer.
    pub skipped: bool,
    /// All kept versions, oldest first, with the picture to show.
    pub versions: Vec<VersionView>,
    /// The version in use, 0 for none.
    pub chosen: u32,
    /// What went wrong last, until it goes right.
    pub problem: Option<String>,
}

impl StopView {
    /// What checks found on the frame in use.
    pub fn flags(&self) -> &[Flag] {
        let in_use = self.versions.iter().find(|version| version.version == self.chosen);
        in_use.map(|version| version.flags.as_slice()).unwrap_or_default()
    }

    /// The picture in use.
    pub fn picture(&self) -> Option<&PathBuf> {
        self.versions.iter().find(|version| version.version == self.chosen).map(|version| &version.path)
    }
}

/// One kept version of a stop.
#[derive(Debug, Clone, PartialEq)]
pub struct VersionView {
    /// Counts from 1.
    pub version: u32,
    /// The picture to show.
    pub path: PathBuf,
    /// What checks found on it.
    pub flags: Vec<Flag>,
    /// The angle that the pictures show, or why they cannot tell; `None` when it was not measured.
    pub seen_angle: Option<SeenAngle>,
}

impl SessionView {
    /// The stops of the set, closing frames left out.
    pub fn of_set(&self) -> impl Iterator<Item = &StopView> {
        self.stops.iter().filter(|stop| !stop.closing)
    }

    /// How many stops of the set have a frame in use.
    pub fn kept(&self) -> usize {
        self.of_set().filter(|stop| stop.state == StopState::Kept).count()
    }

    /// The stop at which something is being done, if any: the camera's before the table's.
    pub fn active_stop(&self) -> Option<&StopView> {
        let with = |wanted: &[Activity]| self.stops.iter().find(|stop| wanted.contains(&stop.activity));
        with(&[Activity::Exposing, Activity::Settling, Activity::Turning])
            .or_else(|| with(&[Activity::Receiving, Activity::Keeping]))
    }
}

/// News of a session, in order.
#[derive(Debug, Clone)]
pub enum Update {
    /// The state has changed.
    View(Arc<SessionView>),
    /// The plate passes an angle, degrees along the plan's direction, within one turn.
    Plate(f64),
    /// A frame is kept.
    Kept {
        /// The stop's number.
        stop: u32,
        /// Its version.
        version: u32,
        /// The picture to show.
        path: PathBuf,
    },
    /// A kept frame was found to be flawed.
    Flagged {
        /// The stop's number.
        stop: u32,
        /// The version it was found on.
        version: u32,
        /// What was not known before.
        flags: Vec<Flag>,
        /// Whether the stop is shot again by itself.
        again: bool,
    },
    /// A try gave no frame; it is tried again or a fault follows.
    Failed {
        /// The stop's number.
        stop: u32,
        /// Why.
        reason: String,
    },
    /// Something a person should do or know now.
    Prompt {
        /// The stop it is about, if one.
        stop: Option<u32>,
        /// The sentence.
        text: String,
    },
    /// The session has ended; nothing follows.
    Ended,
}
