//! Gentle sharpening for the size a picture is shown at.
//!
//! Unsharp masking of luma in coded values, where steps are even for the eye. What comes out never goes
//! beyond the lightest or darkest neighbour by more than a little: no halo.

use crate::picture::{Picture, PictureError};

/// How far beyond its neighbours a pixel may go, coded values.
const OVERSHOOT: f32 = 3.0;
/// Differences below this are grain and left alone, coded values.
const GRAIN: f32 = 1.5;

/// Sharpens; `percent` is the share of the fine detail (Gaussian of σ = 0.8 px) that is added.
///
/// # Errors
/// Never for a picture that exists.
pub(super) fn sharpened(picture: Picture, percent: f32) -> Result<Picture, PictureError> {
    let amount = percent / 100.0 * 1.5;
    let (width, height) = (picture.width_px() as usize, picture.height_px() as usize);
    if amount <= 0.0 || width < 3 || height < 3 {
        return Ok(picture);
    }
    let (width_px, height_px) = (picture.width_px(), picture.height_px());
    let mut rgb = picture.into_rgb();
    let luma: Vec<f32> = rgb
        .chunks_exact(3)
        .map(|p| 0.299 * f32::from(p[0]) + 0.587 * f32::from(p[1]) + 0.114 * f32::from(p[2]))
        .collect();
    // exp(−k² / (2 · 0.8²)) for k = 0, 1, 2, normalised.
    let kernel = [0.499_4_f32, 0.228_6, 0.021_7];
    let line = |at: &dyn Fn(usize) -> f32, i: usize, length: usize| {
        let near = |d: isize| at((i as isize + d).clamp(0, length as isize - 1) as usize);
        kernel[0] * near(0) + kernel[1] * (near(-1) + near(1)) + kernel[2] * (near(-2) + near(2))
    };
    let mut across = vec![0.0; luma.len()];
    for y in 0..height {
        let row = &luma[y * width..(y + 1) * width];
        for x in 0..width {
            across[y * width + x] = line(&|i| row[i], x, width);
        }
    }
    for y in 0..height {
        for x in 0..width {
            let i = y * width + x;
            let smooth = line(&|row| across[row * width + x], y, height);
            let detail = luma[i] - smooth;
            if detail.abs() < GRAIN {
                continue;
            }
            let (mut low, mut high) = (luma[i], luma[i]);
            for row in y.saturating_sub(1)..(y + 2).min(height) {
                for value in &luma[row * width + x.saturating_sub(1)..row * width + (x + 2).min(width)] {
                    low = low.min(*value);
                    high = high.max(*value);
                }
            }
            let grown = detail - detail.signum() * GRAIN;
            let wanted = (luma[i] + amount * grown).clamp(low - OVERSHOOT, high + OVERSHOOT);
            let change = wanted - luma[i];
            for value in &mut rgb[i * 3..i * 3 + 3] {
                *value = (f32::from(*value) + change).round().clamp(0.0, 255.0) as u8;
            }
        }
    }
    Picture::from_rgb(width_px, height_px, rgb)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_edge_gets_steeper_and_gets_no_halo() {
        let row: Vec<u8> =
            [40_u8, 40, 40, 60, 140, 220, 240, 240, 240].into_iter().flat_map(|v| [v; 3]).collect();
        let picture = Picture::from_rgb(9, 5, row.repeat(5)).unwrap();
        let out = sharpened(picture.clone(), 60.0).unwrap();
        let at = |p: &Picture, x| i32::from(p.pixel(x, 2).unwrap()[0]);
        assert!(at(&out, 5) - at(&out, 3) > at(&picture, 5) - at(&picture, 3) + 8);
        assert!((0..9).all(|x| (37..=243).contains(&at(&out, x))));
        assert_eq!(sharpened(picture.clone(), 0.0).unwrap(), picture);
    }

    #[test]
    fn flat_parts_and_grain_stay() {
        let rgb: Vec<u8> = (0..48_u32).map(|i| 128 + (i / 3 % 2) as u8).collect();
        let picture = Picture::from_rgb(4, 4, rgb).unwrap();
        assert_eq!(sharpened(picture.clone(), 100.0).unwrap(), picture);
    }
}
