//! Finds which triangle is seen at four places in every pixel.

// Geometry reads best in the letters it is usually written in.
#![allow(clippy::many_single_char_names)]

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
/// A hair of overlap, so that no gap opens between neighbours.
const OVERLAP: f32 = -1e-4;

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
        let mut cover =
            Self { left, top, width: right - left, hits: vec![empty; (right - left) * (bottom - top)] };
        for (number, (at, _)) in mesh.triangles.iter().enumerate() {
            let [a, b, c] = at.map(|corner| corners[corner as usize]);
            cover.draw_one(number as u32, [a, b, c], right, bottom);
        }
        cover
    }

    #[allow(clippy::needless_bitwise_bool)] // a lazy operator would be a branch a sample
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
        // What changes from place to place in a pixel, and from pixel to pixel, for the weights
        // of b and c and the depth; four lanes, so that the compiler uses one register each.
        let spread = |gx: f32, gy: f32| {
            let mut lanes = [0.0; 4];
            for i in 0..4 {
                lanes[i] = gx * PLACES_X[i] + gy * PLACES_Y[i];
            }
            lanes
        };
        let (spread_b, spread_c) = (spread(wb.0, wb.1), spread(wc.0, wc.1));
        let spread_depth = spread(depth_x, depth_y);
        for row in rows {
            let line = (row - self.top) * self.width;
            let y = row as f32 - a.y;
            let row_b = wb.1 * y + wb.2;
            let row_c = wc.1 * y + wc.2;
            let row_depth = a.inverse_depth + depth_y * y;
            for column in columns.clone() {
                let x = column as f32 - a.x;
                let (at_b, at_c) = (row_b + wb.0 * x, row_c + wc.0 * x);
                let mut least = [0.0; 4];
                for i in 0..4 {
                    let (in_b, in_c) = (at_b + spread_b[i], at_c + spread_c[i]);
                    least[i] = lesser(lesser(in_b, in_c), 1.0 - in_b - in_c);
                }
                let most = greater(greater(least[0], least[1]), greater(least[2], least[3]));
                if most < OVERLAP {
                    continue;
                }
                let at_depth = row_depth + depth_x * x;
                let hits = &mut self.hits[line + column - self.left];
                for i in 0..4 {
                    let depth = at_depth + spread_depth[i];
                    // Without a branch: most pixels here are seen.
                    let seen = (least[i] >= OVERLAP) & (depth > hits.inverse_depth[i]);
                    hits.inverse_depth[i] = if seen { depth } else { hits.inverse_depth[i] };
                    hits.triangle[i] = if seen { number } else { hits.triangle[i] };
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

/// The smaller of two; unlike `f32::min` a single instruction.
#[inline]
fn lesser(a: f32, b: f32) -> f32 {
    if a < b { a } else { b }
}

#[inline]
fn greater(a: f32, b: f32) -> f32 {
    if a > b { a } else { b }
}

/// Tells whether one look at the middle stands for the whole pixel.
fn even(hits: &Hits, mesh: &Mesh) -> bool {
    if hits.triangle.contains(&NOTHING) {
        return false;
    }
    let part = |i: usize| -> Part { mesh.triangles[hits.triangle[i] as usize].1 };
    let first = part(0);
    let [d0, d1, d2, d3] = hits.inverse_depth;
    let low = lesser(lesser(d0, d1), lesser(d2, d3));
    let high = greater(greater(d0, d1), greater(d2, d3));
    // Three parts in a thousand of the depth is about 2 mm here: less than a wall's step.
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
