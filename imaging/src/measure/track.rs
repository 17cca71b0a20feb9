//! Follows small patches of the object from one frame into another.
//!
//! A patch is looked for where the turn should have carried it, first roughly on reduced pictures,
//! then to a fraction of a pixel by the inverse compositional method (Baker and Matthews, IJCV
//! 56:221, 2004) with an affine warp. Where a second place fits as well, the answer is no match: a
//! pattern that repeats must not lead a whole period astray.

use nalgebra::{Matrix3, SMatrix, SVector, Vector3};

use super::Plane;
use super::frame::View;

/// Half side of the patch that is followed, px.
const HALF: i32 = 7;
const SIDE: usize = (2 * HALF + 1) as usize;
const AREA: usize = SIDE * SIDE;
const LANES: usize = 8;
/// Half side of the patch at the rough levels, in their pixels.
const ROUGH_HALF: i32 = 4;
const ROUGH_AREA: usize = ((2 * ROUGH_HALF + 1) * (2 * ROUGH_HALF + 1)) as usize;
/// Least agreement of a match, as a correlation.
const LEAST_AGREEMENT: f32 = 0.80;
/// A second place this close in agreement makes a match doubtful.
const RIVAL: f32 = 0.06;

/// The levels of one frame's luma that patches are followed on.
pub(super) struct Levels {
    pub full: Plane,
    pub half: Plane,
    pub quarter: Plane,
    /// Where the cut stands in the measured picture.
    pub origin: (f64, f64),
    /// Variance of the grain.
    pub noise: f32,
}

impl Levels {
    /// Mixes luma and colour differences by `mix` into the picture that shows most.
    pub fn of(view: &View, mix: [f32; 3]) -> Option<Self> {
        let luma = view.luma.as_ref()?;
        let [cb, cr] = view.chroma.as_ref()?;
        let mut full = luma.clone();
        if mix[1].abs() + mix[2].abs() > 0.05 && cb.width > 2 && cb.height > 2 {
            let colour = smooth_mix(cb, cr, [mix[1], mix[2]]);
            let (w, h) = (cb.width, cb.height);
            for y in 0..full.height {
                // A colour sample's centre lies between two pixels: interpolated, or patches would jump.
                let v = ((y as f32 - 0.5) / 2.0).clamp(0.0, h as f32 - 1.001);
                let fy = v.fract();
                let (above, below) = colour[v as usize * w..][..2 * w].split_at(w);
                for x in 0..full.width {
                    let u = ((x as f32 - 0.5) / 2.0).clamp(0.0, w as f32 - 1.001);
                    let (at, fx) = (u as usize, u.fract());
                    let along = |row: &[f32]| row[at] + (row[at + 1] - row[at]) * fx;
                    let (top, bottom) = (along(above), along(below));
                    let value = mix[0] * (luma.at(x, y) - 128.0) + top + (bottom - top) * fy;
                    full.data[y * luma.width + x] = (value + 128.5).clamp(0.0, 255.0) as u8;
                }
            }
        }
        let half = full.reduced(2);
        // Sampling between pixels blurs by where it falls; what is smooth already is moved by it much less.
        let full = full.smoothed();
        let quarter = half.reduced(2);
        let noise = view.noise * (mix[0] * mix[0]).max(0.25);
        Some(Self { full, half, quarter, noise, origin: (view.origin.0 as f64, view.origin.1 as f64) })
    }
}

/// Mixes colour differences and smooths them a little: they come in coarse steps.
fn smooth_mix(cb: &Plane, cr: &Plane, mix: [f32; 2]) -> Vec<f32> {
    let (w, h) = (cb.width, cb.height);
    let mut mixed: Vec<f32> = cb
        .data
        .iter()
        .zip(&cr.data)
        .map(|(&b, &r)| mix[0] * (f32::from(b) - 128.0) + mix[1] * (f32::from(r) - 128.0))
        .collect();
    let mut across = mixed.clone();
    for (out, row) in across.chunks_exact_mut(w).zip(mixed.chunks_exact(w)) {
        for (out, near) in out[1..w - 1].iter_mut().zip(row.windows(3)) {
            *out = 0.25 * (near[0] + 2.0 * near[1] + near[2]);
        }
    }
    for y in 1..h - 1 {
        for x in 0..w {
            let at = y * w + x;
            mixed[at] = 0.25 * (across[at - w] + 2.0 * across[at] + across[at + w]);
        }
    }
    mixed
}

/// How strong the object's slopes are in luma and colour differences, and together.
fn slopes(views: &[&View]) -> Matrix3<f64> {
    let mut sums = Matrix3::zeros();
    let stride = (views.len() / 5).max(1);
    for view in views.iter().step_by(stride) {
        let (Some(luma), Some([cb, cr])) = (&view.luma, &view.chroma) else { continue };
        let half = luma.reduced(2);
        let (w, h) = (half.width.min(cb.width), half.height.min(cb.height));
        // The outline is left out: it shows the background's colour, not the object's.
        let inset = 12 + w / 10;
        for y in (14..h.saturating_sub(14)).step_by(2) {
            for x in (inset..w.saturating_sub(inset)).step_by(2) {
                let slope = |p: &Plane| f64::from(p.at(x + 1, y) - p.at(x - 1, y));
                let g = Vector3::new(slope(&half), slope(cb), slope(cr));
                sums += g * g.transpose();
            }
        }
    }
    sums
}

/// Finds the mix of luma and colour differences in which the object's slopes are strongest: paints of
/// the same lightness differ in colour alone. The strongest weight is 1.
pub(super) fn strongest_mix(views: &[&View]) -> [f32; 3] {
    let sums = slopes(views);
    let (mix, value) = strongest(sums);
    // Luma is the sharper and less grainy one: it stays unless colour shows much more.
    if value < 1.6 * sums[(0, 0)] { [1.0, 0.0, 0.0] } else { mix }
}

/// The same for colour differences alone: light that is mirrored has no colour of its own.
pub(super) fn strongest_colour(views: &[&View]) -> [f32; 3] {
    let mut sums = slopes(views);
    sums.fill_row(0, 0.0);
    sums.fill_column(0, 0.0);
    strongest(sums).0.map(|v| COLOUR_GAIN * v)
}

/// Colour differences of paints are a fraction of differences in lightness.
const COLOUR_GAIN: f32 = 3.0;

fn strongest(sums: Matrix3<f64>) -> ([f32; 3], f64) {
    let eigen = sums.symmetric_eigen();
    let best = eigen.eigenvalues.imax();
    let v = eigen.eigenvectors.column(best);
    let most = v.amax().max(1e-9);
    ([(v[0] / most) as f32, (v[1] / most) as f32, (v[2] / most) as f32], eigen.eigenvalues[best])
}

/// A change of small offsets from one frame to another, columns of a 2 × 2 matrix by row.
pub(super) type Warp = [[f64; 2]; 2];

/// A patch worth following; its place counts from the cut's first pixel centre.
pub(super) struct Anchor {
    pub x: f32,
    pub y: f32,
    template: [f32; AREA],
    /// Steepest descent images by pixel; two more lanes, always 0, let them be summed eight at a time.
    descent: Box<[[f32; LANES]; AREA]>,
    inverse: SMatrix<f32, 6, 6>,
    spread: f32,
}

/// Where a patch was found.
#[derive(Debug, Clone, Copy)]
pub(super) struct Found {
    pub x: f32,
    pub y: f32,
    pub agreement: f32,
}

/// What became of looking for a patch.
pub(super) enum Outcome {
    Found(Found),
    /// Several places fit as well.
    Doubtful,
    Lost,
}

/// Picks places with structure in both directions, spread over the object; `limits` gives the left and
/// right end allowed in each row of the cut.
pub(super) fn pick(
    levels: &Levels,
    limits: &dyn Fn(usize) -> Option<(f32, f32)>,
    most: usize,
) -> Vec<Anchor> {
    let half = &levels.half;
    let (w, h) = (half.width, half.height);
    if w < 24 || h < 24 {
        return Vec::new();
    }
    let cell = ((w * h) as f32 / (most as f32 * 1.6)).sqrt().clamp(7.0, 24.0) as usize;
    let mut found: Vec<(f32, usize, usize)> = Vec::new();
    // Structure from slopes at half size, summed over 7 × 7.
    let mut xx = vec![0_i32; w * h];
    let mut xy = vec![0_i32; w * h];
    let mut yy = vec![0_i32; w * h];
    for y in 1..h - 1 {
        let (above, here, below) = (half.row(y - 1), half.row(y), half.row(y + 1));
        for x in 1..w - 1 {
            let gx = i32::from(here[x + 1]) - i32::from(here[x - 1]);
            let gy = i32::from(below[x]) - i32::from(above[x]);
            xx[y * w + x] = gx * gx;
            xy[y * w + x] = gx * gy;
            yy[y * w + x] = gy * gy;
        }
    }
    let (xx, xy, yy) = (box_sum(&xx, w, h), box_sum(&xy, w, h), box_sum(&yy, w, h));
    let score = |x: usize, y: usize| {
        let at = y * w + x;
        let (a, b, c) = (xx[at] as f32, xy[at] as f32, yy[at] as f32);
        // What counts is how well a move along the turn shows: the slope across with the part
        // explained by the slope upright taken out.
        let lesser = 0.5 * (a + c - ((a - c) * (a - c) + 4.0 * b * b).sqrt());
        lesser / 49.0
    };
    for cy in (6..h.saturating_sub(6)).step_by(cell) {
        for cx in (6..w.saturating_sub(6)).step_by(cell) {
            let mut best = (0.0, 0, 0);
            for y in cy..(cy + cell).min(h - 6) {
                let Some((l, r)) = limits(2 * y) else { continue };
                for x in cx.max((l / 2.0).max(0.0) as usize)
                    ..(cx + cell).min(w - 6).min((r / 2.0).max(0.0) as usize)
                {
                    let s = score(x, y);
                    if s > best.0 {
                        best = (s, x, y);
                    }
                }
            }
            // Structure must stand well above what grain alone shows.
            if best.0 > 15.0_f32.max(5.0 * levels.noise) {
                found.push(best);
            }
        }
    }
    found.sort_by(|a, b| b.0.total_cmp(&a.0));
    found.truncate(most);
    found
        .into_iter()
        .filter_map(|(_, x, y)| Anchor::at(&levels.full, (2 * x) as f32 + 0.5, (2 * y) as f32 + 0.5))
        .collect()
}

fn box_sum(values: &[i32], w: usize, h: usize) -> Vec<i32> {
    let mut across = vec![0; w * h];
    for y in 0..h {
        let row = &values[y * w..(y + 1) * w];
        let mut sum: i32 = row[..7.min(w)].iter().sum();
        for x in 3..w.saturating_sub(4) {
            across[y * w + x] = sum;
            sum += row[x + 4] - row[x - 3];
        }
    }
    let mut out = vec![0; w * h];
    let mut sums: Vec<i32> = (0..w).map(|x| (0..7.min(h)).map(|y| across[y * w + x]).sum()).collect();
    for y in 3..h.saturating_sub(4) {
        for x in 0..w {
            out[y * w + x] = sums[x];
            sums[x] += across[(y + 4) * w + x] - across[(y - 3) * w + x];
        }
    }
    out
}

impl Anchor {
    fn at(plane: &Plane, x: f32, y: f32) -> Option<Self> {
        let room = HALF as f32 + 3.0;
        if x < room || y < room || x + room >= plane.width as f32 || y + room >= plane.height as f32 {
            return None;
        }
        let mut template = [0.0; AREA];
        let mut descent = Box::new([[0.0; LANES]; AREA]);
        let mut hessian = SMatrix::<f32, 6, 6>::zeros();
        let mut i = 0;
        let mut sum = 0.0;
        for dy in -HALF..=HALF {
            for dx in -HALF..=HALF {
                let (px, py) = (x + dx as f32, y + dy as f32);
                let v = plane.between(px, py);
                template[i] = v;
                sum += v;
                let gx = (plane.between(px + 1.0, py) - plane.between(px - 1.0, py)) / 2.0;
                let gy = (plane.between(px, py + 1.0) - plane.between(px, py - 1.0)) / 2.0;
                let (dx, dy) = (dx as f32, dy as f32);
                descent[i] = [gx, gy, gx * dx, gx * dy, gy * dx, gy * dy, 0.0, 0.0];
                i += 1;
            }
        }
        let mean = sum / AREA as f32;
        let mut squares = 0.0;
        for v in &mut template {
            *v -= mean;
            squares += *v * *v;
        }
        let spread = (squares / AREA as f32).sqrt();
        if spread < 1.5 {
            return None;
        }
        // Brightness, its slopes across the patch and contrast are free: light that stays while the
        // object turns must not pull. Their part is taken out of the descent images, against a
        // basis made orthogonal: 1, x, y, then the rest of the template.
        let mut rest = template;
        let lever = (-HALF..=HALF).map(|d| (d * d) as f32).sum::<f32>() * SIDE as f32;
        let slopes = planar(&rest);
        take_plane(&mut rest, slopes, lever);
        let squares = rest.iter().map(|v| v * v).sum::<f32>().max(1e-3);
        for k in 0..6 {
            let mut image = [0.0_f32; AREA];
            for (v, d) in image.iter_mut().zip(descent.iter()) {
                *v = d[k];
            }
            let plane = planar(&image);
            take_plane(&mut image, plane, lever);
            let dot: f32 = image.iter().zip(&rest).map(|(a, b)| a * b).sum::<f32>() / squares;
            for ((d, v), r) in descent.iter_mut().zip(&image).zip(&rest) {
                d[k] = v - dot * r;
            }
        }
        for d in descent.iter() {
            for a in 0..6 {
                for b in a..6 {
                    hessian[(a, b)] += d[a] * d[b];
                }
            }
        }
        for a in 0..6 {
            for b in 0..a {
                hessian[(a, b)] = hessian[(b, a)];
            }
        }
        // A little stiffness keeps the shape of poorly structured patches.
        for k in 0..6 {
            hessian[(k, k)] += if k < 2 { 1e-3 } else { 40.0 * AREA as f32 };
        }
        let inverse = hessian.cholesky()?.inverse();
        Some(Self { x, y, template, descent, inverse, spread })
    }

    /// Looks for the patch in another frame about a predicted place, within a window of half sides
    /// `reach` px; `source` is the frame the patch comes from.
    pub fn search(
        &self,
        source: &Levels,
        target: &Levels,
        predicted: (f32, f32),
        warp: &Warp,
        reach: (f32, f32),
    ) -> Outcome {
        let coarse = reach.0 > 14.0 || reach.1 > 14.0;
        let mut at = predicted;
        let mut window = reach;
        if coarse {
            match rough(&source.quarter, &target.quarter, 4.0, (self.x, self.y), at, warp, window, true) {
                Outcome::Found(f) => at = (f.x, f.y),
                other => return other,
            }
            window = (5.0, 5.0);
        }
        match rough(&source.half, &target.half, 2.0, (self.x, self.y), at, warp, window, !coarse) {
            Outcome::Found(f) => self.refine(&target.full, (f.x, f.y), warp, 3.5),
            other => other,
        }
    }

    /// Settles the patch near a place; it may move at most `most` px.
    pub fn refine(&self, plane: &Plane, start: (f32, f32), warp: &Warp, most: f32) -> Outcome {
        let mut a = warp.map(|r| r.map(|v| v as f32));
        let mut t = start;
        let mut sample = [0.0_f32; AREA];
        let (right, bottom) = (plane.width as f32 - 2.0, plane.height as f32 - 2.0);
        let mut agreement = 0.0;
        for round in 0..9 {
            // The corners say whether the patch stays inside.
            let span_x = (a[0][0].abs() + a[0][1].abs()) * HALF as f32;
            let span_y = (a[1][0].abs() + a[1][1].abs()) * HALF as f32;
            if t.0 - span_x < 1.0 || t.1 - span_y < 1.0 || t.0 + span_x > right || t.1 + span_y > bottom {
                return Outcome::Lost;
            }
            let mut i = 0;
            let mut sum = 0.0;
            for dy in -HALF..=HALF {
                let (mut px, mut py) = (
                    t.0 + a[0][0] * -HALF as f32 + a[0][1] * dy as f32,
                    t.1 + a[1][0] * -HALF as f32 + a[1][1] * dy as f32,
                );
                for _ in 0..SIDE {
                    let v = plane.between(px, py);
                    sample[i] = v;
                    sum += v;
                    i += 1;
                    px += a[0][0];
                    py += a[1][0];
                }
            }
            let mean = sum / AREA as f32;
            let (mut squares, mut cross) = (0.0, 0.0);
            for (v, w) in sample.iter_mut().zip(&self.template) {
                *v -= mean;
                squares += *v * *v;
                cross += *v * w;
            }
            let spread = (squares / AREA as f32).sqrt();
            if spread < 0.8 {
                return Outcome::Lost;
            }
            agreement = cross / (AREA as f32 * spread * self.spread);
            if round >= 2 && agreement < 0.45 {
                return Outcome::Lost;
            }
            let gain = self.spread / spread;
            let mut b = [0.0_f32; LANES];
            for ((d, v), w) in self.descent.iter().zip(&sample).zip(&self.template) {
                let e = v * gain - w;
                for (sum, d) in b.iter_mut().zip(d) {
                    *sum += d * e;
                }
            }
            let p = self.inverse * SVector::<f32, 6>::from_column_slice(&b[..6]);
            // Compose with the inverse of the small warp.
            let m = [[1.0 + p[2], p[3]], [p[4], 1.0 + p[5]]];
            let det = m[0][0] * m[1][1] - m[0][1] * m[1][0];
            if !(0.4..2.5).contains(&det) {
                return Outcome::Lost;
            }
            let n = [[m[1][1] / det, -m[0][1] / det], [-m[1][0] / det, m[0][0] / det]];
            let back = [-(n[0][0] * p[0] + n[0][1] * p[1]), -(n[1][0] * p[0] + n[1][1] * p[1])];
            t.0 += a[0][0] * back[0] + a[0][1] * back[1];
            t.1 += a[1][0] * back[0] + a[1][1] * back[1];
            a = [
                [a[0][0] * n[0][0] + a[0][1] * n[1][0], a[0][0] * n[0][1] + a[0][1] * n[1][1]],
                [a[1][0] * n[0][0] + a[1][1] * n[1][0], a[1][0] * n[0][1] + a[1][1] * n[1][1]],
            ];
            let moved = (t.0 - start.0).hypot(t.1 - start.1);
            if moved.is_nan() || moved > most {
                return Outcome::Lost;
            }
            if p[0].abs() < 0.008 && p[1].abs() < 0.008 && round >= 2 {
                break;
            }
        }
        let bent = (0..2).any(|r| (0..2).any(|c| (f64::from(a[r][c]) - warp[r][c]).abs() > 0.35));
        if agreement < LEAST_AGREEMENT || bent {
            return Outcome::Lost;
        }
        Outcome::Found(Found { x: t.0, y: t.1, agreement })
    }
}

/// Sums of a patch, and of it times the offset across and down.
fn planar(patch: &[f32; AREA]) -> [f32; 3] {
    let mut sums = [0.0; 3];
    let mut i = 0;
    for dy in -HALF..=HALF {
        for dx in -HALF..=HALF {
            sums[0] += patch[i];
            sums[1] += patch[i] * dx as f32;
            sums[2] += patch[i] * dy as f32;
            i += 1;
        }
    }
    sums
}

/// Takes the best plane out of a patch.
fn take_plane(patch: &mut [f32; AREA], sums: [f32; 3], lever: f32) {
    let mut i = 0;
    for dy in -HALF..=HALF {
        for dx in -HALF..=HALF {
            patch[i] -= sums[0] / AREA as f32 + (sums[1] * dx as f32 + sums[2] * dy as f32) / lever;
            i += 1;
        }
    }
}

/// Correlates over a window at a reduced level; places are in full pixels of the cut.
#[allow(clippy::too_many_arguments)]
fn rough(
    source: &Plane,
    target: &Plane,
    level: f32,
    from: (f32, f32),
    to: (f32, f32),
    warp: &Warp,
    reach: (f32, f32),
    judge_rivals: bool,
) -> Outcome {
    // Centres of the first pixels differ by half of what a level adds.
    let down = |v: f32| (v + 0.5) / level - 0.5;
    let up = |v: f32| (v + 0.5) * level - 0.5;
    let (fx, fy) = (down(from.0), down(from.1));
    let (tx, ty) = (down(to.0).round() as i32, down(to.1).round() as i32);
    // The template as it should look in the target.
    let det = warp[0][0] * warp[1][1] - warp[0][1] * warp[1][0];
    if det.abs() < 0.05 {
        return Outcome::Lost;
    }
    let back = [
        [(warp[1][1] / det) as f32, (-warp[0][1] / det) as f32],
        [(-warp[1][0] / det) as f32, (warp[0][0] / det) as f32],
    ];
    let mut template = [0.0_f32; ROUGH_AREA];
    let mut i = 0;
    for dy in -ROUGH_HALF..=ROUGH_HALF {
        for dx in -ROUGH_HALF..=ROUGH_HALF {
            let (dx, dy) = (dx as f32, dy as f32);
            let x = (fx + back[0][0] * dx + back[0][1] * dy).clamp(0.0, source.width as f32 - 2.0);
            let y = (fy + back[1][0] * dx + back[1][1] * dy).clamp(0.0, source.height as f32 - 2.0);
            template[i] = source.between(x, y);
            i += 1;
        }
    }
    let mean = template.iter().sum::<f32>() / ROUGH_AREA as f32;
    for v in &mut template {
        *v -= mean;
    }
    let energy: f32 = template.iter().map(|v| v * v).sum();
    if energy < ROUGH_AREA as f32 {
        return Outcome::Lost;
    }
    let (rx, ry) = ((reach.0 / level).ceil() as i32, (reach.1 / level).ceil() as i32);
    let room = ROUGH_HALF;
    let (x0, x1) = ((tx - rx).max(room), (tx + rx).min(target.width as i32 - 1 - room));
    let (y0, y1) = ((ty - ry).max(room), (ty + ry).min(target.height as i32 - 1 - room));
    if x1 < x0 || y1 < y0 {
        return Outcome::Lost;
    }
    let columns = (x1 - x0 + 1) as usize;
    let mut scores = Vec::with_capacity(columns * (y1 - y0 + 1) as usize);
    for y in y0..=y1 {
        for x in x0..=x1 {
            let (mut sum, mut squares, mut cross) = (0.0_f32, 0.0_f32, 0.0_f32);
            let mut i = 0;
            for dy in -ROUGH_HALF..=ROUGH_HALF {
                let start = (y + dy) as usize * target.width + (x - ROUGH_HALF) as usize;
                for &v in &target.data[start..start + (2 * ROUGH_HALF + 1) as usize] {
                    let v = f32::from(v);
                    sum += v;
                    squares += v * v;
                    cross += v * template[i];
                    i += 1;
                }
            }
            let variance = squares - sum * sum / ROUGH_AREA as f32;
            scores.push(if variance > 1.0 { cross / (variance * energy).sqrt() } else { -1.0 });
        }
    }
    let Some(best) = scores.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1)).map(|(i, &s)| (i, s)) else {
        return Outcome::Lost;
    };
    if best.1 < 0.6 {
        return Outcome::Lost;
    }
    let (bx, by) = ((best.0 % columns) as i32, (best.0 / columns) as i32);
    if judge_rivals {
        let rival = scores.iter().enumerate().any(|(i, &s)| {
            let (x, y) = ((i % columns) as i32, (i / columns) as i32);
            let apart = (x - bx).abs() > 3 || (y - by).abs() > 3;
            // Along an edge agreement falls slowly: only a peak of its own is a second place.
            let lower = |dx: i32, dy: i32| {
                let (x, y) = (x + dx, y + dy);
                let inside = x >= 0 && y >= 0 && (x as usize) < columns;
                let at = y * columns as i32 + x;
                !inside || scores.get(at as usize).is_none_or(|other| *other <= s)
            };
            apart && s > best.1 - RIVAL && (-1..=1).all(|dy| (-1..=1).all(|dx| lower(dx, dy)))
        });
        if rival {
            return Outcome::Doubtful;
        }
    }
    Outcome::Found(Found { x: up((x0 + bx) as f32), y: up((y0 + by) as f32), agreement: best.1 })
}
