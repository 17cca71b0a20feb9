//! Resizing and Fourier transforms, compiled once.
//!
//! Both libraries are generic to the last: whoever calls them compiles thousands of their functions. Behind
//! these few plain functions that happens here, and not at every change of `imaging`.

use fast_image_resize as fir;
use fir::images::{Image, ImageRef, TypedImage, TypedImageRef};
pub use fir::pixels::U16x3;
use rustfft::FftPlanner;
pub use rustfft::num_complex::Complex;

/// Resizes 8-bit RGB, three bytes a pixel, rows from the top, with Catmull-Rom's cubic, widened when shrinking.
///
/// Sizes are (width, height) in pixels. Fails in the library's words when a buffer does not fit its size.
pub fn resize_rgb8(rgb: &[u8], from: (u32, u32), to: (u32, u32)) -> Result<Vec<u8>, String> {
    let source = ImageRef::new(from.0, from.1, rgb, fir::PixelType::U8x3).map_err(|e| e.to_string())?;
    let mut target = Image::new(to.0, to.1, fir::PixelType::U8x3);
    fir::Resizer::new().resize(&source, &mut target, &catmull_rom()).map_err(|e| e.to_string())?;
    Ok(target.into_vec())
}

/// Cuts `cut` (left, top, width, height, in pixels, fractions allowed, inside the picture) out of 16-bit RGB and
/// resizes it like [`resize_rgb8`].
///
/// Fails in the library's words when a buffer does not fit its size or the cut reaches outside.
pub fn resize_rgb16(
    pixels: &[U16x3],
    from: (u32, u32),
    cut: [f64; 4],
    to: (u32, u32),
) -> Result<Vec<U16x3>, String> {
    let source = TypedImageRef::new(from.0, from.1, pixels).map_err(|e| e.to_string())?;
    let mut resized = vec![U16x3::new([0; 3]); to.0 as usize * to.1 as usize];
    let mut target = TypedImage::from_pixels_slice(to.0, to.1, &mut resized).map_err(|e| e.to_string())?;
    let options = catmull_rom().crop(cut[0], cut[1], cut[2], cut[3]);
    fir::Resizer::new().resize_typed(&source, &mut target, &options).map_err(|e| e.to_string())?;
    Ok(resized)
}

fn catmull_rom() -> fir::ResizeOptions {
    fir::ResizeOptions::new().resize_alg(fir::ResizeAlg::Convolution(fir::FilterType::CatmullRom))
}

/// Transforms `width` × `height` values in place, not scaled; `back` chooses the inverse transform.
///
/// Values beyond the last whole row are left as they are.
pub fn fourier_2d(values: &mut [Complex<f64>], width: usize, height: usize, back: bool) {
    if width == 0 || height == 0 || values.len() < width * height {
        return;
    }
    let values = &mut values[..width * height];
    let mut planner = FftPlanner::new();
    let mut plan = |n: usize| if back { planner.plan_fft_inverse(n) } else { planner.plan_fft_forward(n) };
    let (rows, columns) = (plan(width), plan(height));
    rows.process(values);
    let mut column = vec![Complex::default(); height];
    for x in 0..width {
        for y in 0..height {
            column[y] = values[y * width + x];
        }
        columns.process(&mut column);
        for y in 0..height {
            values[y * width + x] = column[y];
        }
    }
}
