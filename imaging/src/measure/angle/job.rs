//! What following and solving start from: pictures to follow on, a first camera, where the object is.

use rayon::prelude::*;

use super::super::axis::OutlineAxis;
use super::super::backdrop::middle;
use super::super::frame::View;
use super::super::track::{Levels, Warp, strongest_colour, strongest_mix};
use super::super::turn_model::{Camera, turned};
use super::{Stop, TurnFrame};

/// Widest angle a patch is followed over, degrees.
const WIDEST_DEG: f64 = 32.0;
/// The same once its place is known beforehand, and on how many stops on each side.
const FARTHEST_DEG: f64 = 32.0;
const FAR_STOPS: usize = 4;
/// A closing frame stands at the first frame's angle, nearer than this.
const SAME_DEG: f64 = 2.0;

/// How a surface faces: by default like a cylinder about the axis.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Surface {
    /// How far it faces off the direction away from the axis, radians.
    pub facing: f64,
    /// How far it faces upwards, radians; a plate faces up by a quarter turn.
    pub upwards: f64,
}

/// Everything needed while following and solving.
pub(super) struct Job<'a> {
    pub planned: Vec<f64>,
    views: Vec<Option<&'a View>>,
    pub levels: Vec<Option<Levels>>,
    /// Left and right outline by measured row, for each frame.
    pub edges: Vec<Vec<Option<(f32, f32)>>>,
    /// Half of the usual width by measured row.
    pub radius: Vec<f64>,
    pub start: Camera,
    pub start_sigma: Camera,
    pub middle: (f64, f64),
    pub stop: Stop<'a>,
}

impl<'a> Job<'a> {
    pub fn new(
        frames: &[TurnFrame],
        views: &[Option<&'a View>],
        planned: Vec<f64>,
        outline_axis: Option<&OutlineAxis>,
        size: (usize, usize),
        stop: Stop<'a>,
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
        // Perspective as usual for products, unless the outlines know better.
        let far = 1.0 / (4.0 * height as f64);
        let (start, start_sigma) = match outline_axis {
            Some(a) => {
                let sigma = |i: usize| 3.0 * a.covariance[(i, i)].max(0.0).sqrt();
                let doubt = a.covariance[(2, 2)].max(0.0).sqrt();
                let per_px = if doubt < 0.5 * far * far { a.pose.square.sqrt().max(0.3 * far) } else { far };
                (
                    Camera { x0: a.pose.column, roll: a.pose.lean, tilt: 0.2, per_px },
                    Camera {
                        x0: sigma(0).clamp(2.0, 20.0),
                        roll: sigma(1).clamp(0.02, 0.05),
                        tilt: 0.4,
                        per_px: (sigma(2) / (2.0 * per_px)).clamp(0.5 * far, 1.5 * far),
                    },
                )
            }
            None => {
                let mut mids: Vec<f32> =
                    edges.iter().flatten().flatten().map(|(l, r)| (l + r) / 2.0).collect();
                let column = f64::from(middle(&mut mids)) - middle_px.0;
                (
                    Camera { x0: column, roll: 0.0, tilt: 0.2, per_px: far },
                    Camera { x0: 60.0, roll: 0.05, tilt: 0.4, per_px: 1.5 * far },
                )
            }
        };
        let views: Vec<Option<&View>> =
            views.iter().zip(frames).map(|(v, f)| v.filter(|_| !f.copy_of_previous)).collect();
        let shown: Vec<&View> = views.iter().flatten().copied().collect();
        let levels = levels(&views, strongest_mix(&shown));
        Some(Self { planned, views, levels, edges, radius, start, start_sigma, middle: middle_px, stop })
    }

    /// The same seen in colour alone.
    pub fn in_colour(&self) -> Self {
        let shown: Vec<&View> = self.views.iter().flatten().copied().collect();
        Self {
            planned: self.planned.clone(),
            views: self.views.clone(),
            levels: levels(&self.views, strongest_colour(&shown)),
            edges: self.edges.clone(),
            radius: self.radius.clone(),
            ..*self
        }
    }

    pub fn row_radius(&self, row: f64) -> Option<f64> {
        self.radius.get(row as usize).copied().filter(|r| *r > 4.0)
    }

    /// Turns a place of a cut into a place from the picture's middle.
    pub fn off_middle(&self, frame: usize, x: f32, y: f32) -> Option<[f64; 2]> {
        let o = self.levels[frame].as_ref()?.origin;
        Some([f64::from(x) + 0.5 + o.0 - self.middle.0, f64::from(y) + 0.5 + o.1 - self.middle.1])
    }

    pub fn to_cut(&self, frame: usize, place: [f64; 2]) -> Option<(f32, f32)> {
        let o = self.levels[frame].as_ref()?.origin;
        Some(((place[0] - 0.5 - o.0 + self.middle.0) as f32, (place[1] - 0.5 - o.1 + self.middle.1) as f32))
    }

    /// Which frames to follow a frame's patches into: the nearest on both sides, each with the one to take
    /// when it shows next to nothing, and, where stops are close, some further away.
    pub fn targets(&self, frame: usize) -> (Vec<(usize, Option<usize>)>, Vec<usize>) {
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
            if first < SAME_DEG {
                near.push((i, None));
                near.extend(at(1).map(|j| (j, at(2))));
            } else {
                near.push((i, at(1)));
            }
            // The stops further away, evenly, as far as a patch is followed.
            let within = side.iter().filter(|s| s.0 < FARTHEST_DEG).count();
            let every = within.div_ceil(FAR_STOPS).max(1);
            far.extend(
                (0..within)
                    .rev()
                    .step_by(every)
                    .map(|k| side[k].1)
                    .filter(|j| near.iter().all(|n| n.0 != *j)),
            );
        }
        // At the ends of an arc two frames on one side must do.
        if (ahead.is_empty() || behind.is_empty()) && near.len() < 2 {
            let side = if ahead.is_empty() { &behind } else { &ahead };
            near.extend(side.get(1).map(|s| (s.1, side.get(2).map(|s| s.1))));
            far.retain(|j| near.iter().all(|n| n.0 != *j));
        }
        (near, far)
    }

    /// How small offsets about a surface point change from one frame to another.
    pub fn warp(camera: &Camera, point: [f64; 3], from: f64, to: f64, surface: Surface) -> Option<Warp> {
        let r = point[0].hypot(point[1]).max(1.0);
        let side = turned([-point[1] / r, point[0] / r, 0.0], surface.facing);
        let (sin, cos) = surface.upwards.sin_cos();
        let up = [-sin * side[1], sin * side[0], cos];
        let step = |t: [f64; 3]| [point[0] + t[0], point[1] + t[1], point[2] + t[2]];
        let change = |angle: f64| {
            let at = camera.project(point, angle);
            let s = camera.project(step(side), angle);
            let u = camera.project(step(up), angle);
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
}

/// The reason why stops at table angles in radians stand too far apart to follow anything from one to the next;
/// `None` where most do not.
pub(super) fn too_far_apart(angles: &[f64]) -> Option<String> {
    let mut sorted: Vec<f64> = angles.iter().map(|a| a.to_degrees().rem_euclid(360.0)).collect();
    sorted.sort_by(f64::total_cmp);
    let mut gaps: Vec<f64> = sorted.windows(2).map(|w| w[1] - w[0]).collect();
    gaps.sort_by(f64::total_cmp);
    let usual = *gaps.get(gaps.len() / 2)?;
    (usual > WIDEST_DEG).then(|| {
        format!(
            "the stops stand {usual:.0}° apart; detail can be followed over {WIDEST_DEG:.0}° at most: plan more stops"
        )
    })
}

fn levels(views: &[Option<&View>], mix: [f32; 3]) -> Vec<Option<Levels>> {
    views.par_iter().map(|v| v.and_then(|v| Levels::of(v, mix))).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stops_too_far_apart_are_told_from_an_object_without_detail() {
        let even = |n: u32| -> Vec<f64> {
            (0..=n).map(|i| f64::from(i) * std::f64::consts::TAU / f64::from(n)).collect()
        };
        assert_eq!(too_far_apart(&even(12)), None);
        assert_eq!(too_far_apart(&[0.0, 0.02, 0.04]), None);
        assert_eq!(too_far_apart(&[]), None);
        assert!(too_far_apart(&even(8)).unwrap().contains("45° apart"));
    }
}
