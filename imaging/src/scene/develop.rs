//! From linear light to the camera's pixels: blur, gain, coding, enlargement, sensor noise.

use super::light::Vec3;
use super::random::Stream;
use super::{SceneError, SceneFaults};
use crate::picture::{Picture, PictureError};
use crate::srgb::{self, FineCoder};
use imaging_kernels::U16x3;
use std::sync::OnceLock;

/// A frame in linear light, before it is read out.
pub(super) struct Exposed {
    pub width: usize,
    pub height: usize,
    pub light: Vec<Vec3>,
}

/// The sensor's noise in one exposure.
pub(super) struct Noise {
    pub seed: u64,
    /// Noise over that of ISO 100.
    pub gain: f32,
}

/// Makes the camera's picture of `width_px` × `height_px` from an exposed frame; `scale` is
/// the exposed frame's size over the finished one's.
pub(super) fn develop(
    mut exposed: Exposed,
    faults: &SceneFaults,
    scale: f32,
    noise: &Noise,
    width_px: u32,
    height_px: u32,
) -> Result<Picture, SceneError> {
    let deviation = faults.defocus_px * scale / 2.0;
    if deviation > 0.05 {
        blur(&mut exposed, deviation);
    }
    let stops = faults.exposure_ev.exp2();
    let gain = faults.channel_gain.map(|g| g * stops);
    let coder = FineCoder::shared();
    let read: Vec<U16x3> = exposed
        .light
        .iter()
        .map(|l| {
            U16x3::new([coder.code(l[0] * gain[0]), coder.code(l[1] * gain[1]), coder.code(l[2] * gain[2])])
        })
        .collect();
    drop(exposed.light);
    let (width, height) = (exposed.width as u32, exposed.height as u32);
    let rgb = if (width, height) == (width_px, height_px) {
        read_out(&read, width_px as usize, noise)
    } else {
        let whole = [0.0, 0.0, f64::from(width), f64::from(height)];
        let resized = imaging_kernels::resize_rgb16(&read, (width, height), whole, (width_px, height_px))
            .map_err(PictureError::Resize)?;
        read_out(&resized, width_px as usize, noise)
    };
    Ok(Picture::from_rgb(width_px, height_px, rgb)?)
}

const GRAINS: usize = 1 << 16;
/// Grains are stored as deviations times this.
const GRAIN_UNIT: f32 = 4096.0;

fn grains() -> &'static [i16] {
    static TABLE: OnceLock<Vec<i16>> = OnceLock::new();
    TABLE.get_or_init(|| {
        let mut draw = Stream::new(2024);
        (0..GRAINS + 3 * super::MAX_SIDE_PX as usize).map(|_| (draw.normal() * GRAIN_UNIT) as i16).collect()
    })
}

/// Adds sensor noise and rounds to 8 bits.
///
/// Shot noise grows with the root of the light and read noise does not: the usual model of a
/// sensor. The figures give a 24-megapixel frame at ISO 100 the grain, and its JPEG the size,
/// of a camera's (common practice, no source).
fn read_out(coded: &[U16x3], width: usize, noise: &Noise) -> Vec<u8> {
    const SHOT: f64 = 5.4e-4;
    const READ: f64 = 8.0e-6;
    let mut strength = [0_i32; 257];
    for (code, entry) in strength.iter_mut().enumerate() {
        let linear = srgb::to_linear((code as f64 / 255.0).min(1.0));
        let deviation = (SHOT * linear + READ).sqrt() * f64::from(noise.gain);
        let step = 1e-4;
        let slope = (srgb::from_linear(linear + step) - srgb::from_linear(linear)) / step;
        // In 1/256 of an 8-bit step; held below what the sum could overflow at.
        *entry = (deviation * slope * 255.0 * 256.0).min(20_000.0) as i32;
    }
    let grains = grains();
    let mut draw = Stream::new(noise.seed);
    let mut rgb = vec![0; coded.len() * 3];
    // Each row reads the table from a place of its own, so that rows do not look alike.
    for (row, out) in coded.chunks(width).zip(rgb.chunks_mut(width * 3)) {
        let start = draw.bits() as usize % GRAINS;
        let grains = grains[start..].chunks_exact(3);
        for ((pixel, out), grain) in row.iter().zip(out.chunks_exact_mut(3)).zip(grains) {
            for c in 0..3 {
                let code = i32::from(pixel.0[c]);
                let add = (strength[(code >> 8) as usize] * i32::from(grain[c])) >> 12;
                out[c] = ((code + add + 128) >> 8).clamp(0, 255) as u8;
            }
        }
    }
    rgb
}

/// Blurs with a Gaussian of the given standard deviation in pixels, rows then columns.
fn blur(exposed: &mut Exposed, deviation: f32) {
    let reach = (deviation * 3.0).ceil() as usize;
    let mut weights: Vec<f32> = (0..=reach).map(|i| (-0.5 * (i as f32 / deviation).powi(2)).exp()).collect();
    let total = 2.0 * weights.iter().sum::<f32>() - weights[0];
    for weight in &mut weights {
        *weight /= total;
    }
    let (width, height) = (exposed.width, exposed.height);
    let mut across = vec![[0.0; 3]; exposed.light.len()];
    for row in 0..height {
        let source = &exposed.light[row * width..(row + 1) * width];
        let target = &mut across[row * width..(row + 1) * width];
        for (column, out) in target.iter_mut().enumerate() {
            let mut sum = source[column].map(|v| v * weights[0]);
            for (i, weight) in weights.iter().enumerate().skip(1) {
                let left = source[column.saturating_sub(i)];
                let right = source[(column + i).min(width - 1)];
                for c in 0..3 {
                    sum[c] += (left[c] + right[c]) * weight;
                }
            }
            *out = sum;
        }
    }
    for row in 0..height {
        let target = &mut exposed.light[row * width..(row + 1) * width];
        target.fill([0.0; 3]);
        for (i, &weight) in weights.iter().enumerate() {
            let mut lines = vec![row.saturating_sub(i)];
            if i > 0 {
                lines.push((row + i).min(height - 1));
            }
            for line in lines {
                let source = &across[line * width..(line + 1) * width];
                for (out, add) in target.iter_mut().zip(source) {
                    for c in 0..3 {
                        out[c] += add[c] * weight;
                    }
                }
            }
        }
    }
}
