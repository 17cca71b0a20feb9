//! A table without hardware: inertia, gear play, ring-down, and wrong gearing on request.
//!
//! It serves the demo, rehearsals of a plan, and tests. Its [`SimProbe`] tells the plate's *true*
//! angle at any time, which the simulated camera draws, so a wrong turn shows in the picture.

use std::f64::consts::TAU;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use super::{TableError, TableFacts, TablePosition, Turntable};
use crate::angle::StepsPerTurn;
use crate::cancel::CancelToken;
use crate::clock::Clock;
use crate::motion::SpeedProfile;

/// What the simulated table is like.
#[derive(Debug, Clone, PartialEq)]
pub struct SimTableSettings {
    /// The steps in a turn that the table believes in.
    pub steps_per_turn: StepsPerTurn,
    /// The steps a turn really takes; another figure makes every angle wrong by the ratio.
    pub true_steps_per_turn: StepsPerTurn,
    /// Speeds of its turns.
    pub speeds: SpeedProfile,
    /// Gear play, degrees: the plate lags behind the motor by this much in one direction.
    pub play_deg: f64,
    /// Swing of the load right after a turn, degrees.
    pub ring_deg: f64,
    /// Frequency of that swing, hertz.
    pub ring_hz: f64,
    /// How fast it dies down: the swing falls by e in 1/`ring_decay` seconds.
    pub ring_decay: f64,
}

impl Default for SimTableSettings {
    /// A hobby table with a mug on it; values of the demo, not measured on a real one.
    fn default() -> Self {
        Self {
            steps_per_turn: StepsPerTurn::HOBBY_HALF_STEPS,
            true_steps_per_turn: StepsPerTurn::HOBBY_HALF_STEPS,
            speeds: SpeedProfile::default(),
            play_deg: 0.8,
            ring_deg: 0.6,
            ring_hz: 4.0,
            ring_decay: 6.0,
        }
    }
}

/// The part of the table's state that picture and person may look at.
#[derive(Debug)]
struct Plate {
    settings: SimTableSettings,
    /// Motor position at the start of the present or last move, steps.
    from: f64,
    /// Where that move leads, steps.
    to: f64,
    started: Duration,
    /// Where the plate hangs in the gears' play when the move starts: 0 forward, 1 fully back.
    slack: f64,
    plugged_in: bool,
    shutter_count: u64,
}

impl Plate {
    fn motor_degrees(&self, step: f64) -> f64 {
        step * 360.0 / self.settings.true_steps_per_turn.to_f64()
    }

    fn move_degrees(&self) -> f64 {
        self.motor_degrees(self.to - self.from)
    }

    fn motor_at(&self, time: Duration) -> f64 {
        let secs = time.saturating_sub(self.started).as_secs_f64();
        self.motor_degrees(self.from) + self.settings.speeds.degrees_after(self.move_degrees(), secs)
    }

    /// Play left between plate and motor at a time, degrees behind the forward contact.
    fn slack_at(&self, time: Duration) -> f64 {
        let moved = self.motor_at(time) - self.motor_degrees(self.from);
        (self.slack - moved).clamp(0.0, self.settings.play_deg)
    }

    fn true_degrees(&self, time: Duration) -> f64 {
        let swing = {
            let ended = self.started.as_secs_f64() + self.settings.speeds.turn_secs(self.move_degrees());
            let since = time.as_secs_f64() - ended;
            if since < 0.0 || self.from.to_bits() == self.to.to_bits() {
                0.0
            } else {
                let s = &self.settings;
                s.ring_deg * (-s.ring_decay * since).exp() * (TAU * s.ring_hz * since).sin()
            }
        };
        self.motor_at(time) + self.slack_at(time) + swing
    }
}

/// Looks at the simulated plate from outside, as light does.
#[derive(Debug, Clone)]
pub struct SimProbe(Arc<Mutex<Plate>>);

impl SimProbe {
    /// The plate's true angle at a session time, degrees, anticlockwise positive, unbounded.
    pub fn true_degrees(&self, time: Duration) -> f64 {
        lock(&self.0).true_degrees(time)
    }

    /// Pulls the table's plug, or puts it back.
    pub fn set_plugged_in(&self, plugged_in: bool) {
        lock(&self.0).plugged_in = plugged_in;
    }

    /// How often the table's shutter line has fired.
    pub fn shutter_count(&self) -> u64 {
        lock(&self.0).shutter_count
    }
}

fn lock(plate: &Mutex<Plate>) -> MutexGuard<'_, Plate> {
    plate.lock().unwrap_or_else(PoisonError::into_inner)
}

/// The simulated table.
#[derive(Debug)]
pub struct SimTable {
    facts: TableFacts,
    plate: Arc<Mutex<Plate>>,
    clock: Clock,
    step: i64,
}

impl SimTable {
    /// Builds a table at rest at 0° and a probe to look at it.
    pub fn new(settings: SimTableSettings, clock: Clock) -> (Self, SimProbe) {
        let facts = TableFacts {
            name: "simulated table".to_owned(),
            steps_per_turn: settings.steps_per_turn,
            speeds: settings.speeds,
            has_shutter: true,
        };
        let plate = Arc::new(Mutex::new(Plate {
            settings,
            from: 0.0,
            to: 0.0,
            started: Duration::ZERO,
            slack: 0.0,
            plugged_in: true,
            shutter_count: 0,
        }));
        let probe = SimProbe(Arc::clone(&plate));
        (Self { facts, plate, clock, step: 0 }, probe)
    }

    fn check_plug(&self) -> Result<(), TableError> {
        if lock(&self.plate).plugged_in {
            Ok(())
        } else {
            Err(TableError::Lost("the simulated cable is out".to_owned()))
        }
    }

    /// It stands at its zero whenever it is made, as a table with an index mark would.
    fn here(&self) -> TablePosition {
        TablePosition { step: self.step, zero: Some("simulated".to_owned()) }
    }
}

impl Turntable for SimTable {
    fn facts(&self) -> &TableFacts {
        &self.facts
    }

    fn position(&mut self) -> Result<TablePosition, TableError> {
        self.check_plug()?;
        Ok(self.here())
    }

    fn turn_to(
        &mut self,
        step: i64,
        cancel: &CancelToken,
        progress: &mut dyn FnMut(i64),
    ) -> Result<TablePosition, TableError> {
        const LOOK_EVERY: Duration = Duration::from_millis(50);
        self.check_plug()?;
        let started = self.clock.now();
        let secs = {
            let mut plate = lock(&self.plate);
            plate.slack = plate.slack_at(started);
            plate.from = self.step as f64;
            plate.to = step as f64;
            plate.started = started;
            plate.settings.speeds.turn_secs(plate.move_degrees())
        };
        let ends = started + Duration::from_secs_f64(secs);
        let mut look = started;
        while look < ends {
            look = (look + LOOK_EVERY).min(ends);
            let whole = self.clock.sleep_until(look, cancel);
            self.check_plug()?;
            let (from, to) = (self.step, step);
            let passed = {
                let plate = lock(&self.plate);
                let share = plate.motor_at(self.clock.now().min(look)) - plate.motor_degrees(from as f64);
                from + (share / plate.motor_degrees(1.0)).round() as i64
            };
            if !whole {
                let now = self.clock.now();
                let mut plate = lock(&self.plate);
                plate.slack = plate.slack_at(now);
                plate.from = passed as f64;
                plate.to = passed as f64;
                plate.started = now;
                self.step = passed;
                return Err(TableError::Stopped { step: passed });
            }
            progress(if look == ends { to } else { passed });
        }
        self.step = step;
        Ok(self.here())
    }

    fn set_zero(&mut self) -> Result<TablePosition, TableError> {
        self.check_plug()?;
        // The person turns the product back to where 0° was, so the true angle starts anew too.
        let now = self.clock.now();
        let mut plate = lock(&self.plate);
        plate.slack = plate.slack_at(now);
        plate.from = 0.0;
        plate.to = 0.0;
        plate.started = now;
        drop(plate);
        self.step = 0;
        Ok(self.here())
    }

    fn fire_shutter(&mut self, press: Duration) -> Result<(), TableError> {
        self.check_plug()?;
        lock(&self.plate).shutter_count += 1;
        let until = self.clock.now() + press;
        self.clock.sleep_until(until, &CancelToken::default());
        Ok(())
    }

    fn release(&mut self) -> Result<(), TableError> {
        self.check_plug()
    }

    fn reconnect(&mut self) -> Result<TablePosition, TableError> {
        self.position()
    }
}
