//! How far one picture is moved against another, to a small part of a pixel.
//!
//! Cross-correlation by Fourier transforms, then a finer and finer look at its peak by a partial
//! transform (Guizar-Sicairos, Thurman, Fienup, Opt. Lett. 33:156, 2008).

use imaging_kernels::{Complex, fourier_2d};

use super::Plane;

/// Parts of a pixel that are told apart.
const FINE: f64 = 100.0;

/// Returns how far (right, down) in pixels `moved` stands against `still`; `None` when sizes differ,
/// are below 8 px or above 4096, or nothing is seen.
pub fn displacement(still: &Plane, moved: &Plane) -> Option<(f64, f64)> {
    let (w, h) = (still.width, still.height);
    if (w, h) != (moved.width, moved.height) || w < 8 || h < 8 || w > 4096 || h > 4096 {
        return None;
    }
    let a = transformed(still);
    let b = transformed(moved);
    let product: Vec<Complex<f64>> = a.iter().zip(&b).map(|(a, b)| a.conj() * b).collect();
    let energy: f64 = product.iter().map(|c| c.norm()).sum();
    if energy < 1e-6 {
        return None;
    }
    let mut correlation = product.clone();
    fourier_2d(&mut correlation, w, h, true);
    let peak = correlation.iter().enumerate().max_by(|a, b| a.1.re.total_cmp(&b.1.re))?.0;
    let signed = |v: usize, n: usize| if v > n / 2 { v as f64 - n as f64 } else { v as f64 };
    let mut at = (signed(peak % w, w), signed(peak / w, h));
    // Two rounds: tenths, then hundredths.
    for step in [0.1, 1.0 / FINE] {
        at = finer(&product, w, h, at, step);
    }
    Some(at)
}

fn transformed(plane: &Plane) -> Vec<Complex<f64>> {
    let mean = plane.data.iter().map(|&v| f64::from(v)).sum::<f64>() / plane.data.len() as f64;
    let mut values: Vec<Complex<f64>> =
        plane.data.iter().map(|&v| Complex::new(f64::from(v) - mean, 0.0)).collect();
    fourier_2d(&mut values, plane.width, plane.height, false);
    values
}

/// Looks at the correlation on a grid of `step` about a place and returns the highest.
fn finer(product: &[Complex<f64>], w: usize, h: usize, at: (f64, f64), step: f64) -> (f64, f64) {
    const REACH: i32 = 10;
    let frequency = |k: usize, n: usize| if k > n / 2 { k as f64 - n as f64 } else { k as f64 } / n as f64;
    let count = (2 * REACH + 1) as usize;
    let offsets: Vec<f64> = (-REACH..=REACH).map(|i| f64::from(i) * step).collect();
    // First along rows, then along columns.
    let across: Vec<Vec<Complex<f64>>> = offsets
        .iter()
        .map(|o| (0..w).map(|k| Complex::cis(std::f64::consts::TAU * frequency(k, w) * (at.0 + o))).collect())
        .collect();
    let mut partial = vec![Complex::<f64>::default(); count * h];
    for y in 0..h {
        let row = &product[y * w..(y + 1) * w];
        for (i, waves) in across.iter().enumerate() {
            partial[i * h + y] = row.iter().zip(waves).map(|(p, e)| p * e).sum();
        }
    }
    let mut best = (f64::MIN, at);
    for o in &offsets {
        let waves: Vec<Complex<f64>> =
            (0..h).map(|k| Complex::cis(std::f64::consts::TAU * frequency(k, h) * (at.1 + o))).collect();
        for (i, ox) in offsets.iter().enumerate() {
            let v: f64 = partial[i * h..(i + 1) * h].iter().zip(&waves).map(|(p, e)| (p * e).re).sum();
            if v > best.0 {
                best = (v, (at.0 + ox, at.1 + o));
            }
        }
    }
    best.1
}
