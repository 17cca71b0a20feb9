//! The background: a smooth surface fitted to the frame's margin, its colour and evenness.

use nalgebra::{SMatrix, SVector};

/// Share of the frame's sides that counts as margin.
const MARGIN: f32 = 0.13;

/// What the background of one frame looks like, in linear light (0 to 1).
#[derive(Debug, Clone, PartialEq)]
pub struct Backdrop {
    /// Mean of the middle half of red, green and blue over the margin.
    pub median: [f32; 3],
    /// Share of margin pixels with a channel at its upper end, per channel, 0 to 1.
    pub clipped_share: [f32; 3],
    /// Brightest over darkest part of the smooth surface, in stops.
    pub unevenness_ev: f32,
    /// Typical difference from the smooth surface, in 8-bit codes of luma.
    pub roughness: f32,
    /// Coefficients of the surface for each coded channel over 1, x, y, x², xy, y².
    surface: [[f32; 6]; 3],
    width: f32,
    height: f32,
}

impl Backdrop {
    /// Fits to a small picture: `coded` holds RGB in 8-bit codes, `linear` the same in linear light.
    pub fn fit(coded: &[[f32; 3]], linear: &[[f32; 3]], width: usize, height: usize) -> Self {
        let (mx, my) = (margin(width), margin(height));
        let stride = (((width * height) as f32 / 8_000.0).sqrt() as usize).max(1);
        let places: Vec<(usize, usize)> = (0..height)
            .step_by(stride)
            .flat_map(|y| (0..width).step_by(stride).map(move |x| (x, y)))
            // The lower margin may hold the plate's front and its shadow: it is left out.
            .filter(|&(x, y)| x < mx || x + mx >= width || y < my)
            .collect();
        let mut median = [0.0; 3];
        let mut clipped_share = [0.0; 3];
        let mut surface = [[0.0; 6]; 3];
        let mut roughness = 0.0_f32;
        for channel in 0..3 {
            let mut values: Vec<f32> = places.iter().map(|&(x, y)| linear[y * width + x][channel]).collect();
            median[channel] = middle_half(&mut values);
            clipped_share[channel] = share(&values, |v| v > 0.985);
            let samples: Vec<(SVector<f32, 6>, f32)> = places
                .iter()
                .map(|&(x, y)| (terms(x as f32, y as f32, width, height), coded[y * width + x][channel]))
                .collect();
            let (fit, rest) = robust_fit(&samples);
            surface[channel] = fit.into();
            roughness = roughness.max(rest);
        }
        let mut made = Self {
            median,
            clipped_share,
            unevenness_ev: 0.0,
            roughness,
            surface,
            width: width as f32,
            height: height as f32,
        };
        made.unevenness_ev = made.unevenness(&places);
        made
    }

    /// Returns the surface's coded colour at a place of the small picture.
    #[inline]
    pub fn coded_at(&self, x: f32, y: f32) -> [f32; 3] {
        let t = terms(x, y, self.width as usize, self.height as usize);
        self.surface.map(|s| (0..6).map(|i| s[i] * t[i]).sum())
    }

    fn unevenness(&self, places: &[(usize, usize)]) -> f32 {
        let mut levels: Vec<f32> = places
            .iter()
            .map(|&(x, y)| {
                let [r, g, b] = self.coded_at(x as f32, y as f32);
                let luma = (0.299 * r + 0.587 * g + 0.114 * b).clamp(0.5, 255.0);
                crate::srgb::to_linear(f64::from(luma) / 255.0).log2() as f32
            })
            .collect();
        if levels.is_empty() {
            return 0.0;
        }
        levels.sort_by(f32::total_cmp);
        let at = |q: f32| levels[((levels.len() - 1) as f32 * q) as usize];
        at(0.98) - at(0.02)
    }
}

fn margin(side: usize) -> usize {
    ((side as f32 * MARGIN) as usize).max(1)
}

fn share(values: &[f32], test: impl Fn(f32) -> bool) -> f32 {
    if values.is_empty() {
        0.0
    } else {
        values.iter().filter(|&&v| test(v)).count() as f32 / values.len() as f32
    }
}

/// Returns the middle value; 0 for none.
pub(super) fn middle(values: &mut [f32]) -> f32 {
    if values.is_empty() {
        return 0.0;
    }
    let at = values.len() / 2;
    *values.select_nth_unstable_by(at, f32::total_cmp).1
}

/// Returns the mean of the middle half: as steady as the median, and finer than the steps that a codec leaves;
/// 0 for none.
fn middle_half(values: &mut [f32]) -> f32 {
    let (from, to) = (values.len() / 4, values.len() - values.len() / 4);
    if from == to {
        return 0.0;
    }
    if to < values.len() {
        values.select_nth_unstable_by(to, f32::total_cmp);
    }
    let lower = &mut values[..to];
    lower.select_nth_unstable_by(from, f32::total_cmp);
    lower[from..].iter().sum::<f32>() / (to - from) as f32
}

fn terms(x: f32, y: f32, width: usize, height: usize) -> SVector<f32, 6> {
    let x = x / width as f32 - 0.5;
    let y = y / height as f32 - 0.5;
    SVector::<f32, 6>::from([1.0, x, y, x * x, x * y, y * y])
}

/// Least squares, reweighted a few times so that what stands in the margin does not pull.
fn robust_fit(samples: &[(SVector<f32, 6>, f32)]) -> (SVector<f32, 6>, f32) {
    let mut values: Vec<f32> = samples.iter().map(|s| s.1).collect();
    let mut fit = SVector::<f32, 6>::zeros();
    fit[0] = middle(&mut values);
    let mut scale = 12.0_f32;
    for _ in 0..4 {
        let mut normal = SMatrix::<f32, 6, 6>::identity() * 1e-3;
        let mut right = SVector::<f32, 6>::zeros();
        for (term, value) in samples {
            let rest = (value - fit.dot(term)) / (2.5 * scale);
            let weight = 1.0 / (1.0 + rest * rest * rest * rest);
            normal += term * term.transpose() * weight;
            right += term * (*value * weight);
        }
        let Some(solved) = normal.cholesky() else { break };
        fit = solved.solve(&right);
        let mut rests: Vec<f32> = samples.iter().map(|(t, v)| (v - fit.dot(t)).abs()).collect();
        scale = (middle(&mut rests) * 1.48).max(0.3);
    }
    (fit, scale)
}
