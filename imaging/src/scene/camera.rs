//! The pinhole camera: where a point of the studio falls in the frame, and back.

use super::shapes;
use super::{SceneFaults, SceneView};

/// Distance from the lens to the aim point on the axis, millimetres.
const DISTANCE_MM: f64 = 720.0;
/// Width of the simulated sensor, millimetres.
pub(super) const SENSOR_WIDTH_MM: f64 = 36.0;

/// A camera that looks at the turntable's axis from a little above.
#[derive(Debug, Clone)]
pub(super) struct Camera {
    position: [f64; 3],
    forward: [f64; 3],
    right: [f64; 3],
    up: [f64; 3],
    /// Focal length in pixels of the working frame.
    focal_px: f64,
    centre_px: [f64; 2],
}

impl Camera {
    /// Sets up the camera; `scale` is the working frame's size over the finished frame's.
    pub fn new(view: &SceneView, faults: &SceneFaults, scale: f64) -> Self {
        let (sin, cos) = f64::from(view.tilt_deg).to_radians().sin_cos();
        let framing = shapes::framing(view.object);
        let aim = [0.0, 0.0, framing.aim_mm];
        let forward = [0.0, cos, -sin];
        let position = [
            aim[0] - forward[0] * DISTANCE_MM,
            aim[1] - forward[1] * DISTANCE_MM,
            aim[2] - forward[2] * DISTANCE_MM,
        ];
        let (width, height) = (f64::from(view.width_px), f64::from(view.height_px));
        // The plate must fit across and the pot must fit upright, whichever is tighter.
        let across = width / (2.0 * framing.half_width_mm);
        let upright = height / (2.0 * framing.half_height_mm);
        let focal_px = across.min(upright) * DISTANCE_MM * scale;
        let (roll_sin, roll_cos) = f64::from(faults.camera_roll_deg).to_radians().sin_cos();
        let right0 = [1.0, 0.0, 0.0];
        let up0 = [0.0, sin, cos];
        // A scene that appears turned clockwise means axes of the sensor turned the other way.
        let mix = |a: f64, b: f64| {
            [a * right0[0] + b * up0[0], a * right0[1] + b * up0[1], a * right0[2] + b * up0[2]]
        };
        Self {
            position,
            forward,
            right: mix(roll_cos, roll_sin),
            up: mix(-roll_sin, roll_cos),
            focal_px,
            centre_px: [(width / 2.0 + f64::from(faults.axis_offset_px)) * scale, height / 2.0 * scale],
        }
    }

    /// Projects a point of the studio into the frame, as (column, row) in pixels.
    pub fn project(&self, point: [f64; 3]) -> (f64, f64) {
        let (x, y, _) = self.project_with_depth(point);
        (x, y)
    }

    /// Projects a point and returns one over its depth in millimetres as well.
    pub fn project_with_depth(&self, point: [f64; 3]) -> (f64, f64, f64) {
        let d = [point[0] - self.position[0], point[1] - self.position[1], point[2] - self.position[2]];
        // Nothing in the studio comes near the lens; the floor keeps the division defined.
        let inverse_depth = 1.0 / dot(d, self.forward).max(1.0);
        (
            self.centre_px[0] + self.focal_px * dot(d, self.right) * inverse_depth,
            self.centre_px[1] - self.focal_px * dot(d, self.up) * inverse_depth,
            inverse_depth,
        )
    }

    /// Returns the direction (not of unit length) from the lens through a place in the frame,
    /// as a start and the change for each column, so that a row can be walked quickly.
    pub fn ray_row(&self, row_px: f64) -> ([f32; 3], [f32; 3]) {
        let v = (self.centre_px[1] - row_px) / self.focal_px;
        let u0 = -self.centre_px[0] / self.focal_px;
        let step = 1.0 / self.focal_px;
        let mut start = [0.0; 3];
        let mut change = [0.0; 3];
        for axis in 0..3 {
            start[axis] = (self.forward[axis] + u0 * self.right[axis] + v * self.up[axis]) as f32;
            change[axis] = (step * self.right[axis]) as f32;
        }
        (start, change)
    }

    /// Returns the frame's rays in single precision.
    pub fn rays(&self) -> Rays {
        let (corner, _) = self.ray_row(0.0);
        let step = 1.0 / self.focal_px;
        Rays {
            corner,
            along: self.right.map(|v| (v * step) as f32),
            down: self.up.map(|v| (-v * step) as f32),
        }
    }

    /// Returns the lens position in millimetres.
    pub fn position_mm(&self) -> [f64; 3] {
        self.position
    }

    /// Returns pixels per millimetre at the axis, at the height aimed at.
    pub fn px_per_mm_at_axis(&self) -> f64 {
        self.focal_px / DISTANCE_MM
    }

    /// Returns the focal length in millimetres for the simulated sensor, given the frame's
    /// width in the same pixels.
    pub fn focal_mm(&self, width_px: f64) -> f64 {
        self.focal_px / width_px * SENSOR_WIDTH_MM
    }
}

/// Directions from the lens through places of the frame.
pub(super) struct Rays {
    corner: [f32; 3],
    along: [f32; 3],
    down: [f32; 3],
}

impl Rays {
    /// Returns the direction, not of unit length, through a place (column, row) in pixels.
    #[inline]
    pub fn through(&self, at: [f32; 2]) -> [f32; 3] {
        let mut ray = self.corner;
        for (axis, value) in ray.iter_mut().enumerate() {
            *value += self.along[axis] * at[0] + self.down[axis] * at[1];
        }
        ray
    }
}

fn dot(a: [f64; 3], b: [f64; 3]) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}
