//! Explains how angles differ from the plan by as few wrong stops and slips as will do.
//!
//! A wrong stop differs alone; after a slip everything differs; a table whose steps per turn are off
//! drifts evenly. The three are told apart by fitting all together and taking in the term that
//! explains most, one after the other.

mod fit;

use nalgebra::DMatrix;

use super::{Stop, Told, TurnFrame};
use fit::{Data, Term, choose};

/// An angle with a greater standard uncertainty against its neighbours is not told, degrees.
const TOLD_DEG: f64 = 0.08;

/// A wrong stop or a slip is named where it is so many times its uncertainty.
const CLEAR: f64 = 5.0;
/// The same where single angles are not told: whoever shoots must learn of it though the amount is rough.
const CLEAR_THOUGH_ROUGH: f64 = 8.0;
/// Beyond this uncertainty, degrees, nothing is named.
const ROUGH_DEG: f64 = 0.3;

/// A frame whose places fit this many times worse than usual is judged by its own, larger uncertainty.
const SPOILT: f64 = 2.0;

/// What the angles tell, by index of the frame as given.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Story {
    /// Stops that stand wrong alone, with degrees along the plan's direction and uncertainty.
    pub wrong: Vec<(usize, f64, f64)>,
    /// Stops from which on everything is shifted, with degrees and uncertainty.
    pub slips: Vec<(usize, f64, f64)>,
}

/// Solved angles against the plan.
pub(super) struct Seen {
    pub planned: Vec<f64>,
    pub closing: Vec<bool>,
    pub deviation: Vec<f64>,
    /// How much worse than usual each frame's places fit the turn; 1 is usual.
    pub misfit: Vec<f64>,
    /// The frames each patch was seen in.
    pub followed: Vec<Vec<usize>>,
    /// Fewest patches that join frames.
    pub fewest: usize,
}

/// The whole tale.
pub(super) struct Tale {
    /// Angle along the plan and its uncertainty.
    pub measured: Vec<Option<(f64, f64)>>,
    pub closure: Told<(f64, f64)>,
    pub story: Story,
}

/// Frames in the order of their planned angles; the closing frame comes last.
pub(super) fn order(frames: &[TurnFrame]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..frames.len()).filter(|&i| !frames[i].copy_of_previous).collect();
    order.sort_by(|&a, &b| {
        (frames[a].closing, frames[a].degrees)
            .partial_cmp(&(frames[b].closing, frames[b].degrees))
            .unwrap_or(std::cmp::Ordering::Equal)
    });
    order
}

/// Explains; `uncertainty` gives the standard uncertainty in degrees of a sum of angles.
pub(super) fn explain(
    seen: &Seen,
    order: &[usize],
    uncertainty: &dyn Fn(&[(usize, f64)]) -> f64,
    covariance: &dyn Fn(usize, usize) -> f64,
    stop: Stop,
) -> Tale {
    let n = seen.planned.len();
    let joined = Joined::of(seen, order);
    let mut tale = Tale { measured: vec![None; n], closure: Err(String::new()), story: Story::default() };
    let run = &joined.frames;
    let too_little = || Err("the object shows too little detail to join the stops".to_owned());
    if run.is_empty() {
        tale.closure = too_little();
        return tale;
    }
    let deviation: Vec<f64> = run.iter().map(|&i| seen.deviation[i]).collect();
    let local: Vec<f64> = (0..run.len())
        .map(|k| {
            let terms: Vec<(usize, f64)> = match (joined.before(k), joined.after(k)) {
                (Some(a), Some(b)) => vec![(run[k], 1.0), (run[a], -0.5), (run[b], -0.5)],
                (Some(a), None) | (None, Some(a)) => vec![(run[k], 1.0), (run[a], -1.0)],
                (None, None) => vec![(run[k], 1.0)],
            };
            // Patches share frames and errors: twice the formal value. It takes every frame's places to be
            // as good as all others'; where a frame is smeared they are not.
            let misfit = seen.misfit[run[k]];
            let worse = if misfit > SPOILT { misfit } else { 1.0 };
            2.0 * worse * uncertainty(&terms) + 0.004
        })
        .collect();
    let planned: Vec<f64> = run.iter().map(|&i| seen.planned[i]).collect();
    let closing: Vec<bool> = run.iter().map(|&i| seen.closing[i]).collect();
    // Errors of neighbouring angles hang together: their covariance is the weight. Parts of the turn that
    // nothing joins are free against each other by it. A small part of each own keeps single frames from
    // being trusted beyond reason.
    let spread = DMatrix::from_fn(run.len(), run.len(), |a, b| {
        let own = if a == b { OWN_SIGMA_DEG * OWN_SIGMA_DEG } else { 0.0 };
        own + INFLATION * INFLATION * covariance(run[a], run[b])
    });
    let fit = spread
        .cholesky()
        .and_then(|s| Data::new(&planned, &closing, &deviation, &joined.joints, &s))
        .and_then(|data| choose(&data, stop));
    let Some(fit) = fit else {
        tale.closure = too_little();
        return tale;
    };
    // A part of the turn that nothing joins to the others agrees with the plan on the whole.
    let mut zero = vec![fit.offset; run.len()];
    if !joined.round {
        for part in joined.parts() {
            let mut rests: Vec<f64> =
                part.iter().map(|&k| deviation[k] - fit.drift_and_faults(planned[k], k)).collect();
            rests.sort_by(f64::total_cmp);
            for &k in &part {
                zero[k] = rests[rests.len() / 2];
            }
        }
    }
    for (k, &i) in run.iter().enumerate() {
        if local[k] < TOLD_DEG {
            tale.measured[i] = Some((seen.planned[i] + deviation[k] - zero[k], local[k]));
        }
    }
    for (term, amount, _) in &fit.terms {
        let clear = |k: usize| {
            let times = if local[k] < TOLD_DEG { CLEAR } else { CLEAR_THOUGH_ROUGH };
            local[k] < ROUGH_DEG && amount.abs() > times * local[k]
        };
        match *term {
            Term::Wrong(k) if clear(k) => tale.story.wrong.push((run[k], *amount, local[k])),
            Term::Slip(k) if clear(k) => tale.story.slips.push((run[k], *amount, local[k])),
            _ => {}
        }
    }
    tale.closure = if joined.round {
        if fit.slope.1 < CLOSURE_TOLD_DEG {
            Ok(fit.slope)
        } else {
            Err("too little detail where the turn closes".to_owned())
        }
    } else if joined.whole_turn {
        Err("the object shows too little detail from some sides to close the turn".to_owned())
    } else {
        Err("the stops do not go round a whole turn".to_owned())
    };
    tale
}

/// Fewest stops in a row that say anything of each other.
const SHORTEST_RUN: usize = 4;

/// The frames that enough patches join to others, in the order of the turn.
struct Joined {
    frames: Vec<usize>,
    /// Whether enough patches are seen on both sides of the gap behind each frame; the last gap leads to
    /// the first frame.
    joints: Vec<bool>,
    /// Whether the frames close on themselves.
    round: bool,
    /// Whether the plan goes round at all.
    whole_turn: bool,
}

impl Joined {
    fn of(seen: &Seen, order: &[usize]) -> Self {
        let mut counts = vec![0; seen.planned.len()];
        for &frame in seen.followed.iter().flatten() {
            counts[frame] += 1;
        }
        // A frame that is blurred or covered shows next to nothing: patches are followed past it.
        let mut frames: Vec<usize> = order.iter().copied().filter(|&i| counts[i] >= seen.fewest).collect();
        let mut joints = joints(seen, &frames);
        // Short runs say nothing.
        while let Some(short) = runs(&joints).into_iter().find(|r| r.len() < SHORTEST_RUN) {
            let out: Vec<usize> = short.iter().map(|&k| frames[k]).collect();
            frames.retain(|f| !out.contains(f));
            joints = self::joints(seen, &frames);
        }
        let gap = match (frames.first(), frames.last()) {
            (Some(&first), Some(&last)) => seen.planned[first] + 360.0 - seen.planned[last],
            _ => 360.0,
        };
        let has_closing = frames.iter().any(|&i| seen.closing[i]);
        let whole_turn = if has_closing { gap.abs() < 1.0 } else { gap < 66.0 };
        let round = !frames.is_empty() && joints.iter().all(|j| *j) && whole_turn;
        Self { frames, joints, round, whole_turn }
    }

    fn before(&self, k: usize) -> Option<usize> {
        let a = (k + self.frames.len() - 1) % self.frames.len();
        self.joints[a].then_some(a)
    }

    fn after(&self, k: usize) -> Option<usize> {
        self.joints[k].then_some((k + 1) % self.frames.len())
    }

    /// Runs of frames that are joined, across the seam too.
    fn parts(&self) -> Vec<Vec<usize>> {
        runs(&self.joints)
    }
}

fn joints(seen: &Seen, frames: &[usize]) -> Vec<bool> {
    let n = frames.len();
    let mut place = vec![None; seen.planned.len()];
    for (k, &i) in frames.iter().enumerate() {
        place[i] = Some(k);
    }
    let mut spans = vec![0; n];
    for patch in &seen.followed {
        let mut places: Vec<usize> = patch.iter().filter_map(|&i| place[i]).collect();
        places.sort_unstable();
        // Everything but the widest gap between its sightings is the stretch it was followed over.
        let Some(widest) =
            (0..places.len()).max_by_key(|&j| (places[(j + 1) % places.len()] + n - places[j] - 1) % n)
        else {
            continue;
        };
        if places.len() < 2 {
            continue;
        }
        let (from, to) = (places[(widest + 1) % places.len()], places[widest]);
        let mut k = from;
        while k != to {
            spans[k] += 1;
            k = (k + 1) % n;
        }
    }
    spans.into_iter().map(|s| s >= seen.fewest).collect()
}

/// Splits a ring at the joints that do not hold.
fn runs(joints: &[bool]) -> Vec<Vec<usize>> {
    let n = joints.len();
    let Some(cut) = joints.iter().position(|j| !j) else {
        return if n == 0 { Vec::new() } else { vec![(0..n).collect()] };
    };
    let mut out = vec![Vec::new()];
    for k in (cut + 1..=cut + n).map(|k| k % n) {
        if let Some(run) = out.last_mut() {
            run.push(k);
        }
        if !joints[k] && k != cut {
            out.push(Vec::new());
        }
    }
    out
}

/// Error of a single angle beyond the solved covariance, degrees: light and rounding.
const OWN_SIGMA_DEG: f64 = 0.006;
/// Patches overlap and share errors: the formal standard deviation is widened by this.
const INFLATION: f64 = 2.0;
/// A closure with a greater standard uncertainty is not told, degrees: what a table's steps per turn are
/// corrected to.
const CLOSURE_TOLD_DEG: f64 = 0.02;

#[cfg(test)]
mod tests {
    use super::*;

    /// Twelve stops of which the sixth seems to stand short by degrees, its places fitting `misfit` times worse
    /// than those of the others; angles are known to about twice `sigma` degrees.
    fn wrong_stops(short: f64, misfit: f64, sigma: f64) -> Vec<usize> {
        let n = 12;
        let mut seen = Seen {
            planned: (0..n).map(|i| 30.0 * i as f64).collect(),
            closing: vec![false; n],
            deviation: vec![0.0; n],
            misfit: vec![1.0; n],
            followed: (0..12 * n).map(|i| vec![(i + n - 1) % n, i % n, (i + 1) % n]).collect(),
            fewest: 12,
        };
        seen.deviation[5] = -short;
        seen.misfit[5] = misfit;
        let order: Vec<usize> = (0..n).collect();
        let tale = explain(
            &seen,
            &order,
            &|_| sigma,
            &|a, b| if a == b { sigma * sigma / 4.0 } else { 0.0 },
            &|| false,
        );
        tale.story.wrong.iter().map(|w| w.0).collect()
    }

    #[test]
    fn a_stop_off_by_much_more_than_its_uncertainty_is_named() {
        assert_eq!(wrong_stops(0.3, 1.0, 0.02), [5]);
    }

    #[test]
    fn a_smeared_stop_is_not_named_for_what_its_smear_may_explain() {
        assert!(wrong_stops(0.3, 3.0, 0.02).is_empty());
    }

    #[test]
    fn a_stop_off_by_degrees_is_named_though_angles_are_rough() {
        assert_eq!(wrong_stops(3.0, 1.0, 0.06), [5]);
        assert!(wrong_stops(0.8, 1.0, 0.06).is_empty());
        assert!(wrong_stops(3.0, 1.0, 0.2).is_empty());
    }
}
