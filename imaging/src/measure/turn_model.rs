//! The geometry of a turning object before a fixed camera.
//!
//! Lengths are pixels at the axis, so that one number, `per_px` (one over the focal length in
//! pixels), says how strong perspective is. Picture places count from the picture's middle, to the
//! right and down. Angles grow anticlockwise seen from above; a point's own `x` points right and
//! `y` away from the camera at angle 0.

/// Where the camera stands with respect to the axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Camera {
    /// Column of the axis at the middle row, from the picture's middle, px.
    pub x0: f64,
    /// Roll of the picture in radians; positive leans the axis' top to the right.
    pub roll: f64,
    /// Height of the camera above the plate as an angle, radians.
    pub tilt: f64,
    /// One over the focal length in pixels; 0 is a view from very far.
    pub per_px: f64,
}

/// A projected place and its derivatives.
pub(super) struct Seen {
    pub place: [f64; 2],
    /// By x0, roll, tilt, `per_px`.
    pub by_camera: [[f64; 4]; 2],
    /// By the angle, radians.
    pub by_angle: [f64; 2],
    /// By the point.
    pub by_point: [[f64; 3]; 2],
}

impl Camera {
    /// Projects a point at a table angle in radians.
    pub fn project(&self, point: [f64; 3], angle: f64) -> [f64; 2] {
        let (s, c) = angle.sin_cos();
        let (x, y) = (point[0] * c - point[1] * s, point[0] * s + point[1] * c);
        let (st, ct) = self.tilt.sin_cos();
        let (down, forward) = (-st * y - ct * point[2], ct * y - st * point[2]);
        let (sr, cr) = self.roll.sin_cos();
        let w = 1.0 + self.per_px * forward;
        [(self.x0 + x * cr - down * sr) / w, (x * sr + down * cr) / w]
    }

    /// Projects with derivatives.
    pub fn look(&self, point: [f64; 3], angle: f64) -> Seen {
        let (s, c) = angle.sin_cos();
        let z = point[2];
        let (x, y) = (point[0] * c - point[1] * s, point[0] * s + point[1] * c);
        let (st, ct) = self.tilt.sin_cos();
        let (sr, cr) = self.roll.sin_cos();
        let (down, forward) = (-st * y - ct * z, ct * y - st * z);
        let inverse = 1.0 / (1.0 + self.per_px * forward);
        let u = (self.x0 + x * cr - down * sr) * inverse;
        let v = (x * sr + down * cr) * inverse;
        // From changes of (across, down, forward) before roll and division.
        let through = |dx: f64, ddown: f64, dforward: f64| {
            let dw = self.per_px * dforward;
            [(dx * cr - ddown * sr - u * dw) * inverse, (dx * sr + ddown * cr - v * dw) * inverse]
        };
        let by_angle = through(-y, -st * x, ct * x);
        let px = through(c, -st * s, ct * s);
        let py = through(-s, -st * c, ct * c);
        let pz = through(0.0, -ct, -st);
        let tilt = through(0.0, -ct * y + st * z, -st * y - ct * z);
        let roll = [(-x * sr - down * cr) * inverse, (x * cr - down * sr) * inverse];
        let per = [-u * forward * inverse, -v * forward * inverse];
        Seen {
            place: [u, v],
            by_camera: [[inverse, roll[0], tilt[0], per[0]], [0.0, roll[1], tilt[1], per[1]]],
            by_angle,
            by_point: [[px[0], py[0], pz[0]], [px[1], py[1], pz[1]]],
        }
    }

    /// Places a picture place on a cylinder about the axis of radius `radius` px, on the side
    /// towards the camera; `None` beyond its edge. The point is given at table angle 0 when seen at
    /// `angle`.
    pub fn onto_cylinder(&self, place: [f64; 2], radius: f64, angle: f64) -> Option<[f64; 3]> {
        let (st, ct) = self.tilt.sin_cos();
        let (sr, cr) = self.roll.sin_cos();
        let mut w = 1.0;
        let mut found = [0.0; 3];
        // Depth enters its own equation weakly: a few rounds settle it.
        for _ in 0..4 {
            let (u, v) = (place[0] * w - self.x0, place[1] * w);
            let (x, down) = (u * cr + v * sr, -u * sr + v * cr);
            let inside = radius * radius - x * x;
            if inside <= 0.0 {
                return None;
            }
            let y = -inside.sqrt();
            let z = -(down + st * y) / ct.max(0.05);
            w = 1.0 + self.per_px * (ct * y - st * z);
            found = [x, y, z];
        }
        Some(turned(found, -angle))
    }

    /// Places a picture place `forward` px behind the axis, as the camera looks. The point is given at table
    /// angle 0 when seen at `angle`.
    pub fn at_depth(&self, place: [f64; 2], forward: f64, angle: f64) -> [f64; 3] {
        let (st, ct) = self.tilt.sin_cos();
        let (sr, cr) = self.roll.sin_cos();
        let w = 1.0 + self.per_px * forward;
        let (u, v) = (place[0] * w - self.x0, place[1] * w);
        let (x, down) = (u * cr + v * sr, v * cr - u * sr);
        turned([x, ct * forward - st * down, -st * forward - ct * down], -angle)
    }

    /// Returns the lean of the projected axis in radians; positive leans its top to the right.
    pub fn lean(&self) -> f64 {
        let (st, ct) = self.tilt.sin_cos();
        ((ct * self.roll.sin() + self.x0 * self.per_px * st) / (ct * self.roll.cos())).atan()
    }
}

/// Turns a point about the axis.
pub(super) fn turned(p: [f64; 3], angle: f64) -> [f64; 3] {
    let (s, c) = angle.sin_cos();
    [p[0] * c - p[1] * s, p[0] * s + p[1] * c, p[2]]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn derivatives_agree_with_differences() {
        let camera = Camera { x0: 12.0, roll: 0.03, tilt: 0.3, per_px: 3e-4 };
        let point = [80.0, -120.0, 60.0];
        let seen = camera.look(point, 0.4);
        let h = 1e-6;
        let close = |a: f64, b: f64| assert!((a - b).abs() < 1e-3 * (1.0 + b.abs()), "{a} {b}");
        for axis in 0..2 {
            let d = (camera.project(point, 0.4 + h)[axis] - seen.place[axis]) / h;
            close(seen.by_angle[axis], d);
            for i in 0..3 {
                let mut p = point;
                p[i] += h;
                close(seen.by_point[axis][i], (camera.project(p, 0.4)[axis] - seen.place[axis]) / h);
            }
            for i in 0..4 {
                let mut c = camera;
                let h = if i == 3 { 1e-9 } else { h };
                match i {
                    0 => c.x0 += h,
                    1 => c.roll += h,
                    2 => c.tilt += h,
                    _ => c.per_px += h,
                }
                close(seen.by_camera[axis][i], (c.project(point, 0.4)[axis] - seen.place[axis]) / h);
            }
        }
    }

    #[test]
    fn a_place_on_the_cylinder_projects_back() {
        let camera = Camera { x0: 12.0, roll: 0.03, tilt: 0.3, per_px: 3e-4 };
        let p = camera.onto_cylinder([100.0, 40.0], 200.0, 0.7).unwrap();
        let back = camera.project(p, 0.7);
        assert!((back[0] - 100.0).abs() < 0.05 && (back[1] - 40.0).abs() < 0.05, "{back:?}");
        let back = camera.project(camera.at_depth([100.0, 40.0], -70.0, 0.7), 0.7);
        assert!((back[0] - 100.0).abs() < 1e-9 && (back[1] - 40.0).abs() < 1e-9, "{back:?}");
    }
}
