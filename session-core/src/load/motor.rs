//! What a stepper can give at a step rate.

use serde::{Deserialize, Serialize};

use super::{LoadError, LoadField, refuse};
use crate::angle::StepsPerTurn;

/// The torque at one step rate.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct TorquePoint {
    /// Steps a second, in the steps the controller counts.
    pub steps_per_sec: f64,
    /// Torque at the plate, N·m, gears included.
    pub torque_nm: f64,
}

/// A motor with its gears, seen from the plate.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Motor {
    /// A name for people.
    pub name: String,
    /// Steps in a turn of the plate.
    pub steps_per_turn: StepsPerTurn,
    /// How many of those steps make one full step of the motor: 2 in half-steps.
    pub steps_per_full_step: f64,
    /// Torque over step rate, rates rising; between two points it is taken as straight.
    pub torque: Vec<TorquePoint>,
    /// The highest step rate that is proposed, steps a second.
    pub cruise_cap: f64,
    /// The highest step rate that is proposed to start at from rest, steps a second.
    pub start_cap: f64,
    /// Where the figures come from, in words.
    pub source: String,
}

impl Motor {
    /// The common geared 5 V stepper in half-steps.
    ///
    /// 34.3 mN·m at 120 a second is the least pull-in torque of a published data sheet; no torque at 500 a
    /// second stands for loaded tests that fail near there. The straight line between is knowledge
    /// without source, and errs low: unloaded motors run to 1000.
    pub fn hobby() -> Self {
        Self {
            name: "common geared 5 V stepper".to_owned(),
            steps_per_turn: StepsPerTurn::HOBBY_HALF_STEPS,
            steps_per_full_step: 2.0,
            torque: vec![
                TorquePoint { steps_per_sec: 120.0, torque_nm: 0.0343 },
                TorquePoint { steps_per_sec: 500.0, torque_nm: 0.0 },
            ],
            cruise_cap: 250.0,
            start_cap: 120.0,
            source:
                "34.3 mN·m at 120 half-steps/s from a published data sheet; the fall to nothing at 500/s is \
                     knowledge without source, on the safe side"
                    .to_owned(),
        }
    }

    /// A motor by its own figures; full speed is the last point's rate.
    pub fn from_figures(
        steps_per_turn: StepsPerTurn,
        steps_per_full_step: f64,
        torque: Vec<TorquePoint>,
    ) -> Self {
        let rate = |point: Option<&TorquePoint>| point.map_or(0.0, |point| point.steps_per_sec);
        Self {
            name: "motor by its own figures".to_owned(),
            steps_per_turn,
            steps_per_full_step,
            cruise_cap: rate(torque.last()),
            start_cap: rate(torque.first()),
            torque,
            source: "as entered".to_owned(),
        }
    }

    /// Torque at the plate at a step rate, N·m: level below the first point, none above the last.
    pub fn torque_at(&self, steps_per_sec: f64) -> f64 {
        let Some(first) = self.torque.first() else { return 0.0 };
        if steps_per_sec <= first.steps_per_sec {
            return first.torque_nm;
        }
        for pair in self.torque.windows(2) {
            let (low, high) = (pair[0], pair[1]);
            if steps_per_sec <= high.steps_per_sec {
                let share = (steps_per_sec - low.steps_per_sec) / (high.steps_per_sec - low.steps_per_sec);
                return low.torque_nm + share * (high.torque_nm - low.torque_nm);
            }
        }
        0.0
    }

    /// Checks the figures.
    pub(super) fn check(&self) -> Result<(), LoadError> {
        let bad = |message: &str| refuse(LoadField::Motor, format!("the motor's figures: {message}"));
        if self.torque.is_empty() || self.torque.len() > 100 {
            return Err(bad("give 1 to 100 points of step rate and torque"));
        }
        for point in &self.torque {
            let rate_fits = point.steps_per_sec > 0.0 && point.steps_per_sec <= 1e6;
            if !rate_fits || !(0.0..=1000.0).contains(&point.torque_nm) {
                return Err(bad(
                    "step rates must be above 0 and up to 1 000 000 a second, torques 0 to 1000 N·m",
                ));
            }
        }
        if self.torque.windows(2).any(|pair| pair[1].steps_per_sec <= pair[0].steps_per_sec) {
            return Err(bad("step rates must rise from point to point"));
        }
        if self.torque.windows(2).any(|pair| pair[1].torque_nm > pair[0].torque_nm) {
            return Err(bad("a stepper's torque falls with the step rate; check the points"));
        }
        if !(1.0..=1024.0).contains(&self.steps_per_full_step) {
            return Err(bad("one full step is 1 to 1024 of the controller's steps"));
        }
        Ok(())
    }
}
