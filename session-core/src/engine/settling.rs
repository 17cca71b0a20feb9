//! The engine's part about rest: how long the load is waited for after a turn.

use std::time::Duration;

use super::{Action, Engine, Motion, Timer};
use crate::rest::Rest;

/// What a watch may take beyond its longest wait before it counts as hanging.
const WATCH_PATIENCE: Duration = Duration::from_secs(20);

impl Engine {
    /// Waits for the load: by the live picture where the plan says so, else for the settle time.
    pub(super) fn settle(&mut self, stop: u32, at: i64, actions: &mut Vec<Action>) {
        let ticket = self.next_ticket();
        match self.config.rest_within {
            Some(most) => {
                actions.push(Action::WatchRest { ticket, most });
                actions.push(Action::StartTimer {
                    timer: Timer::RestOverdue { ticket },
                    after: most + WATCH_PATIENCE,
                });
            }
            None => actions
                .push(Action::StartTimer { timer: Timer::Settled { ticket }, after: self.config.settle }),
        }
        self.motion = Motion::Settling { ticket, stop, at, since: self.now };
    }

    /// The wait is over, well or not: a picture that still moves at the longest wait is taken as it is.
    pub(super) fn on_settled(&mut self, ticket: u64) {
        if let Motion::Settling { ticket: running, stop, at, .. } = self.motion
            && running == ticket
        {
            self.motion = Motion::AtStop { stop, at };
        }
    }

    pub(super) fn on_rest_watched(&mut self, ticket: u64, rest: &Rest, actions: &mut Vec<Action>) {
        match (rest, &self.motion) {
            (Rest::CannotTell { .. }, Motion::Settling { ticket: running, since, .. })
                if *running == ticket =>
            {
                let waited = self.now.saturating_sub(*since);
                actions.push(Action::StartTimer {
                    timer: Timer::Settled { ticket },
                    after: self.config.settle.saturating_sub(waited),
                });
            }
            _ => self.on_settled(ticket),
        }
    }

    /// Gives the wait up; the stop is reached anew when shooting goes on.
    pub(super) fn stop_settling(&mut self, actions: &mut Vec<Action>) {
        if matches!(self.motion, Motion::Settling { .. }) {
            if self.config.rest_within.is_some() {
                actions.push(Action::EndWatch);
            }
            self.motion = Motion::Still;
        }
    }
}
