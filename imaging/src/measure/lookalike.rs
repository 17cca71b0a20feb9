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
    grain: Vec<GrainPatch>,
    /// The object's box in the small picture (left, top, right, bottom).
    object: Option<(usize, usize, usize, usize)>,
    /// Mean difference of two exposures of one scene that grain alone makes, in 8-bit codes.
    pub grain_floor: f32,
}

/// Grain of one patch.
#[derive(Debug, Clone, PartialEq)]
struct GrainPatch {
    /// Left, top, right and bottom in the small picture.
    bounds: (usize, usize, usize, usize),
    rest: Vec<i8>,
}

/// Fewest patches off the object that speak for the whole frame.
const ENOUGH_OFF_OBJECT: usize = 8;

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
                    let s = block.max(1);
                    let bounds = (x / s, y / s, (x + PATCH) / s + 1, (y + PATCH) / s + 1);
                    grain.push(GrainPatch { bounds, rest: grain_of(luma, x, y) });
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
    /// without edges, off the object where the frame has room there; `None` where there is no grain.
    pub fn grain_agreement(&self, other: &Self) -> Option<f32> {
        if self.grain.len() != other.grain.len() {
            return None;
        }
        let pairs: Vec<(&GrainPatch, &GrainPatch)> =
            self.grain.iter().zip(&other.grain).filter(|(a, b)| !a.has_edges() && !b.has_edges()).collect();
        // Fine detail on the object looks like grain, and stays with an object that stood.
        let on_object = |patch: &GrainPatch| {
            [self.object, other.object].into_iter().flatten().any(|o| overlap(patch.bounds, o))
        };
        let off: Vec<_> = pairs.iter().copied().filter(|(a, _)| !on_object(a)).collect();
        agreement(if off.len() >= ENOUGH_OFF_OBJECT { &off } else { &pairs })
    }
}

impl GrainPatch {
    fn energy(&self) -> i64 {
        self.rest.iter().map(|&v| i64::from(v) * i64::from(v)).sum()
    }

    /// Where there is an edge it is the scene that agrees, not the grain.
    fn has_edges(&self) -> bool {
        self.energy() > 60 * (PATCH * PATCH) as i64
    }
}

fn overlap(a: (usize, usize, usize, usize), b: (usize, usize, usize, usize)) -> bool {
    a.0 < b.2 && b.0 < a.2 && a.1 < b.3 && b.1 < a.3
}

fn agreement(pairs: &[(&GrainPatch, &GrainPatch)]) -> Option<f32> {
    let (mut xy, mut xx, mut yy) = (0_i64, 0_i64, 0_i64);
    for (a, b) in pairs {
        xy += a.rest.iter().zip(&b.rest).map(|(&x, &y)| i64::from(x) * i64::from(y)).sum::<i64>();
        xx += a.energy();
        yy += b.energy();
    }
    // Where there is next to nothing the codec has smoothed it away.
    let enough = (PATCH * PATCH) as i64 / 8;
    (xx > enough && yy > enough).then(|| xy as f32 / ((xx as f64 * yy as f64).sqrt() as f32))
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

#[cfg(test)]
mod tests {
    use super::*;

    /// A grey frame with grain of its own, and fine detail of the object's in its middle.
    fn frame(seed: u32) -> Signature {
        let (width, height) = (400, 300);
        let mut state = seed;
        let mut random = move || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (state >> 24) as i32
        };
        let mut luma = Plane { width, height, data: vec![0; width * height] };
        for y in 0..height {
            for x in 0..width {
                let on_object = (100..300).contains(&x) && (75..225).contains(&y);
                let detail = if on_object { 8 * i32::from((x * 7 + y * 13) % 5 == 0) } else { 0 };
                luma.data[y * width + x] = (120 + detail + random() % 5) as u8;
            }
        }
        let small = Plane { width: 100, height: 75, data: vec![0; 7500] };
        Signature::of(&luma, small, Some((25, 19, 75, 57)), 2.0, 4)
    }

    #[test]
    fn detail_of_an_object_that_stood_is_no_grain() {
        let agreement = frame(1).grain_agreement(&frame(2)).unwrap();
        assert!(agreement.abs() < 0.1, "{agreement}");
    }

    #[test]
    fn one_picture_agrees_down_to_its_grain() {
        let agreement = frame(1).grain_agreement(&frame(1)).unwrap();
        assert!(agreement > 0.99, "{agreement}");
    }
}
