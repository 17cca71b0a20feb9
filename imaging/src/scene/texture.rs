//! The painted outer wall as a picture that wraps round the turn, with reduced copies.

use super::light::{Vec3, between};
use std::ops::Range;

/// A canvas in linear light that wraps round the turn; painting and sampling use millimetres.
pub(super) struct Canvas {
    pub width: usize,
    pub height: usize,
    /// Canvas dots per millimetre, the same both ways.
    pub dots_per_mm: f32,
    /// Colours, linear, row 0 at height 0.
    pub dots: Vec<Vec3>,
}

impl Canvas {
    /// Makes a canvas for a wall of the given height, `width` dots round `round_mm`.
    pub fn new(width: usize, round_mm: f32, height_mm: f32, colour: Vec3) -> Self {
        let dots_per_mm = width as f32 / round_mm;
        let height = (height_mm * dots_per_mm).ceil() as usize + 1;
        Self { width, height, dots_per_mm, dots: vec![colour; width * height] }
    }

    /// Returns the length round the turn, millimetres.
    pub fn round_mm(&self) -> f32 {
        self.width as f32 / self.dots_per_mm
    }

    /// Lays a colour over the dots between two heights; `share` gives how much of it, from
    /// (round, height) in millimetres.
    pub fn wash(&mut self, colour: Vec3, heights: Range<f32>, share: impl Fn(f32, f32) -> f32) {
        let row_at = |mm: f32| ((mm * self.dots_per_mm).max(0.0) as usize).min(self.height);
        for row in row_at(heights.start)..row_at(heights.end) {
            let high = (row as f32 + 0.5) / self.dots_per_mm;
            for column in 0..self.width {
                let along = (column as f32 + 0.5) / self.dots_per_mm;
                blend(&mut self.dots[row * self.width + column], colour, share(along, high));
            }
        }
    }

    /// Draws one brush stroke along places (round, height, half width), millimetres.
    pub fn stroke(&mut self, path: &[[f32; 3]], colour: Vec3, load: f32) {
        let Some(widest) = path.iter().map(|p| p[2]).reduce(f32::max) else { return };
        let margin = widest + 0.8;
        let reach = |i: usize, fold: fn(f32, f32) -> f32, start: f32| {
            path.iter().map(|p| p[i]).fold(start, fold)
        };
        let low = [reach(0, f32::min, f32::MAX) - margin, reach(1, f32::min, f32::MAX) - margin];
        let high = [reach(0, f32::max, f32::MIN) + margin, reach(1, f32::max, f32::MIN) + margin];
        let scale = self.dots_per_mm;
        let rows = (low[1] * scale).max(0.0) as usize
            ..((high[1] * scale).max(0.0) as usize + 1).min(self.height);
        for row in rows {
            let v = (row as f32 + 0.5) / scale;
            for column in (low[0] * scale).floor() as i64..=(high[0] * scale).ceil() as i64 {
                let u = (column as f32 + 0.5) / scale;
                let inside = path
                    .windows(2)
                    .map(|ends| inside_mm(u, v, ends[0], ends[1]))
                    .fold(f32::MIN, f32::max);
                // Glaze lets an edge run by about a fifth of a millimetre.
                let cover = (inside / 0.36 + 0.5).clamp(0.0, 1.0);
                if cover > 0.0 {
                    // Pigment gathers towards the edge of a stroke.
                    let rim = 1.0 - 0.22 * (inside / widest).clamp(0.0, 1.0);
                    let at = row * self.width + column.rem_euclid(self.width as i64) as usize;
                    blend(&mut self.dots[at], colour, cover * load * rim);
                }
            }
        }
    }

    /// Fires the canvas: turns it into a texture with reduced copies.
    pub fn fire(self) -> Texture {
        let round_mm = self.round_mm();
        let store = |c: Vec3| {
            [0, 1, 2, 3].map(|i| {
                c.get(i).map_or(0, |&v: &f32| (v.clamp(0.0, 1.0) * 65535.0).round() as u16)
            })
        };
        let (mut width, mut height, mut dots) = (self.width, self.height, self.dots);
        let mut levels = Vec::new();
        loop {
            levels.push(Level { width, height, dots: dots.iter().map(|&c| store(c)).collect() });
            if levels.len() == 6 || width < 64 {
                break;
            }
            let (half_width, half_height) = (width / 2, height.div_ceil(2));
            let mut half = Vec::with_capacity(half_width * half_height);
            for row in 0..half_height {
                let (near, far) = (2 * row, (2 * row + 1).min(height - 1));
                for column in 0..half_width {
                    let at = [near * width, near * width + 1, far * width, far * width + 1];
                    half.push([0, 1, 2].map(|c| {
                        at.iter().map(|a| dots[a + 2 * column][c]).sum::<f32>() * 0.25
                    }));
                }
            }
            (width, height, dots) = (half_width, half_height, half);
        }
        Texture { dots_per_mm: self.dots_per_mm, round_mm, levels }
    }
}

/// Returns how far a place lies inside a tapered stroke, millimetres (negative outside).
fn inside_mm(u: f32, v: f32, a: [f32; 3], b: [f32; 3]) -> f32 {
    let (du, dv) = (b[0] - a[0], b[1] - a[1]);
    let length = (du * du + dv * dv).max(1e-9);
    let t = (((u - a[0]) * du + (v - a[1]) * dv) / length).clamp(0.0, 1.0);
    let (x, y) = (u - a[0] - du * t, v - a[1] - dv * t);
    a[2] + (b[2] - a[2]) * t - x.hypot(y)
}

fn blend(under: &mut Vec3, over: Vec3, share: f32) {
    for c in 0..3 {
        under[c] += (over[c] - under[c]) * share;
    }
}

struct Level {
    width: usize,
    height: usize,
    dots: Vec<[u16; 4]>,
}

/// A fired canvas.
pub(super) struct Texture {
    /// Dots per millimetre of the finest level.
    pub dots_per_mm: f32,
    round_mm: f32,
    levels: Vec<Level>,
}

impl Texture {
    /// Returns the colour at a share of the turn and a height in millimetres, linear.
    ///
    /// `level` is the base-2 logarithm of dots per frame pixel; 0 or less is the finest.
    #[inline]
    pub fn look_up(&self, turn: f32, height_mm: f32, level: f32) -> Vec3 {
        let top = (self.levels.len() - 1) as f32;
        let level = level.clamp(0.0, top);
        let index = level as usize;
        // Only around the middle between two levels are both looked at.
        let share = ((level - index as f32 - 0.35) / 0.3).clamp(0.0, 1.0);
        let high = height_mm / self.round_mm;
        let [red, green, blue, _] = if share <= 0.0 || index + 1 >= self.levels.len() {
            self.levels[index].look_up(turn, high)
        } else if share >= 1.0 {
            self.levels[index + 1].look_up(turn, high)
        } else {
            let near = self.levels[index].look_up(turn, high);
            between(&near, &self.levels[index + 1].look_up(turn, high), share)
        };
        let unit = 1.0 / 65535.0;
        [red * unit, green * unit, blue * unit]
    }
}

impl Level {
    #[inline]
    fn look_up(&self, turn: f32, height_share: f32) -> [f32; 4] {
        let x = (turn + 1.0) * self.width as f32 - 0.5;
        let y = (height_share * self.width as f32 - 0.5).clamp(0.0, (self.height - 1) as f32);
        let (column, row) = (x.max(0.0) as u32 as usize, y as u32 as usize);
        let (fx, fy) = (x - column as f32, y - row as f32);
        let wrap = |i: usize| if i >= self.width { i % self.width } else { i };
        let left = wrap(column);
        let right = if left + 1 == self.width { 0 } else { left + 1 };
        let (low, high) = (row * self.width, (row + 1).min(self.height - 1) * self.width);
        let wide = |at: usize| self.dots[at].map(f32::from);
        let near = between(&wide(low + left), &wide(low + right), fx);
        let far = between(&wide(high + left), &wide(high + right), fx);
        between(&near, &far, fy)
    }
}
