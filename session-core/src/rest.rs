//! Whether the load has come to rest after a turn, told from live pictures. Knows no pixels: who looks at
//! them is handed in as a [`RestWatcher`].

use serde::{Deserialize, Serialize};

/// What the live pictures since a turn say.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Rest {
    /// The picture stands still.
    Still,
    /// The picture moves, or is not known yet to stand still.
    Moving {
        /// How far it still swings to each side, pixels of the live picture; `None` while that is not known.
        swing_px: Option<f64>,
    },
    /// The pictures do not tell.
    CannotTell {
        /// Why, for a person.
        reason: String,
    },
}

/// Tells from live pictures whether the load has come to rest. Called on the camera's thread.
pub trait RestWatcher: Send {
    /// Begins anew: a turn has ended.
    fn begin(&mut self);

    /// Looks at the next live picture, a JPEG taken `secs` seconds after the turn's end; times rise.
    fn look(&mut self, secs: f64, picture: &[u8]) -> Rest;
}
