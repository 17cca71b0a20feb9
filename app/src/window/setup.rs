//! The path from the demo to one's own table and camera: steps in order, each may be left out.

use std::collections::BTreeSet;

use super::devices::{DeviceChoice, TableKind};
use super::state::State;
use super::text::t;
use super::tryout::Trial;

/// The steps. The camera comes before the zero, for 0° is what the camera sees.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum SetupStep {
    /// Files and wiring for a controller board.
    Board,
    /// The port the table is on.
    Table,
    /// The camera, and a test frame.
    Camera,
    /// Where 0° is.
    Zero,
    /// A turn by hand.
    Turn,
    /// What has come of it.
    Done,
}

impl SetupStep {
    /// All of them, in order.
    pub const ALL: [Self; 6] = [Self::Board, Self::Table, Self::Camera, Self::Zero, Self::Turn, Self::Done];

    /// Its name.
    pub fn words(self) -> String {
        match self {
            Self::Board => t!("setup-board"),
            Self::Table => t!("setup-table"),
            Self::Camera => t!("setup-camera"),
            Self::Zero => t!("setup-zero"),
            Self::Turn => t!("setup-turn"),
            Self::Done => t!("setup-done"),
        }
    }

    /// The step after it.
    pub fn next(self) -> Option<Self> {
        Self::ALL.into_iter().find(|step| *step > self)
    }

    /// The step before it.
    pub fn previous(self) -> Option<Self> {
        Self::ALL.into_iter().rev().find(|step| *step < self)
    }
}

/// Where the person is on the path.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Setup {
    /// The step that is open; `None` while the path is closed.
    pub step: Option<SetupStep>,
    /// Steps that were done rather than left out.
    pub done: BTreeSet<SetupStep>,
    /// Table and camera as they were when the path was opened; they come back unless the person says that
    /// those of the path are to be used.
    before: Option<DeviceChoice>,
}

impl Setup {
    /// Opens the path at a step.
    pub fn open(state: &mut State, step: SetupStep) {
        state.setup.before.get_or_insert_with(|| state.devices.clone());
        state.setup.step = Some(step);
    }

    /// Closes the path; gives the table and camera from before, where those chosen on it are not to be used.
    pub fn close(&mut self, use_chosen: bool) -> Option<DeviceChoice> {
        self.step = None;
        self.before.take().filter(|_| !use_chosen)
    }

    /// Notes what a trial that went well has done.
    pub fn note_trial(&mut self, trial: Trial) {
        match trial {
            Trial::ZeroIsHere => self.done.insert(SetupStep::Zero),
            Trial::Turn(_) => self.done.insert(SetupStep::Turn),
            Trial::TestFrame => self.done.insert(SetupStep::Camera),
            Trial::Connect | Trial::FireShutter | Trial::Live(_) => false,
        };
    }

    /// Notes what the choice of devices has done.
    pub fn note_choice(state: &mut State) {
        if state.devices.table == TableKind::Serial && state.devices.table_spec().is_ok() {
            state.setup.done.insert(SetupStep::Table);
        } else {
            state.setup.done.remove(&SetupStep::Table);
        }
    }
}
