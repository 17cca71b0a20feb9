//! Maps in squares of some pixels, read at the picture's own pixels.

/// How the squares of a map lie on a picture's pixels.
#[derive(Debug, Clone, Copy)]
pub(super) struct Grid {
    /// Squares across.
    pub width: usize,
    /// Squares down.
    pub height: usize,
    /// Squares to a pixel.
    pub scale: f32,
}

impl Grid {
    /// Interpolates a map at a place counted in pixels from the first one's middle; `value` tells a square's by its
    /// number. Beyond the middles of the outermost squares their value goes on.
    #[inline]
    pub fn at(&self, x: f32, y: f32, value: impl Fn(usize) -> f32) -> f32 {
        let (x0, x1, fx) = self.between(x, self.width);
        let (y0, y1, fy) = self.between(y, self.height);
        let row = |y: usize| value(y * self.width + x0) * (1.0 - fx) + value(y * self.width + x1) * fx;
        row(y0) * (1.0 - fy) + row(y1) * fy
    }

    /// The square that a pixel lies in along one side; the picture's last pixels may lie beyond the last square.
    #[inline]
    pub fn square(&self, pixel: usize) -> usize {
        ((pixel as f32 + 0.5) * self.scale) as usize
    }

    /// The number of a square; beyond the last that of the last.
    #[inline]
    pub fn number(&self, column: usize, row: usize) -> usize {
        row.min(self.height - 1) * self.width + column.min(self.width - 1)
    }

    /// Whether something holds for each square and all next to it, so for all that [`Grid::at`] takes in for a pixel of
    /// it; one more square than the map has across and down, for the picture's last pixels.
    pub fn all_round(&self, holds: impl Fn(usize) -> bool) -> Vec<bool> {
        let Self { width, height, .. } = *self;
        let mut all = Vec::with_capacity((width + 1) * (height + 1));
        for y in 0..=height {
            for x in 0..=width {
                let mut rows = y.saturating_sub(1)..(y + 2).min(height);
                all.push(rows.all(|row| {
                    (x.saturating_sub(1)..(x + 2).min(width)).all(|column| holds(row * width + column))
                }));
            }
        }
        all
    }

    /// The two squares next to a place along one side, and how far it lies from the first.
    #[inline]
    fn between(&self, place: f32, side: usize) -> (usize, usize, f32) {
        let at = ((place + 0.5) * self.scale - 0.5).clamp(0.0, (side - 1) as f32);
        (at as usize, (at as usize + 1).min(side - 1), at.fract())
    }
}
