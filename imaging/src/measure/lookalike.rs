//! Tells whether two frames are one picture: the same bytes, encoded again, or a table that stood.
//!
//! Two marks: the object's picture (a turned object looks different) and the grain (each
//! exposure has its own). A plain round object looks alike at every stop, so only grain speaks.

use super::Plane;

/// Side of a grain patch in pixels.
const PATCH: usize = 32;
/// Patches across and down.
const GRID: (usize, usize) = (6, 5);

/// What is kept of a frame to compare it with others.
#[derive(Debug, Clone, PartialEq)]
pub struct Signature {
    /// The object's surroundings, small: compared pixel by pixel.
    pub small: Plane,
    /// Grain of patches all over the frame.
    grain: Vec<Vec<i8>>,
    /// The object's box in the small picture (left, top, right, bottom).
    object: Option<(usize, usize, usize, usize)>,
    /// Mean difference of two exposures of one scene that grain alone makes, in 8-bit codes.
    pub grain_floor: f32,
}

impl Signature {
    pub(super) fn of(
        luma: &Plane,
        small: Plane,
        object: Option<(usize, usize, usize, usize)>,
        noise: f32,
        block: usize,
    ) -> Self {
        let mut grain = Vec::new();
        if luma.width >= PATCH * GRID.0 + 4 && luma.height >= PATCH * GRID.1 + 4 {
            for j in 0..GRID.1 {
                for i in 0..GRID.0 {
                    let x = 2 + (luma.width - 4 - PATCH) * i / (GRID.0 - 1);
                    let y = 2 + (luma.height - 4 - PATCH) * j / (GRID.1 - 1);
                    grain.push(grain_of(luma, x, y));
                }
            }
        }
        // Two grains add; the mean of a normal distribution's size is 0.8 σ; bytes round.
        let grain_floor = 0.8 * (2.0 * noise).sqrt() / block.max(1) as f32 + 0.3;
        Self { small, grain, object, grain_floor }
    }

    /// Returns the mean difference of the object's small pictures in 8-bit codes, exposure taken
    /// out; `None` when their sizes differ or no object is seen.
    pub fn difference(&self, other: &Self) -> Option<f32> {
        if (self.small.width, self.small.height) != (other.small.width, other.small.height) {
            return None;
        }
        let (a, b) = (self.object?, other.object?);
        let (x0, y0, x1, y1) = (a.0.min(b.0), a.1.min(b.1), a.2.max(b.2), a.3.max(b.3));
        let mut deltas: Vec<f32> = Vec::with_capacity((x1 - x0) * (y1 - y0));
        for y in y0..y1.min(self.small.height) {
            for x in x0..x1.min(self.small.width) {
                deltas.push(self.small.at(x, y) - other.small.at(x, y));
            }
        }
        if deltas.is_empty() {
            return None;
        }
        let shift = super::backdrop::middle(&mut deltas);
        Some(deltas.iter().map(|d| (d - shift).abs()).sum::<f32>() / deltas.len() as f32)
    }

    /// Returns how far the grain of two frames agrees: a correlation from −1 to 1 over patches
    /// without edges; `None` where neither has any grain.
    pub fn grain_agreement(&self, other: &Self) -> Option<f32> {
        if self.grain.len() != other.grain.len() {
            return None;
        }
        let (mut xy, mut xx, mut yy) = (0_i64, 0_i64, 0_i64);
        for (a, b) in self.grain.iter().zip(&other.grain) {
            let energy = |g: &[i8]| g.iter().map(|&v| i64::from(v) * i64::from(v)).sum::<i64>();
            let (ea, eb) = (energy(a), energy(b));
            // Where there is an edge it is the scene that agrees, not the grain; where there is next
            // to nothing the codec has smoothed it away.
            let limit = 60 * a.len() as i64;
            if ea > limit || eb > limit || a.is_empty() {
                continue;
            }
            xy += a.iter().zip(b).map(|(&x, &y)| i64::from(x) * i64::from(y)).sum::<i64>();
            xx += ea;
            yy += eb;
        }
        let enough = (PATCH * PATCH) as i64 / 8;
        (xx > enough && yy > enough).then(|| xy as f32 / ((xx as f64 * yy as f64).sqrt() as f32))
    }
}

/// What a 3 × 3 mean leaves of a patch.
fn grain_of(luma: &Plane, x0: usize, y0: usize) -> Vec<i8> {
    let mut out = Vec::with_capacity(PATCH * PATCH);
    for y in y0..y0 + PATCH {
        let (a, b, c) = (luma.row(y - 1), luma.row(y), luma.row(y + 1));
        for x in x0..x0 + PATCH {
            let sum: i32 =
                [a, b, c].iter().map(|r| r[x - 1..=x + 1].iter().map(|&v| i32::from(v)).sum::<i32>()).sum();
            let rest = (9 * i32::from(b[x]) - sum) as f32 / 4.5;
            out.push(rest.round().clamp(-127.0, 127.0) as i8);
        }
    }
    out
}
