//! How table and camera stand, in one word each, always in sight.

use session_core::engine::{Activity, FaultKind, Mode};

use super::places::Mark;
use super::state::{Link, State};
use super::text::t;

/// How a device stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Readiness {
    /// It is not connected; that is done when it is needed.
    Away,
    /// It is being connected, or let go.
    Changing,
    /// It is connected and waits.
    Ready,
    /// It works.
    Working(Activity),
    /// It is being tried out right now.
    Trying,
    /// It needs a person.
    Trouble,
}

impl Readiness {
    /// The word for it.
    pub fn word(self) -> String {
        match self {
            Self::Away => t!("readiness-away"),
            Self::Changing => t!("readiness-changing"),
            Self::Ready => t!("readiness-ready"),
            Self::Working(activity) => super::words::activity(activity),
            Self::Trying => t!("readiness-trying"),
            Self::Trouble => t!("readiness-trouble"),
        }
    }

    /// The shape for it.
    pub fn mark(self) -> Mark {
        match self {
            Self::Away => Mark::Missing,
            Self::Changing | Self::Working(_) | Self::Trying => Mark::InWork,
            Self::Ready => Mark::Kept,
            Self::Trouble => Mark::Problem,
        }
    }
}

/// How the table stands.
pub fn table(state: &State) -> Readiness {
    of(state, &[FaultKind::Table, FaultKind::PositionUnknown], &[Activity::Turning, Activity::Settling])
}

/// How the camera stands.
pub fn camera(state: &State) -> Readiness {
    of(state, &[FaultKind::Camera, FaultKind::Settings], &[Activity::Exposing, Activity::Receiving])
}

fn of(state: &State, faults: &[FaultKind], works: &[Activity]) -> Readiness {
    match (state.link, &state.mode) {
        (Link::Opening | Link::Closing, _) => Readiness::Changing,
        (Link::Closed, _) if state.trying => Readiness::Trying,
        (Link::Closed, _) if state.tryout.is_some() => Readiness::Ready,
        (Link::Closed, _) => Readiness::Away,
        (Link::Open, Mode::Fault(fault)) if faults.contains(&fault.kind) => Readiness::Trouble,
        (Link::Open, _) => {
            let at_it = state.all_places().map(|place| place.activity).find(|now| works.contains(now));
            at_it.map_or(Readiness::Ready, Readiness::Working)
        }
    }
}
