//! The object's outline on a whole frame, found once on a small picture of it.
//!
//! A shadow is soft, neutral and darker; an object's edge is sharp. What has a colour of its own or is
//! brighter than the background is the object for sure (where nothing is, what strong edges enclose);
//! what is reached from the border without crossing an edge, and what matches the background, is not. From
//! both the rest is flooded along the least edges (watershed; Vincent, Soille, PAMI 13:583, 1991).
//!
//! The frame's own light serves as it is: all is judged against the background, so neither exposure nor cast
//! matter. The line is sought on the whole frame, however it is cut afterwards: the background's light is
//! known best along the frame's own margin, and a crop's margin may not change what the object is.

mod flood;
mod surface;

use serde::{Deserialize, Serialize};

use super::linear::{FULL, LinearPicture, gained};
use flood::Mark;
pub(super) use flood::{averaged, closed, eroded, grown, neighbours, opened, reached, shares, spread};
pub(super) use surface::Backdrop;

/// Longest side of the picture an outline is found in, in pixels.
pub(super) const OUTLINE_EDGE_PX: u32 = 900;
/// Share of the picture an object fills at least.
const LEAST_SHARE: f32 = 0.002;
/// Share of the outline that may be too weak to be told.
const MOST_WEAK: f32 = 0.22;

/// The object's outline in one frame.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Outline {
    /// Width of the map it is kept as.
    pub width: u32,
    /// Its height.
    pub height: u32,
    /// Lengths of background and object in turn, row after row, background first.
    pub runs: Vec<u32>,
    /// The frame's light over that of the empty table's frame, by channel.
    pub plate_level: [f32; 3],
    /// Noise of the light against the background's.
    pub noise: f32,
    /// Corners of the convex hull in whole-frame pixels: all that a crop needs to know.
    pub hull: Vec<[f64; 2]>,
    /// Share of the outline that is hardly told from what lies beside it, 0 to 1.
    pub unsure: f32,
    /// Whether a part of it hangs in the air above another, so that something between them is most likely missing.
    #[serde(default)]
    pub hangs: bool,
}

/// An outline laid out: 1 on the object, rows from the top.
pub(super) struct OutlineMap {
    pub width: usize,
    pub height: usize,
    pub object: Vec<u8>,
}

impl OutlineMap {
    /// Share of the object at a place counted from the first mark's middle; beyond the map its border goes on.
    pub fn share_at(&self, x: f64, y: f64) -> f32 {
        let inside = |v: f64, side: usize| v.clamp(0.0, (side - 1) as f64);
        let (u, v) = (inside(x, self.width), inside(y, self.height));
        let (x0, y0) = (u as usize, v as usize);
        let (x1, y1) = ((x0 + 1).min(self.width - 1), (y0 + 1).min(self.height - 1));
        let (fx, fy) = (u.fract() as f32, v.fract() as f32);
        let at = |x: usize, y: usize| f32::from(self.object[y * self.width + x]);
        let (top, bottom) =
            (at(x0, y0) * (1.0 - fx) + at(x1, y0) * fx, at(x0, y1) * (1.0 - fx) + at(x1, y1) * fx);
        top * (1.0 - fy) + bottom * fy
    }
}

impl Outline {
    /// Carries the empty table's light, 0 to [`FULL`], over to what it is in a frame read with these gains.
    pub fn in_the_frame(&self, plate: [f32; 3], gains: [f32; 3]) -> [f32; 3] {
        gained([0, 1, 2].map(|c| (plate[c] * self.plate_level[c]).min(FULL)), gains)
    }

    /// Lays it out.
    pub fn map(&self) -> OutlineMap {
        let (width, height) = (self.width as usize, self.height as usize);
        let mut object = Vec::with_capacity(width * height);
        for (i, run) in self.runs.iter().enumerate() {
            object.resize((object.len() + *run as usize).min(width * height), u8::from(i % 2 == 1));
        }
        object.resize(width * height, 0);
        OutlineMap { width, height, object }
    }
}

/// Measures the background of a small picture of a whole frame and finds the object's outline before it.
///
/// `plate` is the empty table's picture at the same size. The outline is an error, the reason in words, when
/// the object cannot be told from the background.
pub(super) fn find(
    picture: &LinearPicture,
    plate: Option<&LinearPicture>,
    frame_px: (u32, u32),
) -> (Backdrop, Result<Outline, String>) {
    let (width, height, light) = picture.blocks(1);
    let mut backdrop = Backdrop::fit(&light, width, height);
    let mut painted = backdrop.paint(width, height);
    backdrop.raise(settle_level(&light, &mut painted, width, height));
    if width < 24 || height < 24 {
        return (backdrop, Err("the picture is too small".to_owned()));
    }
    let mut plate_level = [1.0; 3];
    if let Some(plate) = plate {
        painted = plate.blocks(1).2;
        plate_level = settle_level(&light, &mut painted, width, height);
    }
    let found =
        outlined(&light, &painted, (width, height), plate.is_some()).map(|(object, noise, unsure)| {
            let scale = f64::from(frame_px.0) / width as f64;
            let hull = hull(edges(&object, width).map(|place| place.map(|v| v * scale)).collect());
            let runs = runs(&object);
            let hangs = hangs(&object, width, height);
            Outline {
                width: width as u32,
                height: height as u32,
                runs,
                plate_level,
                noise,
                hull,
                unsure,
                hangs,
            }
        });
    (backdrop, found)
}

/// Light against the background's, by channel. A channel at the sensor's end says only "at least": it is taken to
/// go with the others, or a white that clips would look coloured.
pub(super) fn against(light: [f32; 3], backdrop: [f32; 3]) -> [f32; 3] {
    /// From here on a channel may be clipped, linear light.
    const CLIPS_FROM: f32 = 0.96;
    let ratio = [0, 1, 2].map(|c| light[c] / backdrop[c].max(1e-4));
    let most = (0..3).filter(|c| light[*c] < CLIPS_FROM).map(|c| ratio[c]).fold(0.0, f32::max);
    [0, 1, 2].map(|c| if light[c] < CLIPS_FROM { ratio[c] } else { ratio[c].max(most) })
}

/// The object's marks, the light's noise, and the unsure share of the outline.
fn outlined(
    light: &[[f32; 3]],
    backdrop: &[[f32; 3]],
    (width, height): (usize, usize),
    has_plate: bool,
) -> Result<(Vec<u8>, f32, f32), String> {
    let ratios: Vec<[f32; 3]> = light.iter().zip(backdrop).map(|(l, b)| against(*l, *b)).collect();
    let steps: Vec<[f32; 3]> = ratios.iter().map(|r| r.map(even_steps)).collect();
    let noise = noise(&steps, width, height);
    let gradient = gradient(&steps, width, height);
    let object = separate(&ratios, &steps, &gradient, (width, height), noise, has_plate)?;
    let unsure = tell(&object, &steps, width, height, noise)?;
    Ok((object, noise, unsure))
}

/// Whether one part of what was found lies wholly above another: what stands on a plate does not.
fn hangs(object: &[u8], width: usize, height: usize) -> bool {
    let marks: Vec<bool> = object.iter().map(|v| *v == 1).collect();
    let parts = flood::extents(&marks, width, height);
    parts.iter().any(|upper| {
        parts
            .iter()
            .any(|lower| upper.bottom < lower.top && upper.left <= lower.right && lower.left <= upper.right)
    })
}

/// Lengths of noughts and ones in turn, noughts first.
fn runs(marks: &[u8]) -> Vec<u32> {
    let mut runs = Vec::new();
    let (mut now, mut length) = (0, 0);
    for mark in marks {
        if *mark != now {
            runs.push(length);
            (now, length) = (*mark, 0);
        }
        length += 1;
    }
    runs.push(length);
    runs
}

/// For each row with some object the outer ends of its marks.
fn edges(object: &[u8], width: usize) -> impl Iterator<Item = [f64; 2]> {
    object
        .chunks_exact(width)
        .enumerate()
        .filter_map(|(y, row)| {
            let first = row.iter().position(|v| *v == 1)?;
            let last = row.iter().rposition(|v| *v == 1)?;
            Some([[first as f64, y as f64 + 0.5], [(last + 1) as f64, y as f64 + 0.5]])
        })
        .flatten()
}

/// Convex hull by Andrew's monotone chain (Inf. Proc. Letters 9:216, 1979).
fn hull(mut points: Vec<[f64; 2]>) -> Vec<[f64; 2]> {
    points.sort_by(|a, b| a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1])));
    let half = |points: &mut dyn Iterator<Item = [f64; 2]>| {
        let mut chain: Vec<[f64; 2]> = Vec::new();
        for p in points {
            while let [.., a, b] = chain[..] {
                if (b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0]) > 0.0 {
                    break;
                }
                chain.pop();
            }
            chain.push(p);
        }
        chain
    };
    let mut all = half(&mut points.iter().copied());
    all.extend(half(&mut points.iter().rev().copied()));
    all
}

/// Turns a ratio of light into even steps for the eye: about the logarithm near 1, but calm in the dark.
pub(super) fn even_steps(ratio: f32) -> f32 {
    3.0 * (ratio.max(0.0).cbrt() - 1.0)
}

/// Brings the backdrop to the picture's own level along the border, channel by channel; gives the factors.
fn settle_level(light: &[[f32; 3]], backdrop: &mut [[f32; 3]], width: usize, height: usize) -> [f32; 3] {
    let band = (width.min(height) / 25).max(2);
    let border: Vec<usize> = (0..width * height)
        .filter(|i| {
            let (x, y) = (i % width, i / width);
            x < band || x + band >= width || y < band
        })
        .collect();
    let mut levels = [1.0; 3];
    for (c, settled) in levels.iter_mut().enumerate() {
        let mut found: Vec<f32> = border
            .iter()
            .filter(|i| backdrop[**i][c] > 0.01 && backdrop[**i][c] < 0.97 && light[**i][c] < 0.97)
            .map(|i| light[*i][c] / backdrop[*i][c])
            .collect();
        if found.len() * 4 < border.len() {
            continue;
        }
        let level = super::even::median(&mut found);
        // More than this is no exposure of one set but something else in the border.
        if (0.5..2.0).contains(&level) {
            *settled = level;
            for pixel in backdrop.iter_mut() {
                pixel[c] *= level;
            }
        }
    }
    levels
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

/// The mean step of the background around each place, in reach of what a handle may cover; `None` where none was
/// reached there.
fn light_around(
    steps: &[[f32; 3]],
    outside: &[bool],
    (width, height): (usize, usize),
) -> Vec<Option<[f32; 3]>> {
    let reach = width.max(height) / 12;
    let (around, known) = spread(steps, &shares(outside), width, height, reach);
    around.into_iter().zip(known).map(|(light, known)| (known > 0.02).then_some(light)).collect()
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
        flood::from_border(&eroded(&open, width, height, passage), width, height)
    };
    let lit = reached(0.06 + 4.0 * noise, 3);
    let mut outside = lit.clone();
    if coloured.iter().filter(|c| **c).count() * 50 > n {
        // An object with colours of its own is told from its shadow by them: the background goes on into what is
        // as dark, soft and neutral as only a shadow is, or the object would, where its foot is as dark.
        let shadow: Vec<bool> = (0..n)
            .map(|i| {
                let [r, g, b] = steps[i];
                let spread = r.max(g).max(b) - r.min(g).min(b);
                !coloured[i] && mean(&steps[i]) < -0.3 && spread < 0.1 && gradient[i] < 0.15
            })
            .collect();
        let shadow = eroded(&shadow, width, height, 2);
        let open: Vec<bool> = outside.iter().zip(&shadow).map(|(o, s)| *o || *s).collect();
        outside = flood::from_border(&open, width, height);
    }
    let outside = outside;
    let same = if has_plate { 0.025 } else { 0.035 } + 3.0 * noise;
    // As light as the background is usually, or as what was reached of it hereabouts: behind a handle lies shadow too.
    let hereabouts = light_around(steps, &lit, (width, height));
    let off = |i: usize| {
        let from = |light: [f32; 3]| (0..3).map(|c| (steps[i][c] - light[c]).abs()).fold(0.0, f32::max);
        from([0.0; 3]).min(hereabouts[i].map_or(f32::MAX, from))
    };
    let matching: Vec<bool> =
        (0..n).map(|i| !coloured[i] && gradient[i] < 0.03 + 4.0 * noise && off(i) < same).collect();
    // A small or thin patch that looks like the background may be a highlight or a painted line; a large
    // one is a gap, such as that of a handle.
    let matching = flood::large_parts(&eroded(&matching, width, height, 3), width, height, n / 4000);
    // The core of a shadow is thin against what casts it; what is as dark and thick is a dark glaze. A coloured
    // glaze beside it does not make it thicker.
    let dark: Vec<bool> = (0..n).map(|i| mean(&steps[i]) < even_steps(0.2) && !coloured[i]).collect();
    let sure = eroded(&coloured, width, height, 1);
    let side = (sure.iter().filter(|v| **v).count() as f32).sqrt();
    let dark = eroded(&dark, width, height, (0.085 * side) as usize + 4);
    let mut object: Vec<bool> = sure.iter().zip(&dark).map(|(c, d)| *c || *d).collect();
    let fills_little = |object: &[bool]| object.iter().filter(|v| **v).count() * 300 < n;
    if fills_little(&object) {
        // Nothing has a colour of its own: what strong edges enclose, and what is darker than a light
        // shadow, is the object.
        for wall in ENCLOSING.into_iter().filter(|wall| *wall > 0.03 + 6.0 * noise) {
            let enclosed: Vec<bool> = reached(wall, 0).iter().map(|v| !v).collect();
            let enclosed = eroded(&enclosed, width, height, 3);
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
    let plain: Vec<bool> = (0..n).map(|i| !coloured[i] && off(i) < 2.0 * same).collect();
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
