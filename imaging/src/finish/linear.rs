//! A picture in linear light, 16 bits a channel, and how it is resampled.
//!
//! Light adds up linearly: scaling, turning and blending coded values darkens edges. One 8-bit code step
//! is 20 of these units even in the deepest shadow.

use imaging_kernels::U16x3;

use crate::picture::{Picture, PictureError};
use crate::srgb;

/// The value of full light.
pub(super) const FULL: f32 = 65_535.0;

/// A picture in linear light with sRGB primaries: 0 to 65535 a channel, rows from the top.
#[derive(Clone)]
pub struct LinearPicture {
    width_px: u32,
    height_px: u32,
    pixels: Vec<U16x3>,
}

impl LinearPicture {
    /// Takes pixels; `None` when their number does not fit or a side is zero.
    pub fn from_pixels(width_px: u32, height_px: u32, pixels: Vec<[u16; 3]>) -> Option<Self> {
        let fits = width_px > 0 && height_px > 0 && pixels.len() == width_px as usize * height_px as usize;
        fits.then(|| Self { width_px, height_px, pixels: pixels.into_iter().map(U16x3::new).collect() })
    }

    /// Decodes an sRGB picture.
    pub fn from_coded(picture: &Picture) -> Self {
        let table = srgb::linear_of_code().map(|v| (v * FULL).round() as u16);
        let pixels = picture
            .rgb()
            .chunks_exact(3)
            .map(|p| U16x3::new([p[0], p[1], p[2]].map(|v| table[usize::from(v)])))
            .collect();
        Self { width_px: picture.width_px(), height_px: picture.height_px(), pixels }
    }

    /// Codes as 8-bit sRGB.
    pub fn coded(&self) -> Result<Picture, PictureError> {
        let codes = codes();
        let mut rgb = Vec::with_capacity(self.pixels.len() * 3);
        for pixel in &self.pixels {
            rgb.extend(pixel.0.map(|v| codes[usize::from(v)]));
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
        self.pixels[index].0
    }

    /// Replaces one pixel by its number.
    #[inline]
    pub(super) fn set(&mut self, index: usize, value: [u16; 3]) {
        self.pixels[index].0 = value;
    }

    /// Multiplies each channel by a gain; light that was clipped stays white, whatever the gains.
    pub fn gain(&mut self, gains: [f32; 3]) {
        if gains.iter().all(|g| (g - 1.0).abs() < f32::EPSILON) {
            return;
        }
        for pixel in &mut self.pixels {
            pixel.0 = gained(pixel.0.map(f32::from), gains).map(|v| v.round() as u16);
        }
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
                            sum[c] += u32::from(pixel.0[c]);
                        }
                    }
                }
            }
            out.extend(sums.iter().map(|s| s.map(|v| v as f32 * scale)));
        }
        (width, height, out)
    }

    /// Cuts out a rectangle (left, top, width, height, in pixels, fractions allowed, inside the picture)
    /// and resizes it with Catmull-Rom's cubic, widened when shrinking.
    pub fn resized(&self, cut: [f64; 4], width_px: u32, height_px: u32) -> Result<Self, PictureError> {
        if width_px == 0 || height_px == 0 {
            return Err(PictureError::Empty { width_px, height_px });
        }
        let size = (self.width_px, self.height_px);
        let pixels = imaging_kernels::resize_rgb16(&self.pixels, size, cut, (width_px, height_px))
            .map_err(PictureError::Resize)?;
        Ok(Self { width_px, height_px, pixels })
    }

    /// Resizes the whole picture to at most `edge_px` on its longer side.
    pub fn shrunk_to(self, edge_px: u32) -> Result<Self, PictureError> {
        let (width, height) = crate::picture::fit_within(self.width_px, self.height_px, edge_px);
        if (width, height) == (self.width_px, self.height_px) {
            return Ok(self);
        }
        self.resized([0.0, 0.0, f64::from(self.width_px), f64::from(self.height_px)], width, height)
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
    fn coding_and_decoding_return_every_code() {
        let rgb: Vec<u8> = (0..=255).flat_map(|v| [v, 255 - v, v / 2]).collect();
        let picture = Picture::from_rgb(256, 1, rgb).unwrap();
        assert_eq!(LinearPicture::from_coded(&picture).coded().unwrap(), picture);
    }

    #[test]
    fn clipped_light_stays_white() {
        let mut picture =
            LinearPicture::from_pixels(2, 1, vec![[65_535; 3], [30_000, 20_000, 10_000]]).unwrap();
        picture.gain([0.8, 1.0, 1.2]);
        assert_eq!(picture.at(0), [65_535; 3]);
        assert_eq!(picture.at(1), [24_000, 20_000, 12_000]);
    }

    #[test]
    fn shrinking_keeps_the_light() {
        // Black and white lines average to half the light: code 188, not 128 (IEC 61966-2-1).
        let pixels = (0..64_u32).flat_map(|y| vec![[if y % 2 == 0 { 65_535 } else { 0 }; 3]; 64]).collect();
        let picture = LinearPicture::from_pixels(64, 64, pixels).unwrap().shrunk_to(16).unwrap();
        let coded = picture.coded().unwrap().pixel(8, 8).unwrap();
        assert!(coded.iter().all(|v| v.abs_diff(188) <= 2), "{coded:?}");
    }
}
