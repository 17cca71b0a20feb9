//! Small tools on marks laid out in rows: flooding, eroding, parts, averages.

use std::cmp::Reverse;
use std::collections::{BinaryHeap, VecDeque};

/// What a place is known to be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Mark {
    Open,
    Background,
    Object,
}

/// Calls `visit` with each of the four neighbours' numbers.
#[inline]
pub(in crate::finish) fn neighbours(i: usize, width: usize, height: usize, mut visit: impl FnMut(usize)) {
    let (x, y) = (i % width, i / width);
    if x > 0 {
        visit(i - 1);
    }
    if x + 1 < width {
        visit(i + 1);
    }
    if y > 0 {
        visit(i - width);
    }
    if y + 1 < height {
        visit(i + width);
    }
}

/// Finds what is reached from the border through open places.
pub(super) fn from_border(open: &[bool], width: usize, height: usize) -> Vec<bool> {
    let is_border = |i: usize| {
        let (x, y) = (i % width, i / width);
        x == 0 || y == 0 || x + 1 == width || y + 1 == height
    };
    reached(|i| open[i] && is_border(i), open, width, height)
}

/// Finds what is reached from where it starts through open places.
pub(in crate::finish) fn reached(
    starts: impl Fn(usize) -> bool,
    open: &[bool],
    width: usize,
    height: usize,
) -> Vec<bool> {
    let mut reached: Vec<bool> = (0..open.len()).map(starts).collect();
    let mut queue: VecDeque<usize> = (0..open.len()).filter(|i| reached[*i]).collect();
    while let Some(i) = queue.pop_front() {
        neighbours(i, width, height, |j| {
            if open[j] && !reached[j] {
                reached[j] = true;
                queue.push_back(j);
            }
        });
    }
    reached
}

/// Takes `rounds` layers off.
pub(in crate::finish) fn eroded(marks: &[bool], width: usize, height: usize, rounds: usize) -> Vec<bool> {
    let mut now = marks.to_vec();
    let mut next = now.clone();
    for _ in 0..rounds {
        for y in 0..height {
            let row = |y: usize| &now[y * width..(y + 1) * width];
            // Beyond the border there is nothing to take a layer off.
            let (above, here, below) = (row(y.saturating_sub(1)), row(y), row((y + 1).min(height - 1)));
            let out = &mut next[y * width..(y + 1) * width];
            for (((to, a), h), b) in out.iter_mut().zip(above).zip(here).zip(below) {
                *to = *a && *h && *b;
            }
            for (to, left) in out[1..].iter_mut().zip(here) {
                *to &= *left;
            }
            for (to, right) in out.iter_mut().zip(&here[1..]) {
                *to &= *right;
            }
        }
        std::mem::swap(&mut now, &mut next);
    }
    now
}

/// Lays `rounds` layers on.
pub(in crate::finish) fn grown(marks: &[bool], width: usize, height: usize, rounds: usize) -> Vec<bool> {
    let others: Vec<bool> = marks.iter().map(|m| !m).collect();
    eroded(&others, width, height, rounds).iter().map(|m| !m).collect()
}

/// Fills what is narrower than twice `rounds` (a morphological closing, as in any handbook).
pub(in crate::finish) fn closed(marks: &[bool], width: usize, height: usize, rounds: usize) -> Vec<bool> {
    eroded(&grown(marks, width, height, rounds), width, height, rounds)
}

/// Takes away what is narrower than twice `rounds` (a morphological opening).
pub(in crate::finish) fn opened(marks: &[bool], width: usize, height: usize, rounds: usize) -> Vec<bool> {
    grown(&eroded(marks, width, height, rounds), width, height, rounds)
}

/// Keeps places that most of their nine neighbours (themselves included) agree with.
pub(super) fn agreed(marks: &[bool], width: usize, height: usize) -> Vec<bool> {
    averaged(&shares(marks), width, height, 1).iter().zip(marks).map(|(v, m)| *m && *v > 0.7).collect()
}

/// Numbers connected parts from 1 (0 is none); gives the size of each.
fn parts(marks: &[bool], width: usize, height: usize) -> (Vec<u32>, Vec<usize>) {
    let mut number = vec![0_u32; marks.len()];
    let mut sizes = vec![0_usize];
    let mut queue = VecDeque::new();
    for start in 0..marks.len() {
        if !marks[start] || number[start] != 0 {
            continue;
        }
        let mine = sizes.len() as u32;
        sizes.push(0);
        number[start] = mine;
        queue.push_back(start);
        while let Some(i) = queue.pop_front() {
            sizes[mine as usize] += 1;
            neighbours(i, width, height, |j| {
                if marks[j] && number[j] == 0 {
                    number[j] = mine;
                    queue.push_back(j);
                }
            });
        }
    }
    (number, sizes)
}

/// Where a connected part lies: its outermost columns and rows.
#[derive(Debug, Clone, Copy)]
pub(super) struct Extent {
    pub left: usize,
    pub right: usize,
    pub top: usize,
    pub bottom: usize,
}

/// Tells where each connected part lies.
pub(super) fn extents(marks: &[bool], width: usize, height: usize) -> Vec<Extent> {
    let (number, sizes) = parts(marks, width, height);
    let nowhere = Extent { left: width, right: 0, top: height, bottom: 0 };
    let mut found = vec![nowhere; sizes.len()];
    for (i, n) in number.iter().enumerate().filter(|(_, n)| **n > 0) {
        let (x, y) = (i % width, i / width);
        let part = &mut found[*n as usize];
        part.left = part.left.min(x);
        part.right = part.right.max(x);
        part.top = part.top.min(y);
        part.bottom = part.bottom.max(y);
    }
    found.split_off(1)
}

/// Keeps connected parts of at least `least` places.
pub(super) fn large_parts(marks: &[bool], width: usize, height: usize, least: usize) -> Vec<bool> {
    let (number, sizes) = parts(marks, width, height);
    number.iter().map(|n| *n > 0 && sizes[*n as usize] >= least).collect()
}

/// Keeps the object's largest part and what is at least a fiftieth of it; fills holes.
///
/// An outline is closed: what it shuts off from the border belongs to the object, unless it is a gap that the
/// background is seen through, as that of a handle. Such a gap is for its larger part `plain`, as light as the
/// background, and thick; a painted line or a highlight is thin, and a shaded place is not plain.
pub(super) fn keep_main_parts(object: &mut [u8], plain: &[bool], width: usize, height: usize) {
    let marks: Vec<bool> = object.iter().map(|v| *v == 1).collect();
    let (number, sizes) = parts(&marks, width, height);
    let largest = sizes.iter().copied().max().unwrap_or(0);
    let ground: Vec<bool> = number.iter().map(|n| *n == 0 || sizes[*n as usize] * 50 < largest).collect();
    let outside = from_border(&ground, width, height);
    let holes: Vec<bool> = ground.iter().zip(&outside).map(|(g, o)| *g && !o).collect();
    let (hole, hole_sizes) = parts(&holes, width, height);
    let thick = eroded(&holes, width, height, (largest as f32).sqrt() as usize / 90 + 2);
    let mut plain_sizes = vec![0_usize; hole_sizes.len()];
    let mut is_thick = vec![false; hole_sizes.len()];
    for (i, n) in hole.iter().enumerate() {
        plain_sizes[*n as usize] += usize::from(plain[i]);
        is_thick[*n as usize] |= thick[i];
    }
    for (i, value) in object.iter_mut().enumerate() {
        let n = hole[i] as usize;
        let gap = is_thick[n] && plain_sizes[n] * 2 > hole_sizes[n] && hole_sizes[n] * 1500 >= largest;
        let background = outside[i] || (holes[i] && gap);
        *value = u8::from(!background);
    }
}

/// Grows the marks along the least edges until they meet; gives 1 for the object.
pub(super) fn watershed(mut marks: Vec<Mark>, gradient: &[f32], width: usize, height: usize) -> Vec<u8> {
    // Steps this fine order edges well enough; the number of arrival keeps both sides in step.
    let level = |i: usize| (gradient[i] * 4096.0) as u32;
    let mut queue = BinaryHeap::new();
    let mut arrival = 0_u32;
    let push =
        |queue: &mut BinaryHeap<Reverse<(u32, u32, usize)>>, arrival: &mut u32, floor: u32, j: usize| {
            queue.push(Reverse((level(j).max(floor), *arrival, j)));
            *arrival += 1;
        };
    for i in 0..marks.len() {
        if marks[i] != Mark::Open {
            let mut edge = false;
            neighbours(i, width, height, |j| edge |= marks[j] == Mark::Open);
            if edge {
                push(&mut queue, &mut arrival, 0, i);
            }
        }
    }
    while let Some(Reverse((floor, _, i))) = queue.pop() {
        let mark = marks[i];
        neighbours(i, width, height, |j| {
            if marks[j] == Mark::Open {
                marks[j] = mark;
                push(&mut queue, &mut arrival, floor, j);
            }
        });
    }
    marks.iter().map(|m| u8::from(*m == Mark::Object)).collect()
}

/// 1 where marked, 0 elsewhere.
pub(in crate::finish) fn shares(marks: &[bool]) -> Vec<f32> {
    marks.iter().map(|m| f32::from(u8::from(*m))).collect()
}

/// Averages over a square of `radius` on each side.
pub(in crate::finish) fn averaged(values: &[f32], width: usize, height: usize, radius: usize) -> Vec<f32> {
    let mut across = vec![0.0_f32; values.len()];
    let mut sums = vec![0.0_f64; width + 1];
    for (line, out) in values.chunks_exact(width).zip(across.chunks_exact_mut(width)) {
        for (i, value) in line.iter().enumerate() {
            sums[i + 1] = sums[i] + f64::from(*value);
        }
        for (i, to) in out.iter_mut().enumerate() {
            let (low, high) = (i.saturating_sub(radius), (i + radius + 1).min(width));
            *to = ((sums[high] - sums[low]) / (high - low) as f64) as f32;
        }
    }
    // Down the columns all at once: a row comes in below, one goes out above.
    let mut out = vec![0.0_f32; values.len()];
    let mut sums = vec![0.0_f64; width];
    let (mut low, mut high) = (0, 0);
    for y in 0..height {
        let (first, end) = (y.saturating_sub(radius), (y + radius + 1).min(height));
        while high < end {
            for (sum, value) in sums.iter_mut().zip(&across[high * width..(high + 1) * width]) {
                *sum += f64::from(*value);
            }
            high += 1;
        }
        while low < first {
            for (sum, value) in sums.iter_mut().zip(&across[low * width..(low + 1) * width]) {
                *sum -= f64::from(*value);
            }
            low += 1;
        }
        let each = 1.0 / (end - first) as f64;
        for (to, sum) in out[y * width..(y + 1) * width].iter_mut().zip(&sums) {
            *to = (sum * each) as f32;
        }
    }
    out
}

/// Averages colours over a square, counting only places with a weight; gives the colours and the weight
/// found there.
pub(in crate::finish) fn spread(
    colours: &[[f32; 3]],
    weights: &[f32],
    width: usize,
    height: usize,
    radius: usize,
) -> (Vec<[f32; 3]>, Vec<f32>) {
    let weight = averaged(weights, width, height, radius);
    let channels = [0, 1, 2].map(|c| {
        let values: Vec<f32> = colours.iter().zip(weights).map(|(p, w)| p[c] * w).collect();
        averaged(&values, width, height, radius)
    });
    let out = (0..colours.len())
        .map(|i| if weight[i] > 1e-6 { [0, 1, 2].map(|c| channels[c][i] / weight[i]) } else { [0.0; 3] })
        .collect();
    let weight = weight.into_iter().map(|w| if w > 1e-6 { w } else { 0.0 }).collect();
    (out, weight)
}
