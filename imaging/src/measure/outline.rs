//! The object's left and right outline, row by row, to a fraction of a pixel.
//!
//! The outermost *sharp* gradient peak is taken, never a brightness threshold: a soft shadow
//! shifts a threshold by pixels, but its gradient is low.

use super::backdrop::{Backdrop, middle};

/// The outline in pixels of the measured picture; positions count from its left border, the
/// first pixel's centre is 0.5.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Outline {
    /// First row with an edge.
    pub first_row: usize,
    /// For each row from there: left and right edge.
    pub rows: Vec<Option<(f32, f32)>>,
}

impl Outline {
    /// Returns rows that have both edges, as (row centre, left, right).
    pub fn edges(&self) -> impl Iterator<Item = (f32, f32, f32)> {
        self.rows
            .iter()
            .enumerate()
            .filter_map(|(i, e)| e.map(|(l, r)| ((self.first_row + i) as f32 + 0.5, l, r)))
    }

    /// Returns the box round the outline as (left, top, right, bottom), in whole pixels.
    pub fn bounds(&self) -> Option<(usize, usize, usize, usize)> {
        let mut found: Option<(f32, f32, f32, f32)> = None;
        for (y, l, r) in self.edges() {
            let (a, b, c, d) = found.unwrap_or((l, y, r, y));
            found = Some((a.min(l), b.min(y), c.max(r), d.max(y)));
        }
        found.map(|(a, b, c, d)| (a.max(0.0) as usize, b as usize, c.ceil() as usize, d.ceil() as usize))
    }
}

/// A small RGB picture made by averaging blocks of the measured one.
pub(super) struct Small {
    pub width: usize,
    pub height: usize,
    /// Side of a block in pixels of the measured picture.
    pub block: usize,
    /// 8-bit codes.
    pub coded: Vec<[f32; 3]>,
    /// Linear light, 0 to 1.
    pub linear: Vec<[f32; 3]>,
}

/// Finds the outline.
pub(super) fn find(rgb: &[u8], width: usize, height: usize, small: &Small, backdrop: &Backdrop) -> Outline {
    let mut coarse = coarse_rows(small, backdrop, SHARP);
    let length = |rows: &[_]| longest_run(rows).map_or(0, |(first, last)| last - first + 1);
    if length(&coarse) * 8 < small.height {
        // A frame smeared or out of focus has next to no sharp edge, but it has an object.
        let soft = coarse_rows(small, backdrop, SOFT);
        if length(&soft) > 2 * length(&coarse) {
            coarse = soft;
        }
    }
    let Some((first, last)) = longest_run(&coarse) else { return Outline::default() };
    let block = small.block;
    let mut rows = Vec::with_capacity((last - first + 1) * block);
    for y in first * block..((last + 1) * block).min(height) {
        // The coarse rows round this one say where to look.
        let s = (y / block).min(coarse.len() - 1);
        let near: Vec<(usize, usize)> = [s.saturating_sub(1), s, (s + 1).min(coarse.len() - 1)]
            .iter()
            .filter_map(|&i| coarse[i])
            .collect();
        if near.is_empty() || coarse[s].is_none() {
            rows.push(None);
            continue;
        }
        let left = (near.iter().map(|n| n.0).min().unwrap_or(0), near.iter().map(|n| n.0).max().unwrap_or(0));
        let right =
            (near.iter().map(|n| n.1).min().unwrap_or(0), near.iter().map(|n| n.1).max().unwrap_or(0));
        // A flat rim moves far from row to row; a band that wide is no edge to measure.
        if left.1 - left.0 > 12 || right.1 - right.0 > 12 {
            rows.push(None);
            continue;
        }
        // A smeared edge reaches further inwards than a sharp one.
        let edge = |from: usize, to: usize, is_left: bool| {
            fine_edge(rgb, width, height, y, from, to, is_left).or_else(|| {
                let (from, to) = if is_left { (from, to + SMEAR) } else { (from.saturating_sub(SMEAR), to) };
                fine_edge(rgb, width, height, y, from, to, is_left)
            })
        };
        let l = edge(left.0 * block, (left.1 + 1) * block, true);
        let r = edge(right.0 * block, (right.1 + 1) * block, false);
        rows.push(l.zip(r).filter(|(l, r)| r - l > 2.0));
    }
    let mut outline = Outline { first_row: first * block, rows };
    drop_jumps(&mut outline);
    outline
}

fn difference(a: [f32; 3], b: [f32; 3]) -> f32 {
    (0..3).map(|c| (a[c] - b[c]).abs()).fold(0.0, f32::max)
}

/// How far inwards a smeared edge is looked for when a sharp one is not found, px.
const SMEAR: usize = 12;

/// How much steeper than its surroundings an edge is, on the small picture.
const SHARP: f32 = 2.2;
const SOFT: f32 = 1.1;

/// For each row of the small picture, the columns of its outermost strong gradients.
fn coarse_rows(small: &Small, backdrop: &Backdrop, sharp: f32) -> Vec<Option<(usize, usize)>> {
    let (w, h) = (small.width, small.height);
    if w < 8 || h < 4 {
        return vec![None; h];
    }
    let gradient = |x: usize, y: usize| difference(small.coded[y * w + x + 1], small.coded[y * w + x - 1]);
    let strongest: Vec<f32> =
        (0..h).map(|y| (1..w - 1).map(|x| gradient(x, y)).fold(0.0, f32::max)).collect();
    let mut sorted = strongest.clone();
    sorted.sort_by(f32::total_cmp);
    let high = sorted[(h - 1) * 9 / 10];
    let low = (high * 0.16).max(4.0 + 4.0 * backdrop.roughness.min(6.0));
    // The object differs from the background just inside its edge, sharply.
    let is_edge = |x: usize, y: usize, inward: isize| {
        if gradient(x, y) < low {
            return false;
        }
        // A soft shadow keeps rising over many pixels; an edge is over in two.
        let at = |d: isize| {
            let x = (x as isize + d).clamp(0, w as isize - 1) as usize;
            small.coded[y * w + x]
        };
        let across = difference(at(2 * inward), at(-2 * inward));
        let wide = difference(at(-2 * inward), at(-6 * inward));
        let off = difference(at(2 * inward), backdrop.coded_at(x as f32, y as f32));
        across > sharp * wide && off > low
    };
    (0..h)
        .map(|y| {
            if strongest[y] < low {
                return None;
            }
            let left = (2..w - 2).find(|&x| is_edge(x, y, 1))?;
            let right = (2..w - 2).rev().find(|&x| is_edge(x, y, -1))?;
            (right > left + 1).then_some((left, right))
        })
        .collect()
}

/// The longest run of rows with an edge; short gaps are bridged.
fn longest_run(rows: &[Option<(usize, usize)>]) -> Option<(usize, usize)> {
    let mut best: Option<(usize, usize)> = None;
    let mut open: Option<(usize, usize)> = None;
    for (y, row) in rows.iter().enumerate() {
        if row.is_none() {
            continue;
        }
        open = match open {
            Some((start, end)) if y - end <= 3 => Some((start, y)),
            _ => Some((y, y)),
        };
        if let Some((start, end)) = open
            && best.is_none_or(|(s, e)| end - start > e - s)
        {
            best = Some((start, end));
        }
    }
    best.filter(|(s, e)| e - s >= 3)
}

/// Finds the outermost sharp gradient peak between two columns of one row.
fn fine_edge(
    rgb: &[u8],
    width: usize,
    height: usize,
    y: usize,
    from: usize,
    to: usize,
    left: bool,
) -> Option<f32> {
    let (lo, hi) = (from.saturating_sub(5), (to + 5).min(width));
    if hi < lo + 7 || y == 0 || y + 1 >= height {
        return None;
    }
    // Lightly smoothed along the edge, so that noise does not move it.
    let value = |x: usize, c: usize| {
        let at = |y: usize| f32::from(rgb[(y * width + x) * 3 + c]);
        0.25 * at(y - 1) + 0.5 * at(y) + 0.25 * at(y + 1)
    };
    let n = hi - lo;
    let mut strength = vec![0.0_f32; n];
    // The smallest sampling of a Gaussian's slope that is odd and smooth: (1, 2, 0, −2, −1) / 8.
    for x in 2..n - 2 {
        let at = lo + x;
        let mut sum = 0.0;
        for c in 0..3 {
            let g = (value(at + 2, c) - value(at - 2, c)) + 2.0 * (value(at + 1, c) - value(at - 1, c));
            sum += g * g;
        }
        strength[x] = sum.sqrt() / 8.0;
    }
    let strongest = strength.iter().copied().fold(0.0, f32::max);
    if strongest < 1.5 {
        return None;
    }
    let enough = strongest * 0.4;
    let is_peak =
        |x: usize| strength[x] >= enough && strength[x] >= strength[x - 1] && strength[x] >= strength[x + 1];
    let peak = if left { (3..n - 3).find(|&x| is_peak(x)) } else { (3..n - 3).rev().find(|&x| is_peak(x)) }?;
    // The middle of the peak's mass is steadier than a parabola through three samples.
    let (mut mass, mut moment) = (0.0, 0.0);
    let floor = strength[peak] * 0.3;
    for x in peak - 2..=peak + 2 {
        let m = (strength[x] - floor).max(0.0);
        mass += m;
        moment += m * x as f32;
    }
    (mass > 0.0).then(|| lo as f32 + moment / mass + 0.5)
}

/// Takes out rows whose edge jumps away from the rows about it.
fn drop_jumps(outline: &mut Outline) {
    let rows = &outline.rows;
    let n = rows.len();
    let keep: Vec<bool> = (0..n)
        .map(|i| {
            let Some((l, r)) = rows[i] else { return false };
            let near = &rows[i.saturating_sub(6)..(i + 7).min(n)];
            let mut lefts: Vec<f32> = near.iter().flatten().map(|e| e.0).collect();
            let mut rights: Vec<f32> = near.iter().flatten().map(|e| e.1).collect();
            lefts.len() >= 5
                && (middle(&mut lefts) - l).abs() < 14.0
                && (middle(&mut rights) - r).abs() < 14.0
        })
        .collect();
    for (row, keep) in outline.rows.iter_mut().zip(keep) {
        if !keep {
            *row = None;
        }
    }
}
