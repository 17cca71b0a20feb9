//! One flag on one frame.

use serde::Serialize;

/// Says what is wrong with a frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum FlagKind {
    /// Soft in both directions, against its neighbours.
    OutOfFocus,
    /// Soft across only: the table still moved.
    MotionBlur,
    /// Brighter or darker than its neighbours.
    ExposureOff,
    /// Another colour of light than its neighbours.
    WhiteBalanceOff,
    /// Highlights or shadows on the object without detail.
    Clipped,
    /// The picture of the stop before, once more, or another of the object as it stood there.
    Duplicate,
    /// The stop stands wrong, alone.
    WrongAngle,
    /// From this stop on the object stands shifted on the plate.
    ObjectSlipped,
    /// The background changes much across the frame.
    BackgroundUneven,
    /// The file cannot be read, or not all of it, or shows no object.
    Damaged,
    /// Another size or orientation than the rest of the set.
    SizeDiffers,
}

/// What was seen on a frame and how much.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Flag {
    /// The kind.
    pub kind: FlagKind,
    /// What was seen and what to do, for a person.
    pub reason: String,
    /// How much, in `unit`.
    pub amount: f64,
    /// Unit of the amount: `px`, `EV`, `%`, `°`.
    pub unit: &'static str,
}

impl Flag {
    pub(super) fn new(kind: FlagKind, amount: f64, unit: &'static str, reason: String) -> Self {
        // Three digits after the point are more than any of the amounts can carry.
        Self { kind, reason, amount: (amount * 1e3).round() / 1e3, unit }
    }
}
