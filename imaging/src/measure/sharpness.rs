//! How wide the object's edges are, across and upright, and the classic focus measures.
//!
//! A focus number alone swings with what the turning object shows. The ratio of gradient energy
//! at two scales does not care how much detail there is, only how soft it is: for an edge of
//! Gaussian width σ the energy of a slope filter of width s goes with 1/√(σ² + s²), so the ratio of
//! two filters gives σ in pixels. Defocus widens edges in both directions, a turning table only
//! across.

use super::Plane;

/// Variance of the fine slope filter along its direction, in px²: a box two pixels wide.
const FINE_VARIANCE: f32 = 4.0 / 12.0;
/// Variance of the coarse one: boxes of five and six pixels.
const COARSE_VARIANCE: f32 = (25.0 + 36.0) / 12.0;
/// Noise gain of the filters' energy for white noise of variance 1.
const FINE_NOISE: f32 = 0.5 * 0.375;
const COARSE_NOISE: f32 = 10.0 / 900.0 * 0.375;

/// Effective widths of the edges, as variances of a Gaussian in px² of the measured picture.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct EdgeSoftness {
    /// Across the picture.
    pub across_px2: f32,
    /// Upright.
    pub upright_px2: f32,
    /// Share of the looked-at area with enough slope to tell, 0 to 1.
    pub detail_share: f32,
}

/// Measures the softness of edges inside a rectangle (left, top, right, bottom); `None` where
/// there are none.
pub fn edge_softness(
    plane: &Plane,
    area: (usize, usize, usize, usize),
    noise_variance: f32,
) -> Option<EdgeSoftness> {
    let (x0, y0) = (area.0.max(6), area.1.max(6));
    let (x1, y1) = (area.2.min(plane.width.saturating_sub(7)), area.3.min(plane.height.saturating_sub(7)));
    if x1 <= x0 + 8 || y1 <= y0 + 8 {
        return None;
    }
    let mut across = Energies::default();
    let mut upright = Energies::default();
    let w = plane.width;
    // Smoothed a little along the edge.
    let mut smooth_v = vec![0_i32; w];
    for y in y0..y1 {
        let (above, here, below) = (plane.row(y - 1), plane.row(y), plane.row(y + 1));
        for x in x0 - 6..x1 + 6 {
            smooth_v[x] = i32::from(above[x]) + 2 * i32::from(here[x]) + i32::from(below[x]);
        }
        let mut right: i32 = smooth_v[x0 + 1..x0 + 6].iter().sum();
        let mut left: i32 = smooth_v[x0 - 5..x0].iter().sum();
        for x in x0..x1 {
            let fine = smooth_v[x + 1] - smooth_v[x - 1];
            across.add(fine, right - left);
            right += smooth_v[x + 6] - smooth_v[x + 1];
            left += smooth_v[x] - smooth_v[x - 5];
        }
    }
    // Upright: running sums per column.
    let row3 = |y: usize, x: usize| {
        let r = plane.row(y);
        i32::from(r[x - 1]) + 2 * i32::from(r[x]) + i32::from(r[x + 1])
    };
    let mut below: Vec<i32> = (x0..x1).map(|x| (y0 + 1..y0 + 6).map(|y| row3(y, x)).sum()).collect();
    let mut above: Vec<i32> = (x0..x1).map(|x| (y0 - 5..y0).map(|y| row3(y, x)).sum()).collect();
    for y in y0..y1 {
        for (i, x) in (x0..x1).enumerate() {
            let here = row3(y, x);
            let next = row3(y + 1, x);
            upright.add(next - row3(y - 1, x), below[i] - above[i]);
            below[i] += row3(y + 6, x) - next;
            above[i] += here - row3(y - 5, x);
        }
    }
    let area = ((x1 - x0) * (y1 - y0)) as f32;
    let enough = area * 4e-4;
    if (across.count as f32) < enough || (upright.count as f32) < enough * 0.3 {
        return None;
    }
    Some(EdgeSoftness {
        across_px2: across.softness(noise_variance),
        upright_px2: upright.softness(noise_variance),
        detail_share: (across.count + upright.count) as f32 / (2.0 * area),
    })
}

/// Coarse slopes below this, in codes a pixel times 4 × 30, are shading and noise.
const GATE: i32 = 120 * 3;

#[derive(Default)]
struct Energies {
    fine: f64,
    coarse: f64,
    count: u32,
}

impl Energies {
    #[inline]
    fn add(&mut self, fine: i32, coarse: i32) {
        if coarse.abs() > GATE {
            self.fine += f64::from(fine * fine);
            self.coarse += f64::from(coarse) * f64::from(coarse);
            self.count += 1;
        }
    }

    fn softness(&self, noise_variance: f32) -> f32 {
        let n = self.count.max(1) as f32;
        // Both in (codes a pixel)²: fine is 4 × 2 px, coarse 4 × 30 px.
        let fine = (self.fine as f32 / 64.0 / n - noise_variance * FINE_NOISE).max(1e-3);
        let coarse = (self.coarse as f32 / 14_400.0 / n - noise_variance * COARSE_NOISE).max(1e-3);
        let ratio = (fine / coarse).max(1.02);
        let square = ratio * ratio;
        ((COARSE_VARIANCE - square * FINE_VARIANCE) / (square - 1.0)).clamp(0.0, 200.0)
    }
}

/// Returns the variance of the Laplacian (4 neighbours), after Pertuz, Puig and Garcia, Pattern
/// Recognition 46:1415 (2013), LAP4.
pub fn laplacian_variance(plane: &Plane) -> f64 {
    let (mut sum, mut squares, mut n) = (0.0, 0.0, 0.0);
    for y in 1..plane.height.saturating_sub(1) {
        for x in 1..plane.width.saturating_sub(1) {
            let at = |x: usize, y: usize| f64::from(plane.data[y * plane.width + x]);
            let v = at(x - 1, y) + at(x + 1, y) + at(x, y - 1) + at(x, y + 1) - 4.0 * at(x, y);
            sum += v;
            squares += v * v;
            n += 1.0;
        }
    }
    if n == 0.0 { 0.0 } else { squares / n - (sum / n) * (sum / n) }
}

/// Returns the mean squared Sobel gradient (Tenengrad; the same survey, GRA6).
pub fn tenengrad(plane: &Plane) -> f64 {
    let (mut sum, mut n) = (0.0, 0.0);
    for y in 1..plane.height.saturating_sub(1) {
        for x in 1..plane.width.saturating_sub(1) {
            let at = |x: usize, y: usize| f64::from(plane.data[y * plane.width + x]);
            let gx = at(x + 1, y - 1) + 2.0 * at(x + 1, y) + at(x + 1, y + 1)
                - at(x - 1, y - 1)
                - 2.0 * at(x - 1, y)
                - at(x - 1, y + 1);
            let gy = at(x - 1, y + 1) + 2.0 * at(x, y + 1) + at(x + 1, y + 1)
                - at(x - 1, y - 1)
                - 2.0 * at(x, y - 1)
                - at(x + 1, y - 1);
            sum += gx * gx + gy * gy;
            n += 1.0;
        }
    }
    if n == 0.0 { 0.0 } else { sum / n }
}
