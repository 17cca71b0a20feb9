//! Solves camera, angles and points together from tracked places.
//!
//! Damped least squares with a Cauchy loss; points are eliminated first (Schur complement), so the
//! system is as small as the number of frames. Textbook bundle adjustment (Triggs, `McLauchlan`,
//! Hartley, Fitzgibbon, Vision Algorithms 1999), with a camera that stands still.

use nalgebra::{DMatrix, DVector, Matrix3, Vector3};

use super::angle::Stop;
use super::turn_model::Camera;

/// One place of a point in one frame, px from the picture's middle.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sighting {
    pub frame: usize,
    pub place: [f64; 2],
}

/// A point and where it was seen.
#[derive(Debug, Clone)]
pub(super) struct Track {
    pub point: [f64; 3],
    pub sightings: Vec<Sighting>,
}

/// What is known beforehand of the camera, as a value and its standard deviation.
#[derive(Debug, Clone, Copy)]
pub(super) struct Prior {
    pub camera: Camera,
    pub sigma: Camera,
}

/// The solved whole.
#[derive(Debug, Clone)]
pub(super) struct Solved {
    pub camera: Camera,
    /// Angle of each frame in radians.
    pub angles: Vec<f64>,
    /// Covariance over x0, roll, tilt, `per_px` and the angles; rows of frames without sightings
    /// are zero.
    pub covariance: DMatrix<f64>,
    /// Robust standard deviation of a sighting in px, each direction.
    pub sigma_px: f64,
}

/// A sighting further off than this many standard deviations has no part in the result.
pub(super) const OUTLIER: f64 = 3.5;
const CAMERA: usize = 4;
const ROUNDS: usize = 14;

/// Solves; `tracks` are moved to their solved places. `held` is the frame whose angle stays. `None` too when
/// stopped.
pub(super) fn solve(
    tracks: &mut [Track],
    camera: Camera,
    angles: &[f64],
    prior: &Prior,
    held: usize,
    stop: Stop,
) -> Option<Solved> {
    let size = CAMERA + angles.len();
    let mut state = (camera, angles.to_vec());
    let mut sigma = spread(tracks, &state.0, &state.1).clamp(0.3, 8.0);
    let mut damping = 1e-3;
    let mut cost = total(tracks, &state.0, &state.1, sigma, prior);
    let mut rounds = 0;
    while rounds < ROUNDS {
        if stop() {
            return None;
        }
        rounds += 1;
        let (mut system, right, steps) = assemble(tracks, &state.0, &state.1, sigma, prior, held, damping);
        for i in 0..size {
            system[(i, i)] *= 1.0 + damping;
        }
        let Some(cholesky) = system.cholesky() else {
            damping *= 10.0;
            continue;
        };
        let change = cholesky.solve(&right);
        let moved: Vec<[f64; 3]> =
            tracks.iter().zip(&steps).map(|(t, s)| s.apply(t.point, &change)).collect();
        let next = moved_state(&state, &change);
        let old: Vec<[f64; 3]> = tracks.iter().map(|t| t.point).collect();
        for (track, point) in tracks.iter_mut().zip(&moved) {
            track.point = *point;
        }
        let new_cost = total(tracks, &next.0, &next.1, sigma, prior);
        if new_cost < cost {
            let gain = (cost - new_cost) / cost.max(1e-12);
            state = next;
            damping = (damping * 0.2).max(1e-9);
            let fresh = spread(tracks, &state.0, &state.1).clamp(0.02, 8.0);
            let settled = gain < 1e-5 && (fresh / sigma - 1.0).abs() < 0.02;
            sigma = fresh;
            cost = total(tracks, &state.0, &state.1, sigma, prior);
            if settled {
                break;
            }
        } else {
            for (track, point) in tracks.iter_mut().zip(old) {
                track.point = point;
            }
            damping *= 8.0;
            if damping > 1e6 {
                break;
            }
        }
    }
    let (system, ..) = assemble(tracks, &state.0, &state.1, sigma, prior, held, 0.0);
    let covariance = system.cholesky()?.inverse();
    Some(Solved { camera: state.0, angles: state.1, covariance, sigma_px: sigma })
}

/// Returns the residual of one sighting in px.
pub(super) fn residual(track: &Track, sighting: &Sighting, camera: &Camera, angles: &[f64]) -> f64 {
    let at = camera.project(track.point, angles[sighting.frame]);
    (at[0] - sighting.place[0]).hypot(at[1] - sighting.place[1])
}

/// Finds a point from its sightings alone, given camera and angles.
pub(super) fn place_point(track: &mut Track, camera: &Camera, angles: &[f64]) {
    for _ in 0..4 {
        let mut h = Matrix3::identity() * 1e-4;
        let mut b = Vector3::zeros();
        for s in &track.sightings {
            let seen = camera.look(track.point, angles[s.frame]);
            for axis in 0..2 {
                let j = Vector3::from(seen.by_point[axis]);
                h += j * j.transpose();
                b += j * (s.place[axis] - seen.place[axis]);
            }
        }
        let Some(step) = h.cholesky().map(|c| c.solve(&b)) else { return };
        for i in 0..3 {
            track.point[i] += step[i];
        }
    }
}

fn moved_state(state: &(Camera, Vec<f64>), change: &DVector<f64>) -> (Camera, Vec<f64>) {
    let c = state.0;
    let camera = Camera {
        x0: c.x0 + change[0],
        roll: c.roll + change[1],
        tilt: (c.tilt + change[2]).clamp(-1.4, 1.4),
        per_px: (c.per_px + change[3]).clamp(-1e-3, 2e-3),
    };
    (camera, state.1.iter().enumerate().map(|(i, a)| a + change[CAMERA + i]).collect())
}

/// Robust standard deviation of the residuals, each direction.
fn spread(tracks: &[Track], camera: &Camera, angles: &[f64]) -> f64 {
    let mut all: Vec<f64> =
        tracks.iter().flat_map(|t| t.sightings.iter().map(move |s| residual(t, s, camera, angles))).collect();
    if all.is_empty() {
        return 1.0;
    }
    let at = all.len() / 2;
    // The median of a Rayleigh distribution is 1.177 σ; points fitted to few sightings shrink it.
    let seen = all.len() as f64;
    let free = (1.0 - (3.0 * tracks.len() as f64 + angles.len() as f64) / (2.0 * seen)).max(0.15);
    *all.select_nth_unstable_by(at, f64::total_cmp).1 / 1.177 / free.sqrt()
}

fn cauchy(square: f64, sigma: f64) -> (f64, f64) {
    let c2 = (2.0 * sigma) * (2.0 * sigma);
    (c2 * (square / c2).ln_1p() / (sigma * sigma), 1.0 / (1.0 + square / c2) / (sigma * sigma))
}

fn prior_terms(camera: &Camera, prior: &Prior) -> [(f64, f64); CAMERA] {
    let (p, s) = (&prior.camera, &prior.sigma);
    [
        (p.x0 - camera.x0, s.x0),
        (p.roll - camera.roll, s.roll),
        (p.tilt - camera.tilt, s.tilt),
        (p.per_px - camera.per_px, s.per_px),
    ]
    .map(|(d, s)| (d, 1.0 / (s * s)))
}

fn total(tracks: &[Track], camera: &Camera, angles: &[f64], sigma: f64, prior: &Prior) -> f64 {
    let data: f64 = tracks
        .iter()
        .flat_map(|t| t.sightings.iter().map(move |s| residual(t, s, camera, angles)))
        .map(|r| cauchy(r * r, sigma).0)
        .sum();
    data + prior_terms(camera, prior).iter().map(|(d, w)| d * d * w).sum::<f64>()
}

/// How a point follows the others' change.
struct Follow {
    base: Vector3<f64>,
    by: Vec<(usize, Vector3<f64>)>,
}

impl Follow {
    fn apply(&self, point: [f64; 3], change: &DVector<f64>) -> [f64; 3] {
        let mut step = self.base;
        for (i, column) in &self.by {
            step -= column * change[*i];
        }
        // A wild step is a sign of a point that cannot be placed; it is kept near.
        let length = step.norm();
        if length > 400.0 {
            step *= 400.0 / length;
        }
        [point[0] + step[0], point[1] + step[1], point[2] + step[2]]
    }
}

fn assemble(
    tracks: &[Track],
    camera: &Camera,
    angles: &[f64],
    sigma: f64,
    prior: &Prior,
    held: usize,
    damping: f64,
) -> (DMatrix<f64>, DVector<f64>, Vec<Follow>) {
    let size = CAMERA + angles.len();
    let mut system = DMatrix::<f64>::zeros(size, size);
    let mut right = DVector::<f64>::zeros(size);
    for (i, (difference, weight)) in prior_terms(camera, prior).into_iter().enumerate() {
        system[(i, i)] += weight;
        right[i] += weight * difference;
    }
    // Frames without sightings stay where they are; so does the held one.
    for i in CAMERA..size {
        system[(i, i)] += if i == CAMERA + held { 1e14 } else { 1.0 };
    }
    let mut follows = Vec::with_capacity(tracks.len());
    let mut rows: Vec<[f64; CAMERA + 1]> = Vec::new();
    for track in tracks {
        let mut hpp = Matrix3::<f64>::identity() * 1e-6;
        let mut bp = Vector3::<f64>::zeros();
        // Cross terms: camera columns, then one for each sighting's frame.
        let mut cross_camera = [Vector3::<f64>::zeros(); CAMERA];
        let mut cross_frames: Vec<(usize, Vector3<f64>)> = Vec::with_capacity(track.sightings.len());
        for s in &track.sightings {
            let seen = camera.look(track.point, angles[s.frame]);
            let d = [s.place[0] - seen.place[0], s.place[1] - seen.place[1]];
            let weight = cauchy(d[0] * d[0] + d[1] * d[1], sigma).1;
            let at = CAMERA + s.frame;
            let mut cross = Vector3::zeros();
            rows.clear();
            for axis in 0..2 {
                let jc = seen.by_camera[axis];
                let ja = seen.by_angle[axis];
                let jp = Vector3::from(seen.by_point[axis]);
                for i in 0..CAMERA {
                    for j in 0..CAMERA {
                        system[(i, j)] += weight * jc[i] * jc[j];
                    }
                    system[(i, at)] += weight * jc[i] * ja;
                    system[(at, i)] += weight * jc[i] * ja;
                    right[i] += weight * jc[i] * d[axis];
                    cross_camera[i] += jp * (weight * jc[i]);
                }
                system[(at, at)] += weight * ja * ja;
                right[at] += weight * ja * d[axis];
                cross += jp * (weight * ja);
                hpp += jp * jp.transpose() * weight;
                bp += jp * (weight * d[axis]);
            }
            cross_frames.push((at, cross));
        }
        for i in 0..3 {
            hpp[(i, i)] *= 1.0 + damping;
        }
        let inverse = hpp.try_inverse().unwrap_or_else(Matrix3::zeros);
        let all: Vec<(usize, Vector3<f64>)> =
            cross_camera.iter().copied().enumerate().chain(cross_frames).collect();
        let solved: Vec<(usize, Vector3<f64>)> = all.iter().map(|(i, v)| (*i, inverse * v)).collect();
        let base = inverse * bp;
        for (i, column) in &all {
            right[*i] -= column.dot(&base);
            for (j, other) in &solved {
                system[(*i, *j)] -= column.dot(other);
            }
        }
        follows.push(Follow { base, by: solved });
    }
    (system, right, follows)
}
