//! The engine's part about faults: raising them, and going on once a person has helped.

use super::{Action, Engine, Fault, FaultKind, Lens, Mode, Motion, Refused, TableError, TablePosition};

impl Engine {
    /// Stops the session for a person; a camera's fault does not cover up one that leaving the stop out
    /// would not help.
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
            FaultKind::Storage if self.stuck.is_empty() => {
                "Every kept frame is safe. Make room or mend the folder, then try again."
            }
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
        self.raise(kind, self.queue.front().copied(), finding(error));
    }

    pub(super) fn on_table_ready(&mut self, position: TablePosition, actions: &mut Vec<Action>) {
        self.table_gone = false;
        self.reconnecting = false;
        self.leaning = false;
        if !matches!(self.motion, Motion::Turning { .. }) {
            // It may have been turned meanwhile: the stop is reached anew.
            self.motion = Motion::Still;
        }
        if std::mem::take(&mut self.zero_wanted)
            && let Some(zero) = &position.zero
        {
            self.take_zero(zero.clone(), actions);
        }
        self.position = Some(position);
    }

    /// Counts steps from this zero; at which of its steps earlier frames were shot is not known.
    fn take_zero(&mut self, zero: String, actions: &mut Vec<Action>) {
        for status in &mut self.stops {
            status.step = None;
        }
        self.last_shot_before_zero = self.last_shot;
        self.expected_zero = Some(zero.clone());
        actions.push(Action::RecordZero { zero, last_shot_before: self.last_shot });
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
            (Some(zero), Some(expected)) if zero == expected => {
                if std::mem::take(&mut self.zero_unrecorded) {
                    let last_shot_before = self.last_shot_before_zero;
                    actions.push(Action::RecordZero { zero: zero.clone(), last_shot_before });
                }
                true
            }
            (Some(zero), None) => {
                self.take_zero(zero.clone(), actions);
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

    /// Takes back what was not begun because the disk would not take its record.
    pub(super) fn on_disk_refused(&mut self, refused: Refused, reason: String) {
        let stop = match refused {
            Refused::Turn { ticket } => match self.turn_of_ticket(ticket) {
                Some((stop, _)) => {
                    self.motion = Motion::Still;
                    Some(stop)
                }
                None => return,
            },
            Refused::Exposure { shot } => match self.lens_shot(shot) {
                Some(shot) => {
                    self.lens = Lens::Free;
                    self.requeue(shot.stop);
                    Some(shot.stop)
                }
                None => return,
            },
            Refused::Zero => {
                self.zero_unrecorded = true;
                None
            }
        };
        self.raise(FaultKind::Storage, stop, reason);
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

/// What a table's error says without what to do: the fault's own advice says that.
fn finding(error: &TableError) -> String {
    match error {
        TableError::Lost(detail) => format!("the table is gone ({detail})"),
        TableError::Restarted(detail) => {
            format!("the table's controller has started anew ({detail}), so its position is unknown")
        }
        TableError::PositionLost(detail) => {
            format!("the table no longer knows for certain where it stands ({detail})")
        }
        TableError::TimedOut { word, secs } => {
            format!("the table did not answer within {secs:.1} s to '{word}'")
        }
        _ => error.to_string(),
    }
}
