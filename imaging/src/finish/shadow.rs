//! Puts a cut-out object on pure white and keeps its shadow.
//!
//! A pixel at the edge is a share of the object and the rest of shadowed background. The background's
//! part is taken out and as much shadowed white put in: no rim of the old background stays, and none
//! of white comes in over a light glaze.

use super::coarse::Grid;
use super::cutout::{Behind, Cutout};
use super::linear::{FULL, LinearPicture};
use super::outline::{Outline, averaged, reached, shares};
use super::settings::Shadow;

/// Darkening below this is left out, so that grain becomes white too.
const LEAST_SHADOW: f32 = 0.018;
/// Over which share of the way from the border to the object shadows come up; what touches the foot stays as dark as it
/// is.
const FADES: f32 = 0.65;

/// Darkening that shows: a code of 8 bits next to white is 0.9 % of light (IEC 61966-2-1).
const SHOWS: f32 = 0.009;

/// Which shadow is kept.
#[derive(Debug, Clone, Copy)]
pub(super) struct ShadowToKeep {
    /// The person's choice.
    pub shadow: Shadow,
    /// How wide the object is at most angles of the row, pixels of the picture: a shadow that reached farther
    /// wherever a spout or a handle sticks out would come and go as the object turns.
    pub object_width_px: f32,
}

/// How dark the shadow is at each coarse place: 1 without any.
struct ShadowMap {
    grid: Grid,
    /// As it is in the picture.
    seen: Vec<f32>,
    /// As it is shown.
    shown: Vec<f32>,
}

impl ShadowMap {
    fn of(cutout: &Cutout, keep: ShadowToKeep, has_plate: bool) -> Self {
        let c = &cutout.ground;
        let (w, h) = (c.width, c.height);
        let near_object = averaged(&shares(&c.object), w, h, 2);
        let ground = shares(&near_object.iter().map(|v| *v < 1e-6).collect::<Vec<_>>());
        // Under the edge the shadow is carried on from beside it.
        let fine = weighted(&c.ratio, &ground, w, h, 1);
        let wide = weighted(&c.ratio, &ground, w, h, 4);
        let wider = weighted(&c.ratio, &ground, w, h, 16);
        let least = LEAST_SHADOW.max(2.0 * c.noise);
        let away = distances(&c.object, w, h);
        let object_width = keep.object_width_px / c.block as f32;
        let near = (!has_plate).then(|| near_the_foot(&c.object, &away, object_width, (w, h)));
        let fade = |i: usize| near.as_ref().map_or(1.0, |near| near[i]) * off_the_border(away[i], i, w, h);
        let seen: Vec<f32> = (0..w * h).map(|i| fine[i].or(wide[i]).or(wider[i]).unwrap_or(1.0)).collect();
        if keep.shadow == Shadow::Remove {
            return Self { grid: c.grid(), seen, shown: vec![1.0; w * h] };
        }
        let mut shown: Vec<f32> = (0..w * h)
            .map(|i| {
                let depth = ((1.0 - seen[i] - least) / (1.0 - least)).clamp(0.0, 1.0);
                // From white into the shadow without a step: the curve leaves white slowly.
                let depth = depth * (depth / (depth + least)).clamp(0.0, 1.0);
                1.0 - depth * fade(i)
            })
            .collect();
        // A darker patch that does not hang together with the object is none of its contact shadow, but most often the
        // plate's rim, which a smooth surface does not know.
        if !has_plate {
            let dark: Vec<bool> = shown.iter().map(|v| *v < 1.0 - SHOWS).collect();
            let together = reached(|i| c.object[i], &dark, w, h);
            for (value, _) in shown.iter_mut().zip(together).filter(|(_, together)| !together) {
                *value = 1.0;
            }
        }
        Self { grid: c.grid(), seen, shown }
    }

    /// Interpolates one of the coarse maps at a full-size pixel.
    #[inline]
    fn at(&self, x: usize, y: usize, value: impl Fn(usize) -> f32) -> f32 {
        self.grid.at(x as f32, y as f32, value)
    }
}

/// 1 about the object, falling to 0 at the picture's border over most of the way between: a shop's page is white, and
/// a shadow that runs on over the border would be cut off there. `away` is the distance to the object.
fn off_the_border(away: f32, i: usize, width: usize, height: usize) -> f32 {
    let (x, y) = (i % width, i / width);
    let to_border = x.min(y).min(width - 1 - x).min(height - 1 - y) as f32;
    smooth((to_border / (to_border + away).max(1e-3) / FADES).min(1.0))
}

/// From 0 to 1 without a step at either end.
fn smooth(t: f32) -> f32 {
    t * t * (3.0 - 2.0 * t)
}

/// 1 beside the object's foot, falling to 0 at a third of its usual width away, in squares, and above its lower part.
fn near_the_foot(
    object: &[bool],
    away: &[f32],
    object_width: f32,
    (width, height): (usize, usize),
) -> Vec<f32> {
    let has_object = |y: &usize| object[y * width..(y + 1) * width].contains(&true);
    let (Some(first), Some(last)) = ((0..height).find(has_object), (0..height).rfind(has_object)) else {
        return vec![0.0; object.len()];
    };
    let tall = (last - first + 1) as f32;
    let reach = (0.33 * object_width).max(4.0);
    let foot_from = last as f32 - 0.45 * tall;
    (0..object.len())
        .map(|i| {
            let y = (i / width) as f32;
            let low = ((y - foot_from) / (0.2 * tall).max(1.0)).clamp(0.0, 1.0);
            let t = (1.0 - away[i] / reach).clamp(0.0, 1.0);
            low * smooth(t)
        })
        .collect()
}

/// Distance to the object in coarse pixels (3-4 chamfer; Borgefors, CVGIP 34:344, 1986).
fn distances(object: &[bool], width: usize, height: usize) -> Vec<f32> {
    let far = (width + height) as i32 * 3;
    let mut d: Vec<i32> = object.iter().map(|v| if *v { 0 } else { far }).collect();
    let at = |d: &[i32], x: isize, y: isize| {
        let inside = x >= 0 && y >= 0 && x < width as isize && y < height as isize;
        if inside { d[y as usize * width + x as usize] } else { far }
    };
    for forward in [true, false] {
        let s: isize = if forward { 1 } else { -1 };
        for n in 0..width * height {
            let i = if forward { n } else { width * height - 1 - n };
            let (x, y) = ((i % width) as isize, (i / width) as isize);
            let best = [(-s, 0, 3), (0, -s, 3), (-s, -s, 4), (s, -s, 4)]
                .into_iter()
                .map(|(dx, dy, cost)| at(&d, x + dx, y + dy) + cost)
                .fold(d[i], i32::min);
            d[i] = best;
        }
    }
    d.into_iter().map(|v| v as f32 / 3.0).collect()
}

/// Averages where there is weight; `None` where there is none in reach.
fn weighted(values: &[f32], weights: &[f32], width: usize, height: usize, radius: usize) -> Vec<Option<f32>> {
    let sums: Vec<f32> = values.iter().zip(weights).map(|(v, w)| v.min(1.2) * w).collect();
    let sums = averaged(&sums, width, height, radius);
    let weights = averaged(weights, width, height, radius);
    sums.iter().zip(&weights).map(|(s, w)| (*w > 1e-4).then(|| s / w)).collect()
}

/// Puts the object on white, in place.
///
/// `behind` is what the cut-out was found against.
pub(super) fn onto_white(
    picture: &mut LinearPicture,
    cutout: &Cutout,
    outline: &Outline,
    behind: &Behind<'_>,
    keep: ShadowToKeep,
) {
    let map = ShadowMap::of(cutout, keep, behind.plate.is_some());
    let backdrop = &cutout.ground.backdrop;
    let (width, height) = (picture.width_px() as usize, picture.height_px() as usize);
    // Where no shadow is near nothing need be worked out.
    let plain = map.grid.all_round(|i| map.shown[i] >= 1.0);
    let columns: Vec<usize> = (0..width).map(|x| map.grid.square(x)).collect();
    for y in 0..height {
        let plain = &plain[map.grid.square(y) * (map.grid.width + 1)..];
        for (x, alpha) in cutout.alpha()[y * width..(y + 1) * width].iter().enumerate() {
            let i = y * width + x;
            match *alpha {
                255 => continue,
                0 if plain[columns[x]] => {
                    picture.set(i, [u16::MAX; 3]);
                    continue;
                }
                _ => {}
            }
            let shown = map.at(x, y, |j| map.shown[j]);
            if *alpha == 0 {
                picture.set(i, [(shown * FULL).round() as u16; 3]);
                continue;
            }
            let share = f32::from(*alpha) / 255.0;
            let seen = map.at(x, y, |j| map.seen[j]);
            let ground = match behind.plate {
                Some(plate) => {
                    outline.in_the_frame(plate.at(i).map(f32::from), behind.gains).map(|v| v / FULL)
                }
                None => [0, 1, 2].map(|c| map.at(x, y, |j| backdrop[j][c])),
            };
            let here = picture.at(i);
            let value = [0, 1, 2].map(|c| {
                let object = (f32::from(here[c]) / FULL - (1.0 - share) * ground[c] * seen).max(0.0);
                ((object + (1.0 - share) * shown).min(1.0) * FULL).round() as u16
            });
            picture.set(i, value);
        }
    }
}
