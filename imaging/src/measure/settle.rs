//! How long the load swings after a turn, and whether it rests already, from preview frames.

use nalgebra::{DMatrix, DVector};

/// The swing of the load after a turn: A e^(−λt) cos(ωt + φ) about a resting place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RingDown {
    /// Frequency in hertz. Where the previews come slower than twice a swing it is an alias; decay and
    /// wait are right all the same.
    pub frequency_hz: f64,
    /// Decay λ in 1/s.
    pub decay_per_s: f64,
    /// Amplitude in pixels at the first sample's time.
    pub amplitude_px: f64,
    /// Resting place in pixels.
    pub rest_px: f64,
    /// What the fit leaves, as a standard deviation in pixels.
    pub residual_px: f64,
    /// Time of the first sample in seconds.
    pub start_s: f64,
}

impl RingDown {
    /// Returns the time, on the samples' clock, from which the swing stays below `residual_px`.
    pub fn settled_at_s(&self, residual_px: f64) -> f64 {
        let wait = (self.amplitude_px / residual_px.max(1e-6)).ln() / self.decay_per_s.max(1e-6);
        self.start_s + wait.max(0.0)
    }

    /// Returns the logarithmic decrement, the natural logarithm of two successive swings' ratio.
    pub fn logarithmic_decrement(&self) -> f64 {
        self.decay_per_s / self.frequency_hz.max(1e-9)
    }
}

/// Fits a ring-down to (seconds, pixels) samples, real time stamps in rising order.
///
/// Fails with a reason when there are fewer than eight samples, or when no swing stands out from
/// the noise.
pub fn fit_ring_down(samples: &[(f64, f64)]) -> Result<RingDown, String> {
    if samples.len() < 8 || samples.iter().any(|s| !s.0.is_finite() || !s.1.is_finite()) {
        return Err("fewer than eight preview frames were measured; take a longer burst".into());
    }
    let start = samples[0].0;
    let span = samples[samples.len() - 1].0 - start;
    if span <= 0.0 {
        return Err("the preview frames carry no rising time stamps".into());
    }
    let t: Vec<f64> = samples.iter().map(|s| s.0 - start).collect();
    let y: Vec<f64> = samples.iter().map(|s| s.1).collect();
    let mut gaps: Vec<f64> = t.windows(2).map(|w| w[1] - w[0]).collect();
    gaps.sort_by(f64::total_cmp);
    let highest = 0.5 / gaps[gaps.len() / 2].max(1e-4);
    // A search over frequency and decay, then Gauss and Newton; amplitudes and rest follow by least
    // squares.
    let mut best: Option<(f64, f64, f64)> = None;
    let steps = ((highest * span * 6.0).ceil() as usize).clamp(60, 3000);
    for i in 1..=steps {
        let f = highest * i as f64 / steps as f64;
        for decay in [0.15, 0.5, 1.2, 2.5, 5.0, 10.0, 20.0].map(|d| d / span * 2.0) {
            if let Some((_, rest)) = linear_part(&t, &y, f, decay)
                && best.is_none_or(|b| rest < b.2)
            {
                best = Some((f, decay, rest));
            }
        }
    }
    let (mut f, mut decay, mut rest) = best.ok_or("no swing can be fitted to the preview frames")?;
    let (mut df, mut dd) = (highest / steps as f64, decay * 0.5);
    for _ in 0..80 {
        let mut moved = false;
        for (a, b) in
            [(df, 0.0), (-df, 0.0), (0.0, dd), (0.0, -dd), (df, dd), (-df, -dd), (df, -dd), (-df, dd)]
        {
            let (g, e) = ((f + a).max(1e-3), (decay + b).max(1e-3 / span));
            if let Some((_, r)) = linear_part(&t, &y, g, e)
                && r < rest
            {
                (f, decay, rest, moved) = (g, e, r, true);
            }
        }
        if !moved {
            df *= 0.5;
            dd *= 0.5;
        }
    }
    let (x, _) = linear_part(&t, &y, f, decay).ok_or("no swing can be fitted to the preview frames")?;
    let amplitude = x[0].hypot(x[1]);
    let residual = (rest / (y.len() as f64 - 5.0).max(1.0)).sqrt();
    if amplitude < 3.0 * residual || amplitude < 1e-6 {
        return Err(
            "no swing stands out from the noise: the load rests already, or the burst began too late".into(),
        );
    }
    Ok(RingDown {
        frequency_hz: f,
        decay_per_s: decay,
        amplitude_px: amplitude,
        rest_px: x[2],
        residual_px: residual,
        start_s: start,
    })
}

/// The last samples are looked at over this long: a load that swings at 1.7 Hz or faster shows its whole swing
/// in it, a slower one a good part.
const QUIET_SECS: f64 = 0.3;

/// What places found in small or dark pictures may scatter to each side, pixels (common practice, no source).
const NOISE_PX: f64 = 0.15;

/// Tells whether the load rests, sample by sample, while it comes to rest.
#[derive(Debug, Clone)]
pub struct RestJudge {
    residual_px: f64,
    samples: Vec<(f64, f64)>,
}

impl RestJudge {
    /// Builds one that calls a swing of at most `residual_px` pixels to each side rest.
    pub fn new(residual_px: f64) -> Self {
        Self { residual_px, samples: Vec::new() }
    }

    /// Takes where the object stands, in pixels, at a time in seconds; times rise.
    pub fn add(&mut self, secs: f64, px: f64) {
        if secs.is_finite() && px.is_finite() && self.samples.last().is_none_or(|last| secs > last.0) {
            self.samples.push((secs, px));
        }
    }

    /// Returns the swing to each side over the last samples, pixels; `None` while they are too few or span
    /// too short a time to show it.
    pub fn swing_px(&self) -> Option<f64> {
        let (now, _) = *self.samples.last()?;
        // From the last sample that lies the whole span back.
        let first = self.samples.iter().rposition(|(secs, _)| now - secs >= QUIET_SECS)?;
        let seen = &self.samples[first..];
        let least = seen.iter().map(|sample| sample.1).fold(f64::INFINITY, f64::min);
        let most = seen.iter().map(|sample| sample.1).fold(f64::NEG_INFINITY, f64::max);
        (seen.len() >= 4).then_some((most - least) / 2.0)
    }

    /// Whether the load rests at the last sample: it has swung little enough over the last samples, or the
    /// swing fitted to all of them, seen for a whole period at least, has decayed far enough; where none can be
    /// fitted, what the samples still scatter is noise.
    pub fn rests(&self) -> bool {
        let Some(&(now, _)) = self.samples.last() else { return false };
        let swings_within = |px: f64| self.swing_px().is_some_and(|swing| swing <= px);
        if swings_within(self.residual_px) {
            return true;
        }
        match fit_ring_down(&self.samples) {
            Ok(ring) => {
                let periods = (now - ring.start_s) * ring.frequency_hz;
                periods >= 1.0 && ring.residual_px <= NOISE_PX && ring.settled_at_s(self.residual_px) <= now
            }
            Err(_) => swings_within(NOISE_PX),
        }
    }
}

/// Least squares for cosine, sine and rest; returns them and the squares left.
fn linear_part(t: &[f64], y: &[f64], frequency: f64, decay: f64) -> Option<([f64; 3], f64)> {
    let w = std::f64::consts::TAU * frequency;
    let a = DMatrix::from_fn(t.len(), 3, |i, j| match j {
        0 => (-decay * t[i]).exp() * (w * t[i]).cos(),
        1 => (-decay * t[i]).exp() * (w * t[i]).sin(),
        _ => 1.0,
    });
    let b = DVector::from_column_slice(y);
    let h = a.transpose() * &a + DMatrix::identity(3, 3) * 1e-9;
    let x = h.cholesky()?.solve(&(a.transpose() * &b));
    let rest = (&a * &x - b).norm_squared();
    Some(([x[0], x[1], x[2]], rest))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn swing(f: f64, decay: f64, rate: f64, noise: f64) -> Vec<(f64, f64)> {
        (0..60)
            .map(|i| {
                let t = 0.2 + f64::from(i) / rate + 0.003 * f64::from(i * 7 % 5);
                let n = noise * (f64::from((i * 7919) % 101) / 50.0 - 1.0);
                (t, 12.0 + 8.0 * (-decay * (t - 0.2)).exp() * (std::f64::consts::TAU * f * t).cos() + n)
            })
            .collect()
    }

    /// Truth by construction (demo values): frequency, decay and wait come back.
    #[test]
    fn a_ring_down_is_found() {
        for (f, decay) in [(3.0, 1.5), (6.5, 2.0), (11.0, 3.0), (1.2, 0.8)] {
            let fit = fit_ring_down(&swing(f, decay, 30.0, 0.1)).unwrap();
            assert!((fit.frequency_hz - f).abs() < 0.05, "{fit:?}");
            assert!((fit.decay_per_s / decay - 1.0).abs() < 0.06, "{fit:?}");
            let true_wait = 0.2 + (8.0_f64 / 0.3).ln() / decay;
            assert!((fit.settled_at_s(0.3) - true_wait).abs() < 0.12, "{fit:?} {true_wait}");
        }
    }

    /// Truth by construction (demo values): rest is told when the swing is down to what is allowed, not
    /// before, and soon after.
    #[test]
    fn rest_is_told_soon_after_the_swing_has_died_down() {
        for (f, decay) in [(3.0, 3.0), (6.5, 4.0), (11.0, 5.0), (2.0, 2.5)] {
            let mut judge = RestJudge::new(0.3);
            let true_rest = 0.2 + (8.0_f64 / 0.3).ln() / decay;
            let told = swing(f, decay, 30.0, 0.03).into_iter().find(|&(secs, px)| {
                judge.add(secs, px);
                judge.rests()
            });
            let (told, _) = told.unwrap_or((f64::INFINITY, 0.0));
            assert!(
                told > true_rest - 0.08 && told < true_rest + QUIET_SECS + 0.1,
                "{f}: {told} {true_rest}"
            );
        }
    }

    #[test]
    fn a_load_at_rest_is_told_at_once_and_one_that_drifts_never() {
        let mut judge = RestJudge::new(0.3);
        let still = (0..60).map(|i| (f64::from(i) / 30.0, 0.1 * f64::from(i * 7 % 5) / 5.0));
        let told = still.into_iter().find(|&(secs, px)| {
            judge.add(secs, px);
            judge.rests()
        });
        assert!(told.is_some_and(|(secs, _)| secs < QUIET_SECS + 0.05), "{told:?}");
        let mut judge = RestJudge::new(0.3);
        for i in 0..60 {
            judge.add(f64::from(i) / 30.0, 0.15 * f64::from(i));
            assert!(!judge.rests(), "{i}");
        }
        assert_eq!(RestJudge::new(0.3).swing_px(), None);
    }

    /// Above half the frame rate the frequency aliases, the decay stays.
    #[test]
    fn decay_survives_aliasing() {
        let samples: Vec<(f64, f64)> = (0..60)
            .map(|i| {
                let t = f64::from(i) / 30.0;
                (t, 5.0 * (-1.5 * t).exp() * (std::f64::consts::TAU * 22.0 * t).cos())
            })
            .collect();
        let fit = fit_ring_down(&samples).unwrap();
        assert!((fit.frequency_hz - 8.0).abs() < 0.1, "{fit:?}");
        assert!((fit.decay_per_s - 1.5).abs() < 0.1, "{fit:?}");
    }

    /// Logarithmic decrement of a textbook case: 13 % left after 100 swings → δ = ln(1 / 0.13) / 100
    /// = 0.0204.
    #[test]
    fn the_decrement_matches_the_textbook() {
        let ring = RingDown {
            frequency_hz: 5.0,
            decay_per_s: (1.0_f64 / 0.13).ln() / 20.0,
            amplitude_px: 1.0,
            rest_px: 0.0,
            residual_px: 0.0,
            start_s: 0.0,
        };
        assert!((ring.logarithmic_decrement() - 0.0204).abs() < 5e-5);
        assert!((ring.settled_at_s(0.13) - 20.0).abs() < 1e-9);
    }

    #[test]
    fn rest_and_too_few_samples_are_refused() {
        assert!(fit_ring_down(&swing(3.0, 1.0, 30.0, 0.1)[..5]).is_err());
        let noise: Vec<(f64, f64)> =
            (0..60).map(|i| (f64::from(i) / 30.0, f64::from((i * 7919) % 101) / 500.0)).collect();
        assert!(fit_ring_down(&noise).is_err());
        assert!(fit_ring_down(&[(0.0, 1.0); 20]).is_err());
    }
}
