//! Puts a calibration between a session and the table's driver.
//!
//! The motor's own steps are the common ground. A driver turns to a step of the motor, whatever it
//! believes a turn to be (a serial one sends the angle that lands on that step by the board's own
//! figure); the session learns the true steps in a turn from [`TableFacts`] and rounds each stop to
//! one of them. So nothing is rounded twice.

use std::time::Duration;

use crate::angle::StepsPerTurn;
use crate::cancel::CancelToken;
use crate::turntable::{TableError, TableFacts, TablePosition, Turntable};

/// A table that knows its true steps in a turn.
pub struct CalibratedTable {
    inner: Box<dyn Turntable>,
    true_steps: StepsPerTurn,
    facts: TableFacts,
}

impl std::fmt::Debug for CalibratedTable {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("CalibratedTable").field("facts", &self.facts).finish_non_exhaustive()
    }
}

impl CalibratedTable {
    /// Gives a table its measured steps in a turn.
    pub fn new(inner: Box<dyn Turntable>, true_steps: StepsPerTurn) -> Self {
        let facts = corrected(inner.facts(), true_steps);
        Self { inner, true_steps, facts }
    }
}

/// The facts with true steps; the same step rates are other degrees a second then.
fn corrected(facts: &TableFacts, true_steps: StepsPerTurn) -> TableFacts {
    TableFacts {
        steps_per_turn: true_steps,
        speeds: facts.speeds.scaled(facts.steps_per_turn.to_f64() / true_steps.to_f64()),
        ..facts.clone()
    }
}

impl Turntable for CalibratedTable {
    fn facts(&self) -> &TableFacts {
        &self.facts
    }

    fn position(&mut self) -> Result<TablePosition, TableError> {
        self.inner.position()
    }

    fn turn_to(
        &mut self,
        step: i64,
        cancel: &CancelToken,
        progress: &mut dyn FnMut(i64),
    ) -> Result<TablePosition, TableError> {
        self.inner.turn_to(step, cancel, progress)
    }

    fn set_zero(&mut self) -> Result<TablePosition, TableError> {
        self.inner.set_zero()
    }

    fn find_index(&mut self) -> Result<TablePosition, TableError> {
        self.inner.find_index()
    }

    fn fire_shutter(&mut self, press: Duration) -> Result<(), TableError> {
        self.inner.fire_shutter(press)
    }

    fn release(&mut self) -> Result<(), TableError> {
        self.inner.release()
    }

    fn reconnect(&mut self) -> Result<TablePosition, TableError> {
        let position = self.inner.reconnect()?;
        self.facts = corrected(self.inner.facts(), self.true_steps);
        Ok(position)
    }
}
