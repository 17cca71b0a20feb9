//! How fast the plate turns along a move: straight or S-shaped ramps.
//!
//! A move is a ramp up, a stretch at an even speed, and the same ramp backwards. A straight ramp changes
//! the speed evenly (the speed over time is a trapezoid). An S-shaped ramp also changes the
//! acceleration evenly: it rises at the jerk, holds, and falls again, seven segments for the whole
//! move, so that a tall or loose load is not jolted.
//!
//! Kinematics from L. Biagiotti, C. Melchiorri, "Trajectory Planning for Automatic Machines and
//! Robots", Springer 2008, chapter 3 (trapezoidal and double S trajectories), from memory, with equal
//! speeds at both ends. The speed taken at once from rest is the stepper's own.

use serde::{Deserialize, Serialize};

use crate::angle::StepsPerTurn;

/// Speeds of a turn, in degrees and seconds.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct SpeedProfile {
    /// The speed taken at once from rest, degrees a second; at or under the motor's pull-in rate.
    pub start_deg_per_sec: f64,
    /// The highest speed, degrees a second.
    pub cruise_deg_per_sec: f64,
    /// The highest rate of change between the two, degrees a second, a second.
    pub accel_deg_per_sec2: f64,
    /// The rate at which the acceleration itself changes, degrees/s³; `None` for straight ramps.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub jerk_deg_per_sec3: Option<f64>,
}

impl Default for SpeedProfile {
    /// The common geared 5 V stepper: from 120 to 250 half-steps a second at 400 a second, a second.
    fn default() -> Self {
        Self::from_step_rates(StepsPerTurn::HOBBY_HALF_STEPS, 120.0, 250.0, 400.0, 0.0)
    }
}

impl SpeedProfile {
    /// Builds a profile from step rates: `start` and `cruise` in steps/s, `accel` in steps/s², `jerk` in
    /// steps/s³ with 0 for straight ramps.
    pub fn from_step_rates(steps: StepsPerTurn, start: f64, cruise: f64, accel: f64, jerk: f64) -> Self {
        let degrees = 360.0 / steps.to_f64();
        Self {
            start_deg_per_sec: start * degrees,
            cruise_deg_per_sec: cruise * degrees,
            accel_deg_per_sec2: accel * degrees,
            jerk_deg_per_sec3: (jerk > 0.0).then_some(jerk * degrees),
        }
    }

    /// The same profile with every rate times `factor`; for a table whose degrees turned out longer.
    #[must_use]
    pub fn scaled(&self, factor: f64) -> Self {
        Self {
            start_deg_per_sec: self.start_deg_per_sec * factor,
            cruise_deg_per_sec: self.cruise_deg_per_sec * factor,
            accel_deg_per_sec2: self.accel_deg_per_sec2 * factor,
            jerk_deg_per_sec3: self.jerk_deg_per_sec3.map(|jerk| jerk * factor),
        }
    }

    /// The seconds a turn over this many degrees takes, either way.
    pub fn turn_secs(&self, degrees: f64) -> f64 {
        let distance = degrees.abs();
        if distance == 0.0 {
            return 0.0;
        }
        let ramp = self.ramp_for(distance);
        2.0 * ramp.secs() + (distance - 2.0 * ramp.degrees()).max(0.0) / ramp.peak
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
        let ramp = self.ramp_for(distance);
        // The second half mirrors the first.
        let behind = if secs <= whole / 2.0 {
            ramp.degrees_after(secs)
        } else {
            distance - ramp.degrees_after(whole - secs)
        };
        behind.copysign(degrees)
    }

    /// The ramp of a move over `distance` degrees: up to the cruise speed, or as far as a short move lets it.
    fn ramp_for(&self, distance: f64) -> Ramp {
        let cruise = self.cruise_deg_per_sec.max(1e-9);
        let start = self.start_deg_per_sec.clamp(0.0, cruise);
        let accel = self.accel_deg_per_sec2;
        if accel <= 0.0 || start >= cruise {
            return Ramp::new(cruise, 0.0, 1.0, None);
        }
        let jerk = self.jerk_deg_per_sec3.filter(|jerk| jerk.is_finite() && *jerk > 0.0);
        let whole = Ramp::new(start, cruise - start, accel, jerk);
        if 2.0 * whole.degrees() <= distance {
            return whole;
        }
        let change = short_move_change(start, accel, jerk, distance).min(cruise - start);
        Ramp::new(start, change, accel, jerk)
    }
}

/// The speed change over which a ramp just reaches its full acceleration: it rises to it and falls at once.
fn full_accel_change(accel: f64, jerk: f64) -> f64 {
    accel * accel / jerk
}

/// How far the speed rises in a move of two ramps and nothing between, over `distance` in all.
///
/// A ramp that adds d to the speed v₀ in T seconds covers T·(2·v₀ + d)/2, so the distance is
/// T·(2·v₀ + d). T is d/a for straight ramps, d/a + a/j where full acceleration is reached, and
/// 2·√(d/j) where it is not. Each root is written so that a small d keeps its digits.
fn short_move_change(start: f64, accel: f64, jerk: Option<f64>, distance: f64) -> f64 {
    let change = jerk.map_or(0.0, |jerk| full_accel_change(accel, jerk));
    let full_accel_distance = jerk.map_or(0.0, |jerk| (2.0 * start + change) * 2.0 * accel / jerk);
    match jerk {
        Some(jerk) if distance < full_accel_distance => {
            // With u = √d: u³ + 2·v₀·u = distance·√j / 2, which has one real root.
            let right = distance * jerk.sqrt() / 2.0;
            let linear = 2.0 * start;
            let sinh = 1.5 * right / linear * (3.0 / linear).sqrt();
            let u = if sinh.is_finite() {
                2.0 * (linear / 3.0).sqrt() * (sinh.asinh() / 3.0).sinh()
            } else {
                right.cbrt()
            };
            u * u
        }
        // d² + (2·v₀ + a²/j)·d + 2·v₀·a²/j − a·distance = 0; straight ramps are the case a²/j = 0.
        _ => {
            let linear = 2.0 * start + change;
            let constant = (accel * distance - 2.0 * start * change).max(0.0);
            2.0 * constant / (linear + (linear * linear + 4.0 * constant).sqrt())
        }
    }
}

/// One ramp: acceleration rises over `rise_secs`, holds over `hold_secs`, and falls as it rose.
#[derive(Debug, Clone, Copy)]
struct Ramp {
    /// Speed at its foot, degrees a second.
    start: f64,
    /// Speed at its top, degrees a second.
    peak: f64,
    rise_secs: f64,
    hold_secs: f64,
    /// The acceleration held, degrees a second, a second.
    accel: f64,
}

impl Ramp {
    /// A ramp that adds `change` to the speed at its foot.
    fn new(start: f64, change: f64, accel: f64, jerk: Option<f64>) -> Self {
        let peak = start + change;
        match jerk {
            None => Self { start, peak, rise_secs: 0.0, hold_secs: change / accel, accel },
            Some(jerk) if change >= full_accel_change(accel, jerk) => {
                let rise_secs = accel / jerk;
                Self { start, peak, rise_secs, hold_secs: change / accel - rise_secs, accel }
            }
            Some(jerk) => {
                let rise_secs = (change / jerk).sqrt();
                Self { start, peak, rise_secs, hold_secs: 0.0, accel: jerk * rise_secs }
            }
        }
    }

    fn secs(&self) -> f64 {
        2.0 * self.rise_secs + self.hold_secs
    }

    /// The ramp is point-symmetric about its middle, so its mean speed is the mean of both ends.
    fn degrees(&self) -> f64 {
        f64::midpoint(self.start, self.peak) * self.secs()
    }

    /// Degrees covered after `secs`, going on at the top speed after the ramp.
    fn degrees_after(&self, secs: f64) -> f64 {
        let (rise, accel) = (self.rise_secs, self.accel);
        let left = self.secs() - secs;
        if left <= 0.0 {
            self.degrees() - self.peak * left
        } else if secs < rise {
            self.start * secs + accel * secs.powi(3) / (6.0 * rise)
        } else if left < rise {
            self.degrees() - self.peak * left + accel * left.powi(3) / (6.0 * rise)
        } else {
            let held = secs - rise;
            let speed = self.start + accel * rise / 2.0;
            self.start * rise + accel * rise * rise / 6.0 + speed * held + accel * held * held / 2.0
        }
    }
}
