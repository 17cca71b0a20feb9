//! The turning axis from outlines alone, and the object's distance from it.
//!
//! Let the camera be turned so that the axis stands upright in the middle of the picture. A plane that
//! touches the turning object on the right, seen at one stop, is seen at another stop on the left, mirrored.
//! So over a whole turn the mean distance of a touching line of any slant is the same left and right,
//! whatever the object's shape and however near the camera; the pose in which it is, is the axis. (For
//! the solid that the object sweeps this is the symmetry of Mendonça, Wong, Cipolla, PAMI 23:604, 2001; the
//! mean takes in every stop instead of the widest alone.) An object that is itself round is its own mirror
//! image row by row. How much wider parts of the object are shifted more says how near the camera is.

mod mirror;
mod outlines;

use std::f64::consts::TAU;

use nalgebra::{DVector, Matrix3, Vector3};

use super::fourier;
use super::frame::View;
pub(super) use mirror::Known;
use mirror::Rest;
pub(super) use outlines::Pose;
use outlines::{Seen, Turned};

/// The axis in measured pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct OutlineAxis {
    /// Column from the picture's middle at mid height, lean, perspective.
    pub pose: Pose,
    /// Covariance over column, lean and the perspective's square.
    pub covariance: Matrix3<f64>,
    /// The object's middle against the axis at table angle 0: right and away, px.
    pub off_axis: [f64; 2],
    pub off_axis_sigma: f64,
    /// Largest width of the object over the turn, px.
    pub object_width: f64,
}

/// Directions of touching lines, degrees from the horizontal, on each side.
const REACH: i32 = 50;
const STEP: i32 = 2;
const COUNT: usize = (2 * REACH / STEP + 1) as usize;
/// Neighbouring directions share outline points: so many count as one, with room for errors of the kind that
/// scatter does not show.
const ALIKE_DIRECTIONS: f64 = 18.0;
/// Neighbouring rows share light and coding: the same for them.
const ALIKE_ROWS: f64 = 45.0;
/// How far a table or an object may stray from the plan over a turn without anything else showing it.
const UNSEEN_STRAY_DEG: f64 = 3.0;
/// An object whose half width changes by less than this share over the turn is round.
const ROUND_SHARE: f64 = 0.012;
/// Stops no further apart than this go round.
const WHOLE_TURN_GAP_DEG: f64 = 65.0;

/// What is usual for products: a camera that stands nearly level, and a lens between wide and long.
pub(super) fn usual(size: (usize, usize)) -> Known {
    let longer = size.0.max(size.1) as f64;
    let square = longer.powi(-2);
    let sigma = [10.0 * longer, 0.02, 0.25 * square];
    Known {
        pose: Pose { column: 0.0, lean: 0.0, square: 0.2 * square },
        information: Matrix3::from_diagonal(&Vector3::from(sigma.map(|s| s.powi(-2)))),
    }
}

/// Where table angles come from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Angles {
    /// From the plan, to which table and object may not have kept.
    Planned,
    /// Measured by what was followed.
    Measured,
}

/// Finds the axis from outlines in the order of shooting at table angles in radians (anticlockwise positive)
/// and what is known beforehand; `None` when there are too few or they cover too little of the turn.
pub(super) fn from_outlines(views: &[(f64, &View)], source: Angles, known: &Known) -> Option<OutlineAxis> {
    let (width, height) = views.first()?.1.size;
    let middle = (width as f64 / 2.0, height as f64 / 2.0);
    let seen: Vec<Seen> = views.iter().filter_map(|(a, v)| outlines::take(*a, v, middle)).collect();
    if seen.len() < 6 {
        return None;
    }
    let angles: Vec<f64> = seen.iter().map(|s| s.angle).collect();
    let harmonics = harmonics_for(&angles)?;
    let start = Pose { column: rough_column(&seen), ..known.pose };
    let level = [(0.0, 1.0)];
    let reach = |pose: &Pose| -> Vec<(f64, f64)> {
        let turned = Turned::to(pose);
        seen.iter()
            .map(|s| (s.right.reach(&turned, 1.0, &level)[0], s.left.reach(&turned, -1.0, &level)[0]))
            .collect()
    };
    let half: Vec<f64> = reach(&start).iter().map(|(r, l)| f64::midpoint(*r, *l)).collect();
    let swing = fourier::fit(&angles, &half, 1)?;
    let round = swing.rest < ROUND_SHARE * swing.terms[0];
    let found = if round {
        let outline = MeanOutline::of(&seen, &angles, harmonics, height, middle.1);
        mirror::solve(&|pose| outline.rests(pose), start, known, ALIKE_ROWS, height as f64)?
    } else {
        let touching = Touching::of(&seen, &angles, harmonics, &start)?;
        let mut found =
            mirror::solve(&|pose| touching.rests(pose), start, known, ALIKE_DIRECTIONS, height as f64)?;
        if source == Angles::Planned {
            found.covariance[(0, 0)] += touching.unseen_strays(&angles, harmonics, &found.pose)?;
        }
        found
    };
    let pose = found.pose;
    let ends = reach(&pose);
    let mid: Vec<f64> = ends.iter().map(|(r, l)| (r - l) / 2.0).collect();
    let fit = fourier::fit(&angles, &mid, harmonics)?;
    let off_axis = [fit.terms[1], -fit.terms[2]];
    let per_px = pose.square.sqrt();
    let mut widths: Vec<f64> = ends
        .iter()
        .zip(&angles)
        .map(|((r, l), a)| {
            // What stands nearer looks wider.
            let away = off_axis[0] * a.sin() + off_axis[1] * a.cos();
            (r + l) * (1.0 + per_px * away)
        })
        .collect();
    widths.sort_by(f64::total_cmp);
    // A round object is as wide at every stop: the middle is steadier than the greatest.
    let object_width = widths[if round { widths.len() / 2 } else { widths.len() - 1 }];
    Some(OutlineAxis {
        pose,
        covariance: found.covariance,
        off_axis,
        off_axis_sigma: fit.rest / (seen.len() as f64 / 2.0).sqrt() + 0.02,
        object_width,
    })
}

/// How many harmonics of the turn the stops can carry; `None` when even one cannot be told.
fn harmonics_for(angles: &[f64]) -> Option<usize> {
    let mut sorted: Vec<f64> = angles.iter().map(|a| a.rem_euclid(TAU)).collect();
    sorted.sort_by(f64::total_cmp);
    let wrap = sorted.first()? + TAU - sorted.last()?;
    let gap = sorted.windows(2).map(|w| w[1] - w[0]).fold(wrap, f64::max).to_degrees();
    match gap {
        g if g <= WHOLE_TURN_GAP_DEG => Some((angles.len() / 3).min(8)),
        g if g <= 130.0 => Some(2),
        g if g <= 250.0 => Some(1),
        _ => None,
    }
}

/// The middle of all outlines.
fn rough_column(seen: &[Seen]) -> f64 {
    let mut mids: Vec<f64> =
        seen.iter().flat_map(|s| s.rows.iter().map(|r| f64::midpoint(r.1, r.2))).collect();
    mids.sort_by(f64::total_cmp);
    mids.get(mids.len() / 2).copied().unwrap_or(0.0)
}

/// Mean distances of touching lines, left and right.
struct Touching<'a> {
    seen: &'a [Seen],
    /// Sines and cosines.
    directions: Vec<(f64, f64)>,
    /// How much each stop counts in the mean of each direction, right and left.
    weights: Vec<[Vec<f64>; 2]>,
}

impl<'a> Touching<'a> {
    fn of(seen: &'a [Seen], angles: &[f64], harmonics: usize, start: &Pose) -> Option<Self> {
        let directions: Vec<(f64, f64)> =
            (0..COUNT).map(|i| f64::from(i as i32 * STEP - REACH).to_radians().sin_cos()).collect();
        let reaches = Self::reaches(seen, &directions, start);
        let weights = (0..COUNT)
            .map(|i| {
                let side = |which: usize| {
                    let values: Vec<f64> = reaches.iter().map(|r| r[which][i]).collect();
                    fourier::fit(angles, &values, harmonics).map(|f| f.mean_weights)
                };
                Some([side(0)?, side(1)?])
            })
            .collect::<Option<_>>()?;
        Some(Self { seen, directions, weights })
    }

    fn reaches(seen: &[Seen], directions: &[(f64, f64)], pose: &Pose) -> Vec<[Vec<f64>; 2]> {
        let turned = Turned::to(pose);
        seen.iter()
            .map(|s| [s.right.reach(&turned, 1.0, directions), s.left.reach(&turned, -1.0, directions)])
            .collect()
    }

    /// What angles that stray from the plan mean for the column, px²: strays that add up from stop to stop,
    /// each as likely as the next, to [`UNSEEN_STRAY_DEG`].
    fn unseen_strays(&self, angles: &[f64], harmonics: usize, pose: &Pose) -> Option<f64> {
        let reaches = Self::reaches(self.seen, &self.directions, pose);
        let slopes = fourier::slopes(angles, harmonics);
        // How the column, half the mean of right less left over all directions, moves with each stop's angle.
        let mut by_stop = DVector::<f64>::zeros(angles.len());
        for (i, weights) in self.weights.iter().enumerate() {
            for (side, share) in [(0, 0.5), (1, -0.5)] {
                let values: Vec<f64> = reaches.iter().map(|r| r[side][i]).collect();
                let mut terms = fourier::fit(angles, &values, harmonics)?.terms;
                terms.truncate(slopes.ncols());
                let slope = &slopes * DVector::from_vec(terms);
                by_stop += slope.component_mul(&DVector::from_column_slice(&weights[side])) * share;
            }
        }
        by_stop /= self.directions.len() as f64;
        let step = UNSEEN_STRAY_DEG.to_radians() / (angles.len() as f64).sqrt();
        let mut all_after = 0.0;
        let square: f64 = by_stop
            .iter()
            .rev()
            .map(|b| {
                all_after += b;
                all_after * all_after
            })
            .sum();
        Some(square * step * step)
    }

    fn rests(&self, pose: &Pose) -> Vec<Rest> {
        let reaches = Self::reaches(self.seen, &self.directions, pose);
        (0..self.directions.len())
            .map(|i| {
                let mean = |which: usize| -> f64 {
                    self.weights[i][which].iter().zip(&reaches).map(|(w, r)| w * r[which][i]).sum()
                };
                Rest { px: mean(0) - mean(1), weight: 1.0 }
            })
            .collect()
    }
}

/// The mean outline of a round object, from the top down, px from the picture's middle.
struct MeanOutline {
    left: Vec<(f64, f64)>,
    right: Vec<(f64, f64)>,
}

impl MeanOutline {
    fn of(seen: &[Seen], angles: &[f64], harmonics: usize, height: usize, middle: f64) -> Self {
        let mut by_row: Vec<(Vec<f64>, Vec<f64>, Vec<f64>)> = vec![Default::default(); height];
        for (s, angle) in seen.iter().zip(angles) {
            for &(row, left, right) in &s.rows {
                if let Some(at) = by_row.get_mut(row) {
                    at.0.push(*angle);
                    at.1.push(left);
                    at.2.push(right);
                }
            }
        }
        let (mut left, mut right) = (Vec::new(), Vec::new());
        for (row, (angles, lefts, rights)) in by_row.iter().enumerate() {
            // A row that many stops do not show is the top's or the foot's.
            if angles.len() * 5 < seen.len() * 4 {
                continue;
            }
            let mean = |values: &[f64]| fourier::fit(angles, values, harmonics.min(1)).map(|f| f.terms[0]);
            if let (Some(l), Some(r)) = (mean(lefts), mean(rights)) {
                let y = row as f64 + 0.5 - middle;
                left.push((l, y));
                right.push((r, y));
            }
        }
        Self { left, right }
    }

    /// For each place on the left its distance from the axis against that of the right outline at the same
    /// height.
    fn rests(&self, pose: &Pose) -> Vec<Rest> {
        let turned = Turned::to(pose);
        let left: Vec<(f64, f64)> = self.left.iter().map(|p| turned.see(*p)).collect();
        let right: Vec<(f64, f64)> = self.right.iter().map(|p| turned.see(*p)).collect();
        let none = Rest { px: 0.0, weight: 0.0 };
        let n = right.len();
        let mut at = 0;
        (0..left.len())
            .map(|i| {
                let (x, y) = left[i];
                while at + 2 < n && right[at + 1].1 < y {
                    at += 1;
                }
                let (Some(&a), Some(&b)) = (right.get(at), right.get(at + 1)) else { return none };
                let (Some(&before), Some(&after)) = (left.get(i.wrapping_sub(3)), left.get(i + 3)) else {
                    return none;
                };
                let (Some(&above), Some(&below)) = (right.get(at.wrapping_sub(2)), right.get(at + 3)) else {
                    return none;
                };
                if y < a.1
                    || y > b.1
                    || b.1 - a.1 > 3.0
                    || after.1 - before.1 > 9.0
                    || below.1 - above.1 > 8.0
                {
                    return none;
                }
                let slope = |a: (f64, f64), b: (f64, f64)| (b.0 - a.0) / (b.1 - a.1);
                let steep = slope(before, after).abs().max(slope(above, below).abs());
                if steep > STEEPEST {
                    return none;
                }
                let other = a.0 + slope(a, b) * (y - a.1);
                // Left and right do not blur alike where the outline runs across: counted by its slope.
                Rest { px: x + other, weight: (1.0 + steep * steep).powi(-2) }
            })
            .collect()
    }
}

/// Outlines that run further across than this for one down are no place to compare rows.
const STEEPEST: f64 = 1.5;
