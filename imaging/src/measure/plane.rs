//! A single-channel picture of bytes, and the few ways it is sampled.

/// Holds one byte a pixel, rows from the top.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Plane {
    /// Width in pixels.
    pub width: usize,
    /// Height in pixels.
    pub height: usize,
    /// `width × height` values.
    pub data: Vec<u8>,
}

impl Plane {
    /// Takes the luma (ITU-R BT.601 weights, as JPEG codes it) of RGB bytes.
    pub fn luma(rgb: &[u8], width: usize, height: usize) -> Self {
        let data = rgb
            .chunks_exact(3)
            .map(|p| ((u32::from(p[0]) * 77 + u32::from(p[1]) * 150 + u32::from(p[2]) * 29 + 128) >> 8) as u8)
            .collect();
        Self { width, height, data }
    }

    /// Returns one row.
    #[inline]
    pub fn row(&self, y: usize) -> &[u8] {
        &self.data[y * self.width..(y + 1) * self.width]
    }

    /// Returns the value at a place inside the picture.
    #[inline]
    pub fn at(&self, x: usize, y: usize) -> f32 {
        f32::from(self.data[y * self.width + x])
    }

    /// Interpolates between four pixels; `x` and `y` count from the centre of the first pixel and
    /// must lie at least a pixel inside.
    #[inline]
    pub fn between(&self, x: f32, y: f32) -> f32 {
        let (x0, y0) = (x as usize, y as usize);
        let (fx, fy) = (x - x0 as f32, y - y0 as f32);
        let at = y0 * self.width + x0;
        let pair = |at: usize| {
            let pair = &self.data[at..at + 2];
            let (a, b) = (f32::from(pair[0]), f32::from(pair[1]));
            a + (b - a) * fx
        };
        let (top, bottom) = (pair(at), pair(at + self.width));
        top + (bottom - top) * fy
    }

    /// Cuts a rectangle out; it is clipped to the picture.
    #[must_use]
    pub fn crop(&self, x: usize, y: usize, width: usize, height: usize) -> Self {
        let (x, y) = (x.min(self.width), y.min(self.height));
        let (width, height) = (width.min(self.width - x), height.min(self.height - y));
        let mut data = Vec::with_capacity(width * height);
        for row in y..y + height {
            data.extend_from_slice(&self.row(row)[x..x + width]);
        }
        Self { width, height, data }
    }

    /// Averages blocks of `n` × `n` pixels; an incomplete block at the border is left out.
    #[must_use]
    pub fn reduced(&self, n: usize) -> Self {
        let (width, height) = (self.width / n, self.height / n);
        let mut data = Vec::with_capacity(width * height);
        let half = (n * n / 2) as u32;
        let mut sums = vec![0_u32; width];
        for y in 0..height {
            sums.fill(half);
            for row in y * n..(y + 1) * n {
                for (sum, block) in sums.iter_mut().zip(self.row(row).chunks_exact(n)) {
                    *sum += block.iter().map(|&v| u32::from(v)).sum::<u32>();
                }
            }
            data.extend(sums.iter().map(|&s| (s / (n * n) as u32) as u8));
        }
        Self { width, height, data }
    }

    /// Smooths by the binomial (1, 2, 1) / 4 across and down; the border stays.
    #[must_use]
    pub fn smoothed(&self) -> Self {
        let (w, h) = (self.width, self.height);
        let mut data = self.data.clone();
        let mut column = vec![0_u16; w];
        for y in 1..h.saturating_sub(1) {
            let (above, here, below) = (self.row(y - 1), self.row(y), self.row(y + 1));
            for (sum, ((a, b), c)) in column.iter_mut().zip(above.iter().zip(here).zip(below)) {
                *sum = u16::from(*a) + 2 * u16::from(*b) + u16::from(*c);
            }
            let inside = &mut data[y * w + 1..][..w.saturating_sub(2)];
            for (out, near) in inside.iter_mut().zip(column.windows(3)) {
                *out = ((near[0] + 2 * near[1] + near[2] + 8) >> 4) as u8;
            }
        }
        Self { width: w, height: h, data }
    }
}
