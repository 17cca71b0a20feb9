//! The turning axis from outlines alone, and the object's distance from it.
//!
//! Over a whole turn the object sweeps a solid of revolution, whatever its own shape: how far its outlines
//! reach at most in a direction (the sweep) is the same to the left and to the right of the axis. So the
//! mirror line of the sweep is the axis (Mendonça, Wong, Cipolla, PAMI 23:604, 2001). An object that is
//! itself round reaches as far at every stop, and the mean over the turn says the same with less noise.
//! Perspective bends the picture off its middle: outlines are first turned as if the camera looked at
//! the axis.

use std::f64::consts::{PI, TAU};

use nalgebra::{DMatrix, DVector};

use super::frame::View;

/// The axis in measured pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct OutlineAxis {
    /// Column at mid height, from the left border.
    pub column: f64,
    /// Standard deviation of the column.
    pub column_sigma: f64,
    /// Lean in radians, top to the right positive, and its standard deviation.
    pub lean: f64,
    pub lean_sigma: f64,
    /// The object's middle against the axis at table angle 0: right and away, px.
    pub off_axis: [f64; 2],
    pub off_axis_sigma: f64,
    /// Largest width of the object over the turn, px.
    pub object_width: f64,
}

/// Directions of support, degrees from the horizontal, on each side.
const REACH: i32 = 60;
const STEP: i32 = 2;
const COUNT: usize = (2 * REACH / STEP + 1) as usize;

/// How far one outline reaches in each direction, to the right and to the left.
struct Support {
    angle: f64,
    right: [f64; COUNT],
    left: [f64; COUNT],
}

fn direction(i: usize) -> f64 {
    f64::from(i as i32 * STEP - REACH).to_radians()
}

/// What is known of perspective: the square of one over the focal length in pixels, and its standard
/// deviation.
#[derive(Debug, Clone, Copy)]
pub(super) struct Perspective {
    pub square: f64,
    pub sigma: f64,
}

impl Perspective {
    /// What is usual for products: a lens two and a half to eight frame heights long.
    pub fn usual(height: usize) -> Self {
        let square = (1.0 / (3.5 * height as f64)).powi(2);
        Self { square, sigma: 1.6 * square }
    }
}

/// Finds the axis from outlines at table angles in radians (anticlockwise positive); `None` when
/// there are too few or they cover too little of the turn.
pub(super) fn from_outlines(views: &[(f64, &View)], perspective: Option<Perspective>) -> Option<OutlineAxis> {
    let (width, height) = views.first()?.1.size;
    let middle = (width as f64 / 2.0, height as f64 / 2.0);
    let perspective = perspective.unwrap_or(Perspective::usual(height));
    let per_px = perspective.square.sqrt();
    let mut column = 0.0;
    let mut last = None;
    // The camera is turned to the axis as found so far.
    for _ in 0..3 {
        let supports: Vec<Support> =
            views.iter().filter_map(|(a, v)| support(*a, v, middle, column, per_px)).collect();
        if supports.len() < 6 {
            return None;
        }
        let harmonics = harmonics_for(&supports)?;
        let Reaches { right, left, round } = reaches(&supports, harmonics)?;
        let found = mirror(&right, &left)?;
        column = found.column.mul_add(1.0 + (column * per_px).powi(2), column);
        last = Some((supports, harmonics, right[COUNT / 2], round, found));
    }
    let (supports, harmonics, widest, round, found) = last?;
    // Off the middle of the frame what is not known of perspective stays.
    let left_over = 0.8 * column.abs() * perspective.sigma.min(perspective.square) * widest * widest;
    let mid: Vec<f64> = supports.iter().map(|s| (s.right[COUNT / 2] - s.left[COUNT / 2]) / 2.0).collect();
    let angles: Vec<f64> = supports.iter().map(|s| s.angle).collect();
    let (fit, rest) = fourier(&angles, &mid, harmonics)?;
    let (x, y) = (fit[1], -fit[2]);
    let mut widths: Vec<f64> = supports
        .iter()
        .map(|s| {
            // What stands nearer looks wider.
            let away = x * s.angle.sin() + y * s.angle.cos();
            (s.right[COUNT / 2] + s.left[COUNT / 2]) * (1.0 + per_px * away)
        })
        .collect();
    widths.sort_by(f64::total_cmp);
    // A round object is as wide at every stop: the middle is steadier than the greatest.
    let object_width = widths[if round { widths.len() / 2 } else { widths.len() - 1 }];
    Some(OutlineAxis {
        column: column + middle.0,
        column_sigma: found.column_sigma.hypot(left_over).max(0.03),
        lean: found.lean,
        lean_sigma: found.lean_sigma.hypot(left_over / widest.max(1.0)),
        off_axis: [fit[1], -fit[2]],
        off_axis_sigma: rest / (supports.len() as f64 / 2.0).sqrt() + 0.02,
        object_width,
    })
}

/// How many harmonics of the turn the stops can carry; `None` when even one cannot be told.
fn harmonics_for(supports: &[Support]) -> Option<usize> {
    match widest_gap(supports)?.to_degrees() {
        g if g <= WHOLE_TURN_GAP_DEG => Some((supports.len() / 3).min(8)),
        g if g <= 130.0 => Some(2),
        g if g <= 250.0 => Some(1),
        _ => None,
    }
}

/// Stops no further apart than this go round.
const WHOLE_TURN_GAP_DEG: f64 = 65.0;

fn widest_gap(supports: &[Support]) -> Option<f64> {
    let mut angles: Vec<f64> = supports.iter().map(|s| s.angle.rem_euclid(TAU)).collect();
    angles.sort_by(f64::total_cmp);
    let wrap = angles.first()? + TAU - angles.last()?;
    Some(angles.windows(2).map(|w| w[1] - w[0]).fold(wrap, f64::max))
}

/// Takes one outline's reach, seen by a camera turned to `column` (px from the middle).
fn support(angle: f64, view: &View, middle: (f64, f64), column: f64, per_px: f64) -> Option<Support> {
    let mut right = [f64::MIN; COUNT];
    let mut left = [f64::MIN; COUNT];
    let edges: Vec<(f64, f64, f64)> = view
        .outline
        .edges()
        .map(|(y, l, r)| (f64::from(y) - middle.1, f64::from(l) - middle.0, f64::from(r) - middle.0))
        .collect();
    if edges.len() < 20 {
        return None;
    }
    // The mean of three rows: a single row's noise must not decide how far the outline reaches.
    let smooth: Vec<(f64, f64, f64)> = edges
        .windows(3)
        .filter(|w| w[2].0 - w[0].0 < 3.5)
        .map(|w| (w[1].0, (w[0].1 + w[1].1 + w[2].1) / 3.0, (w[0].2 + w[1].2 + w[2].2) / 3.0))
        .collect();
    let (sin, cos) = (column * per_px).atan().sin_cos();
    let turn = |u: f64, v: f64| {
        let depth = u * per_px * sin + cos;
        (if per_px > 0.0 { (u * cos - sin / per_px) / depth } else { u - column }, v / depth)
    };
    let turned: Vec<[(f64, f64); 2]> = smooth.iter().map(|&(y, l, r)| [turn(l, y), turn(r, y)]).collect();
    for i in 0..COUNT {
        let (s, c) = direction(i).sin_cos();
        for &[l, r] in &turned {
            right[i] = right[i].max(c * r.0 + s * r.1);
            left[i] = left[i].max(-c * l.0 + s * l.1);
        }
    }
    (!smooth.is_empty()).then_some(Support { angle, right, left })
}

type Reach = [f64; COUNT];

struct Reaches {
    right: Reach,
    left: Reach,
    /// Whether the object is as wide at every stop.
    round: bool,
}

/// How far the outlines reach over the turn, right and left: at most, or on the mean where the object is
/// round.
fn reaches(supports: &[Support], harmonics: usize) -> Option<Reaches> {
    let angles: Vec<f64> = supports.iter().map(|s| s.angle).collect();
    let half: Vec<f64> =
        supports.iter().map(|s| f64::midpoint(s.right[COUNT / 2], s.left[COUNT / 2])).collect();
    let (fit, rest) = fourier(&angles, &half, 1)?;
    let round = rest < ROUND_SHARE * fit[0];
    let whole = widest_gap(supports)?.to_degrees() <= WHOLE_TURN_GAP_DEG;
    let (mut right, mut left) = ([0.0; COUNT], [0.0; COUNT]);
    for i in 0..COUNT {
        let r: Vec<f64> = supports.iter().map(|s| s.right[i]).collect();
        let l: Vec<f64> = supports.iter().map(|s| s.left[i]).collect();
        if round || !whole {
            right[i] = fourier(&angles, &r, harmonics)?.0[0];
            left[i] = fourier(&angles, &l, harmonics)?.0[0];
        } else {
            right[i] = sweep(&angles, &r)?;
            left[i] = sweep(&angles, &l)?;
        }
    }
    Some(Reaches { right, left, round })
}

/// An object whose half width changes by less than this share over the turn is round.
const ROUND_SHARE: f64 = 0.012;

/// The greatest reach over the turn, between the stops too: about its greatest reach a point of the outline
/// moves as a sine.
fn sweep(angles: &[f64], values: &[f64]) -> Option<f64> {
    let mut order: Vec<usize> = (0..angles.len()).collect();
    order.sort_by(|&a, &b| angles[a].rem_euclid(TAU).total_cmp(&angles[b].rem_euclid(TAU)));
    let n = order.len();
    let usual = TAU / n as f64;
    let from = |a: usize, b: usize| (angles[b] - angles[a] + PI).rem_euclid(TAU) - PI;
    let mut by_reach: Vec<usize> = (0..n).collect();
    by_reach.sort_by(|&a, &b| values[order[b]].total_cmp(&values[order[a]]));
    // A turning object cannot reach further at one stop alone than its own size allows: an outline that does
    // is not the object's.
    let honest = |k: usize| {
        let (before, here, after) = (order[(k + n - 1) % n], order[k], order[(k + 1) % n]);
        let step = from(here, after).abs().max(from(before, here).abs());
        let bump = values[here] - 0.5 * (values[before] + values[after]);
        bump < 1.2 * values[here].abs() * (1.0 - step.cos()) + 0.7
    };
    let top = by_reach.iter().copied().take(4).find(|&k| honest(k)).unwrap_or(by_reach[0]);
    let here = order[top];
    let side = ((12.0_f64.to_radians() / usual).round() as usize).max(1).min(n / 3);
    let near: Vec<(f64, f64)> = (0..=2 * side)
        .map(|j| order[(top + n + j - side) % n])
        .map(|i| (from(here, i), values[i]))
        .filter(|(d, _)| d.abs() < 14.0_f64.to_radians().max(1.6 * usual))
        .collect();
    if near.len() < 3 {
        return Some(values[here]);
    }
    let a = DMatrix::from_fn(near.len(), 3, |i, j| match j {
        0 => 1.0,
        1 => near[i].0.cos() - 1.0,
        _ => near[i].0.sin(),
    });
    let b = DVector::from_iterator(near.len(), near.iter().map(|v| v.1));
    let fit = (a.transpose() * &a + DMatrix::identity(3, 3) * 1e-9).cholesky()?.solve(&(a.transpose() * b));
    let peak = fit[2].atan2(fit[1]);
    if fit[1] <= 0.0 || peak.abs() > usual {
        return Some(values[here]);
    }
    Some(fit[0] - fit[1] + fit[1].hypot(fit[2]))
}

/// Neighbouring directions share outline points: the square root of how many count as one.
const INDEPENDENT: f64 = 2.83;
/// How far from level a camera usually stands, radians.
const LEVEL_RAD: f64 = 0.012;

struct Mirror {
    column: f64,
    column_sigma: f64,
    lean: f64,
    lean_sigma: f64,
}

/// Finds the line about which a reach is its own mirror image.
fn mirror(right: &Reach, left: &Reach) -> Option<Mirror> {
    // A direction at elevation e on the right mirrors, about a line leaning by λ, to elevation
    // e − 2λ on the left (downwards positive, top to the right positive).
    let at = |side: &Reach, e: f64| {
        let place = ((e.to_degrees() + f64::from(REACH)) / f64::from(STEP)).clamp(0.0, COUNT as f64 - 1.001);
        let i = (place as usize).clamp(1, COUNT - 3);
        cubic([side[i - 1], side[i], side[i + 1], side[i + 2]], place - i as f64)
    };
    // Mirror pairs: right at e + λ, left at e − λ; both differ by 2 q cos e.
    let rest = |e: f64, q: f64, lean: f64| at(right, e + lean) - at(left, e - lean) - 2.0 * q * e.cos();
    let used: Vec<f64> =
        (0..COUNT).map(direction).filter(|e| e.to_degrees().abs() < f64::from(REACH) - 10.0).collect();
    let (mut q, mut lean) = (0.0, 0.0);
    let (mut sigma, mut inverse) = (1.0, nalgebra::Matrix2::identity());
    for round in 0..12 {
        let rests: Vec<f64> = used.iter().map(|&e| rest(e, q, lean)).collect();
        let mut sizes: Vec<f64> = rests.iter().map(|r| r.abs()).collect();
        sizes.sort_by(f64::total_cmp);
        sigma = (1.48 * sizes[sizes.len() / 2]).max(0.03);
        let mut h = nalgebra::Matrix2::<f64>::identity() * 1e-12;
        let mut b = nalgebra::Vector2::<f64>::zeros();
        for (&e, r) in used.iter().zip(&rests) {
            // Where another part of the object takes over, a direction is off: it counts little.
            let weight = if round < 3 { 1.0 } else { 1.0 / (1.0 + (r / (2.0 * sigma)).powi(2)) };
            let d = 1e-4;
            let by_lean = (rest(e, q, lean + d) - rest(e, q, lean - d)) / (2.0 * d);
            let j = nalgebra::Vector2::new(-2.0 * e.cos(), by_lean);
            h += j * j.transpose() * weight;
            b -= j * (*r * weight);
        }
        // A ball shows no lean; cameras stand nearly level.
        let known = (sigma * INDEPENDENT / LEVEL_RAD).powi(2);
        h[(1, 1)] += known;
        b[1] -= known * lean;
        inverse = h.try_inverse()?;
        let step = inverse * b;
        q += step[0];
        lean = (lean + step[1].clamp(-0.05, 0.05)).clamp(-0.15, 0.15);
    }
    // q is the axis' distance from the middle along its normal; at mid height the column follows.
    Some(Mirror {
        column: q / lean.cos(),
        column_sigma: (inverse[(0, 0)].sqrt() * sigma * INDEPENDENT).max(0.02),
        lean,
        lean_sigma: inverse[(1, 1)].sqrt() * sigma * INDEPENDENT,
    })
}

fn cubic(p: [f64; 4], t: f64) -> f64 {
    p[1] + 0.5
        * t
        * (p[2] - p[0]
            + t * (2.0 * p[0] - 5.0 * p[1] + 4.0 * p[2] - p[3] + t * (3.0 * (p[1] - p[2]) + p[3] - p[0])))
}

/// Fits mean and harmonics by least squares, down-weighting outliers once; returns mean, cosine, sine, …
/// and the standard deviation left.
fn fourier(angles: &[f64], values: &[f64], harmonics: usize) -> Option<(Vec<f64>, f64)> {
    let n = values.len();
    let columns = (1 + 2 * harmonics).min(n.saturating_sub(2)).max(1);
    let basis = DMatrix::from_fn(n, columns, |i, j| {
        let k = j.div_ceil(2) as f64;
        if j == 0 {
            1.0
        } else if j % 2 == 1 {
            (k * angles[i]).cos()
        } else {
            (k * angles[i]).sin()
        }
    });
    let mut weights = vec![1.0; n];
    let mut fit = DVector::zeros(columns);
    let mut sigma = 0.0;
    for _ in 0..3 {
        let mut h = DMatrix::<f64>::identity(columns, columns) * 1e-6;
        let mut b = DVector::zeros(columns);
        for i in 0..n {
            let row = basis.row(i).transpose();
            h += &row * row.transpose() * weights[i];
            b += row * (values[i] * weights[i]);
        }
        fit = h.cholesky()?.solve(&b);
        let rests: Vec<f64> =
            (0..n).map(|i| (values[i] - basis.row(i).transpose().dot(&fit)).abs()).collect();
        let mut sorted = rests.clone();
        sorted.sort_by(f64::total_cmp);
        let scale = (1.48 * sorted[n / 2] / (1.0 - columns as f64 / n as f64).max(0.2).sqrt()).max(0.05);
        for (w, r) in weights.iter_mut().zip(&rests) {
            let t = r / (6.0 * scale);
            *w = 1.0 / (1.0 + t * t * t * t);
        }
        sigma = scale;
    }
    fit.resize_vertically_mut(columns.max(3), 0.0);
    Some((fit.as_slice().to_vec(), sigma))
}
