//! A smooth surface through a frame's margin: the background where no frame of the empty table is at hand, and
//! beyond the frame.

use nalgebra::{SMatrix, SVector};
use serde::{Deserialize, Serialize};

/// Coefficients over 1, x, y, x², xy, y² of the logarithm of each channel's light.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(in crate::finish) struct Backdrop([[f32; 6]; 3]);

/// Share of the frame's sides that counts as margin.
const MARGIN: f32 = 0.09;

/// `x` and `y` run from −½ to ½ over the frame.
fn terms(x: f32, y: f32) -> SVector<f32, 6> {
    SVector::<f32, 6>::from([1.0, x, y, x * x, x * y, y * y])
}

/// Where a pixel's middle lies, −½ to ½.
fn share(pixel: usize, side: usize) -> f32 {
    (pixel as f32 + 0.5) / side as f32 - 0.5
}

impl Backdrop {
    /// Fits to the left, right and upper margin in linear light, and then to all that agrees with it;
    /// what stands in the margin has little weight.
    pub fn fit(light: &[[f32; 3]], width: usize, height: usize) -> Self {
        let (mx, my) =
            (((width as f32 * MARGIN) as usize).max(2), ((height as f32 * MARGIN) as usize).max(2));
        let stride = (((width * height) as f32 / 30_000.0).sqrt() as usize).max(1);
        let mut surface = [[0.0; 6]; 3];
        for (c, surface) in surface.iter_mut().enumerate() {
            let samples: Vec<(SVector<f32, 6>, f32, bool)> = (0..height)
                .step_by(stride)
                .flat_map(|y| (0..width).step_by(stride).map(move |x| (x, y)))
                .map(|(x, y)| {
                    let margin = x < mx || x + mx >= width || y < my;
                    (terms(share(x, width), share(y, height)), light[y * width + x][c].max(1e-4).ln(), margin)
                })
                .collect();
            *surface = robust_fit(&samples).into();
        }
        Self(surface)
    }

    /// Multiplies the light by a factor for each channel.
    pub fn raise(&mut self, factors: [f32; 3]) {
        for (surface, factor) in self.0.iter_mut().zip(factors) {
            surface[0] += factor.ln();
        }
    }

    /// Returns the linear light at a place of the frame, each side −½ to ½; beyond the frame that of its border.
    pub fn at(&self, x: f32, y: f32) -> [f32; 3] {
        let t = terms(x.clamp(-0.5, 0.5), y.clamp(-0.5, 0.5));
        self.0.map(|s| SVector::<f32, 6>::from(s).dot(&t).exp().clamp(1e-3, 1.0))
    }

    /// Paints the surface in linear light.
    pub fn paint(&self, width: usize, height: usize) -> Vec<[f32; 3]> {
        (0..width * height).map(|i| self.at(share(i % width, width), share(i / width, height))).collect()
    }
}

fn robust_fit(samples: &[(SVector<f32, 6>, f32, bool)]) -> SVector<f32, 6> {
    let mut values: Vec<f32> = samples.iter().filter(|s| s.2).map(|s| s.1).collect();
    let mut fit = SVector::<f32, 6>::zeros();
    fit[0] = super::super::even::median(&mut values);
    let mut scale = 0.15_f32;
    for round in 0..7 {
        let mut normal = SMatrix::<f32, 6, 6>::identity() * 1e-3;
        let mut right = SVector::<f32, 6>::zeros();
        for (term, value, margin) in samples {
            // The inside only helps once the margin's surface stands.
            if !margin && round < 4 {
                continue;
            }
            let rest = (value - fit.dot(term)) / (2.5 * scale);
            let weight = 1.0 / (1.0 + rest * rest * rest * rest) * if *margin { 1.0 } else { 0.3 };
            normal += term * term.transpose() * weight;
            right += term * (*value * weight);
        }
        let Some(solved) = normal.cholesky() else { break };
        fit = solved.solve(&right);
        let mut rests: Vec<f32> =
            samples.iter().filter(|s| s.2).map(|(t, v, _)| (v - fit.dot(t)).abs()).collect();
        scale = (super::super::even::median(&mut rests) * 1.48).clamp(0.004, 0.15);
    }
    fit
}
