//! A decoded picture: plain RGB bytes with a width and a height.

use thiserror::Error;

/// Says why a picture could not be made from a buffer or resized.
#[derive(Debug, Error)]
pub enum PictureError {
    /// The buffer does not hold width × height × 3 bytes.
    #[error(
        "a picture of {width_px} × {height_px} pixels needs {expected} bytes of RGB, but {found} were given"
    )]
    WrongLength {
        /// Width in pixels.
        width_px: u32,
        /// Height in pixels.
        height_px: u32,
        /// Bytes needed.
        expected: u64,
        /// Bytes given.
        found: u64,
    },
    /// A side is zero.
    #[error("a picture needs at least one pixel a side, but {width_px} × {height_px} was asked for")]
    Empty {
        /// Width in pixels.
        width_px: u32,
        /// Height in pixels.
        height_px: u32,
    },
    /// The resizer refused.
    #[error("the picture could not be resized: {0}")]
    Resize(String),
}

/// A picture in memory: 8-bit sRGB-coded RGB, rows from the top, no padding.
#[derive(Clone, PartialEq, Eq)]
pub struct Picture {
    width_px: u32,
    height_px: u32,
    rgb: Vec<u8>,
}

impl std::fmt::Debug for Picture {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Picture({} × {} px)", self.width_px, self.height_px)
    }
}

impl Picture {
    /// Takes a buffer of `width_px` × `height_px` × 3 bytes as a picture.
    ///
    /// Fails when a side is zero or the length does not fit.
    pub fn from_rgb(width_px: u32, height_px: u32, rgb: Vec<u8>) -> Result<Self, PictureError> {
        if width_px == 0 || height_px == 0 {
            return Err(PictureError::Empty { width_px, height_px });
        }
        let expected = u64::from(width_px) * u64::from(height_px) * 3;
        if rgb.len() as u64 != expected {
            return Err(PictureError::WrongLength { width_px, height_px, expected, found: rgb.len() as u64 });
        }
        Ok(Self { width_px, height_px, rgb })
    }

    /// Returns the width in pixels, at least 1.
    pub fn width_px(&self) -> u32 {
        self.width_px
    }

    /// Returns the height in pixels, at least 1.
    pub fn height_px(&self) -> u32 {
        self.height_px
    }

    /// Returns the pixels, three bytes each, row by row from the top.
    pub fn rgb(&self) -> &[u8] {
        &self.rgb
    }

    /// Gives up the pixel buffer.
    pub fn into_rgb(self) -> Vec<u8> {
        self.rgb
    }

    /// Returns the red, green and blue of one pixel, or `None` outside the picture.
    pub fn pixel(&self, column: u32, row: u32) -> Option<[u8; 3]> {
        if column >= self.width_px || row >= self.height_px {
            return None;
        }
        let at = (row as usize * self.width_px as usize + column as usize) * 3;
        self.rgb.get(at..at + 3).map(|p| [p[0], p[1], p[2]])
    }

    /// Shrinks to at most `max_edge_px` on the longer side; a picture that fits is returned
    /// as it is. Resizes like [`Picture::resized`].
    pub fn shrunk_to(self, max_edge_px: u32) -> Result<Self, PictureError> {
        let (width_px, height_px) = fit_within(self.width_px, self.height_px, max_edge_px);
        self.resized(width_px, height_px)
    }

    /// Resizes to `width_px` × `height_px` (Catmull-Rom, each side on its own).
    ///
    /// Coded values are averaged, which is right for what is shown small on a screen;
    /// finished pictures are resized in linear light.
    pub fn resized(self, width_px: u32, height_px: u32) -> Result<Self, PictureError> {
        if (width_px, height_px) == (self.width_px, self.height_px) {
            return Ok(self);
        }
        if width_px == 0 || height_px == 0 {
            return Err(PictureError::Empty { width_px, height_px });
        }
        let size = (self.width_px, self.height_px);
        let rgb = imaging_kernels::resize_rgb8(&self.rgb, size, (width_px, height_px))
            .map_err(PictureError::Resize)?;
        Self::from_rgb(width_px, height_px, rgb)
    }

    /// Turns the picture upright, given the Orientation value of EXIF (1 to 8; anything else
    /// leaves it as it is).
    #[must_use]
    pub fn upright(self, orientation: u16) -> Self {
        if !(2..=8).contains(&orientation) {
            return self;
        }
        let (w, h) = (self.width_px as usize, self.height_px as usize);
        let swaps = orientation >= 5;
        let (out_w, out_h) = if swaps { (h, w) } else { (w, h) };
        let mut rgb = Vec::with_capacity(self.rgb.len());
        for y in 0..out_h {
            for x in 0..out_w {
                let (sx, sy) = match orientation {
                    2 => (w - 1 - x, y),
                    3 => (w - 1 - x, h - 1 - y),
                    4 => (x, h - 1 - y),
                    5 => (y, x),
                    6 => (y, h - 1 - x),
                    7 => (w - 1 - y, h - 1 - x),
                    _ => (w - 1 - y, x),
                };
                let at = (sy * w + sx) * 3;
                rgb.extend_from_slice(&self.rgb[at..at + 3]);
            }
        }
        Self { width_px: out_w as u32, height_px: out_h as u32, rgb }
    }
}

/// Returns the size of a picture scaled down to at most `max_edge_px` on its longer side.
pub fn fit_within(width_px: u32, height_px: u32, max_edge_px: u32) -> (u32, u32) {
    let longer = width_px.max(height_px);
    if longer <= max_edge_px || longer == 0 {
        return (width_px, height_px);
    }
    let scale = f64::from(max_edge_px.max(1)) / f64::from(longer);
    let side = |px: u32| ((f64::from(px) * scale).round() as u32).max(1);
    (side(width_px), side(height_px))
}
