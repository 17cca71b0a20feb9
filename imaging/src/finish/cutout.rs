//! The object's soft mask in a finished picture.
//!
//! The outline was found on the whole frame, small. Along it each full-size pixel's share is where its light
//! lies between the object's and the background's next to it.

use super::linear::{FULL, LinearPicture, gained};
use super::outline::{Backdrop, Outline, averaged, spread};
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
    /// 1 on the object.
    pub object: Vec<u8>,
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
                ground.object.push(u8::from(object));
                ground.ratio.push(if is_on_frame { ratio } else { 1.0 });
                ground.backdrop.push(backdrop);
            }
        }
        ground.object = closed(&ground.object, width, height);
        ground
    }
}

/// Half the width of notches and slits, in squares, that are no part of an outline: where a pale glaze is as light
/// as the ground beside it, the outline dents. A finer dent of the object itself cannot be told from these.
const NOTCH_SQUARES: usize = 3;

/// Fills what is too narrow to be an opening (a morphological closing, as in any handbook).
fn closed(object: &[u8], width: usize, height: usize) -> Vec<u8> {
    let share = |of: &[u8]| {
        let of: Vec<f32> = of.iter().map(|v| f32::from(*v)).collect();
        averaged(&of, width, height, NOTCH_SQUARES)
    };
    let wide: Vec<u8> = share(object).into_iter().map(|v| u8::from(v > 1e-4)).collect();
    share(&wide).into_iter().map(|v| u8::from(v > 1.0 - 1e-4)).collect()
}

/// Blends four corners.
#[inline]
fn blended(corners: [f32; 4], fx: f32, fy: f32) -> f32 {
    let (top, bottom) =
        (corners[0] * (1.0 - fx) + corners[1] * fx, corners[2] * (1.0 - fx) + corners[3] * fx);
    top * (1.0 - fy) + bottom * fy
}

/// Finds each full-size pixel's share of the object.
fn refine(picture: &LinearPicture, ground: &Ground) -> Vec<u8> {
    let (width, height) = (picture.width_px() as usize, picture.height_px() as usize);
    let (w, h) = (ground.width, ground.height);
    let soft: Vec<f32> = averaged(&ground.object.iter().map(|v| f32::from(*v)).collect::<Vec<_>>(), w, h, 1);
    // The colours next to the edge, from squares that are wholly one or the other.
    let inner: Vec<f32> = soft.iter().map(|v| f32::from(u8::from(*v > 0.95))).collect();
    let outer: Vec<f32> = soft.iter().map(|v| f32::from(u8::from(*v < 0.05))).collect();
    let inside = spread(&ground.light, &inner, w, h, 3);
    let outside = spread(&ground.light, &outer, w, h, 3);
    let scale = 1.0 / ground.block as f32;
    let place = |pixel: usize, side: usize| {
        let at = ((pixel as f32 + 0.5) * scale - 0.5).clamp(0.0, (side - 1) as f32);
        (at as usize, (at as usize + 1).min(side - 1), at.fract())
    };
    let across: Vec<(usize, usize, f32)> = (0..width).map(|x| place(x, w)).collect();
    let mut alpha = Vec::with_capacity(width * height);
    let mut line = vec![0.0; w];
    for y in 0..height {
        let (y0, y1, fy) = place(y, h);
        for (x, value) in line.iter_mut().enumerate() {
            *value = soft[y0 * w + x] * (1.0 - fy) + soft[y1 * w + x] * fy;
        }
        for (x, &(x0, x1, fx)) in across.iter().enumerate() {
            let m = line[x0] * (1.0 - fx) + line[x1] * fx;
            if !(0.1..=0.9).contains(&m) {
                alpha.push(if m > 0.5 { 255 } else { 0 });
                continue;
            }
            let corners = [y0 * w + x0, y0 * w + x1, y1 * w + x0, y1 * w + x1];
            let mix = |(colours, known): &(Vec<[f32; 3]>, Vec<f32>)| {
                let known = corners.map(|i| f32::from(u8::from(known[i] > 0.0)));
                let weight = blended(known, fx, fy);
                (weight > 0.0).then(|| {
                    [0, 1, 2].map(|c| {
                        let values = [0, 1, 2, 3].map(|k| colours[corners[k]][c] * known[k]);
                        blended(values, fx, fy) / weight
                    })
                })
            };
            let share = match (mix(&inside), mix(&outside)) {
                (Some(inside), Some(outside)) => {
                    let here = picture.at(y * width + x).map(|v| f32::from(v) / FULL);
                    let (mut dot, mut length) = (0.0, 0.0);
                    for c in 0..3 {
                        let d = inside[c] - outside[c];
                        dot += (here[c] - outside[c]) * d;
                        length += d * d;
                    }
                    // Too alike to be told apart by colour: the coarse line decides.
                    if length < 2e-4 { m } else { dot / length }
                }
                _ => m,
            };
            // Near the line colour decides, farther off it may not contradict it.
            let low = ((m - 0.6) / 0.3).clamp(0.0, 1.0);
            let high = ((m - 0.1) / 0.3).clamp(0.0, 1.0);
            alpha.push((share.clamp(low, high) * 255.0).round() as u8);
        }
    }
    alpha
}
