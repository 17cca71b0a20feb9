//! A picture in linear light, 16 bits a channel, and how it is coded.
//!
//! Light adds up linearly: scaling, turning and blending coded values darkens edges. One 8-bit code step
//! is 20 of these units even in the deepest shadow.

use crate::picture::{Picture, PictureError};
use crate::srgb;

/// The value of full light.
pub(super) const FULL: f32 = 65_535.0;

/// A picture in linear light with sRGB primaries: 0 to 65535 a channel, rows from the top.
#[derive(Clone)]
pub(super) struct LinearPicture {
    width_px: u32,
    height_px: u32,
    pixels: Vec<[u16; 3]>,
}

impl LinearPicture {
    /// Takes pixels; `None` when their number does not fit or a side is zero.
    pub fn from_pixels(width_px: u32, height_px: u32, pixels: Vec<[u16; 3]>) -> Option<Self> {
        let fits = width_px > 0 && height_px > 0 && pixels.len() == width_px as usize * height_px as usize;
        fits.then_some(Self { width_px, height_px, pixels })
    }

    /// Codes as 8-bit sRGB.
    pub fn coded(&self) -> Result<Picture, PictureError> {
        let codes = codes();
        let mut rgb = Vec::with_capacity(self.pixels.len() * 3);
        for pixel in &self.pixels {
            rgb.extend(pixel.map(|v| codes[usize::from(v)]));
        }
        Picture::from_rgb(self.width_px, self.height_px, rgb)
    }

    /// Returns the width in pixels, at least 1.
    pub fn width_px(&self) -> u32 {
        self.width_px
    }

    /// Returns the height in pixels, at least 1.
    pub fn height_px(&self) -> u32 {
        self.height_px
    }

    /// Returns one pixel by its number.
    #[inline]
    pub fn at(&self, index: usize) -> [u16; 3] {
        self.pixels[index]
    }

    /// Replaces one pixel by its number.
    #[inline]
    pub(super) fn set(&mut self, index: usize, value: [u16; 3]) {
        self.pixels[index] = value;
    }

    /// Averages blocks of `n` × `n` pixels into linear light, 0 to 1; an incomplete block at the border
    /// is left out.
    pub(super) fn blocks(&self, n: usize) -> (usize, usize, Vec<[f32; 3]>) {
        let (full_width, full_height) = (self.width_px as usize, self.height_px as usize);
        let n = n.clamp(1, full_width.min(full_height));
        let (width, height) = (full_width / n, full_height / n);
        let scale = 1.0 / (FULL * (n * n) as f32);
        let mut out = Vec::with_capacity(width * height);
        let mut sums = vec![[0_u32; 3]; width];
        for y in 0..height {
            sums.fill([0; 3]);
            for row in y * n..(y + 1) * n {
                let line = &self.pixels[row * full_width..row * full_width + width * n];
                for (sum, block) in sums.iter_mut().zip(line.chunks_exact(n)) {
                    for pixel in block {
                        for c in 0..3 {
                            sum[c] += u32::from(pixel[c]);
                        }
                    }
                }
            }
            out.extend(sums.iter().map(|s| s.map(|v| v as f32 * scale)));
        }
        (width, height, out)
    }

    /// Averages blocks until it has about `edge_px` on its longer side, no less.
    pub(super) fn averaged_to(&self, edge_px: u32) -> Self {
        let block = (self.width_px.max(self.height_px) / edge_px.max(1)).max(1) as usize;
        let (width, height, light) = self.blocks(block);
        let pixels = light.into_iter().map(|p| p.map(|v| (v * FULL).round() as u16)).collect();
        Self { width_px: width as u32, height_px: height as u32, pixels }
    }
}

/// The nearest 8-bit sRGB code of each value.
fn codes() -> &'static [u8] {
    static TABLE: std::sync::OnceLock<Vec<u8>> = std::sync::OnceLock::new();
    TABLE.get_or_init(|| {
        (0..=65_535_u16)
            .map(|v| (srgb::from_linear(f64::from(v) / f64::from(FULL)) * 255.0).round() as u8)
            .collect()
    })
}

/// Multiplies light, 0 to [`FULL`] a channel, by gains; light that was clipped stays white.
#[inline]
pub(super) fn gained(light: [f32; 3], gains: [f32; 3]) -> [f32; 3] {
    // Where all channels are at the sensor's end nothing is known of the colour: a gain would tint it.
    const CLIPS_FROM: f32 = 0.97;
    let least = light[0].min(light[1]).min(light[2]);
    let share = ((least / FULL - CLIPS_FROM) / (1.0 - CLIPS_FROM)).clamp(0.0, 1.0);
    [0, 1, 2].map(|c| {
        let gained = (light[c] * gains[c]).min(FULL);
        gained + (FULL - gained) * share
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn clipped_light_stays_white() {
        let gains = [0.8, 1.0, 1.2];
        let coded = |light: [f32; 3]| gained(light, gains).map(|v| v.round() as u16);
        assert_eq!(coded([FULL; 3]), [u16::MAX; 3]);
        assert_eq!(coded([30_000.0, 20_000.0, 10_000.0]), [24_000, 20_000, 12_000]);
    }
}
