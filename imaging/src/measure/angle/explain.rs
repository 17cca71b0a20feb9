//! Explains how angles differ from the plan by as few wrong stops and slips as will do.
//!
//! A wrong stop differs alone; after a slip everything differs; a table whose steps per turn are off
//! drifts evenly. The three are told apart by fitting all together and taking in the term that
//! explains most, one after the other.

use nalgebra::{DMatrix, DVector};

use super::{Told, TurnFrame};

/// A wrong stop or slip smaller than this is not named, degrees.
const LEAST_WRONG_DEG: f64 = 0.28;
const LEAST_SLIP_DEG: f64 = 0.38;

/// An angle with a greater standard uncertainty against its neighbours is not told, degrees.
const TOLD_DEG: f64 = 0.08;

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
    pub links: Vec<Vec<usize>>,
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

#[derive(Debug, Clone, Copy, PartialEq)]
enum Term {
    /// Place in the run of frames.
    Wrong(usize),
    Slip(usize),
}

/// Explains; `uncertainty` gives the standard uncertainty in degrees of a sum of angles.
pub(super) fn explain(
    seen: &Seen,
    order: &[usize],
    uncertainty: &dyn Fn(&[(usize, f64)]) -> f64,
    covariance: &dyn Fn(usize, usize) -> f64,
) -> Tale {
    let n = seen.planned.len();
    let joined = joined_run(seen, order);
    let mut tale = Tale { measured: vec![None; n], closure: Err(String::new()), story: Story::default() };
    if joined.frames.len() < 3 {
        tale.closure = Err("the object shows too little detail to join the stops".to_owned());
        return tale;
    }
    let run = &joined.frames;
    // Angles within the run are continuous: a jump of a whole turn is none.
    let deviation: Vec<f64> = run.iter().map(|&i| seen.deviation[i]).collect();
    let local: Vec<f64> = (0..run.len())
        .map(|k| {
            let (a, b) = (k.checked_sub(1), (k + 1 < run.len()).then_some(k + 1));
            let terms: Vec<(usize, f64)> = match (a, b) {
                (Some(a), Some(b)) => vec![(run[k], 1.0), (run[a], -0.5), (run[b], -0.5)],
                (Some(a), None) => vec![(run[k], 1.0), (run[a], -1.0)],
                (None, Some(b)) => vec![(run[k], 1.0), (run[b], -1.0)],
                (None, None) => vec![(run[k], 1.0)],
            };
            // Patches share frames and errors: twice the formal value.
            2.0 * uncertainty(&terms) + 0.004
        })
        .collect();
    let planned: Vec<f64> = run.iter().map(|&i| seen.planned[i]).collect();
    let closing: Vec<bool> = run.iter().map(|&i| seen.closing[i]).collect();
    // Errors of neighbouring angles hang together: their covariance is the weight. A small part of
    // each own keeps single frames from being trusted beyond reason.
    let spread = DMatrix::from_fn(run.len(), run.len(), |a, b| {
        let own = if a == b { OWN_SIGMA_DEG * OWN_SIGMA_DEG } else { 0.0 };
        own + INFLATION * INFLATION * covariance(run[a], run[b])
    });
    let Some(whiten) = spread.cholesky() else {
        tale.closure = Err("the object shows too little detail to join the stops".to_owned());
        return tale;
    };
    let Some(fit) = choose(&Data { planned: &planned, closing: &closing, deviation: &deviation, whiten })
    else {
        tale.closure = Err("the object shows too little detail to join the stops".to_owned());
        return tale;
    };
    for (k, &i) in run.iter().enumerate() {
        if local[k] < TOLD_DEG {
            tale.measured[i] = Some((seen.planned[i] + deviation[k] - fit.offset, local[k]));
        }
    }
    for (term, amount) in &fit.terms {
        let clear = |k: usize| local[k] < TOLD_DEG && amount.abs() > 5.0 * local[k];
        match *term {
            Term::Wrong(k) if clear(k) => tale.story.wrong.push((run[k], *amount, local[k])),
            Term::Slip(k) if clear(k) => tale.story.slips.push((run[k], *amount, local[k])),
            _ => {}
        }
    }
    tale.closure = if joined.round {
        if fit.slope_sigma < 0.15 {
            Ok((fit.slope, fit.slope_sigma))
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

struct Joined {
    frames: Vec<usize>,
    /// Whether the run closes on itself.
    round: bool,
    /// Whether the plan goes round at all.
    whole_turn: bool,
}

/// The longest run of stops that enough patches join.
fn joined_run(seen: &Seen, order: &[usize]) -> Joined {
    let n = order.len();
    let strong = |a: usize, b: usize| seen.links[order[a]][order[b]] >= seen.fewest;
    let gaps: Vec<f64> = (0..n)
        .map(|k| {
            let next = if k + 1 < n { seen.planned[order[k + 1]] } else { seen.planned[order[0]] + 360.0 };
            next - seen.planned[order[k]]
        })
        .collect();
    let has_closing = seen.closing.iter().any(|c| *c);
    let seam = if has_closing { gaps[n - 1].abs() < 1.0 } else { gaps[n - 1] < 66.0 };
    let joints: Vec<bool> = (0..n).map(|k| strong(k, (k + 1) % n)).collect();
    if joints.iter().all(|j| *j) {
        return Joined { frames: order.to_vec(), round: seam, whole_turn: seam };
    }
    // Runs within the order; one across the seam is taken as well, unless a closing frame stands there.
    let mut best: Vec<usize> = Vec::new();
    let mut start = 0;
    for k in 0..n {
        if k + 1 == n || !joints[k] {
            if k + 1 - start > best.len() {
                best = order[start..=k].to_vec();
            }
            start = k + 1;
        }
    }
    let whole_inside = joints[..n - 1].iter().all(|j| *j);
    Joined { frames: best, round: whole_inside && seam && joints[n - 1], whole_turn: seam }
}

/// Error of a single angle beyond the solved covariance, degrees: light and rounding.
const OWN_SIGMA_DEG: f64 = 0.006;
/// Patches overlap and share errors: the formal standard deviation is widened by this.
const INFLATION: f64 = 2.0;
/// A term must explain this many squared standard deviations to be taken in.
const WORTH: f64 = 30.0;

struct Data<'a> {
    planned: &'a [f64],
    closing: &'a [bool],
    deviation: &'a [f64],
    whiten: nalgebra::Cholesky<f64, nalgebra::Dyn>,
}

struct Fit {
    offset: f64,
    /// Degrees per full turn, and its standard uncertainty.
    slope: f64,
    slope_sigma: f64,
    terms: Vec<(Term, f64)>,
}

fn column(term: Term, k: usize) -> f64 {
    match term {
        Term::Wrong(j) => f64::from(u8::from(k == j)),
        Term::Slip(j) => f64::from(u8::from(k >= j)),
    }
}

/// One weighted fit.
struct Weighted {
    x: Vec<f64>,
    rest: f64,
    slope_sigma: f64,
}

/// Fits offset, slope and the given terms.
fn least_squares(data: &Data, terms: &[Term]) -> Option<Weighted> {
    let n = data.planned.len();
    let m = 2 + terms.len();
    if m >= n {
        return None;
    }
    let a = DMatrix::from_fn(n, m, |k, j| match j {
        0 => 1.0,
        1 => data.planned[k] / 360.0,
        _ => column(terms[j - 2], k),
    });
    let lower = data.whiten.l_dirty();
    let a = lower.solve_lower_triangular(&a)?;
    let b = lower.solve_lower_triangular(&DVector::from_column_slice(data.deviation))?;
    let h = a.transpose() * &a + DMatrix::identity(m, m) * 1e-9;
    let cholesky = h.cholesky()?;
    let x = cholesky.solve(&(a.transpose() * &b));
    let rest = (&a * &x - b).norm_squared();
    let slope_sigma = cholesky.inverse()[(1, 1)].sqrt();
    Some(Weighted { x: x.as_slice().to_vec(), rest, slope_sigma })
}

fn choose(data: &Data) -> Option<Fit> {
    let n = data.planned.len();
    let candidates: Vec<Term> = (0..n)
        .filter(|&k| !data.closing[k])
        .map(Term::Wrong)
        // A slip at the first stop is none; at the second or last it is a wrong stop as well, unless
        // another frame follows.
        .chain((2..n - 1).map(Term::Slip))
        .collect();
    let mut terms: Vec<Term> = Vec::new();
    let mut best = least_squares(data, &terms)?;
    let most = (n / 3).clamp(1, 12);
    let addition = |terms: &[Term]| {
        candidates
            .iter()
            .filter(|c| !terms.contains(c))
            .filter_map(|&c| {
                let mut with = terms.to_vec();
                with.push(c);
                least_squares(data, &with).map(|w| (c, w))
            })
            .min_by(|a, b| a.1.rest.total_cmp(&b.1.rest))
    };
    while terms.len() < most {
        let Some((c, with)) = addition(&terms) else { break };
        if best.rest - with.rest < WORTH {
            break;
        }
        terms.push(c);
        best = with;
        // A term taken in early may be better told by another now.
        for i in 0..terms.len() {
            let mut without = terms.clone();
            without.remove(i);
            if let Some((better, with)) = addition(&without)
                && with.rest < best.rest * 0.98 - 1.0
            {
                without.push(better);
                terms = without;
                best = with;
            }
        }
    }
    // Small terms are noise: out with them, smallest first, the rest fitted again.
    loop {
        let small = terms
            .iter()
            .enumerate()
            .map(|(i, t)| {
                let least = if matches!(t, Term::Wrong(_)) { LEAST_WRONG_DEG } else { LEAST_SLIP_DEG };
                (i, best.x[2 + i].abs() - least)
            })
            .filter(|(_, over)| *over < 0.0)
            .min_by(|a, b| a.1.total_cmp(&b.1));
        let Some((i, _)) = small else { break };
        terms.remove(i);
        best = least_squares(data, &terms)?;
    }
    Some(Fit {
        offset: best.x[0],
        slope: best.x[1],
        slope_sigma: best.slope_sigma,
        terms: terms.iter().copied().zip(best.x[2..].iter().copied()).collect(),
    })
}
