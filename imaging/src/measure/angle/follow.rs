//! Follows patches from stop to stop and solves the turn from them.

use rayon::prelude::*;

use super::super::solve::{OUTLIER, Prior, Sighting, Solved, Track, place_point, residual, solve};
use super::super::track::{Anchor, Found, Levels, Outcome, pick};
use super::super::turn_model::{Camera, turned};
use super::FEWEST_LINKS;
use super::job::{Job, Surface};

/// Patches looked for in one frame.
const ANCHORS: usize = 130;
/// Patches looked for once more in a frame that has fewer sightings than this.
const MORE_ANCHORS: usize = 260;
const FEW_SIGHTINGS: usize = 200;
/// A wrong stop stands no further off than this, radians, as a rule.
const WRONG_RAD: f64 = 0.09;
/// A place that agrees this well need not be looked for further away.
const SURE: f32 = 0.9;
/// How near to another patch one more may not lie, px.
const APART_PX: f64 = 6.0;
/// Places that fit no better than this are tried with another camera.
const DOUBTFUL_SIGMA_PX: f64 = 0.2;
/// A camera this far above the plate sees surfaces that face upwards, radians.
const STEEP_RAD: f64 = 0.15;
/// A point seen less often says nothing.
const FEWEST_SIGHTINGS: usize = 3;
/// How badly places may fit a turning object, in measured pixels, and how many there must be a frame, since a
/// few fit by chance; soft detail, such as colour alone, fits badly, but there is much of it.
const FEWEST_PER_FRAME: [(f64, usize); 3] = [(0.25, 3), (0.4, 12), (COARSE_SIGMA_PX, 30)];
const COARSE_SIGMA_PX: f64 = 0.7;

/// A solved turn with its tracks.
pub(super) struct Run {
    pub solved: Solved,
    pub tracks: Vec<Track>,
    pub held: usize,
}

impl Run {
    fn fits(self) -> Result<Self, String> {
        let (sigma, per_frame) = (self.solved.sigma_px, self.tracks.len() / self.solved.angles.len().max(1));
        let fits = FEWEST_PER_FRAME.iter().any(|(worst, fewest)| sigma < *worst && per_frame >= *fewest);
        if fits {
            Ok(self)
        } else {
            Err("the places followed do not move as one turning object would".to_owned())
        }
    }

    /// How much is known, as a number to compare.
    fn worth(&self) -> f64 {
        self.tracks.len() as f64 / self.solved.sigma_px.powi(2)
    }

    /// How much worse than usual each frame's places fit: its median residual over what the spread of
    /// all makes it.
    pub fn misfits(&self, frames: usize) -> Vec<f64> {
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

/// What is supposed of camera and angles while looking for patches.
#[derive(Clone, Copy)]
struct Guess<'a> {
    camera: &'a Camera,
    angles: &'a [f64],
    /// Whether surfaces that face upwards are looked for as well.
    steep: bool,
}

/// What became of the patches that were looked for.
#[derive(Default, Clone, Copy)]
struct Tally {
    looked: usize,
    found: usize,
    doubtful: usize,
}

impl Job<'_> {
    /// Follows every frame's patches into its neighbours.
    fn follow(&self, guess: Guess) -> (Vec<Seed>, Tally) {
        let per_frame: Vec<(Vec<Seed>, Tally)> = (0..self.levels.len())
            .into_par_iter()
            .map(|f| self.follow_frame(f, ANCHORS, &[], guess))
            .collect();
        let (mut seeds, mut tally) = (Vec::new(), Tally::default());
        for (s, t) in per_frame {
            seeds.extend(s);
            tally.looked += t.looked;
            tally.doubtful += t.doubtful;
        }
        (seeds, tally)
    }

    /// Follows about `most` patches of one frame into its neighbours, none of them near the places `taken`.
    fn follow_frame(
        &self,
        frame: usize,
        most: usize,
        taken: &[[f64; 2]],
        guess: Guess,
    ) -> (Vec<Seed>, Tally) {
        let mut tally = Tally::default();
        let Some(levels) = self.levels[frame].as_ref().filter(|_| !(self.stop)()) else {
            return (Vec::new(), tally);
        };
        let edges = &self.edges[frame];
        let limits = |y: usize| {
            let (l, r) = (*edges.get(y + levels.origin.1 as usize)?)?;
            let inset = 6.0 + 0.04 * (r - l);
            let shift = levels.origin.0 as f32;
            (r - l > 2.0 * inset).then_some((l + inset - shift, r - inset - shift))
        };
        let (near, far) = self.targets(frame);
        let mut seeds: Vec<Seed> = pick(levels, &limits, most)
            .into_iter()
            .filter_map(|anchor| {
                let place = self.off_middle(frame, anchor.x, anchor.y)?;
                if taken.iter().any(|t| (t[0] - place[0]).abs().max((t[1] - place[1]).abs()) < APART_PX) {
                    return None;
                }
                let radius =
                    self.row_radius(place[1] + self.middle.1)?.max((place[0] - guess.camera.x0).abs() * 1.08);
                let point = guess.camera.onto_cylinder(place, radius, guess.angles[frame])?;
                let home = Sighting { frame, place };
                let track = Track { point, sightings: vec![home] };
                let near = near.iter().map(|n| n.0).collect();
                Some(Seed {
                    anchor,
                    radius,
                    surface: Surface::default(),
                    home,
                    near,
                    far: far.clone(),
                    track,
                })
            })
            .collect();
        for &(target, instead) in &near {
            let seen = self.follow_all(frame, target, levels, &mut seeds, guess);
            tally.looked += seen.looked;
            tally.doubtful += seen.doubtful;
            // A blurred neighbour shows nothing: the one behind it must do.
            if let Some(next) = instead
                && seen.found * 4 < seen.looked
                && seen.doubtful * 4 < seen.looked
            {
                self.follow_all(frame, next, levels, &mut seeds, guess);
            }
        }
        (seeds, tally)
    }

    /// Follows a frame's patches into one other.
    fn follow_all(
        &self,
        frame: usize,
        target: usize,
        levels: &Levels,
        seeds: &mut [Seed],
        guess: Guess,
    ) -> Tally {
        let mut tally = Tally { looked: seeds.len(), ..Tally::default() };
        let Some(to) = &self.levels[target] else { return tally };
        let (from_angle, to_angle) = (guess.angles[frame], guess.angles[target]);
        let turn = (to_angle - from_angle).sin().abs();
        for seed in seeds {
            let mut best: Option<(Found, Surface)> = None;
            let mut unsure = false;
            for (point, surface) in seed.suppositions(turn, guess) {
                let Some(warp) = Self::warp(guess.camera, point, from_angle, to_angle, surface) else {
                    continue;
                };
                let there = guess.camera.project(point, to_angle);
                let Some(predicted) = self.to_cut(target, there) else { continue };
                let depth = (turned(point, to_angle)[1] - turned(point, from_angle)[1]).abs();
                // Near where a round object has it, as far as a wrong stop moves it, and further for other
                // shapes: the nearer, the fewer places look alike.
                let wide =
                    (5.0 + seed.radius * (0.4 * turn + 0.06), 4.0 + 0.4 * depth + 0.08 * seed.radius * turn);
                let close = (5.0 + seed.radius * WRONG_RAD, 4.0 + 0.2 * depth);
                let worthwhile = wide.0 > 2.0 * close.0;
                for reach in worthwhile.then_some(close).into_iter().chain([wide]) {
                    match seed.anchor.search(levels, to, predicted, &warp, (reach.0 as f32, reach.1 as f32)) {
                        Outcome::Found(f) if best.is_none_or(|b| f.agreement > b.0.agreement) => {
                            best = Some((f, surface));
                        }
                        Outcome::Found(_) | Outcome::Lost => {}
                        Outcome::Doubtful => unsure = true,
                    }
                    if best.is_some_and(|b| b.0.agreement > SURE) {
                        break;
                    }
                }
                if best.is_some_and(|b| b.0.agreement > 0.95) {
                    break;
                }
            }
            if let Some((f, surface)) = best {
                seed.surface = surface;
                tally.found += 1;
                if let Some(place) = self.off_middle(target, f.x, f.y) {
                    seed.track.sightings.push(Sighting { frame: target, place });
                }
            } else if unsure {
                tally.doubtful += 1;
            }
        }
        tally
    }

    /// Follows solved points into frames further away, and into neighbours where they were missed.
    fn extend(&self, seeds: &mut [Seed], solved: &Solved) {
        seeds.par_iter_mut().for_each(|seed| {
            let home = seed.home;
            for &target in seed.near.iter().chain(&seed.far) {
                if seed.track.sightings.iter().any(|s| s.frame == target) {
                    continue;
                }
                let Some(to) = &self.levels[target] else { continue };
                let (from, angle) = (solved.angles[home.frame], solved.angles[target]);
                // Only while a wall still faces the camera.
                let p = turned(seed.track.point, angle);
                if seed.surface.upwards == 0.0 && p[1] > -0.3 * p[0].hypot(p[1]) {
                    continue;
                }
                let Some(warp) = Self::warp(&solved.camera, seed.track.point, from, angle, seed.surface)
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

    /// Follows and solves; the error says why the turn cannot be told.
    pub fn run(&self) -> Result<Run, String> {
        let prior = Prior { camera: self.start, sigma: self.start_sigma };
        let usual = self.attempt(&prior, false);
        if usual.as_ref().is_ok_and(|run| run.solved.sigma_px < DOUBTFUL_SIGMA_PX) || (self.stop)() {
            return usual.and_then(Run::fits);
        }
        // Mirrored light, which has no colour, may show more than paint does; and from high above surfaces
        // that face upwards move quite unlike a wall.
        let usual = usual.and_then(Run::fits);
        let other = self.in_colour().attempt(&self.seen_from_above(), true).and_then(Run::fits);
        match (usual, other) {
            (Ok(usual), Ok(other)) => Ok(if other.worth() > usual.worth() { other } else { usual }),
            (usual, other) => usual.or_else(|reason| other.map_err(|_| reason)),
        }
    }

    /// A camera that may stand high above the plate.
    fn seen_from_above(&self) -> Prior {
        let far = 0.2 / self.middle.1;
        Prior {
            camera: Camera { tilt: 0.5, per_px: 0.5 * far, ..self.start },
            sigma: Camera { tilt: 0.4, per_px: far, ..self.start_sigma },
        }
    }

    /// Follows and solves; `steep` looks for surfaces that face upwards as well.
    fn attempt(&self, prior: &Prior, steep: bool) -> Result<Run, String> {
        let camera = &prior.camera;
        let (seeds, tally) = self.follow(Guess { camera, angles: &self.planned, steep });
        // Structure that is not there cannot be doubtful either.
        if tally.looked < 12 * self.levels.len() {
            return Err("the object shows too little detail to follow from stop to stop".to_owned());
        }
        if tally.doubtful * 2 > tally.looked {
            return Err(
                "places on the object look alike: too little detail, or a pattern that repeats".to_owned()
            );
        }
        let (mut seeds, mut halves): (Vec<Seed>, Vec<Seed>) = seeds
            .into_iter()
            .filter(|s| s.track.sightings.len() >= 2 && self.moves(s, &self.planned))
            .partition(|s| s.track.sightings.len() >= FEWEST_SIGHTINGS);
        if seeds.len() < 2 * FEWEST_LINKS {
            return Err("the object shows too little detail to follow from stop to stop".to_owned());
        }
        for seed in &mut seeds {
            place_point(&mut seed.track, camera, &self.planned);
        }
        let held = self.busiest(&seeds);
        let first = self.solve(&mut seeds, *camera, &self.planned, prior, held)?;
        self.prune(&mut seeds, &first);
        // What was seen at one neighbour alone: with the camera known it may show at others too.
        for seed in &mut halves {
            place_point(&mut seed.track, &first.camera, &first.angles);
        }
        seeds.append(&mut halves);
        self.extend(&mut seeds, &first);
        seeds.retain(|s| s.track.sightings.len() >= FEWEST_SIGHTINGS);
        let second = self.solve(&mut seeds, first.camera, &first.angles, prior, held)?;
        self.prune(&mut seeds, &second);
        if seeds.len() < 2 * FEWEST_LINKS {
            return Err("too few places of the object move as a turning object would".to_owned());
        }
        if second.sigma_px < COARSE_SIGMA_PX {
            self.strengthen(&mut seeds, &second);
        }
        let solved = self.solve(&mut seeds, second.camera, &second.angles, prior, held)?;
        Ok(Run { solved, tracks: seeds.into_iter().map(|s| s.track).collect(), held })
    }

    /// Looks for more patches where a frame hangs by few.
    fn strengthen(&self, seeds: &mut Vec<Seed>, solved: &Solved) {
        let mut homes: Vec<Vec<[f64; 2]>> = vec![Vec::new(); self.levels.len()];
        let mut seen = vec![0; self.levels.len()];
        for seed in seeds.iter() {
            homes[seed.home.frame].push(seed.home.place);
            for s in &seed.track.sightings {
                seen[s.frame] += 1;
            }
        }
        let steep = solved.camera.tilt.abs() > STEEP_RAD;
        let guess = Guess { camera: &solved.camera, angles: &solved.angles, steep };
        let mut more: Vec<Seed> = (0..self.levels.len())
            .into_par_iter()
            .filter(|&frame| seen[frame] < FEW_SIGHTINGS)
            .flat_map_iter(|frame| self.follow_frame(frame, MORE_ANCHORS, &homes[frame], guess).0)
            .collect();
        more.retain(|s| s.track.sightings.len() >= 2 && self.moves(s, &solved.angles));
        for seed in &mut more {
            place_point(&mut seed.track, &solved.camera, &solved.angles);
        }
        self.extend(&mut more, solved);
        for seed in &mut more {
            place_point(&mut seed.track, &solved.camera, &solved.angles);
        }
        self.prune(&mut more, solved);
        seeds.append(&mut more);
    }

    /// Solves the turn from patches and moves their points to their solved places.
    fn solve(
        &self,
        seeds: &mut [Seed],
        camera: Camera,
        angles: &[f64],
        prior: &Prior,
        held: usize,
    ) -> Result<Solved, String> {
        let mut tracks: Vec<Track> = seeds.iter().map(|s| s.track.clone()).collect();
        let solved = solve(&mut tracks, camera, angles, prior, held, self.stop)
            .ok_or("the tracked places do not fit a turning object")?;
        for (seed, track) in seeds.iter_mut().zip(tracks) {
            seed.track = track;
        }
        Ok(solved)
    }

    fn busiest(&self, seeds: &[Seed]) -> usize {
        let mut counts = vec![0; self.levels.len()];
        for s in seeds.iter().flat_map(|s| &s.track.sightings) {
            counts[s.frame] += 1;
        }
        (0..counts.len()).max_by_key(|&i| counts[i]).unwrap_or(0)
    }

    /// Drops sightings that do not fit, and places that do not move: still highlights.
    fn prune(&self, seeds: &mut Vec<Seed>, solved: &Solved) {
        let limit = (OUTLIER * solved.sigma_px).max(0.25);
        for seed in seeds.iter_mut() {
            let copy = seed.track.clone();
            seed.track.sightings.retain(|s| residual(&copy, s, &solved.camera, &solved.angles) < limit);
        }
        seeds.retain(|seed| {
            let sightings = &seed.track.sightings;
            let at_home = sightings.first().is_some_and(|s| s.frame == seed.home.frame);
            at_home && sightings.len() >= FEWEST_SIGHTINGS && self.moves(seed, &solved.angles)
        });
    }

    /// Whether a place moves with the object; light that stands still while the object turns hardly does.
    fn moves(&self, seed: &Seed, angles: &[f64]) -> bool {
        let usual = self.row_radius(seed.home.place[1] + self.middle.1).unwrap_or(4.0);
        seed.track.sightings.iter().any(|s| {
            let turn = (angles[s.frame] - angles[seed.home.frame]).sin().abs();
            let moved = (s.place[0] - seed.home.place[0]).hypot(s.place[1] - seed.home.place[1]);
            turn > 1e-3 && moved > 0.25 * usual * turn
        })
    }
}

/// A patch with its track.
struct Seed {
    anchor: Anchor,
    /// Half of the object's usual width in its row, px.
    radius: f64,
    /// How the surface faces, as found by trying.
    surface: Surface,
    /// Where the patch was taken.
    home: Sighting,
    /// The neighbours it was looked for in, and frames further away.
    near: Vec<usize>,
    far: Vec<usize>,
    track: Track,
}

impl Seed {
    /// Where on the object the patch may lie and how it may face.
    fn suppositions(&self, turn: f64, guess: Guess) -> Vec<([f64; 3], Surface)> {
        // The flat side of a box faces elsewhere than a round pot; on wide steps it matters.
        let facings: &[f64] = if turn > 0.3 { &[0.0, 0.6, -0.6] } else { &[0.0] };
        let walls = facings.iter().map(|&facing| (self.track.point, Surface { facing, upwards: 0.0 }));
        let plate = guess.steep.then(|| {
            let Sighting { frame, place } = self.home;
            (guess.camera.at_depth(place, 0.0, guess.angles[frame]), Surface { facing: 0.0, upwards: 1.2 })
        });
        walls.chain(plate).collect()
    }
}
