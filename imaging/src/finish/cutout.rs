//! The object's soft mask in a finished picture.
//!
//! The outline was found on the whole frame, small. Along it each full-size pixel's share is where its light
//! lies between the object's and the background's next to it.

use super::coarse::Grid;
use super::edge;
use super::linear::{FULL, LinearPicture, gained};
use super::outline::{Backdrop, Outline, against, averaged, even_steps, shares};
use super::place::Placement;

/// Longest side of the maps the mask is worked out with, in squares.
const COARSE_EDGE: usize = 900;

/// An object cut out softly.
#[derive(Debug, Clone)]
pub struct Cutout {
    width: usize,
    height: usize,
    /// 255 is the object, 0 the background, for each pixel.
    alpha: Vec<u8>,
    pub(super) ground: Ground,
}

/// What stands behind the object.
pub(super) struct Behind<'a> {
    /// A smooth surface in the frame's own light.
    pub smooth: &'a Backdrop,
    /// The empty table, placed as the picture is, in its own light; it takes the surface's place.
    pub plate: Option<&'a LinearPicture>,
    /// What the picture's light was multiplied by.
    pub gains: [f32; 3],
}

/// A picture in squares of some pixels: where the object is, and how its ground is lit.
#[derive(Debug, Clone)]
pub(super) struct Ground {
    pub width: usize,
    pub height: usize,
    /// Pixels of the picture to the side of a square.
    pub block: usize,
    /// True on the object.
    pub object: Vec<bool>,
    /// Light against the background's, 1 where there is no shadow.
    pub ratio: Vec<f32>,
    /// The background's light as it would be in the picture.
    pub backdrop: Vec<[f32; 3]>,
    /// The picture's light.
    light: Vec<[f32; 3]>,
    /// Noise of `ratio`.
    pub noise: f32,
}

impl Cutout {
    /// Returns the share of the object in each pixel, 0 to 255, rows from the top.
    pub fn alpha(&self) -> &[u8] {
        &self.alpha
    }

    /// Returns width and height in pixels.
    pub fn size_px(&self) -> (u32, u32) {
        (self.width as u32, self.height as u32)
    }

    /// Cuts the object out of a picture placed like this, along its outline.
    pub(super) fn along(
        picture: &LinearPicture,
        placement: &Placement,
        outline: &Outline,
        behind: &Behind<'_>,
    ) -> Self {
        let ground = Ground::of(picture, placement, outline, behind);
        let alpha = refine(picture, &ground);
        Self { width: picture.width_px() as usize, height: picture.height_px() as usize, alpha, ground }
    }
}

impl Ground {
    /// How its squares lie on the picture's pixels.
    pub fn grid(&self) -> Grid {
        Grid { width: self.width, height: self.height, scale: 1.0 / self.block as f32 }
    }

    fn of(picture: &LinearPicture, placement: &Placement, outline: &Outline, behind: &Behind<'_>) -> Self {
        let size = (picture.width_px(), picture.height_px());
        let map = outline.map();
        let (map_width, map_height) = (map.width as f64, map.height as f64);
        // From a place in the picture to the share of the frame's sides, 0 to 1.
        let on_frame = placement.way_to_frame(size);
        let (origin, right, below) = (on_frame([0.0, 0.0]), on_frame([1.0, 0.0]), on_frame([0.0, 1.0]));
        let (across, down) =
            ([right[0] - origin[0], right[1] - origin[1]], [below[0] - origin[0], below[1] - origin[1]]);
        // No finer than what is known: what is sought along the line must reach as far as it may be off.
        let pitch = 1.0 / (across[0] * map_width).hypot(across[1] * map_height).max(1e-6);
        let (longer, shorter) = (size.0.max(size.1) as usize, size.0.min(size.1) as usize);
        let block = longer.div_ceil(COARSE_EDGE).max(pitch.round() as usize).clamp(1, shorter);
        let (width, height, light) = picture.blocks(block);
        let plate = behind.plate.map(|plate| plate.blocks(block).2);
        let mut ground = Self {
            width,
            height,
            block,
            object: Vec::with_capacity(width * height),
            ratio: Vec::with_capacity(width * height),
            backdrop: Vec::with_capacity(width * height),
            light,
            noise: outline.noise,
        };
        for y in 0..height {
            for x in 0..width {
                let (u, v) = ((x as f64 + 0.5) * block as f64, (y as f64 + 0.5) * block as f64);
                let at = |c: usize| origin[c] + across[c] * u + down[c] * v;
                let (u, v) = (at(0), at(1));
                let is_on_frame = (0.0..=1.0).contains(&u) && (0.0..=1.0).contains(&v);
                let i = y * width + x;
                let backdrop = match &plate {
                    Some(plate) => outline.in_the_frame(plate[i].map(|v| v * FULL), behind.gains),
                    None => {
                        let smooth = behind.smooth.at(u as f32 - 0.5, v as f32 - 0.5);
                        gained(smooth.map(|v| v * FULL), behind.gains)
                    }
                };
                let backdrop = backdrop.map(|v| v / FULL);
                let ratio = (0..3).map(|c| ground.light[i][c] / backdrop[c].max(1e-4)).sum::<f32>() / 3.0;
                // Beyond the frame there is neither object nor shadow.
                let object = is_on_frame && map.share_at(u * map_width - 0.5, v * map_height - 0.5) > 0.5;
                ground.object.push(object);
                ground.ratio.push(if is_on_frame { ratio } else { 1.0 });
                ground.backdrop.push(backdrop);
            }
        }
        let steps: Vec<[f32; 3]> = ground
            .light
            .iter()
            .zip(&ground.backdrop)
            .map(|(light, behind)| against(*light, *behind).map(even_steps))
            .collect();
        let frame_px = placement.frame_px;
        let pitch_px =
            block as f64 * (across[0] * f64::from(frame_px.0)).hypot(across[1] * f64::from(frame_px.1));
        ground.object = edge::mended(&ground.object, &steps, (width, height), ground.noise, pitch_px);
        ground
    }
}

/// How soft the line is drawn before it is refined: the least and the most share a pixel beside it has.
const SOFT: [f32; 2] = [0.1, 0.9];

/// The soft line that the full-size one is sought along.
struct SoftLine {
    grid: Grid,
    share: Vec<f32>,
}

impl SoftLine {
    fn of(ground: &Ground) -> Self {
        let share = averaged(&shares(&ground.object), ground.width, ground.height, 1);
        Self { grid: ground.grid(), share }
    }

    /// The share at a place, counted from the first pixel's middle.
    fn at(&self, x: f32, y: f32) -> f32 {
        self.grid.at(x, y, |i| self.share[i])
    }

    /// Where straight across the line its inner and its outer border lie, from a place with this share on it.
    fn across(&self, x: f32, y: f32, share: f32) -> Option<[[f32; 2]; 2]> {
        let square = 1.0 / self.grid.scale;
        let slope = [
            (self.at(x + square, y) - self.at(x - square, y)) * 0.5 * self.grid.scale,
            (self.at(x, y + square) - self.at(x, y - square)) * 0.5 * self.grid.scale,
        ];
        let steep = slope[0].hypot(slope[1]);
        if steep * square < 0.05 {
            return None;
        }
        let to = |border: f32| {
            let way = ((border - share) / steep).clamp(-2.0 * square, 2.0 * square) / steep;
            [x + slope[0] * way, y + slope[1] * way]
        };
        Some([to(SOFT[1]), to(SOFT[0])])
    }
}

/// The mean light of three by three pixels.
fn light_about(picture: &LinearPicture, [x, y]: [f32; 2]) -> [f32; 3] {
    let (width, height) = (picture.width_px() as usize, picture.height_px() as usize);
    let (x, y) = (
        x.round().clamp(0.0, (width - 1) as f32) as usize,
        y.round().clamp(0.0, (height - 1) as f32) as usize,
    );
    let (mut sum, mut count) = ([0.0; 3], 0.0);
    for row in y.saturating_sub(1)..(y + 2).min(height) {
        for column in x.saturating_sub(1)..(x + 2).min(width) {
            let here = picture.at(row * width + column);
            sum = [0, 1, 2].map(|c| sum[c] + f32::from(here[c]));
            count += FULL;
        }
    }
    sum.map(|v| v / count)
}

/// The object's share in a pixel's light, mixed of what lies inside and outside; `None` where these are too alike.
///
/// Least squares for the two parts. The ground may be darker under the edge than beside it, and a glaze is not even,
/// so that their sum is one only roughly; the colours decide where they can.
fn mixed(here: [f32; 3], inside: [f32; 3], outside: [f32; 3]) -> Option<f32> {
    /// Least difference of light that tells, squared.
    const TELLS: f32 = 2e-4;
    /// A share this near to none or all is the frame's grain.
    const GRAIN: f32 = 0.05;
    /// How much the sum counts against the colours.
    const SUM: f32 = 0.05;
    let dot = |a: [f32; 3], b: [f32; 3]| a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
    let between = [0, 1, 2].map(|c| inside[c] - outside[c]);
    if dot(between, between) < TELLS {
        return None;
    }
    let sum = SUM * dot(outside, outside);
    let (ii, io, oo) = (dot(inside, inside) + sum, dot(inside, outside) + sum, dot(outside, outside) + sum);
    let (hi, ho) = (dot(here, inside) + sum, dot(here, outside) + sum);
    // Both over one positive divisor, which their ratio does without.
    let (object, ground) = ((hi * oo - ho * io).max(0.0), (ho * ii - hi * io).max(0.0));
    (object + ground > 0.0)
        .then(|| ((object / (object + ground) - GRAIN) / (1.0 - 2.0 * GRAIN)).clamp(0.0, 1.0))
}

/// Difference of light from which on a pixel's share is sure, squared, against the ground's and on top of a dark frame's
/// grain: below it grain, and colours that a JPEG spreads, would fray the edge, and the line counts the more.
const TELLS_SURELY: f32 = 0.03;
const GRAIN: f32 = 4e-4;

/// Finds each full-size pixel's share of the object.
fn refine(picture: &LinearPicture, ground: &Ground) -> Vec<u8> {
    let (width, height) = (picture.width_px() as usize, picture.height_px() as usize);
    let line = SoftLine::of(ground);
    let settled = line.grid.all_round(|i| !(SOFT[0]..=SOFT[1]).contains(&line.share[i]));
    let columns: Vec<usize> = (0..width).map(|x| line.grid.square(x)).collect();
    let mut alpha = Vec::with_capacity(width * height);
    for y in 0..height {
        let row = line.grid.square(y);
        for (x, column) in columns.iter().enumerate() {
            // Away from the line, most of all pixels, nothing need be worked out.
            if settled[row * (line.grid.width + 1) + column] {
                alpha.push(if line.share[line.grid.number(*column, row)] > 0.5 { 255 } else { 0 });
                continue;
            }
            let m = line.at(x as f32, y as f32);
            if !(SOFT[0]..=SOFT[1]).contains(&m) {
                alpha.push(if m > 0.5 { 255 } else { 0 });
                continue;
            }
            // Too alike to be told apart by colour: the coarse line decides, no softer than a camera's edge.
            let by_line = ((m - 0.2) / 0.6).clamp(0.0, 1.0);
            let share = line.across(x as f32, y as f32, m).and_then(|[inner, outer]| {
                let here = picture.at(y * width + x).map(|v| f32::from(v) / FULL);
                let (inside, outside) = (light_about(picture, inner), light_about(picture, outer));
                let share = mixed(here, inside, outside)?;
                let mean_square = |light: [f32; 3]| light.iter().map(|v| v * v).sum::<f32>() / 3.0;
                let apart = mean_square([0, 1, 2].map(|c| inside[c] - outside[c]));
                let sure = (apart / (TELLS_SURELY * mean_square(outside) + GRAIN)).min(1.0);
                Some(share * sure + by_line * (1.0 - sure))
            });
            // Near the line colour decides, farther off it may not contradict it.
            let low = ((m - 0.6) / 0.3).clamp(0.0, 1.0);
            let high = ((m - 0.1) / 0.3).clamp(0.0, 1.0);
            alpha.push((share.unwrap_or(by_line).clamp(low, high) * 255.0).round() as u8);
        }
    }
    alpha
}
