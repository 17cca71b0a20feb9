//! The angle of every stop, the axis and what is left of a full turn, from the pictures.
//!
//! Patches of the object are followed into neighbouring stops; camera, angles and points are
//! solved together ([`super::solve`]); what the angles say against the plan is explained by the
//! fewest wrong stops and slips ([`explain`]). Where there is nothing to follow, the answer is a
//! reason, never a number.

use rayon::prelude::*;

use super::Measured;
use super::axis::{OutlineAxis, Perspective, from_outlines};
use super::backdrop::middle;
use super::frame::View;
use super::solve::{OUTLIER, Prior, Sighting, Solved, Track, place_point, residual, solve};
use super::track::{Found, Levels, Outcome, Warp, pick, strongest_mix};
use super::turn_model::{Camera, turned};

mod explain;
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

/// Patches looked for in one frame.
const ANCHORS: usize = 130;
/// Fewest patches that join two stops.
const FEWEST_LINKS: usize = 12;
/// Places that fit a turning object no better than this, in measured pixels, were not the same places.
const LARGEST_SIGMA_PX: f64 = 0.32;
/// Widest angle a patch is followed over, degrees.
const WIDEST_DEG: f64 = 32.0;

/// Measures the turn. `clockwise` is the plan's direction seen from above.
pub fn measure_turn(frames: &[TurnFrame], clockwise: bool) -> TurnFacts {
    let sign = if clockwise { -1.0 } else { 1.0 };
    let planned: Vec<f64> = frames.iter().map(|f| sign * f.degrees.to_radians()).collect();
    let size = common_size(frames);
    // Frames of another size cannot be compared pixel by pixel.
    let views: Vec<Option<&View>> =
        frames.iter().map(|f| Some(&f.measured.view).filter(|v| Some(v.size) == size)).collect();
    let outlines: Vec<(f64, &View)> = frames
        .iter()
        .zip(&views)
        .zip(&planned)
        .filter(|((f, _), _)| !f.closing && !f.copy_of_previous)
        .filter_map(|((_, v), a)| Some((*a, (*v)?)))
        .collect();
    let outline_axis = from_outlines(&outlines, None);
    let scale = frames.first().map_or(1.0, |f| f.measured.facts.full_per_measured);
    let nothing = |reason: &str| TurnFacts {
        axis: axis_of(outline_axis, None, scale),
        angles: frames.iter().map(|_| Err(reason.to_owned())).collect(),
        closure_deg: Err(reason.to_owned()),
        story: Story::default(),
        tracks: 0,
    };
    if frames.len() < 3 {
        return nothing("a set of fewer than three frames says nothing about angles");
    }
    let Some(size) = size else { return nothing("the frames differ in size") };
    let Some(job) = Job::new(frames, &views, planned, outline_axis, size) else {
        return nothing("no object stands out from the background");
    };
    let run = match job.run() {
        Ok(run) => run,
        Err(reason) => return nothing(&reason),
    };
    // With perspective known from the patches the outlines say more.
    let per_px = run.solved.camera.per_px;
    let sigma = run.solved.covariance[(3, 3)].max(0.0).sqrt() * 2.0;
    let perspective = Perspective {
        square: per_px * per_px,
        sigma: (2.0 * per_px.abs() * sigma + sigma * sigma).max(1e-10),
    };
    let outline_axis = from_outlines(&outlines, Some(perspective)).or(outline_axis);
    let facts = conclude(&job, frames, sign, &run);
    // Patches that join no stops have no say about the axis either.
    let joined = facts.angles.iter().filter(|a| a.is_ok()).count() >= 4;
    let axis = axis_of(outline_axis, joined.then_some((&run, job.middle.0)), scale);
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

/// A standard uncertainty above this many measured pixels is no answer.
const COLUMN_TOLD_PX: f64 = 0.5;
/// The same for the lean, in degrees.
const LEAN_TOLD_DEG: f64 = 0.03;

/// Joins what outlines and patches say of the axis, each by its weight.
fn axis_of(outline: Option<OutlineAxis>, run: Option<(&Run, f64)>, scale: f64) -> Told<Axis> {
    // Outlines carry errors of their kind that their scatter does not show: widened.
    let mut columns: Vec<(f64, f64)> =
        outline.iter().map(|a| (a.column, (1.5 * a.column_sigma).hypot(0.08))).collect();
    let mut leans: Vec<(f64, f64)> =
        outline.iter().map(|a| (a.lean, (1.5 * a.lean_sigma).hypot(0.0004))).collect();
    if let Some((run, middle)) = run {
        let c = &run.solved.covariance;
        columns.push((run.solved.camera.x0 + middle, (2.0 * c[(0, 0)].max(0.0).sqrt()).max(0.02)));
        leans.push((run.solved.camera.lean(), (2.0 * c[(1, 1)].max(0.0).sqrt()).max(5e-5)));
    }
    let (column, column_sigma) =
        weighted(&columns).ok_or("no object's outline is seen over enough of the turn")?;
    if column_sigma > COLUMN_TOLD_PX {
        return Err(format!(
            "outline and detail say too little: the column is known to ± {column_sigma:.1} px only"
        ));
    }
    let lean = weighted(&leans).filter(|l| l.1.to_degrees() < LEAN_TOLD_DEG);
    Ok(Axis {
        column_px: column * scale,
        uncertainty_px: column_sigma * scale,
        lean_deg: lean.map(|(l, s)| (l.to_degrees(), s.to_degrees())).ok_or_else(|| {
            "the object is too round, or shows too little detail high and low, to show a lean".to_owned()
        }),
        off_axis: outline.map(|a| off_axis(&a, scale)),
    })
}

fn weighted(values: &[(f64, f64)]) -> Option<(f64, f64)> {
    // Much detail needs no help from the outline.
    if let [outline, tracks] = values
        && tracks.1 < 0.4 * outline.1
    {
        return Some(*tracks);
    }
    let weight: f64 = values.iter().map(|v| v.1.powi(-2)).sum();
    if values.is_empty() || weight <= 0.0 {
        return None;
    }
    let mean = values.iter().map(|v| v.0 * v.1.powi(-2)).sum::<f64>() / weight;
    // Where the two disagree by more than they should, the doubt is theirs.
    let square =
        values.iter().map(|v| ((v.0 - mean) / v.1).powi(2)).sum::<f64>() / (values.len().max(2) - 1) as f64;
    Some((mean, weight.powf(-0.5) * square.sqrt().max(1.0)))
}

fn off_axis(a: &OutlineAxis, scale: f64) -> OffAxis {
    let distance = a.off_axis[0].hypot(a.off_axis[1]);
    OffAxis {
        distance_px: distance * scale,
        uncertainty_px: a.off_axis_sigma * scale,
        percent_of_width: 100.0 * distance / a.object_width.max(1.0),
        move_towards_deg: (-a.off_axis[1]).atan2(-a.off_axis[0]).to_degrees().rem_euclid(360.0),
    }
}

/// Everything needed while following and solving.
struct Job {
    planned: Vec<f64>,
    levels: Vec<Option<Levels>>,
    /// Left and right outline by measured row, for each frame.
    edges: Vec<Vec<Option<(f32, f32)>>>,
    /// Half of the usual width by measured row.
    radius: Vec<f64>,
    start: Camera,
    start_sigma: Camera,
    middle: (f64, f64),
}

/// A solved turn with its tracks.
struct Run {
    solved: Solved,
    tracks: Vec<Track>,
    held: usize,
}

impl Run {
    /// How much worse than usual each frame's places fit: its median residual over what the spread of
    /// all makes it.
    fn misfits(&self, frames: usize) -> Vec<f64> {
        let mut residuals = vec![Vec::new(); frames];
        for track in &self.tracks {
            for s in &track.sightings {
                residuals[s.frame].push(residual(track, s, &self.solved.camera, &self.solved.angles));
            }
        }
        // The median of a Rayleigh distribution is 1.177 σ.
        let usual = 1.177 * self.solved.sigma_px.max(1e-6);
        residuals
            .iter_mut()
            .map(|r| {
                r.sort_by(f64::total_cmp);
                r.get(r.len() / 2).map_or(1.0, |middle| middle / usual)
            })
            .collect()
    }
}

impl Job {
    fn new(
        frames: &[TurnFrame],
        views: &[Option<&View>],
        planned: Vec<f64>,
        outline_axis: Option<OutlineAxis>,
        size: (usize, usize),
    ) -> Option<Self> {
        let (width, height) = size;
        let middle_px = (width as f64 / 2.0, height as f64 / 2.0);
        let edges: Vec<Vec<Option<(f32, f32)>>> = views
            .iter()
            .map(|v| {
                let mut rows = vec![None; height];
                if let Some(view) = v {
                    for (y, l, r) in view.outline.edges() {
                        if let Some(row) = rows.get_mut(y as usize) {
                            *row = Some((l, r));
                        }
                    }
                }
                rows
            })
            .collect();
        let radius: Vec<f64> = (0..height)
            .map(|y| {
                let mut halves: Vec<f32> =
                    edges.iter().filter_map(|e| e[y]).map(|(l, r)| (r - l) / 2.0).collect();
                if halves.len() * 3 < edges.len() { 0.0 } else { f64::from(middle(&mut halves)) }
            })
            .collect();
        if radius.iter().filter(|r| **r > 4.0).count() < 20 {
            return None;
        }
        let mut mids: Vec<f32> = edges.iter().flatten().flatten().map(|(l, r)| (l + r) / 2.0).collect();
        let (column, column_sigma, lean, lean_sigma) = match outline_axis {
            Some(a) => (
                a.column,
                (a.column_sigma * 3.0).clamp(2.0, 20.0),
                a.lean,
                (a.lean_sigma * 3.0).clamp(0.02, 0.05),
            ),
            None => (f64::from(middle(&mut mids)), 60.0, 0.0, 0.05),
        };
        let far = 1.0 / (4.0 * height as f64);
        let start = Camera { x0: column - middle_px.0, roll: lean, tilt: 0.2, per_px: far };
        let start_sigma = Camera { x0: column_sigma, roll: lean_sigma.max(0.01), tilt: 0.4, per_px: far };
        let mix = strongest_mix(&views.iter().flatten().copied().collect::<Vec<_>>());
        let levels = views
            .par_iter()
            .zip(frames)
            .map(|(v, f)| v.filter(|_| !f.copy_of_previous).and_then(|v| Levels::of(v, mix)))
            .collect();
        Some(Self { planned, levels, edges, radius, start, start_sigma, middle: middle_px })
    }

    fn row_radius(&self, row: f64) -> Option<f64> {
        self.radius.get(row as usize).copied().filter(|r| *r > 4.0)
    }

    /// Turns a place of a cut into a place from the picture's middle.
    fn off_middle(&self, frame: usize, x: f32, y: f32) -> Option<[f64; 2]> {
        let o = self.levels[frame].as_ref()?.origin;
        Some([f64::from(x) + 0.5 + o.0 - self.middle.0, f64::from(y) + 0.5 + o.1 - self.middle.1])
    }

    fn to_cut(&self, frame: usize, place: [f64; 2]) -> Option<(f32, f32)> {
        let o = self.levels[frame].as_ref()?.origin;
        Some(((place[0] - 0.5 - o.0 + self.middle.0) as f32, (place[1] - 0.5 - o.1 + self.middle.1) as f32))
    }

    /// Which frames to follow a frame's patches into: the nearest on both sides, each with the one to take
    /// when it shows next to nothing, and, where stops are close, some further away.
    fn targets(&self, frame: usize) -> (Vec<(usize, Option<usize>)>, Vec<usize>) {
        let wrap =
            |d: f64| (d + std::f64::consts::PI).rem_euclid(std::f64::consts::TAU) - std::f64::consts::PI;
        let mut ahead: Vec<(f64, usize)> = Vec::new();
        let mut behind: Vec<(f64, usize)> = Vec::new();
        for (i, level) in self.levels.iter().enumerate() {
            if i == frame || level.is_none() {
                continue;
            }
            let d = wrap(self.planned[i] - self.planned[frame]).to_degrees();
            if d.abs() > WIDEST_DEG {
                continue;
            }
            if d >= 0.0 { ahead.push((d, i)) } else { behind.push((-d, i)) }
        }
        ahead.sort_by(|a, b| a.0.total_cmp(&b.0));
        behind.sort_by(|a, b| a.0.total_cmp(&b.0));
        let (mut near, mut far) = (Vec::new(), Vec::new());
        for side in [&ahead, &behind] {
            let at = |k: usize| side.get(k).map(|s| s.1);
            let Some(&(first, i)) = side.first() else { continue };
            // A closing frame stands at the first frame's angle: the stop behind it counts too.
            if first < 2.0 {
                near.push((i, None));
                near.extend(at(1).map(|j| (j, at(2))));
            } else {
                near.push((i, at(1)));
            }
            for share in [0.5, 1.0] {
                let goal = WIDEST_DEG.min(26.0) * share;
                if let Some(&(_, j)) =
                    side.iter().min_by(|a, b| (a.0 - goal).abs().total_cmp(&(b.0 - goal).abs()))
                    && near.iter().all(|n| n.0 != j)
                    && !far.contains(&j)
                {
                    far.push(j);
                }
            }
        }
        // At the ends of an arc two frames on one side must do.
        if (ahead.is_empty() || behind.is_empty()) && near.len() < 2 {
            let side = if ahead.is_empty() { &behind } else { &ahead };
            near.extend(side.get(1).map(|s| (s.1, side.get(2).map(|s| s.1))));
            far.retain(|j| near.iter().all(|n| n.0 != *j));
        }
        (near, far)
    }

    /// How small offsets about a surface point change from one frame to another, for a surface that
    /// faces away from the axis but for `facing` radians.
    fn warp(camera: &Camera, point: [f64; 3], from: f64, to: f64, facing: f64) -> Option<Warp> {
        let r = point[0].hypot(point[1]).max(1.0);
        let side = turned([-point[1] / r, point[0] / r, 0.0], facing);
        let step = |t: [f64; 3]| [point[0] + t[0], point[1] + t[1], point[2] + t[2]];
        let change = |angle: f64| {
            let at = camera.project(point, angle);
            let s = camera.project(step(side), angle);
            let u = camera.project(step([0.0, 0.0, 1.0]), angle);
            [[s[0] - at[0], u[0] - at[0]], [s[1] - at[1], u[1] - at[1]]]
        };
        let (a, b) = (change(from), change(to));
        let det = a[0][0] * a[1][1] - a[0][1] * a[1][0];
        if det.abs() < 0.1 {
            return None;
        }
        let i = [[a[1][1] / det, -a[0][1] / det], [-a[1][0] / det, a[0][0] / det]];
        let w = [
            [b[0][0] * i[0][0] + b[0][1] * i[1][0], b[0][0] * i[0][1] + b[0][1] * i[1][1]],
            [b[1][0] * i[0][0] + b[1][1] * i[1][0], b[1][0] * i[0][1] + b[1][1] * i[1][1]],
        ];
        let size = w[0][0] * w[1][1] - w[0][1] * w[1][0];
        (0.25..4.0).contains(&size).then_some(w)
    }

    /// Follows every frame's patches into its neighbours; returns tracks, and how many patches were
    /// looked for, doubtful and lost.
    fn follow(&self) -> (Vec<Seed>, usize, usize) {
        let per_frame: Vec<(Vec<Seed>, usize, usize)> = (0..self.levels.len())
            .into_par_iter()
            .map(|frame| {
                let Some(levels) = &self.levels[frame] else { return (Vec::new(), 0, 0) };
                let edges = &self.edges[frame];
                let limits = |y: usize| {
                    let (l, r) = (*edges.get(y + levels.origin.1 as usize)?)?;
                    let inset = 6.0 + 0.04 * (r - l);
                    let shift = levels.origin.0 as f32;
                    (r - l > 2.0 * inset).then_some((l + inset - shift, r - inset - shift))
                };
                let anchors = pick(levels, &limits, ANCHORS);
                let (near, far) = self.targets(frame);
                let mut seeds: Vec<Seed> = anchors
                    .into_iter()
                    .filter_map(|anchor| {
                        let place = self.off_middle(frame, anchor.x, anchor.y)?;
                        let radius = self
                            .row_radius(place[1] + self.middle.1)?
                            .max((place[0] - self.start.x0).abs() * 1.08);
                        let point = self.start.onto_cylinder(place, radius, self.planned[frame])?;
                        let track = Track { point, sightings: vec![Sighting { frame, place }] };
                        Some(Seed { anchor, radius, facing: 0.0, far: far.clone(), track })
                    })
                    .collect();
                let (mut looked, mut doubtful) = (0, 0);
                for &(target, instead) in &near {
                    let (found, unsure) = self.follow_all(frame, target, levels, &mut seeds);
                    looked += seeds.len();
                    doubtful += unsure;
                    // A blurred neighbour shows nothing: the one behind it must do.
                    if let Some(next) = instead
                        && found * 4 < seeds.len()
                        && unsure * 4 < seeds.len()
                    {
                        self.follow_all(frame, next, levels, &mut seeds);
                    }
                }
                (seeds, looked, doubtful)
            })
            .collect();
        let mut seeds = Vec::new();
        let (mut looked, mut doubtful) = (0, 0);
        for (s, l, d) in per_frame {
            seeds.extend(s);
            looked += l;
            doubtful += d;
        }
        (seeds, looked, doubtful)
    }

    /// Follows a frame's patches into one other; returns how many were found and how many are doubtful.
    fn follow_all(&self, frame: usize, target: usize, levels: &Levels, seeds: &mut [Seed]) -> (usize, usize) {
        let (mut found, mut doubtful) = (0, 0);
        let Some(to) = &self.levels[target] else { return (0, 0) };
        let (from_angle, to_angle) = (self.planned[frame], self.planned[target]);
        let turn = (to_angle - from_angle).sin().abs();
        // The flat side of a box faces elsewhere than a round pot; on wide steps it matters.
        let facings: &[f64] = if turn > 0.3 { &[0.0, 0.6, -0.6] } else { &[0.0] };
        for seed in seeds {
            let point = seed.track.point;
            let there = self.start.project(point, to_angle);
            let Some(predicted) = self.to_cut(target, there) else { continue };
            let reach_x = 5.0 + seed.radius * (0.4 * turn + 0.06);
            let depth = (turned(point, to_angle)[1] - turned(point, from_angle)[1]).abs();
            let reach_y = 4.0 + 0.4 * depth + 0.08 * seed.radius * turn;
            let reach = (reach_x as f32, reach_y as f32);
            let mut best: Option<(Found, f64)> = None;
            let mut unsure = false;
            for &angle in facings {
                let Some(warp) = Self::warp(&self.start, point, from_angle, to_angle, angle) else {
                    continue;
                };
                match seed.anchor.search(levels, to, predicted, &warp, reach) {
                    Outcome::Found(f) if best.is_none_or(|b| f.agreement > b.0.agreement) => {
                        best = Some((f, angle));
                    }
                    Outcome::Found(_) | Outcome::Lost => {}
                    Outcome::Doubtful => unsure = true,
                }
                if best.is_some_and(|b| b.0.agreement > 0.95) {
                    break;
                }
            }
            if let Some((f, angle)) = best {
                seed.facing = angle;
                found += 1;
                if let Some(place) = self.off_middle(target, f.x, f.y) {
                    seed.track.sightings.push(Sighting { frame: target, place });
                }
            } else if unsure {
                doubtful += 1;
            }
        }
        (found, doubtful)
    }

    /// Follows solved points into frames further away.
    fn extend(&self, seeds: &mut [Seed], solved: &Solved) {
        seeds.par_iter_mut().for_each(|seed| {
            let Some(home) = seed.track.sightings.first().copied() else { return };
            for &target in &seed.far {
                let Some(to) = &self.levels[target] else { continue };
                let (from, angle) = (solved.angles[home.frame], solved.angles[target]);
                // Only while the surface still faces the camera.
                let p = turned(seed.track.point, angle);
                if p[1] > -0.3 * p[0].hypot(p[1]) {
                    continue;
                }
                let Some(warp) = Self::warp(&solved.camera, seed.track.point, from, angle, seed.facing)
                else {
                    continue;
                };
                let Some(start) = self.to_cut(target, solved.camera.project(seed.track.point, angle)) else {
                    continue;
                };
                if let Outcome::Found(f) = seed.anchor.refine(&to.full, start, &warp, 4.0)
                    && let Some(place) = self.off_middle(target, f.x, f.y)
                {
                    seed.track.sightings.push(Sighting { frame: target, place });
                }
            }
        });
    }

    fn run(&self) -> Result<Run, String> {
        let (seeds, looked, doubtful) = self.follow();
        // Structure that is not there cannot be doubtful either.
        if looked < 12 * self.levels.len() {
            return Err("the object shows too little detail to follow from stop to stop".to_owned());
        }
        if doubtful * 2 > looked {
            return Err(
                "places on the object look alike: too little detail, or a pattern that repeats".to_owned()
            );
        }
        let mut seeds: Vec<Seed> = seeds.into_iter().filter(|s| s.track.sightings.len() >= 3).collect();
        if seeds.len() < 2 * FEWEST_LINKS {
            return Err("the object shows too little detail to follow from stop to stop".to_owned());
        }
        let held = self.busiest(&seeds);
        let prior = Prior { camera: self.start, sigma: self.start_sigma };
        let mut tracks: Vec<Track> = seeds.iter().map(|s| s.track.clone()).collect();
        for track in &mut tracks {
            place_point(track, &self.start, &self.planned);
        }
        let first = solve(&mut tracks, self.start, &self.planned, &prior, held)
            .ok_or("the tracked places do not fit a turning object")?;
        for (seed, track) in seeds.iter_mut().zip(tracks) {
            seed.track = track;
        }
        self.prune(&mut seeds, &first);
        self.extend(&mut seeds, &first);
        let mut tracks: Vec<Track> = seeds.iter().map(|s| s.track.clone()).collect();
        let second = solve(&mut tracks, first.camera, &first.angles, &prior, held)
            .ok_or("the tracked places do not fit a turning object")?;
        for (seed, track) in seeds.iter_mut().zip(tracks) {
            seed.track = track;
        }
        self.prune(&mut seeds, &second);
        let mut tracks: Vec<Track> = seeds.into_iter().map(|s| s.track).collect();
        if tracks.len() < 2 * FEWEST_LINKS {
            return Err("too few places of the object move as a turning object would".to_owned());
        }
        let solved = solve(&mut tracks, second.camera, &second.angles, &prior, held)
            .ok_or("the tracked places do not fit a turning object")?;
        if solved.sigma_px > LARGEST_SIGMA_PX {
            return Err("the places followed do not move as one turning object would".to_owned());
        }
        Ok(Run { solved, tracks, held })
    }

    fn busiest(&self, seeds: &[Seed]) -> usize {
        let mut counts = vec![0; self.levels.len()];
        for s in seeds.iter().flat_map(|s| &s.track.sightings) {
            counts[s.frame] += 1;
        }
        (0..counts.len()).max_by_key(|&i| counts[i]).unwrap_or(0)
    }

    /// Drops sightings that do not fit, and points with next to no depth: still highlights.
    fn prune(&self, seeds: &mut Vec<Seed>, solved: &Solved) {
        let limit = (OUTLIER * solved.sigma_px).max(0.25);
        for seed in seeds.iter_mut() {
            let copy = seed.track.clone();
            seed.track.sightings.retain(|s| residual(&copy, s, &solved.camera, &solved.angles) < limit);
        }
        seeds.retain(|seed| {
            let t = &seed.track;
            let Some(home) = t.sightings.first() else { return false };
            let p = turned(t.point, solved.angles[home.frame]);
            let usual = self.row_radius(home.place[1] + self.middle.1).unwrap_or(4.0);
            t.sightings.len() >= 3 && -p[1] > 0.25 * usual
        });
    }
}

/// A patch with its track.
struct Seed {
    anchor: super::track::Anchor,
    /// Half of the object's usual width in its row, px.
    radius: f64,
    /// How far the surface faces off the axis' direction, radians, as found by trying.
    facing: f64,
    far: Vec<usize>,
    track: Track,
}

/// Turns a solved turn into angles; the axis is filled in by the caller.
fn conclude(job: &Job, frames: &[TurnFrame], sign: f64, run: &Run) -> TurnFacts {
    let n = frames.len();
    let order = explain::order(frames);
    let covariance = &run.solved.covariance;
    let variance = |terms: &[(usize, f64)]| -> f64 {
        let mut sum = 0.0;
        for &(i, a) in terms {
            for &(j, b) in terms {
                if i != run.held && j != run.held {
                    sum += a * b * covariance[(4 + i, 4 + j)];
                }
            }
        }
        sum.max(0.0)
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
    let told = explain::explain(&seen, &order, &|terms| variance(terms).sqrt().to_degrees(), &|a, b| {
        if a == run.held || b == run.held {
            0.0
        } else {
            covariance[(4 + a, 4 + b)] * 1f64.to_degrees().powi(2)
        }
    });
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
