//! How long a turn takes, and from which side a stop is reached.

use serde::{Deserialize, Serialize};

use crate::angle::{Angle, StepsPerTurn};

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

/// Speeds of a turn with straight ramps, in degrees and seconds.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct SpeedProfile {
    /// The speed taken at once from rest, degrees a second; at or under the motor's pull-in rate.
    pub start_deg_per_sec: f64,
    /// The highest speed, degrees a second.
    pub cruise_deg_per_sec: f64,
    /// The rate of change between the two, degrees a second, a second.
    pub accel_deg_per_sec2: f64,
}

impl Default for SpeedProfile {
    /// The common geared 5 V stepper: from 120 to 250 half-steps a second at 400 a second, a second.
    fn default() -> Self {
        Self::from_step_rates(StepsPerTurn::HOBBY_HALF_STEPS, 120.0, 250.0, 400.0)
    }
}

impl SpeedProfile {
    /// Builds a profile from step rates (steps a second) and their change (steps a second, a second).
    pub fn from_step_rates(steps: StepsPerTurn, start: f64, cruise: f64, accel: f64) -> Self {
        let degrees = 360.0 / steps.to_f64();
        Self {
            start_deg_per_sec: start * degrees,
            cruise_deg_per_sec: cruise * degrees,
            accel_deg_per_sec2: accel * degrees,
        }
    }

    /// The seconds a turn over this many degrees takes, either way.
    ///
    /// Uniform acceleration v² = v₀² + 2·a·s on both ramps (any mechanics textbook).
    pub fn turn_secs(&self, degrees: f64) -> f64 {
        let distance = degrees.abs();
        let cruise = self.cruise_deg_per_sec.max(1e-9);
        let start = self.start_deg_per_sec.clamp(0.0, cruise);
        let accel = self.accel_deg_per_sec2;
        if distance == 0.0 {
            return 0.0;
        }
        if accel <= 0.0 || start >= cruise {
            return distance / cruise;
        }
        let ramp = (cruise * cruise - start * start) / (2.0 * accel);
        if distance >= 2.0 * ramp {
            2.0 * (cruise - start) / accel + (distance - 2.0 * ramp) / cruise
        } else {
            let peak = (start * start + accel * distance).sqrt();
            2.0 * (peak - start) / accel
        }
    }

    /// How many of `degrees` are behind after `secs` of a turn; 0 before it, all after it.
    pub fn degrees_after(&self, degrees: f64, secs: f64) -> f64 {
        let whole = self.turn_secs(degrees);
        if secs <= 0.0 {
            return 0.0;
        }
        if secs >= whole {
            return degrees;
        }
        let distance = degrees.abs();
        // The second half mirrors the first.
        let behind = if secs <= whole / 2.0 {
            self.degrees_ramping_up(secs, whole / 2.0)
        } else {
            distance - self.degrees_ramping_up(whole - secs, whole / 2.0)
        };
        behind.copysign(degrees)
    }

    fn degrees_ramping_up(&self, secs: f64, half: f64) -> f64 {
        let cruise = self.cruise_deg_per_sec.max(1e-9);
        let start = self.start_deg_per_sec.clamp(0.0, cruise);
        let accel = self.accel_deg_per_sec2;
        if accel <= 0.0 || start >= cruise {
            return cruise * secs;
        }
        let ramp_secs = ((cruise - start) / accel).min(half);
        let ramping = secs.min(ramp_secs);
        start * ramping + accel * ramping * ramping / 2.0 + (start + accel * ramp_secs) * (secs - ramping)
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
