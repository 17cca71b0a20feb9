//! Turns, cuts and resizes in one go, in linear light, without ever holding the whole frame as such.
//!
//! Two passes of a one-dimensional filter (Catmull, Smith, SIGGRAPH 1980), here with Catmull-Rom's cubic
//! widened when shrinking: along each row of the frame to the columns wanted, askew as the turn asks, then down
//! the columns. Of the first pass only the rows are held that the second still needs.

use super::linear::{FULL, LinearPicture, gained};
use crate::picture::Picture;
use crate::srgb;

/// Red, green, blue and nothing, so that four lanes work alike.
type Lanes = [f32; 4];

/// A frame as it was decoded, and the gains to be read with.
pub(super) enum Frame {
    /// 8-bit sRGB.
    Coded(Picture),
    /// 16-bit linear light.
    Linear(LinearPicture),
}

impl Frame {
    pub fn size_px(&self) -> (u32, u32) {
        match self {
            Self::Coded(picture) => (picture.width_px(), picture.height_px()),
            Self::Linear(picture) => (picture.width_px(), picture.height_px()),
        }
    }
}

/// A straight grid laid over a frame: the place of the first pixel's centre and the ways to the next pixel
/// across and down, all in pixels from the frame's upper left corner.
pub(super) struct Grid {
    pub origin: [f64; 2],
    pub across: [f64; 2],
    pub down: [f64; 2],
    pub width_px: u32,
    pub height_px: u32,
}

/// Places between two pixels that are told apart.
const PHASES: usize = 512;

/// Weights of Catmull-Rom's cubic (Keys, IEEE Trans. ASSP 29:1153, 1981, with a = −1/2) for each phase,
/// widened by `scale` where it is above 1.
struct Kernel {
    /// Half as many taps as there are.
    reach: usize,
    weights: Vec<f32>,
}

impl Kernel {
    fn new(scale: f64) -> Self {
        let scale = scale.abs().max(1.0);
        let reach = (2.0 * scale - 1e-9).ceil() as usize;
        let mut weights = Vec::with_capacity((PHASES + 1) * 2 * reach);
        for phase in 0..=PHASES {
            let at = phase as f64 / PHASES as f64;
            let row: Vec<f64> =
                (0..2 * reach).map(|k| cubic((k as f64 + 1.0 - reach as f64 - at) / scale)).collect();
            let sum: f64 = row.iter().sum();
            weights.extend(row.iter().map(|w| (w / sum) as f32));
        }
        Self { reach, weights }
    }

    fn taps(&self) -> usize {
        2 * self.reach
    }

    /// The first pixel a place needs and its weights; places are counted from the first pixel's centre.
    #[inline]
    fn at(&self, place: f64) -> (i64, &[f32]) {
        // Casts cut off towards nought, and are much quicker than the library's rounding.
        let cut = place as i64;
        let floor = cut - i64::from(cut as f64 > place);
        let phase = ((place - floor as f64) * PHASES as f64 + 0.5) as usize;
        let taps = self.taps();
        (floor + 1 - self.reach as i64, &self.weights[phase * taps..(phase + 1) * taps])
    }
}

fn cubic(t: f64) -> f64 {
    let t = t.abs();
    if t < 1.0 {
        (1.5 * t - 2.5) * t * t + 1.0
    } else if t < 2.0 {
        ((-0.5 * t + 2.5) * t - 4.0) * t + 2.0
    } else {
        0.0
    }
}

/// Adds weighted pixels up, in two sums so that one need not wait for the other.
#[inline]
fn dot(pixels: &[Lanes], weights: &[f32]) -> Lanes {
    let mut sums = [[0.0_f32; 4]; 2];
    for (two, w) in pixels.chunks_exact(2).zip(weights.chunks_exact(2)) {
        for c in 0..4 {
            sums[0][c] += two[0][c] * w[0];
            sums[1][c] += two[1][c] * w[1];
        }
    }
    [0, 1, 2, 3].map(|c| sums[0][c] + sums[1][c])
}

/// Reads lines of a frame in linear light, 0 to [`FULL`], gains applied; beyond the border it goes on.
struct Lines<'a> {
    frame: &'a Frame,
    gains: [f32; 3],
    plain: bool,
    /// Gained light of each code, by channel.
    tables: [[f32; 256]; 3],
}

impl<'a> Lines<'a> {
    fn new(frame: &'a Frame, gains: [f32; 3]) -> Self {
        let light = srgb::linear_of_code();
        let tables = gains.map(|gain| light.map(|v| (v * FULL).round() * gain).map(|v| v.min(FULL)));
        Self { frame, gains, plain: gains.iter().all(|g| (g - 1.0).abs() < f32::EPSILON), tables }
    }

    /// Clipped light stays white, whatever the gains.
    #[inline]
    fn gained(&self, light: [f32; 3]) -> Lanes {
        let [red, green, blue] = gained(light, self.gains);
        [red, green, blue, 0.0]
    }

    /// Reads from column `from` of row `row`, either of which may lie beyond the border.
    fn read(&self, row: i64, from: i64, into: &mut [Lanes]) {
        let (width, height) = self.frame.size_px();
        let (width, height) = (i64::from(width), i64::from(height));
        let row = row.clamp(0, height - 1);
        // What lies on the frame at all.
        let first = from.clamp(0, width - 1);
        let last = (from + into.len() as i64).clamp(first + 1, width);
        let start = (row * width + first) as usize;
        let count = (last - first) as usize;
        let skipped = ((first - from).max(0) as usize).min(into.len() - 1);
        let count = count.min(into.len() - skipped);
        let middle = &mut into[skipped..skipped + count];
        match self.frame {
            Frame::Coded(picture) => {
                /// The least code whose light may be clipped.
                const NEAR_WHITE: u8 = 251;
                let codes = &picture.rgb()[start * 3..(start + count) * 3];
                for (to, code) in middle.iter_mut().zip(codes.chunks_exact(3)) {
                    let [r, g, b] = [code[0], code[1], code[2]];
                    *to = [
                        self.tables[0][usize::from(r)],
                        self.tables[1][usize::from(g)],
                        self.tables[2][usize::from(b)],
                        0.0,
                    ];
                    if !self.plain && r.min(g).min(b) >= NEAR_WHITE {
                        let light = srgb::linear_of_code();
                        *to = self.gained([r, g, b].map(|v| light[usize::from(v)] * FULL));
                    }
                }
            }
            Frame::Linear(picture) => {
                for (i, to) in middle.iter_mut().enumerate() {
                    *to = self.gained(picture.at(start + i).map(f32::from));
                }
            }
        }
        let (left, right) = (middle[0], middle[count - 1]);
        into[..skipped].fill(left);
        into[skipped + count..].fill(right);
    }
}

/// Samples a frame on a grid whose way down leads down.
pub(super) fn resampled(frame: &Frame, gains: [f32; 3], grid: &Grid) -> Vec<[u16; 3]> {
    let lines = Lines::new(frame, gains);
    let (width, height) = (grid.width_px as usize, grid.height_px as usize);
    let ([ax, ay], [dx, dy]) = (grid.across, grid.down);
    // Along row y of the frame, column u of the grid lies at x = start(y) + u · step.
    let step = ax - dx * ay / dy;
    let start_of = |row: i64| grid.origin[0] + dx * (row as f64 + 0.5 - grid.origin[1]) / dy - 0.5;
    let place_down = |u: usize, v: usize| grid.origin[1] + ay * u as f64 + dy * v as f64 - 0.5;
    let (along, down) = (Kernel::new(step), Kernel::new(dy));
    // The rows that row v of the grid needs.
    let needed = |v: usize| {
        let ends = [place_down(0, v), place_down(width - 1, v)];
        let first = ends[0].min(ends[1]).floor() as i64 + 1 - down.reach as i64;
        let last = ends[0].max(ends[1]).floor() as i64 + down.reach as i64;
        (first, last)
    };
    let (first_row, _) = needed(0);
    let (_, last_row) = needed(height - 1);
    // The columns that any row needs.
    let ends = [start_of(first_row), start_of(last_row)];
    let reach = step * (width - 1) as f64;
    let low = ends[0].min(ends[1]) + reach.min(0.0);
    let high = ends[0].max(ends[1]) + reach.max(0.0);
    let from = low.floor() as i64 + 1 - along.reach as i64;
    let mut line = vec![[0.0; 4]; (high.floor() as i64 + along.reach as i64 + 1 - from) as usize];
    let held = (0..height).step_by((height / 8).max(1)).chain([height - 1]).map(|v| {
        let (first, last) = needed(v);
        (last - first + 1) as usize
    });
    let held = held.max().unwrap_or(1) + 1;
    let mut ring = vec![[0.0_f32; 4]; held * width];
    let mut next = first_row;
    let mut out = Vec::with_capacity(width * height);
    for v in 0..height {
        let (_, last) = needed(v);
        while next <= last {
            lines.read(next, from, &mut line);
            let start = start_of(next);
            let at = next.rem_euclid(held as i64) as usize;
            for (u, to) in ring[at * width..(at + 1) * width].iter_mut().enumerate() {
                let (first, weights) = along.at(start + step * u as f64);
                let first = (first - from) as usize;
                *to = dot(&line[first..first + weights.len()], weights);
            }
            next += 1;
        }
        for u in 0..width {
            let (first, weights) = down.at(place_down(u, v));
            let mut at = first.rem_euclid(held as i64) as usize;
            let mut sum = [0.0_f32; 4];
            for w in weights {
                let pixel = &ring[at * width + u];
                for c in 0..4 {
                    sum[c] += pixel[c] * w;
                }
                at = if at + 1 == held { 0 } else { at + 1 };
            }
            out.push([sum[0], sum[1], sum[2]].map(|v| (v.clamp(0.0, FULL) + 0.5) as u16));
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ramp(width: u32, height: u32) -> Frame {
        let pixels = (0..height)
            .flat_map(|y| (0..width).map(move |x| [(x * 400 + 5000) as u16, (y * 300 + 4000) as u16, 30_000]))
            .collect();
        Frame::Linear(LinearPicture::from_pixels(width, height, pixels).unwrap())
    }

    #[test]
    fn a_ramp_is_sampled_truly_between_pixels_at_any_scale() {
        // Cubic interpolation with a = −1/2 reproduces straight lines; widened, to a fiftieth of a pixel.
        for scale in [0.7, 1.0, 1.8, 2.6] {
            let (sin, cos) = (0.03_f64.sin() * scale, 0.03_f64.cos() * scale);
            let grid = Grid {
                origin: [20.25, 18.5],
                across: [cos, sin],
                down: [-sin, cos],
                width_px: 12,
                height_px: 10,
            };
            let found = resampled(&ramp(90, 70), [1.0; 3], &grid);
            for row in 0..10_u32 {
                for column in 0..12_u32 {
                    let x = 20.25 + cos * f64::from(column) - sin * f64::from(row);
                    let y = 18.5 + sin * f64::from(column) + cos * f64::from(row);
                    let here = found[(row * 12 + column) as usize];
                    let wanted = [(x - 0.5) * 400.0 + 5000.0, (y - 0.5) * 300.0 + 4000.0, 30_000.0];
                    for c in 0..3 {
                        assert!(
                            (f64::from(here[c]) - wanted[c]).abs() < 9.0,
                            "{here:?} {wanted:?} at ×{scale}"
                        );
                    }
                }
            }
        }
    }

    #[test]
    fn the_border_goes_on_and_clipped_light_stays_white() {
        let rgb = [255, 255, 255, 188, 188, 188].repeat(8);
        let picture = Picture::from_rgb(2, 8, rgb).unwrap();
        let grid =
            Grid { origin: [-5.5, -3.5], across: [1.0, 0.0], down: [0.0, 1.0], width_px: 14, height_px: 14 };
        let out = resampled(&Frame::Coded(picture), [0.8, 1.0, 1.1], &grid);
        for v in 0..14 {
            assert_eq!(out[v * 14], [65_535; 3], "row {v}");
            let grey = f64::from(out[v * 14 + 13][1]);
            // 188 is half the light (IEC 61966-2-1).
            assert!((grey / 65_535.0 - 0.5029).abs() < 0.001, "{grey}");
            assert!((f64::from(out[v * 14 + 13][0]) / grey - 0.8).abs() < 0.001);
        }
    }
}
