//! How fast this session keeps frames, against what was planned.

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
