//! Gentle sharpening for the size a picture is shown at.
//!
//! Unsharp masking of luma in coded values, where steps are even for the eye. What comes out never goes
//! beyond the lightest or darkest neighbour by more than a little: no halo.

use crate::picture::{Picture, PictureError};

/// Luma is counted in 256ths of a code, so that whole numbers do.
const CODE: i32 = 256;
/// How far beyond its neighbours a pixel may go: 3 codes.
const OVERSHOOT: i32 = 3 * CODE;
/// Differences below this are grain and left alone: 1.5 codes.
const GRAIN: i32 = CODE * 3 / 2;
/// exp(−k² / (2 · 0.8²)) for k = 0, 1, 2, in 1024ths.
const KERNEL: [i32; 3] = [512, 234, 22];
const KERNEL_SUM: i32 = 1024;

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
    let luma = luma(&rgb);
    let row = |y: usize| &luma[y * width..(y + 1) * width];
    // Smoothed down first; two more places at each end for smoothing along.
    let mut down = vec![0; width + 4];
    for y in 0..height {
        let near = |d: isize| row((y as isize + d).clamp(0, height as isize - 1) as usize);
        smooth_down([near(-2), near(-1), near(0), near(1), near(2)], &mut down[2..width + 2]);
        let ends = (down[2], down[width + 1]);
        down[..2].fill(ends.0);
        down[width + 2..].fill(ends.1);
        let rows = [near(-1), near(0), near(1)];
        let line = &mut rgb[y * width * 3..(y + 1) * width * 3];
        for (x, (place, pixel)) in down.windows(5).zip(line.chunks_exact_mut(3)).enumerate() {
            let smooth = smoothed([place[0], place[1], place[2], place[3], place[4]]);
            let detail = i32::from(rows[1][x]) - smooth;
            if detail.abs() >= GRAIN {
                sharpen_pixel(pixel, detail, amount, x, &rows);
            }
        }
    }
    Picture::from_rgb(width_px, height_px, rgb)
}

/// ITU-R BT.601, as in JPEG.
fn luma(rgb: &[u8]) -> Vec<u16> {
    rgb.chunks_exact(3).map(|p| 77 * u16::from(p[0]) + 150 * u16::from(p[1]) + 29 * u16::from(p[2])).collect()
}

#[inline]
fn smoothed(near: [i32; 5]) -> i32 {
    (KERNEL[0] * near[2] + KERNEL[1] * (near[1] + near[3]) + KERNEL[2] * (near[0] + near[4]) + KERNEL_SUM / 2)
        / KERNEL_SUM
}

/// Smooths five rows into one.
fn smooth_down(rows: [&[u16]; 5], out: &mut [i32]) {
    let [a, b, c, d, e] = rows;
    for (((((to, a), b), c), d), e) in out.iter_mut().zip(a).zip(b).zip(c).zip(d).zip(e) {
        *to = smoothed([a, b, c, d, e].map(|v| i32::from(*v)));
    }
}

/// Adds its detail to one pixel, held back by its neighbours.
fn sharpen_pixel(pixel: &mut [u8], detail: i32, amount: f32, x: usize, rows: &[&[u16]; 3]) {
    let here = i32::from(rows[1][x]);
    let near = rows.iter().flat_map(|row| &row[x.saturating_sub(1)..(x + 2).min(row.len())]);
    let (low, high) =
        near.fold((here, here), |(low, high), v| (low.min(i32::from(*v)), high.max(i32::from(*v))));
    let grown = (detail - detail.signum() * GRAIN) as f32;
    let wanted = (here + (amount * grown).round() as i32).clamp(low - OVERSHOOT, high + OVERSHOOT);
    let change = ((wanted - here) as f32 / CODE as f32).round() as i32;
    for value in pixel {
        *value = (i32::from(*value) + change).clamp(0, 255) as u8;
    }
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
