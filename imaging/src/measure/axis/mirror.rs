//! Finds the pose in which left and right of the outlines are mirror images.

use nalgebra::{Matrix3, Vector3};

use super::outlines::Pose;

/// What is known of the pose beforehand: values and the inverse of their covariance.
#[derive(Debug, Clone, Copy)]
pub(in super::super) struct Known {
    pub pose: Pose,
    /// Over column in px, lean in radians, square in px⁻².
    pub information: Matrix3<f64>,
}

/// How left and right differ at one place: the difference in px, and how much it counts.
#[derive(Debug, Clone, Copy)]
pub(super) struct Rest {
    pub px: f64,
    pub weight: f64,
}

/// A found pose and its covariance over column, lean and square.
pub(super) struct Found {
    pub pose: Pose,
    pub covariance: Matrix3<f64>,
}

const ROUNDS: usize = 12;

/// Solves by Gauss and Newton with a Cauchy loss. `rests` gives the differences for a pose, always as many;
/// `alike` of them hang together and count as one. `height` is the frame's.
pub(super) fn solve(
    rests: &dyn Fn(&Pose) -> Vec<Rest>,
    start: Pose,
    known: &Known,
    alike: f64,
    height: f64,
) -> Option<Found> {
    // Steps that move outlines by about the same: numbers near one for the solver.
    let unit = Vector3::new(1.0, 2.0 / height, 1e-2 / (height * height));
    let scaled = |m: &Matrix3<f64>| Matrix3::from_fn(|i, j| m[(i, j)] * unit[i] * unit[j]);
    let supposed = scaled(&known.information);
    let mut pose = start;
    let mut covariance = Matrix3::identity();
    for round in 0..ROUNDS {
        let here = rests(&pose);
        let mut sizes: Vec<f64> =
            here.iter().filter(|r| r.weight > 0.0).map(|r| r.px.abs() * r.weight.sqrt()).collect();
        if sizes.len() < 6 {
            return None;
        }
        sizes.sort_by(f64::total_cmp);
        let sigma = (1.48 * sizes[sizes.len() / 2]).max(0.03);
        let moved: Vec<Vec<Rest>> = (0..3)
            .map(|i| {
                let mut step = Vector3::zeros();
                step[i] = 0.1 * unit[i];
                rests(&shifted(&pose, &step))
            })
            .collect();
        let off = Vector3::new(
            known.pose.column - pose.column,
            known.pose.lean - pose.lean,
            known.pose.square - pose.square,
        );
        let off = off.component_div(&unit);
        // A lens far from what was supposed is not held to it.
        let doubt = off[2] * off[2] * supposed[(2, 2)] / 4.0;
        let mut information = supposed;
        information[(2, 2)] /= 1.0 + doubt;
        let mut normal = information;
        let mut right = information * off;
        for (k, rest) in here.iter().enumerate() {
            // A place that is seen in one pose alone says nothing.
            if rest.weight <= 0.0 || moved.iter().any(|m| m[k].weight <= 0.0) {
                continue;
            }
            let slope = Vector3::from_fn(|i, _| (moved[i][k].px - rest.px) / 0.1);
            // Where another part of the object takes over, a place is off: it counts little.
            let size = rest.px * rest.weight.sqrt() / (2.0 * sigma);
            let robust = if round < 2 { 1.0 } else { 1.0 / (1.0 + size * size) };
            let weight = rest.weight * robust / (sigma * sigma * alike);
            normal += slope * slope.transpose() * weight;
            right -= slope * (rest.px * weight);
        }
        let cholesky = normal.cholesky()?;
        covariance = cholesky.inverse();
        let step = cholesky.solve(&right);
        let step =
            Vector3::new(step[0].clamp(-60.0, 60.0), step[1].clamp(-40.0, 40.0), step[2].clamp(-40.0, 40.0));
        pose = shifted(&pose, &step.component_mul(&unit));
        if round > 3 && step.amax() < 1e-3 {
            break;
        }
    }
    let covariance = Matrix3::from_fn(|i, j| covariance[(i, j)] * unit[i] * unit[j]);
    Some(Found { pose, covariance })
}

fn shifted(pose: &Pose, by: &Vector3<f64>) -> Pose {
    Pose {
        column: pose.column + by[0],
        lean: (pose.lean + by[1]).clamp(-0.2, 0.2),
        square: (pose.square + by[2]).max(0.0),
    }
}
