//! How long a turn takes, and from which side a stop is reached.

use serde::{Deserialize, Serialize};

use crate::angle::{Angle, StepsPerTurn};

mod profile;

pub use profile::SpeedProfile;

/// The way the plate turns, seen from above.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Direction {
    /// Against the clock: rising A words (RS-274: counter-clockwise seen from the positive end).
    #[default]
    Anticlockwise,
    /// With the clock: falling A words.
    Clockwise,
}

impl Direction {
    /// +1 for anticlockwise, −1 for clockwise.
    pub fn sign(self) -> i64 {
        match self {
            Self::Anticlockwise => 1,
            Self::Clockwise => -1,
        }
    }

    /// The table's own angle for an angle counted along this direction.
    pub fn table_angle(self, along: Angle) -> Angle {
        match self {
            Self::Anticlockwise => along,
            Self::Clockwise => -along,
        }
    }

    /// The plain word for it.
    pub fn word(self) -> &'static str {
        match self {
            Self::Anticlockwise => "anticlockwise",
            Self::Clockwise => "clockwise",
        }
    }
}

/// Finds the moves that bring the table to a stop from the one agreed side.
///
/// Gears have play: a stop reached from the other side stands off by it. So the last move always
/// runs along `direction` over at least `run_up`, unless the gears already lean that way. The
/// shorter way is taken: ahead, or back past the stop and up to it again.
///
/// `from` is the present step, `leaning` whether the last move ran along `direction`, `stop` the
/// wanted angle counted along `direction`. The answer holds the steps to go to, in order; it is
/// empty when the table already stands there, leaning the right way.
pub fn approach(
    from: i64,
    leaning: bool,
    stop: Angle,
    direction: Direction,
    steps: StepsPerTurn,
    run_up: Angle,
) -> Vec<i64> {
    let sign = direction.sign();
    let run_up_steps = steps.steps_covering(run_up);
    let target = |turns: i64| steps.nearest_step(direction.table_angle(stop.plus_turns(turns)));
    let ahead_of = |turns: i64| (target(turns) - from) * sign;

    // The first repeat of the stop that does not lie behind, found from an estimate that rounding
    // may put off by one either way.
    let behind_turns = direction.table_angle(steps.angle_of(from)) - stop;
    let mut turns = behind_turns.degrees().div_euclid(360.0) as i64 - 1;
    while ahead_of(turns) < 0 {
        turns += 1;
    }

    let ahead = ahead_of(turns);
    if ahead == 0 && (leaning || run_up_steps == 0) {
        return Vec::new();
    }
    let back = -ahead_of(turns - 1) + 2 * run_up_steps;
    let with_run_up = |goal: i64| vec![goal - sign * run_up_steps, goal];
    if !leaning && ahead < run_up_steps {
        with_run_up(target(turns))
    } else if ahead <= back {
        vec![target(turns)]
    } else if run_up_steps == 0 {
        vec![target(turns - 1)]
    } else {
        with_run_up(target(turns - 1))
    }
}
