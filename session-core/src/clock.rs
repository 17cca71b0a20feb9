//! Time for devices and runner: real, quickened, or virtual.
//!
//! The simulated devices wait on this clock, so that a rehearsal can run at any speed while every
//! duration keeps its meaning.

use std::sync::{Arc, Mutex, PoisonError};
use std::thread;
use std::time::{Duration, Instant};

use crate::cancel::CancelToken;

/// How fast simulated time passes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SimSpeed {
    /// This many simulated seconds in a real one, 0.001 to 10000.
    Times(f64),
    /// No real waiting at all: a wait only moves the clock on.
    Max,
}

impl Default for SimSpeed {
    fn default() -> Self {
        Self::Times(1.0)
    }
}

impl std::str::FromStr for SimSpeed {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        if text == "max" {
            return Ok(Self::Max);
        }
        match text.parse::<f64>() {
            Ok(times) if (0.001..=10_000.0).contains(&times) => Ok(Self::Times(times)),
            _ => {
                Err(format!("'{text}' is not a speed; write a number from 0.001 to 10000 such as 10, or max"))
            }
        }
    }
}

/// The clock of one session; clones share the same time.
#[derive(Debug, Clone)]
pub struct Clock {
    speed: SimSpeed,
    started: Instant,
    /// Virtual time, used with [`SimSpeed::Max`] only.
    virtual_now: Arc<Mutex<Duration>>,
}

impl Default for Clock {
    fn default() -> Self {
        Self::new(SimSpeed::default())
    }
}

impl Clock {
    /// A clock that starts at zero now.
    pub fn new(speed: SimSpeed) -> Self {
        Self { speed, started: Instant::now(), virtual_now: Arc::default() }
    }

    /// The time since the clock was made, in session seconds.
    pub fn now(&self) -> Duration {
        match self.speed {
            SimSpeed::Times(times) => self.started.elapsed().mul_f64(times),
            SimSpeed::Max => *self.virtual_now.lock().unwrap_or_else(PoisonError::into_inner),
        }
    }

    /// The real time to wait for a session duration: none on a virtual clock.
    pub fn real(&self, span: Duration) -> Duration {
        match self.speed {
            SimSpeed::Times(times) => span.div_f64(times),
            SimSpeed::Max => Duration::ZERO,
        }
    }

    /// Moves a virtual clock on to `then`; other clocks move by themselves.
    pub fn advance_to(&self, then: Duration) {
        if self.speed == SimSpeed::Max {
            let mut now = self.virtual_now.lock().unwrap_or_else(PoisonError::into_inner);
            *now = then.max(*now);
        }
    }

    /// Waits until `then`, or until cancelled; tells whether the whole wait was made.
    pub fn sleep_until(&self, then: Duration, cancel: &CancelToken) -> bool {
        loop {
            if cancel.is_cancelled() {
                return false;
            }
            let left = then.saturating_sub(self.now());
            if left.is_zero() {
                return true;
            }
            match self.speed {
                SimSpeed::Max => self.advance_to(then),
                SimSpeed::Times(_) => thread::sleep(self.real(left).min(Duration::from_millis(10))),
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_speed_that_no_wait_could_be_worked_out_with_is_refused() {
        for text in ["0", "-1", "1e-300", "0.0009", "10001", "nan", "fast"] {
            assert!(text.parse::<SimSpeed>().is_err(), "{text}");
        }
        assert_eq!("0.001".parse(), Ok(SimSpeed::Times(0.001)));
        assert_eq!("max".parse(), Ok(SimSpeed::Max));
    }
}
