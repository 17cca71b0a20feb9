//! What a turntable can do, whatever it is made of.

use std::time::Duration;

use serde::{Deserialize, Serialize};

use crate::angle::StepsPerTurn;
use crate::cancel::CancelToken;
use crate::motion::SpeedProfile;

pub mod serial;
pub mod simulated;

/// What a table says of itself once it has answered.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TableFacts {
    /// A name for people and the journal, such as `serial ttyACM0, Roundstop-table 1.0.0`.
    pub name: String,
    /// Exact steps in a turn of the plate.
    pub steps_per_turn: StepsPerTurn,
    /// Its speeds; for estimates and time-outs.
    pub speeds: SpeedProfile,
    /// Whether it has a line to the camera's shutter.
    pub has_shutter: bool,
}

/// Where a table says it stands.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct TablePosition {
    /// Whole steps from zero, anticlockwise positive, unbounded.
    pub step: i64,
    /// Names the zero these steps count from; the same text later means that the table has kept
    /// its position without a break. `None` while the table does not know where it stands.
    pub zero: Option<String>,
}

/// Says what went wrong with a table.
#[derive(Debug, Clone, PartialEq, thiserror::Error, Serialize, Deserialize)]
pub enum TableError {
    /// The line is gone: unplugged, powered off, or closed.
    #[error("the table is gone ({0}); check its cable and supply, then reconnect")]
    Lost(String),
    /// The table started anew in mid-session and forgot where it stands.
    #[error(
        "the table's controller has started anew ({0}); its position is unknown. Bring the product back to 0° and set zero again"
    )]
    Restarted(String),
    /// The controller still answers, but where the plate stands is no longer certain.
    #[error(
        "the table no longer knows for certain where it stands ({0}). Put that right, bring the product back to 0° and set zero again"
    )]
    PositionLost(String),
    /// No answer within the time the work can take.
    #[error(
        "the table did not answer within {secs:.1} s to '{word}'; check that nothing blocks the plate, then try again"
    )]
    TimedOut {
        /// The word sent.
        word: String,
        /// The wait in seconds.
        secs: f64,
    },
    /// The table answered that it will not.
    #[error("the table refused '{word}': {reason}")]
    Refused {
        /// The word sent.
        word: String,
        /// Its reason.
        reason: String,
    },
    /// The table was stopped on request before it arrived.
    #[error("the turn was stopped on request at step {step}")]
    Stopped {
        /// Where it came to a halt.
        step: i64,
    },
    /// The port could not be opened.
    #[error("the table at {port} cannot be opened: {reason}")]
    CannotOpen {
        /// The port's path or name.
        port: String,
        /// What the system said and what to do.
        reason: String,
    },
    /// Something answers, but it is not a table controller this program understands.
    #[error("{0}")]
    NotATable(String),
}

/// One turntable: job verbs only; how they travel is the driver's affair.
///
/// Every call blocks until the work has ended, failed, or been cancelled, within a bound of its own.
pub trait Turntable: Send {
    /// What the table is; known since it was opened.
    fn facts(&self) -> &TableFacts;

    /// Asks where the table stands.
    fn position(&mut self) -> Result<TablePosition, TableError>;

    /// Turns to a step and returns when the motion has ended, with the position the table reports.
    ///
    /// `progress` hears of steps passed, when the table tells. A raised `cancel` stops the table at
    /// once and gives [`TableError::Stopped`].
    fn turn_to(
        &mut self,
        step: i64,
        cancel: &CancelToken,
        progress: &mut dyn FnMut(i64),
    ) -> Result<TablePosition, TableError>;

    /// Declares the present place to be step 0.
    fn set_zero(&mut self) -> Result<TablePosition, TableError>;

    /// Turns to the index mark and takes the position from there; only tables with an index sensor can.
    fn find_index(&mut self) -> Result<TablePosition, TableError> {
        Err(TableError::Refused {
            word: "find the index".to_owned(),
            reason: "this table has no index sensor; set zero by hand".to_owned(),
        })
    }

    /// Fires the camera's shutter over the table's line; returns when the contact has opened again.
    fn fire_shutter(&mut self, press: Duration) -> Result<(), TableError>;

    /// Lets the motor go, so that it stays cool between sessions.
    fn release(&mut self) -> Result<(), TableError>;

    /// Opens the line again after [`TableError::Lost`]; the position counts only if its zero is the same.
    fn reconnect(&mut self) -> Result<TablePosition, TableError>;
}
