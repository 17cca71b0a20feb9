//! What the journal's records add up to: the frames of each stop.

use std::collections::{BTreeMap, HashMap, HashSet};

use super::record::{FrameRecord, Record};
use crate::angle::{Angle, StepsPerTurn};
use crate::camera::settings::FrameSettings;
use crate::check::{Flag, SeenAngle};
use crate::engine::StopState;

/// Names a stop by what it is, not by its number, so that a changed plan finds its frames.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct StopKey {
    /// The row's name.
    pub row: String,
    /// The angle within one turn.
    pub angle: Angle,
    /// Whether it is the row's closing frame, which stands at its first stop's angle.
    pub closing: bool,
}

impl StopKey {
    /// Builds the key of a stop of the set.
    pub fn new(row: &str, angle: Angle) -> Self {
        Self { row: row.to_owned(), angle: angle.wrapped(), closing: false }
    }
}

fn key(row: &str, angle: Angle, closing: bool) -> StopKey {
    StopKey { closing, ..StopKey::new(row, angle) }
}

/// The frames of one stop.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Frame {
    /// All kept versions in the order they came.
    pub versions: Vec<FrameRecord>,
    /// The version in use; `None` when the photographer has set the stop aside.
    pub chosen: Option<u32>,
    /// What checks found last, by version; a version that is not in it was not looked at.
    pub found: BTreeMap<u32, Vec<Flag>>,
    /// The angle measured last from the pictures, by version.
    pub seen_angles: BTreeMap<u32, SeenAngle>,
}

impl Frame {
    /// The record of the version in use.
    pub fn in_use(&self) -> Option<&FrameRecord> {
        self.versions.iter().find(|frame| Some(frame.version) == self.chosen)
    }

    /// The highest version number, 0 for none.
    pub fn last_version(&self) -> u32 {
        self.versions.iter().map(|frame| frame.version).max().unwrap_or(0)
    }
}

/// The state of a session as its journal tells it.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Ledger {
    frames: HashMap<StopKey, Frame>,
    /// Arrivals whose keeping is not on record.
    open_arrivals: Vec<FrameRecord>,
    /// The zeros in the order they were taken, each with the last exposure before it.
    zeros: Vec<(u64, String)>,
    last_shot: u64,
    accepted_settings: Vec<FrameSettings>,
    /// Rows whose frames in use were looked at together.
    checked_rows: HashSet<String>,
}

impl Ledger {
    /// Takes one record into account.
    pub fn apply(&mut self, record: &Record) {
        match record {
            Record::ZeroSet { zero, last_shot_before } => {
                let before = last_shot_before.unwrap_or(self.last_shot);
                // That exposure may leave no record; its number is used up all the same.
                self.last_shot = self.last_shot.max(before);
                self.zeros.push((before, zero.clone()));
            }
            Record::Arriving(frame) => {
                self.last_shot = self.last_shot.max(frame.shot);
                self.open_arrivals.retain(|open| open.shot != frame.shot);
                self.open_arrivals.push(frame.clone());
            }
            Record::Kept(frame) => {
                self.last_shot = self.last_shot.max(frame.shot);
                self.open_arrivals.retain(|open| open.shot != frame.shot);
                let stop = self.frames.entry(frame.key()).or_default();
                stop.versions.retain(|earlier| earlier.version != frame.version);
                stop.versions.push(frame.clone());
                stop.chosen = Some(frame.version);
                self.checked_rows.remove(&frame.row);
            }
            Record::SettingsAccepted { settings } => self.accepted_settings.push(settings.clone()),
            Record::FrameFailed { shot, .. } => self.last_shot = self.last_shot.max(*shot),
            Record::SetAside { row, angle, closing } => {
                self.checked_rows.remove(row);
                if let Some(stop) = self.frames.get_mut(&key(row, *angle, *closing)) {
                    stop.chosen = None;
                }
            }
            Record::VersionChosen { row, angle, closing, version } => {
                self.checked_rows.remove(row);
                // A version whose own record is damaged is none to choose.
                if let Some(stop) = self.frames.get_mut(&key(row, *angle, *closing))
                    && stop.versions.iter().any(|frame| frame.version == *version)
                {
                    stop.chosen = Some(*version);
                }
            }
            Record::Checked { row, angle, closing, version, flags, seen_angle } => {
                if let Some(stop) = self.frames.get_mut(&key(row, *angle, *closing))
                    && stop.versions.iter().any(|frame| frame.version == *version)
                {
                    stop.found.insert(*version, flags.clone());
                    stop.seen_angles.extend(seen_angle.clone().map(|seen| (*version, seen)));
                }
            }
            Record::RowChecked { row } => drop(self.checked_rows.insert(row.clone())),
            Record::RunBegan { .. }
            | Record::TurnIntent { .. }
            | Record::Turned { .. }
            | Record::Held { .. } => {}
        }
    }

    /// The frames of a stop, if it ever had any.
    pub fn frame(&self, key: &StopKey) -> Option<&Frame> {
        self.frames.get(key)
    }

    /// Whether a stop has its frame.
    pub fn state_of(&self, key: &StopKey) -> StopState {
        match self.frames.get(key) {
            Some(frame) if frame.in_use().is_some() => StopState::Kept,
            Some(_) => StopState::SetAside,
            None => StopState::Missing,
        }
    }

    /// Whether a row's closing frame in use was shot one whole turn on from its first one; `angle` is the
    /// closing frame's.
    pub fn is_a_turn_on(&self, row: &str, angle: Angle, steps_per_turn: StepsPerTurn) -> bool {
        let shot_at = |closing| {
            let frame = self.frames.get(&key(row, angle, closing))?.in_use()?;
            Some((frame.reported_step?, self.zero_of(frame)))
        };
        let (Some(first), Some(closing)) = (shot_at(false), shot_at(true)) else { return false };
        // Clockwise the steps fall; each step is rounded by itself.
        let turned: i64 = closing.0 - first.0;
        // Between two zeros a hand may have placed the product anew.
        first.1 == closing.1 && turned.abs().abs_diff(steps_per_turn.nearest_step(Angle::TURN)) <= 1
    }

    /// The step at which a stop's frame in use was shot, if it counts from the zero taken last.
    pub fn step_of(&self, key: &StopKey) -> Option<i64> {
        let frame = self.frames.get(key)?.in_use()?;
        frame.reported_step.filter(|_| self.zero_of(frame) == self.zeros.len())
    }

    /// How many zeros had been taken when a frame was shot; its step counts from the last of them. Their
    /// names would not do: a table may use one again.
    fn zero_of(&self, frame: &FrameRecord) -> usize {
        self.zeros.iter().rposition(|(last_before, _)| *last_before < frame.shot).map_or(0, |at| at + 1)
    }

    /// Every kept frame of every stop.
    pub fn all_frames(&self) -> impl Iterator<Item = &FrameRecord> {
        self.frames.values().flat_map(|frame| &frame.versions)
    }

    /// Whether all frames in use of a row were looked at together since the last of them came.
    pub fn is_row_checked(&self, row: &str) -> bool {
        self.checked_rows.contains(row)
    }

    /// Frames that were about to get their names when the program ended.
    pub fn open_arrivals(&self) -> &[FrameRecord] {
        &self.open_arrivals
    }

    /// The zero that kept frames were counted from; `None` while there are no frames.
    pub fn zero(&self) -> Option<&str> {
        if self.frames.is_empty() { None } else { self.zeros.last().map(|(_, zero)| zero.as_str()) }
    }

    /// The highest exposure number on record.
    pub fn last_shot(&self) -> u64 {
        self.last_shot
    }

    /// Settings that a person has taken for the set after its first frame, oldest first.
    pub fn accepted_settings(&self) -> &[FrameSettings] {
        &self.accepted_settings
    }

    /// Drops a version whose file is gone from disk, so that its stop is shot again.
    pub(super) fn forget_missing(&mut self, key: &StopKey, version: u32) {
        if let Some(stop) = self.frames.get_mut(key) {
            stop.versions.retain(|frame| frame.version != version);
            stop.found.remove(&version);
            stop.seen_angles.remove(&version);
            if stop.chosen == Some(version) {
                stop.chosen = stop.versions.last().map(|frame| frame.version);
            }
            if stop.versions.is_empty() {
                self.frames.remove(key);
            }
        }
    }
}
