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
        let Some(widest) = path.iter().map(|p| p[2]).reduce(f32::max) else {
            return;
        };
        let scale = self.dots_per_mm;
        let dots = |mm: f32| (mm * scale).floor() as i64;
        let reach = |i: usize| {
            let low = path.iter().map(|p| p[i]).fold(f32::MAX, f32::min) - widest - EDGE_MM;
            let high = path.iter().map(|p| p[i]).fold(f32::MIN, f32::max) + widest + EDGE_MM;
            (dots(low), dots(high) + 1)
        };
        let ((left, right), (bottom, top)) = (reach(0), reach(1));
        let (bottom, top) = (bottom.max(0), top.min(self.height as i64));
        if top <= bottom {
            return;
        }
        let width = (right - left) as usize;
        // How far inside the stroke each dot lies; every piece only visits its own corner.
        let mut inside = vec![-EDGE_MM; width * (top - bottom) as usize];
        for ends in path.windows(2) {
            let margin = ends[0][2].max(ends[1][2]) + EDGE_MM;
            let rows = dots(ends[0][1].min(ends[1][1]) - margin).max(bottom)
                ..(dots(ends[0][1].max(ends[1][1]) + margin) + 1).min(top);
            let columns = dots(ends[0][0].min(ends[1][0]) - margin).max(left)
                ..(dots(ends[0][0].max(ends[1][0]) + margin) + 1).min(right);
            for row in rows {
                let line = (row - bottom) as usize * width;
                for column in columns.clone() {
                    let place = [(column as f32 + 0.5) / scale, (row as f32 + 0.5) / scale];
                    let here = &mut inside[line + (column - left) as usize];
                    *here = here.max(inside_mm(place, ends[0], ends[1]));
                }
            }
        }
        for (index, inside) in inside.into_iter().enumerate() {
            let cover = (inside / (2.0 * EDGE_MM) + 0.5).clamp(0.0, 1.0);
            if cover > 0.0 {
                // Pigment gathers towards the edge of a stroke.
                let rim = 1.0 - 0.22 * (inside / widest).clamp(0.0, 1.0);
                let row = bottom as usize + index / width;
                let column = (left + (index % width) as i64).rem_euclid(self.width as i64);
                let at = row * self.width + column as usize;
                blend(&mut self.dots[at], colour, cover * load * rim);
            }
        }
    }

    /// Fires the canvas: turns it into a texture with reduced copies.
    pub fn fire(self) -> Texture {
        let round_mm = self.round_mm();
        let store = |c: Vec3| {
            [0, 1, 2, 3].map(|i| c.get(i).map_or(0, |&v: &f32| (v.clamp(0.0, 1.0) * 65535.0).round() as u16))
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
                    half.push(
                        [0, 1, 2].map(|c| at.iter().map(|a| dots[a + 2 * column][c]).sum::<f32>() * 0.25),
                    );
                }
            }
            (width, height, dots) = (half_width, half_height, half);
        }
        Texture { dots_per_mm: self.dots_per_mm, round_mm, levels }
    }
}

/// Half the width of a stroke's soft edge: glaze lets it run a little.
const EDGE_MM: f32 = 0.18;

/// Returns how far a place lies inside a tapered stroke, millimetres (negative outside).
fn inside_mm(place: [f32; 2], from: [f32; 3], to: [f32; 3]) -> f32 {
    let way = [to[0] - from[0], to[1] - from[1]];
    let off = [place[0] - from[0], place[1] - from[1]];
    let square = (way[0] * way[0] + way[1] * way[1]).max(1e-9);
    let share = ((off[0] * way[0] + off[1] * way[1]) / square).clamp(0.0, 1.0);
    let gap = [off[0] - way[0] * share, off[1] - way[1] * share];
    from[2] + (to[2] - from[2]) * share - (gap[0] * gap[0] + gap[1] * gap[1]).sqrt()
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
        let wide = |at: usize| {
            let dot = &self.dots[at];
            [f32::from(dot[0]), f32::from(dot[1]), f32::from(dot[2]), f32::from(dot[3])]
        };
        let near = between(&wide(low + left), &wide(low + right), fx);
        let far = between(&wide(high + left), &wide(high + right), fx);
        between(&near, &far, fy)
    }
}
