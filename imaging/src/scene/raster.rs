//! Finds which triangle is seen at four places in every pixel.

use super::mesh::{Mesh, Part};

/// A corner in the frame: column and row in pixels, and one over its depth in millimetres.
#[derive(Debug, Clone, Copy)]
pub(super) struct Corner {
    pub x: f32,
    pub y: f32,
    pub inverse_depth: f32,
}

/// Places looked at in a pixel: no two share a column or a row.
const PLACES_X: [f32; 4] = [0.375, 0.875, 0.125, 0.625];
const PLACES_Y: [f32; 4] = [0.125, 0.375, 0.625, 0.875];
const NOTHING: u32 = u32::MAX;

#[derive(Debug, Clone, Copy)]
struct Hits {
    inverse_depth: [f32; 4],
    triangle: [u32; 4],
}

/// What is seen where, in the rectangle of the frame that the mesh covers.
pub(super) struct Cover {
    left: usize,
    top: usize,
    width: usize,
    hits: Vec<Hits>,
}

/// A place on a triangle: its number and the weights of its three corners.
#[derive(Debug, Clone, Copy)]
pub(super) struct Spot {
    pub triangle: u32,
    pub weights: [f32; 3],
    /// Place in the frame, pixels.
    pub at: [f32; 2],
}

impl Cover {
    /// Draws a mesh whose corners are already in a frame of `width` × `height` pixels.
    pub fn draw(mesh: &Mesh, corners: &[Corner], width: usize, height: usize) -> Self {
        let reach = |of: fn(&Corner) -> f32, limit: usize| {
            let low = corners.iter().map(of).fold(f32::MAX, f32::min);
            let high = corners.iter().map(of).fold(f32::MIN, f32::max);
            let low = low.floor().clamp(0.0, limit as f32) as usize;
            (low, (high.ceil().clamp(0.0, limit as f32) as usize).max(low))
        };
        let (left, right) = reach(|c| c.x, width);
        let (top, bottom) = reach(|c| c.y, height);
        let empty = Hits { inverse_depth: [0.0; 4], triangle: [NOTHING; 4] };
        let mut cover = Self {
            left,
            top,
            width: right - left,
            hits: vec![empty; (right - left) * (bottom - top)],
        };
        for (number, (at, _)) in mesh.triangles.iter().enumerate() {
            let [a, b, c] = at.map(|corner| corners[corner as usize]);
            cover.draw_one(number as u32, [a, b, c], right, bottom);
        }
        cover
    }

    fn draw_one(&mut self, number: u32, [a, b, c]: [Corner; 3], right: usize, bottom: usize) {
        // Rows grow downwards, so a triangle that faces the camera has a negative area.
        let area = (b.x - a.x) * (c.y - a.y) - (b.y - a.y) * (c.x - a.x);
        if area >= -1e-9 {
            return;
        }
        let clip = |v: f32, low: usize, high: usize| (v.max(low as f32) as usize).min(high);
        let columns = clip(a.x.min(b.x).min(c.x), self.left, right)
            ..clip(a.x.max(b.x).max(c.x) + 1.0, self.left, right);
        let rows = clip(a.y.min(b.y).min(c.y), self.top, bottom)
            ..clip(a.y.max(b.y).max(c.y) + 1.0, self.top, bottom);
        let scale = 1.0 / area;
        // Each corner's weight is a plane over the frame: w(x, y) = gx·x + gy·y + g0, measured
        // from corner a so that large frames keep their precision.
        let weight = |p: Corner, q: Corner| {
            let gx = -(q.y - p.y) * scale;
            let gy = (q.x - p.x) * scale;
            (gx, gy, -(gx * (p.x - a.x) + gy * (p.y - a.y)))
        };
        let (wb, wc) = (weight(c, a), weight(a, b));
        let wa = (-wb.0 - wc.0, -wb.1 - wc.1, 1.0 - wb.2 - wc.2);
        let depth_x = wa.0 * a.inverse_depth + wb.0 * b.inverse_depth + wc.0 * c.inverse_depth;
        let depth_y = wa.1 * a.inverse_depth + wb.1 * b.inverse_depth + wc.1 * c.inverse_depth;
        for row in rows {
            let line = (row - self.top) * self.width;
            let mut y = [0.0; 4];
            for i in 0..4 {
                y[i] = row as f32 + PLACES_Y[i] - a.y;
            }
            for column in columns.clone() {
                let mut depth = [0.0; 4];
                let mut inside = [false; 4];
                let x0 = column as f32 - a.x;
                for i in 0..4 {
                    let x = x0 + PLACES_X[i];
                    let in_b = wb.0 * x + wb.1 * y[i] + wb.2;
                    let in_c = wc.0 * x + wc.1 * y[i] + wc.2;
                    // A hair of overlap, so that no gap opens between neighbours.
                    inside[i] = in_b.min(in_c).min(1.0 - in_b - in_c) >= -1e-4;
                    depth[i] = a.inverse_depth + depth_x * x + depth_y * y[i];
                }
                if !inside.iter().any(|&hit| hit) {
                    continue;
                }
                let hits = &mut self.hits[line + column - self.left];
                for i in 0..4 {
                    if inside[i] && depth[i] > hits.inverse_depth[i] {
                        hits.inverse_depth[i] = depth[i];
                        hits.triangle[i] = number;
                    }
                }
            }
        }
    }

    /// Calls `paint` for every pixel the mesh touches with (column, row, colour, share of the
    /// pixel covered), where `shade` gives the colour of a place on a triangle.
    pub fn resolve(
        &self,
        mesh: &Mesh,
        corners: &[Corner],
        shade: impl Fn(Spot) -> [f32; 3],
        mut paint: impl FnMut(usize, usize, [f32; 3], f32),
    ) {
        if self.width == 0 {
            return;
        }
        for (index, hits) in self.hits.iter().enumerate() {
            if hits.triangle == [NOTHING; 4] {
                continue;
            }
            let (column, row) = (self.left + index % self.width, self.top + index / self.width);
            if even(hits, mesh) {
                let at = [column as f32 + 0.5, row as f32 + 0.5];
                paint(column, row, shade(spot(hits.triangle[0], at, mesh, corners)), 1.0);
                continue;
            }
            let mut sum = [0.0; 3];
            let mut count = 0.0;
            for i in 0..4 {
                if hits.triangle[i] == NOTHING {
                    continue;
                }
                let at = [column as f32 + PLACES_X[i], row as f32 + PLACES_Y[i]];
                let colour = shade(spot(hits.triangle[i], at, mesh, corners));
                for c in 0..3 {
                    sum[c] += colour[c].min(1.6);
                }
                count += 1.0;
            }
            paint(column, row, sum.map(|c| c / count), count / 4.0);
        }
    }
}

/// Tells whether one look at the middle stands for the whole pixel.
fn even(hits: &Hits, mesh: &Mesh) -> bool {
    if hits.triangle.contains(&NOTHING) {
        return false;
    }
    let part = |i: usize| -> Part { mesh.triangles[hits.triangle[i] as usize].1 };
    let first = part(0);
    let low = hits.inverse_depth.iter().copied().fold(f32::MAX, f32::min);
    let high = hits.inverse_depth.iter().copied().fold(f32::MIN, f32::max);
    // Two parts in ten thousand of the depth is about 2 mm here: less than a wall's step.
    (1..4).all(|i| part(i) == first) && high - low < 0.003 * high
}

fn spot(triangle: u32, at: [f32; 2], mesh: &Mesh, corners: &[Corner]) -> Spot {
    let [a, b, c] = mesh.triangles[triangle as usize].0.map(|i| corners[i as usize]);
    let area = (b.x - a.x) * (c.y - a.y) - (b.y - a.y) * (c.x - a.x);
    let (x, y) = (at[0] - a.x, at[1] - a.y);
    let in_b = (x * (c.y - a.y) - y * (c.x - a.x)) / area;
    let in_c = (y * (b.x - a.x) - x * (b.y - a.y)) / area;
    // Weights are even in the frame once divided by depth.
    let wa = (1.0 - in_b - in_c) * a.inverse_depth;
    let (wb, wc) = (in_b * b.inverse_depth, in_c * c.inverse_depth);
    let norm = 1.0 / (wa + wb + wc);
    Spot { triangle, weights: [wa * norm, wb * norm, wc * norm], at }
}
