//! How long it takes: by the pace of this session, or as planned before it has one.

use super::state::State;

/// Gaps that the pace is taken from: the latest, for a session may be slowed and hastened.
const LATEST: usize = 12;

/// The times between frames of this session.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Pace {
    last_secs: Option<f64>,
    gaps_secs: Vec<f64>,
}

impl Pace {
    /// Notes a kept frame, at this many seconds of any steady clock.
    pub fn frame(&mut self, now_secs: f64) {
        if let Some(last) = self.last_secs.replace(now_secs) {
            self.gaps_secs.push((now_secs - last).max(0.0));
        }
    }

    /// Notes that the session waits: the time until its next frame says nothing of its pace.
    pub fn wait(&mut self) {
        self.last_secs = None;
    }

    /// The time a stop takes at present, seconds; `None` before the third frame.
    pub fn secs_a_stop(&self) -> Option<f64> {
        let latest = &self.gaps_secs[self.gaps_secs.len().saturating_sub(LATEST)..];
        (latest.len() > 1).then(|| latest.iter().sum::<f64>() / latest.len() as f64)
    }
}

/// How long what is still to be shot takes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TimeLeft {
    /// Seconds.
    pub secs: f64,
    /// Whether it is taken from this session's pace, rather than from the plan.
    pub measured: bool,
}

impl State {
    /// How long what is still to be shot takes; `None` when nothing is.
    pub fn time_left(&self) -> Option<TimeLeft> {
        let stops = if self.is_busy() { self.left } else { self.to_shoot() };
        if stops == 0 {
            return None;
        }
        if let Some(one_secs) = self.pace.secs_a_stop() {
            return Some(TimeLeft { secs: one_secs * stops as f64, measured: true });
        }
        // A session knows the speeds of its table; before it, those of the usual one are taken.
        let planned_secs = self.estimate_secs * stops as f64 / self.places.len().max(1) as f64;
        let secs = self.secs_left.filter(|_| self.is_busy()).unwrap_or(planned_secs);
        Some(TimeLeft { secs, measured: false })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn waits_are_no_pace() {
        let mut pace = Pace::default();
        for now in [0.0, 2.0, 4.0] {
            pace.frame(now);
        }
        assert_eq!(pace.secs_a_stop(), Some(2.0));
        pace.wait();
        pace.frame(100.0);
        pace.frame(105.0);
        assert_eq!(pace.secs_a_stop(), Some(3.0));
        for step in 0..20 {
            pace.frame(106.0 + f64::from(step));
        }
        // The latest only.
        assert_eq!(pace.secs_a_stop(), Some(1.0));
    }
}
