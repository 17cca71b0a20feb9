//! The turning axis from outlines alone, and the object's distance from it.
//!
//! Over a whole even turn the mean of the outline's support function (how far it reaches in a
//! direction) is the same to the left and to the right of the axis, for any object and any height of
//! the camera: what reaches right at one angle reaches left half a turn later. So the mirror line
//! of the mean support function is the axis. For a view from near this holds for lines through the
//! axis' vanishing point and, to a good approximation, for parallel lines. The idea of the mean
//! follows the sweep's mid line of Mendonça, Wong, Cipolla, PAMI 23:604 (2001).

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
    let supports: Vec<Support> = views.iter().filter_map(|(a, v)| support(*a, v, middle)).collect();
    if supports.len() < 6 {
        return None;
    }
    let harmonics = harmonics_for(&supports)?;
    let all: Vec<&Support> = supports.iter().collect();
    let whole = mirror(&all, harmonics, perspective)?;
    // Every second stop is a set of its own: what the two say differently is the uncertainty.
    let mut halves = Vec::new();
    for parity in 0..2 {
        let half: Vec<&Support> = supports.iter().skip(parity).step_by(2).collect();
        if half.len() >= 5
            && let Some(m) = mirror(&half, harmonics.min(half.len() / 4).max(1), perspective)
        {
            halves.push(m);
        }
    }
    let differ = |f: fn(&Mirror) -> f64| match halves.as_slice() {
        [a, b] => (f(a) - f(b)).abs() / 2.0,
        _ => 1.0,
    };
    let mid: Vec<f64> = supports.iter().map(|s| (s.right[COUNT / 2] - s.left[COUNT / 2]) / 2.0).collect();
    let angles: Vec<f64> = supports.iter().map(|s| s.angle).collect();
    let (fit, rest) = fourier(&angles, &mid, harmonics)?;
    let (x, y) = (fit[1], -fit[2]);
    let object_width = supports
        .iter()
        .map(|s| {
            // What stands nearer looks wider.
            let away = x * s.angle.sin() + y * s.angle.cos();
            let width = s.right[COUNT / 2] + s.left[COUNT / 2];
            width * (1.0 + perspective.square.sqrt() * away)
        })
        .fold(0.0, f64::max);
    Some(OutlineAxis {
        column: whole.column + middle.0,
        column_sigma: differ(|m| m.column).max(whole.column_sigma).max(0.03),
        lean: whole.lean,
        lean_sigma: differ(|m| m.lean).max(whole.lean_sigma),
        off_axis: [fit[1], -fit[2]],
        off_axis_sigma: rest / (supports.len() as f64 / 2.0).sqrt() + 0.02,
        object_width,
    })
}

/// How many harmonics of the turn the stops can carry; `None` when even one cannot be told.
fn harmonics_for(supports: &[Support]) -> Option<usize> {
    let mut angles: Vec<f64> = supports.iter().map(|s| s.angle.rem_euclid(std::f64::consts::TAU)).collect();
    angles.sort_by(f64::total_cmp);
    let wrap = angles.first()? + std::f64::consts::TAU - angles.last()?;
    let gap = angles.windows(2).map(|w| w[1] - w[0]).fold(wrap, f64::max).to_degrees();
    match gap {
        g if g <= 65.0 => Some((supports.len() / 3).min(8)),
        g if g <= 130.0 => Some(2),
        g if g <= 250.0 => Some(1),
        _ => None,
    }
}

fn support(angle: f64, view: &View, middle: (f64, f64)) -> Option<Support> {
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
    for i in 0..COUNT {
        let (s, c) = direction(i).sin_cos();
        for &(y, l, r) in &smooth {
            right[i] = right[i].max(c * r + s * y);
            left[i] = left[i].max(-c * l + s * y);
        }
    }
    (!smooth.is_empty()).then_some(Support { angle, right, left })
}

struct Mirror {
    column: f64,
    column_sigma: f64,
    lean: f64,
    lean_sigma: f64,
}

/// Finds the line about which the mean support function is its own mirror image.
fn mirror(supports: &[&Support], harmonics: usize, perspective: Perspective) -> Option<Mirror> {
    let angles: Vec<f64> = supports.iter().map(|s| s.angle).collect();
    let mut right = [0.0; COUNT];
    let mut left = [0.0; COUNT];
    for i in 0..COUNT {
        let r: Vec<f64> = supports.iter().map(|s| s.right[i]).collect();
        let l: Vec<f64> = supports.iter().map(|s| s.left[i]).collect();
        right[i] = fourier(&angles, &r, harmonics)?.0[0];
        left[i] = fourier(&angles, &l, harmonics)?.0[0];
    }
    // A direction at elevation e on the right mirrors, about a line leaning by λ, to elevation
    // e − 2λ on the left (downwards positive, top to the right positive).
    let at = |side: &[f64; COUNT], e: f64| {
        let place = ((e.to_degrees() + f64::from(REACH)) / f64::from(STEP)).clamp(0.0, COUNT as f64 - 1.001);
        let i = (place as usize).clamp(1, COUNT - 3);
        cubic([side[i - 1], side[i], side[i + 1], side[i + 2]], place - i as f64)
    };
    let (mut q, mut lean, mut bend) = (0.0, 0.0, perspective.square);
    let used = |e: f64| e.to_degrees().abs() < f64::from(REACH) - 10.0;
    let (mut sigma, mut inverse) = (1.0, nalgebra::Matrix3::identity());
    for _ in 0..8 {
        let mut h = nalgebra::Matrix3::<f64>::identity() * 1e-12;
        let mut b = nalgebra::Vector3::<f64>::zeros();
        let (mut squares, mut n) = (0.0, 0.0);
        for i in 0..COUNT {
            let e = direction(i);
            if !used(e) {
                continue;
            }
            let model = |q: f64, lean: f64, bend: f64| {
                let (r, l) = (at(&right, e + lean), at(&left, e - lean));
                // Mirror pairs: right at e + λ, left at e − λ; both differ by 2 q cos e. Off the
                // middle of the frame perspective stretches the outer side more: the middle of both edges
                // moves outwards by q (half width / focal length)².
                let half = 0.5 * (r + l);
                r - l - 2.0 * q * e.cos() * (1.0 + bend * half * half)
            };
            let r = model(q, lean, bend);
            let d = 1e-4;
            let by_lean = (model(q, lean + d, bend) - model(q, lean - d, bend)) / (2.0 * d);
            let by_bend = (model(q, lean, bend + 1e-9) - r) / 1e-9;
            let by_q = model(q + 0.5, lean, bend) - model(q - 0.5, lean, bend);
            let j = nalgebra::Vector3::new(by_q, by_lean, by_bend);
            h += j * j.transpose();
            b -= j * r;
            squares += r * r;
            n += 1.0;
        }
        sigma = (squares / (n - 2.0)).sqrt().max(0.03);
        // What is known of perspective, in units of what the outline leaves.
        let known = 5.0 * sigma * sigma / (perspective.sigma * perspective.sigma);
        h[(2, 2)] += known;
        b[2] += known * (perspective.square - bend);
        inverse = h.try_inverse()?;
        let step = inverse * b;
        q += step[0];
        lean = (lean + step[1].clamp(-0.05, 0.05)).clamp(-0.15, 0.15);
        bend = (bend + step[2]).clamp(0.0, 1e-6);
    }
    // Off the middle of the frame, parallel lines stand in for lines to the axis' vanishing point: part of
    // what perspective does stays.
    let widest = (0..COUNT).map(|i| 0.5 * (right[i] + left[i])).fold(0.0, f64::max);
    let left_over = 0.45 * q.abs() * bend.max(perspective.square) * widest * widest;
    // Neighbouring directions share outline points: few are independent.
    let independent = (5.0_f64).sqrt();
    // q is the axis' distance from the middle along its normal; at mid height the column follows.
    Some(Mirror {
        column: q / lean.cos(),
        column_sigma: (inverse[(0, 0)].sqrt() * sigma * independent).hypot(left_over).max(0.02),
        lean,
        lean_sigma: inverse[(1, 1)].sqrt() * sigma * independent,
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
