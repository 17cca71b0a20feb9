//! The angle of every stop, the axis and what is left of a full turn, from the pictures.
//!
//! Patches of the object are followed into neighbouring stops; camera, angles and points are
//! solved together ([`super::solve`]); what the angles say against the plan is explained by the
//! fewest wrong stops and slips ([`explain`]). Where there is nothing to follow, the answer is a
//! reason, never a number.

use super::Measured;
use super::axis::{self, Angles, from_outlines};
use super::frame::View;
use follow::Run;
use job::Job;

mod explain;
mod follow;
mod job;
mod join;
mod repeats;

pub use explain::Story;

/// One frame of a turn.
#[derive(Debug, Clone, Copy)]
pub struct TurnFrame<'a> {
    /// Planned angle along the plan's direction, degrees from 0.
    pub degrees: f64,
    /// Whether this is the closing frame, one full turn after the first.
    pub closing: bool,
    /// Whether the frame is the picture of the frame before it once more.
    pub copy_of_previous: bool,
    /// The measured frame.
    pub measured: &'a Measured,
}

/// Asked now and then in long work: whether to leave it undone.
pub type Stop<'a> = &'a (dyn Fn() -> bool + Sync);

/// A measured number or why there is none.
pub type Told<T> = Result<T, String>;

/// The turning axis in whole-frame pixels.
#[derive(Debug, Clone, PartialEq)]
pub struct Axis {
    /// Column at mid height, from the frame's left border.
    pub column_px: f64,
    /// Standard uncertainty of the column in pixels.
    pub uncertainty_px: f64,
    /// Lean of the projected axis in degrees, top to the right positive, with its uncertainty.
    pub lean_deg: Told<(f64, f64)>,
    /// Where the object stands off the axis.
    pub off_axis: Option<OffAxis>,
}

/// How far the object's middle stands off the axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OffAxis {
    /// Distance in whole-frame pixels at the axis.
    pub distance_px: f64,
    /// Standard uncertainty of the distance in pixels.
    pub uncertainty_px: f64,
    /// Distance in per cent of the object's width.
    pub percent_of_width: f64,
    /// Direction in which to move the object to centre it, degrees anticlockwise seen from above,
    /// with the plate at 0°: 0 is to the right of the picture, 90 away from the camera.
    pub move_towards_deg: f64,
}

/// One stop's angle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Angle {
    /// Along the plan's direction, degrees; counted so that the stops before any slip agree
    /// with the plan on the whole.
    pub degrees: f64,
    /// Standard uncertainty against the neighbours, degrees.
    pub uncertainty_deg: f64,
}

/// What a whole set says about the turn.
#[derive(Debug, Clone)]
pub struct TurnFacts {
    /// The axis.
    pub axis: Told<Axis>,
    /// Each frame's angle, in the order given.
    pub angles: Vec<Told<Angle>>,
    /// What the table turned beyond a full turn when told to turn 360°, and its uncertainty.
    pub closure_deg: Told<(f64, f64)>,
    /// Wrong stops and slips.
    pub story: Story,
    /// How many patches carry the result.
    pub tracks: usize,
}

/// Places that fit a turning object worse than this were found coarsely, measured pixels.
const FINE_SIGMA_PX: f64 = 0.18;
/// Fewest patches that join two stops.
const FEWEST_LINKS: usize = 12;

/// Measures the turn. `clockwise` is the plan's direction seen from above.
pub fn measure_turn(frames: &[TurnFrame], clockwise: bool) -> TurnFacts {
    turn(frames, clockwise, &|| false)
}

/// Measures the turn unless told to stop; `None` when it was.
pub fn measure_turn_until(frames: &[TurnFrame], clockwise: bool, stop: Stop) -> Option<TurnFacts> {
    let facts = turn(frames, clockwise, stop);
    // Whoever stops early leaves something half done behind.
    (!stop()).then_some(facts)
}

fn turn(frames: &[TurnFrame], clockwise: bool, stop: Stop) -> TurnFacts {
    let sign = if clockwise { -1.0 } else { 1.0 };
    let planned: Vec<f64> = frames.iter().map(|f| sign * f.degrees.to_radians()).collect();
    let size = common_size(frames);
    // Frames of another size cannot be compared pixel by pixel.
    let views: Vec<Option<&View>> =
        frames.iter().map(|f| Some(&f.measured.view).filter(|v| Some(v.size) == size)).collect();
    let outlines_at = |angles: &[f64]| -> Vec<(f64, &View)> {
        frames
            .iter()
            .zip(&views)
            .zip(angles)
            .filter(|((f, _), _)| !f.closing && !f.copy_of_previous)
            .filter_map(|((_, v), a)| Some((*a, (*v)?)))
            .collect()
    };
    let scale = frames.first().map_or(1.0, |f| f.measured.facts.full_per_measured);
    let nothing = |reason: &str| TurnFacts {
        axis: Err(reason.to_owned()),
        angles: frames.iter().map(|_| Err(reason.to_owned())).collect(),
        closure_deg: Err(reason.to_owned()),
        story: Story::default(),
        tracks: 0,
    };
    let Some(size) = size else { return nothing("there are no frames") };
    let middle = size.0 as f64 / 2.0;
    let usual = axis::usual(size);
    let outline_axis = from_outlines(&outlines_at(&planned), Angles::Planned, &usual);
    let outlines_only = |reason: &str| TurnFacts {
        axis: join::axis_of(outline_axis, None, middle, scale),
        ..nothing(reason)
    };
    if frames.len() < 3 {
        return outlines_only("a set of fewer than three frames says nothing about angles");
    }
    if let Some(reason) = job::too_far_apart(&planned) {
        return outlines_only(&reason);
    }
    let Some(job) = Job::new(frames, &views, planned, outline_axis.as_ref(), size, stop) else {
        return outlines_only("no object stands out from the background");
    };
    let run = match job.run() {
        Ok(run) => run,
        Err(reason) => return outlines_only(&reason),
    };
    let patches = join::of_patches(&run.solved);
    // With perspective and angles known from the patches the outlines say more.
    let outline_axis = patches
        .and_then(|p| join::perspective_of(&p, &usual))
        .and_then(|known| from_outlines(&outlines_at(&run.solved.angles), Angles::Measured, &known))
        .or(outline_axis);
    let facts = conclude(&job, frames, sign, &run);
    // Patches that join no stops have no say about the axis either.
    let is_joined = facts.angles.iter().filter(|a| a.is_ok()).count() >= 4;
    let axis = join::axis_of(outline_axis, patches.as_ref().filter(|_| is_joined), middle, scale);
    if let Some(reason) = repeats::reason(&job, frames) {
        // Which period a stop stands in cannot be told; where the axis is can.
        return TurnFacts { axis, ..nothing(&reason) };
    }
    TurnFacts { axis, ..facts }
}

fn common_size(frames: &[TurnFrame]) -> Option<(usize, usize)> {
    let sizes: Vec<(usize, usize)> = frames.iter().map(|f| f.measured.view.size).collect();
    sizes.iter().copied().max_by_key(|s| sizes.iter().filter(|t| *t == s).count())
}

/// Turns a solved turn into angles; the axis is filled in by the caller.
fn conclude(job: &Job<'_>, frames: &[TurnFrame], sign: f64, run: &Run) -> TurnFacts {
    let n = frames.len();
    let order = explain::order(frames);
    let covariance = &run.solved.covariance;
    // Where places are found coarsely it is not chance alone: they err alike, and many are no better than few.
    let coarse = (run.solved.sigma_px / FINE_SIGMA_PX).max(1.0);
    let variance = |terms: &[(usize, f64)]| -> f64 {
        let mut sum = 0.0;
        for &(i, a) in terms {
            for &(j, b) in terms {
                if i != run.held && j != run.held {
                    sum += a * b * covariance[(4 + i, 4 + j)];
                }
            }
        }
        sum.max(0.0) * coarse * coarse
    };
    let seen = explain::Seen {
        planned: frames.iter().map(|f| f.degrees).collect(),
        closing: frames.iter().map(|f| f.closing).collect(),
        deviation: (0..n)
            .map(|i| {
                let d = (run.solved.angles[i] - job.planned[i]).to_degrees() * sign;
                (d + 180.0).rem_euclid(360.0) - 180.0
            })
            .collect(),
        misfit: run.misfits(n),
        followed: run.tracks.iter().map(|t| t.sightings.iter().map(|s| s.frame).collect()).collect(),
        fewest: FEWEST_LINKS,
    };
    let told = explain::explain(
        &seen,
        &order,
        &|terms| variance(terms).sqrt().to_degrees(),
        &|a, b| {
            if a == run.held || b == run.held {
                0.0
            } else {
                covariance[(4 + a, 4 + b)] * (coarse * 1f64.to_degrees()).powi(2)
            }
        },
        job.stop,
    );
    let angles = (0..n)
        .map(|i| {
            if frames[i].copy_of_previous {
                return Err("it is the picture of the stop before it once more".to_owned());
            }
            match told.measured[i] {
                Some((degrees, uncertainty_deg)) => Ok(Angle { degrees, uncertainty_deg }),
                None => Err("the object shows too little detail from this side".to_owned()),
            }
        })
        .collect();
    TurnFacts {
        axis: Err(String::new()),
        angles,
        closure_deg: told.closure,
        story: told.story,
        tracks: run.tracks.len(),
    }
}
