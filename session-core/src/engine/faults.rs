//! The engine's part about faults: raising them, and going on once a person has helped.

use super::{Action, Engine, Fault, FaultKind, Mode, TableError, TablePosition};

impl Engine {
    /// Stops the session for a person; an earlier fault of the table stays in front.
    pub(super) fn raise(&mut self, kind: FaultKind, stop: Option<u32>, message: String) {
        if let Mode::Fault(present) = &self.mode
            && present.kind.needs_the_table()
            && !kind.needs_the_table()
        {
            return;
        }
        let advice = match kind {
            FaultKind::Table => {
                "Check that the plate turns freely, and the table's cable and supply; then try again."
            }
            FaultKind::PositionUnknown => {
                "Turn the product to where 0° was, then set zero there; or stop the session."
            }
            FaultKind::Camera => "Mend the cause and try again, or skip this stop for now.",
            FaultKind::Storage => {
                "The frame is held in memory and not lost. Make room or mend the folder, then try again."
            }
            FaultKind::Settings => {
                "The frame is kept. Put the setting back and try again, which shoots it anew; or go on with the new setting for the rest of the set."
            }
        };
        self.mode = Mode::Fault(Fault { kind, stop, message, advice });
    }

    pub(super) fn table_fault(&mut self, error: &TableError) {
        self.leaning = false;
        let kind = match error {
            TableError::Restarted(_) | TableError::PositionLost(_) => {
                if let Some(position) = &mut self.position {
                    position.zero = None;
                }
                FaultKind::PositionUnknown
            }
            _ => {
                self.table_gone = true;
                FaultKind::Table
            }
        };
        self.zero_wanted = false;
        self.reconnecting = false;
        if self.mode == Mode::Stopping {
            // The person is leaving; only the halt itself matters.
            return;
        }
        self.raise(kind, self.queue.front().copied(), error.to_string());
    }

    pub(super) fn on_table_ready(&mut self, position: TablePosition, actions: &mut Vec<Action>) {
        self.table_gone = false;
        self.reconnecting = false;
        self.leaning = false;
        if std::mem::take(&mut self.zero_wanted)
            && let Some(zero) = &position.zero
        {
            self.expected_zero = Some(zero.clone());
            actions.push(Action::RecordZero { zero: zero.clone() });
            if matches!(&self.mode, Mode::Fault(fault) if fault.kind == FaultKind::PositionUnknown) {
                self.run(actions);
            }
        }
        self.position = Some(position);
    }

    /// Whether frames may be shot from where the table says it stands; asks for what is lacking.
    pub(super) fn position_is_sure(&mut self, actions: &mut Vec<Action>) -> bool {
        if self.table_gone && !self.reconnecting {
            self.reconnecting = true;
            actions.push(Action::ReconnectTable);
        }
        if self.zero_wanted || self.reconnecting {
            return false;
        }
        let Some(position) = &self.position else { return false };
        match (&position.zero, &self.expected_zero) {
            (Some(zero), Some(expected)) if zero == expected => true,
            (Some(zero), None) => {
                let zero = zero.clone();
                actions.push(Action::RecordZero { zero: zero.clone() });
                self.expected_zero = Some(zero);
                true
            }
            (None, None) => {
                // A new set on a table that knows no zero: where the product stands now is 0°.
                self.zero_wanted = true;
                actions.push(Action::ZeroTable);
                false
            }
            (Some(_), Some(_)) => {
                self.raise(
                    FaultKind::PositionUnknown,
                    None,
                    "the table's zero has been set anew since this set's frames were shot, so its angles no longer match".to_owned(),
                );
                false
            }
            (None, Some(_)) => {
                self.raise(
                    FaultKind::PositionUnknown,
                    None,
                    "the table has been without power or was restarted since this set's frames were shot, so its position is unknown".to_owned(),
                );
                false
            }
        }
    }

    /// Goes on after a fault: opens the line, writes held frames, shoots the failed stop again.
    pub(super) fn try_again(&mut self, actions: &mut Vec<Action>) {
        let Mode::Fault(fault) = self.mode.clone() else { return };
        if let Some(status) = fault.stop.and_then(|stop| self.stop_mut(stop)) {
            status.attempts = 0;
        }
        // Trying again does not tell where the plate stands; only a person can.
        if fault.kind == FaultKind::Settings {
            self.retake_drifted();
        }
        if fault.kind != FaultKind::PositionUnknown {
            self.run(actions);
        }
    }
}
