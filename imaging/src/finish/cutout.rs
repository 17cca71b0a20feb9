//! The object's soft mask against the background.
//!
//! A shadow is soft, neutral and darker; an object's edge is sharp. What has a colour of its own or is
//! brighter than the background is the object for sure (where nothing is, what strong edges enclose);
//! what is reached from the border without crossing an edge, and what matches the background, is not. From
//! both the rest is flooded along the least edges (watershed; Vincent, Soille, PAMI 13:583, 1991). Along the line
//! found, each full-size pixel's share is where its light lies between the object's and the background's
//! next to it.
//!
//! The line is sought on the whole frame, however it is cut afterwards: the background's light is known best
//! along the frame's own margin, and a crop's margin may not change what the object is.

mod flood;
mod surface;

use super::linear::{FULL, LinearPicture};
use flood::Mark;
pub(super) use flood::averaged;
use surface::Backdrop;

/// Longest side of the picture the mask is found in, in pixels.
const COARSE_EDGE: usize = 900;
/// Share of the picture an object fills at least.
const LEAST_SHARE: f32 = 0.002;
/// Share of the outline that may be too weak to be told.
const MOST_WEAK: f32 = 0.22;

/// An object cut out softly.
#[derive(Debug, Clone)]
pub struct Cutout {
    width: usize,
    height: usize,
    /// 255 is the object, 0 the background, for each pixel.
    alpha: Vec<u8>,
    pub(super) coarse: Coarse,
}

/// What is known at the coarse scale: of a whole frame, or carried over to a picture cut from it.
#[derive(Debug, Clone)]
pub(super) struct Coarse {
    pub width: usize,
    pub height: usize,
    /// Pixels of the picture to one of these.
    pub block: usize,
    /// 1 on the object.
    pub object: Vec<u8>,
    /// Light against the background's, 1 where there is no shadow.
    pub ratio: Vec<f32>,
    /// The background's light.
    pub backdrop: Vec<[f32; 3]>,
    /// Noise of `ratio`.
    pub noise: f32,
    /// Share of the outline that is hardly told from what lies beside it.
    pub unsure: f32,
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

    /// Cuts the object out of a picture, as its outline was found on the whole frame; `on_whole` carries a
    /// place of the picture over to the frame the outline was found on, both in pixels.
    pub(super) fn along(
        picture: &LinearPicture,
        whole: &Coarse,
        on_whole: impl Fn([f64; 2]) -> [f64; 2],
    ) -> Self {
        let (width, height) = (picture.width_px() as usize, picture.height_px() as usize);
        let coarse = whole.carried_over((width, height), on_whole);
        let alpha = refine(picture, &coarse);
        Self { width, height, alpha, coarse }
    }
}

impl Coarse {
    /// For each row with some object, its (row, first, last) column edges in pixels.
    pub fn rows(&self) -> Vec<(f64, f64, f64)> {
        let block = self.block as f64;
        (0..self.height)
            .filter_map(|y| {
                let row = &self.object[y * self.width..(y + 1) * self.width];
                let first = row.iter().position(|v| *v == 1)?;
                let last = row.iter().rposition(|v| *v == 1)?;
                Some(((y as f64 + 0.5) * block, first as f64 * block, (last + 1) as f64 * block))
            })
            .collect()
    }

    /// Finds the object on a whole frame.
    ///
    /// # Errors
    /// The reason, in words, when it cannot be told from the background.
    pub fn find(picture: &LinearPicture, plate: Option<&LinearPicture>) -> Result<Self, String> {
        coarse(picture, plate)
    }

    /// Lays it over a picture of this size cut from the frame.
    fn carried_over(&self, size: (usize, usize), on_whole: impl Fn([f64; 2]) -> [f64; 2]) -> Self {
        let scale = 1.0 / self.block as f64;
        let place = |x: f64, y: f64| on_whole([x, y]).map(|v| v * scale - 0.5);
        let (origin, right, below) = (place(0.0, 0.0), place(1.0, 0.0), place(0.0, 1.0));
        // No finer than what is known: what is sought along the line must reach as far as it may be off.
        let pitch = 1.0 / (right[0] - origin[0]).hypot(right[1] - origin[1]).max(1e-6);
        let shorter = size.0.min(size.1);
        let block =
            size.0.max(size.1).div_ceil(COARSE_EDGE).max(pitch.round() as usize).clamp(1, shorter.max(1));
        let (width, height) = (size.0 / block, size.1 / block);
        let mut out = Self {
            width,
            height,
            block,
            object: Vec::with_capacity(width * height),
            ratio: Vec::with_capacity(width * height),
            backdrop: Vec::with_capacity(width * height),
            noise: self.noise,
            unsure: self.unsure,
        };
        for y in 0..height {
            for x in 0..width {
                let (u, v) = ((x as f64 + 0.5) * block as f64, (y as f64 + 0.5) * block as f64);
                let at = |c: usize| origin[c] + (right[c] - origin[c]) * u + (below[c] - origin[c]) * v;
                let inside = |v: f64, side: usize| v.clamp(0.0, (side - 1) as f64);
                let (u, v) = (inside(at(0), self.width), inside(at(1), self.height));
                let (x0, y0) = (u as usize, v as usize);
                let (x1, y1) = ((x0 + 1).min(self.width - 1), (y0 + 1).min(self.height - 1));
                let (fx, fy) = (u.fract() as f32, v.fract() as f32);
                let corners = [(x0, y0), (x1, y0), (x0, y1), (x1, y1)].map(|(x, y)| y * self.width + x);
                let shares = [(1.0 - fx) * (1.0 - fy), fx * (1.0 - fy), (1.0 - fx) * fy, fx * fy];
                let mix = |value: &dyn Fn(usize) -> f32| -> f32 {
                    corners.iter().zip(shares).map(|(i, share)| value(*i) * share).sum()
                };
                out.object.push(u8::from(mix(&|i| f32::from(self.object[i])) > 0.5));
                out.ratio.push(mix(&|i| self.ratio[i]));
                out.backdrop.push([0, 1, 2].map(|c| mix(&|i| self.backdrop[i][c])));
            }
        }
        out
    }
}

/// Turns a ratio of light into even steps for the eye: about the logarithm near 1, but calm in the dark.
fn even_steps(ratio: f32) -> f32 {
    3.0 * (ratio.max(0.0).cbrt() - 1.0)
}

fn coarse(picture: &LinearPicture, plate: Option<&LinearPicture>) -> Result<Coarse, String> {
    let longer = picture.width_px().max(picture.height_px()) as usize;
    let block = longer.div_ceil(COARSE_EDGE).max(1);
    let (width, height, light) = picture.blocks(block);
    if width < 24 || height < 24 {
        return Err("the picture is too small".to_owned());
    }
    let mut backdrop = match plate {
        Some(plate) => plate.blocks(block).2,
        None => Backdrop::fit(&light, width, height).paint(width, height),
    };
    if backdrop.len() != light.len() {
        return Err("the frame of the empty table has another size".to_owned());
    }
    settle_level(&light, &mut backdrop, width, height);
    let ratios: Vec<[f32; 3]> =
        light.iter().zip(&backdrop).map(|(l, b)| [0, 1, 2].map(|c| l[c] / b[c].max(1e-4))).collect();
    let steps: Vec<[f32; 3]> = ratios.iter().map(|r| r.map(even_steps)).collect();
    let noise = noise(&steps, width, height);
    let gradient = gradient(&steps, width, height);
    let object = separate(&ratios, &steps, &gradient, (width, height), noise, plate.is_some())?;
    let unsure = tell(&object, &steps, width, height, noise)?;
    let ratio = ratios.iter().map(|r| (r[0] + r[1] + r[2]) / 3.0).collect();
    Ok(Coarse { width, height, block, object, ratio, backdrop, noise, unsure })
}

/// Brings the backdrop to the picture's own level along the border, channel by channel.
fn settle_level(light: &[[f32; 3]], backdrop: &mut [[f32; 3]], width: usize, height: usize) {
    let band = (width.min(height) / 25).max(2);
    let border: Vec<usize> = (0..width * height)
        .filter(|i| {
            let (x, y) = (i % width, i / width);
            x < band || x + band >= width || y < band
        })
        .collect();
    for c in 0..3 {
        let mut found: Vec<f32> = border
            .iter()
            .filter(|i| backdrop[**i][c] > 0.01 && backdrop[**i][c] < 0.97 && light[**i][c] < 0.97)
            .map(|i| light[*i][c] / backdrop[*i][c])
            .collect();
        if found.len() * 4 < border.len() {
            continue;
        }
        let level = super::even::median(&mut found);
        // More than this is no drift of the light but something else in the border.
        if (0.8..1.25).contains(&level) {
            for pixel in backdrop.iter_mut() {
                pixel[c] *= level;
            }
        }
    }
}

/// Standard deviation of a step's noise, from second differences in the quieter half of the picture.
fn noise(steps: &[[f32; 3]], width: usize, height: usize) -> f32 {
    let mut found: Vec<f32> = Vec::new();
    for y in (2..height - 2).step_by(3) {
        for x in (2..width - 2).step_by(3) {
            let at = |x: usize| {
                (steps[y * width + x][0] + steps[y * width + x][1] + steps[y * width + x][2]) / 3.0
            };
            found.push((at(x + 1) - 2.0 * at(x) + at(x - 1)).abs());
        }
    }
    // The lower third of absolute values: the rest may be the object. For a normal distribution the
    // 33 % point of |second difference| lies at 0.43 · √6 σ.
    let at = found.len() / 3;
    let third = found.select_nth_unstable_by(at, f32::total_cmp).1;
    (*third / (0.43 * 6.0_f32.sqrt())).clamp(0.003, 0.1)
}

/// Difference across each pixel, the largest of the channels.
fn gradient(steps: &[[f32; 3]], width: usize, height: usize) -> Vec<f32> {
    let mut out = vec![0.0; width * height];
    for y in 0..height {
        for x in 0..width {
            let at = |x: usize, y: usize| steps[y * width + x];
            let (l, r) = (at(x.saturating_sub(1), y), at((x + 1).min(width - 1), y));
            let (u, d) = (at(x, y.saturating_sub(1)), at(x, (y + 1).min(height - 1)));
            out[y * width + x] =
                (0..3).map(|c| ((r[c] - l[c]).powi(2) + (d[c] - u[c]).powi(2)).sqrt()).fold(0.0, f32::max);
        }
    }
    out
}

/// How strong edges must be to enclose an object that has no colour of its own; the strongest that enclose
/// something are taken, as weaker ones may be the table's.
const ENCLOSING: [f32; 4] = [0.25, 0.18, 0.13, 0.09];

/// Marks the object with 1.
fn separate(
    ratios: &[[f32; 3]],
    steps: &[[f32; 3]],
    gradient: &[f32],
    size: (usize, usize),
    noise: f32,
    has_plate: bool,
) -> Result<Vec<u8>, String> {
    let (width, height) = size;
    let n = width * height;
    let mean = |s: &[f32; 3]| (s[0] + s[1] + s[2]) / 3.0;
    let bright = if has_plate { 0.08 } else { 0.4 } + 4.0 * noise;
    // A shadow takes light away: what light bounced off the object tints is little in itself, however
    // much it is of the rest. The object's own colour is not.
    let coloured: Vec<bool> = (0..n)
        .map(|i| {
            let m = mean(&ratios[i]);
            let tint = ratios[i].iter().map(|v| (v - m).abs()).fold(0.0, f32::max);
            let m = mean(&steps[i]);
            // A pale glaze on its shaded side: little in itself, but much of the light that is left there.
            let pale = steps[i].iter().map(|v| (v - m).abs()).fold(0.0, f32::max);
            let pale = pale > 0.05 + 3.0 * noise && tint > 0.025;
            tint > 0.05 + 3.0 * noise || pale || m > bright || m < even_steps(0.03)
        })
        .collect();
    let coloured = flood::agreed(&coloured, width, height);
    // Through passages of a few pixels only: a weak place in an edge lets nothing in.
    let reached = |wall: f32, passage: usize| {
        let open: Vec<bool> = (0..n).map(|i| gradient[i] < wall && !coloured[i]).collect();
        flood::from_border(&flood::eroded(&open, width, height, passage), width, height)
    };
    let outside = reached(0.06 + 4.0 * noise, 3);
    let same = if has_plate { 0.025 } else { 0.035 } + 3.0 * noise;
    let matching: Vec<bool> = (0..n)
        .map(|i| !coloured[i] && gradient[i] < 0.03 + 4.0 * noise && steps[i].iter().all(|v| v.abs() < same))
        .collect();
    // A small or thin patch that looks like the background may be a highlight or a painted line; a large
    // one is a gap, such as that of a handle.
    let matching = flood::large_parts(&flood::eroded(&matching, width, height, 3), width, height, n / 4000);
    // The core of a shadow is thin against what casts it; what is as dark and thick is a dark glaze.
    let dark: Vec<bool> = steps.iter().map(|s| mean(s) < even_steps(0.2)).collect();
    let sure = flood::eroded(&coloured, width, height, 1);
    let side = (sure.iter().filter(|v| **v).count() as f32).sqrt();
    let dark = flood::eroded(&dark, width, height, (0.085 * side) as usize + 4);
    let mut object: Vec<bool> = sure.iter().zip(&dark).map(|(c, d)| *c || *d).collect();
    let fills_little = |object: &[bool]| object.iter().filter(|v| **v).count() * 300 < n;
    if fills_little(&object) {
        // Nothing has a colour of its own: what strong edges enclose, and what is darker than a light
        // shadow, is the object.
        for wall in ENCLOSING.into_iter().filter(|wall| *wall > 0.03 + 6.0 * noise) {
            let enclosed: Vec<bool> = reached(wall, 0).iter().map(|v| !v).collect();
            let enclosed = flood::eroded(&enclosed, width, height, 3);
            object = (0..n).map(|i| enclosed[i] && mean(&steps[i]) < -0.18).collect();
            if !fills_little(&object) {
                break;
            }
        }
    }
    let marks: Vec<Mark> = (0..n)
        .map(|i| match (object[i], outside[i] || matching[i]) {
            (_, true) => Mark::Background,
            (true, false) => Mark::Object,
            (false, false) => Mark::Open,
        })
        .collect();
    if !marks.contains(&Mark::Object) {
        return Err("nothing stands out from it".to_owned());
    }
    if !marks.contains(&Mark::Background) {
        return Err("no part of the frame is background for sure".to_owned());
    }
    let mut object = flood::watershed(marks, gradient, width, height);
    let plain: Vec<bool> =
        (0..n).map(|i| !coloured[i] && steps[i].iter().all(|v| v.abs() < 2.0 * same)).collect();
    flood::keep_main_parts(&mut object, &plain, width, height);
    Ok(object)
}

/// Gives the share of the outline that hangs on edges too weak to be seen, and refuses a mask with too much.
fn tell(object: &[u8], steps: &[[f32; 3]], width: usize, height: usize, noise: f32) -> Result<f32, String> {
    let area = object.iter().map(|v| usize::from(*v)).sum::<usize>() as f32;
    let all = object.len() as f32;
    if area < LEAST_SHARE * all {
        return Err(format!("what stands out fills only {:.2} % of the picture", 100.0 * area / all));
    }
    if area > 0.92 * all {
        return Err("the object seems to fill the whole frame".to_owned());
    }
    let (mut border, mut weak) = (0_u32, 0_u32);
    for y in 3..height - 3 {
        for x in 3..width - 3 {
            if object[y * width + x] == 0 {
                continue;
            }
            for (dx, dy) in [(1_isize, 0_isize), (-1, 0), (0, 1), (0, -1)] {
                let at = |d: isize| (y as isize + dy * d) as usize * width + (x as isize + dx * d) as usize;
                if object[at(1)] == 1 {
                    continue;
                }
                border += 1;
                let (inner, outer) = (steps[at(-1)], steps[at(2)]);
                let contrast = (0..3).map(|c| (inner[c] - outer[c]).abs()).fold(0.0, f32::max);
                weak += u32::from(contrast < 0.03 + 3.0 * noise);
            }
        }
    }
    let share = weak as f32 / border.max(1) as f32;
    if share > MOST_WEAK {
        return Err(format!("{:.0} % of its outline is as light as the background", 100.0 * share));
    }
    Ok(share)
}

/// Finds each full-size pixel's share of the object.
fn refine(picture: &LinearPicture, coarse: &Coarse) -> Vec<u8> {
    let (width, height) = (picture.width_px() as usize, picture.height_px() as usize);
    let (w, h, block) = (coarse.width, coarse.height, coarse.block);
    let soft: Vec<f32> = averaged(&coarse.object.iter().map(|v| f32::from(*v)).collect::<Vec<_>>(), w, h, 1);
    let (_, _, light) = picture.blocks(block);
    // The colours next to the edge, from pixels that are wholly one or the other.
    let inner: Vec<f32> = soft.iter().map(|v| f32::from(u8::from(*v > 0.95))).collect();
    let outer: Vec<f32> = soft.iter().map(|v| f32::from(u8::from(*v < 0.05))).collect();
    let object_light = flood::spread(&light, &inner, w, h, 3);
    let ground_light = flood::spread(&light, &outer, w, h, 3);
    let mut alpha = Vec::with_capacity(width * height);
    let scale = 1.0 / block as f32;
    let across: Vec<(usize, usize, f32)> = (0..width)
        .map(|x| {
            let u = ((x as f32 + 0.5) * scale - 0.5).clamp(0.0, (w - 1) as f32);
            (u as usize, (u as usize + 1).min(w - 1), u.fract())
        })
        .collect();
    for y in 0..height {
        let v = ((y as f32 + 0.5) * scale - 0.5).clamp(0.0, (h - 1) as f32);
        let (y0, fy) = (v as usize, v.fract());
        let y1 = (y0 + 1).min(h - 1);
        for (x, &(x0, x1, fx)) in across.iter().enumerate() {
            let corners = [y0 * w + x0, y0 * w + x1, y1 * w + x0, y1 * w + x1];
            let shares = [(1.0 - fx) * (1.0 - fy), fx * (1.0 - fy), (1.0 - fx) * fy, fx * fy];
            let m: f32 = corners.iter().zip(shares).map(|(i, s)| soft[*i] * s).sum();
            if !(0.1..=0.9).contains(&m) {
                alpha.push(if m > 0.5 { 255 } else { 0 });
                continue;
            }
            let mix = |from: &[[f32; 3]], known: &[f32]| {
                let mut sum = [0.0; 3];
                let mut weight = 0.0;
                for (i, s) in corners.iter().zip(shares) {
                    if known[*i] > 0.0 {
                        weight += s;
                        for c in 0..3 {
                            sum[c] += from[*i][c] * s;
                        }
                    }
                }
                (weight > 0.0).then(|| sum.map(|v| v / weight))
            };
            let share = match (mix(&object_light.0, &object_light.1), mix(&ground_light.0, &ground_light.1)) {
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
