//! Finds frames that are the picture of the frame before once more.

use super::{Flag, FlagKind};
use crate::measure::FrameFacts;

/// Compares each frame with the one before it; gives a flag for each copy.
pub(super) fn copies(frames: &[Option<&FrameFacts>]) -> Vec<Option<Flag>> {
    let pairs: Vec<Option<Pair>> = (0..frames.len())
        .map(|i| {
            let before = frames[..i].iter().rev().find_map(|f| *f)?;
            Some(Pair::of(frames[i]?, before))
        })
        .collect();
    (0..frames.len())
        .map(|i| {
            let pair = pairs[i].as_ref()?;
            let difference = |j: usize| pairs.get(j)?.as_ref()?.difference;
            let step_before = i.checked_sub(1).and_then(difference);
            let near: Vec<&Pair> = (i.saturating_sub(5)..(i + 6).min(pairs.len()))
                .filter(|&j| j != i)
                .filter_map(|j| pairs[j].as_ref())
                .filter(|p| !p.same_bytes)
                .collect();
            pair.judge(&near, step_before, difference(i + 1))
        })
        .collect()
}

struct Pair {
    same_bytes: bool,
    difference: Option<f32>,
    grain: Option<f32>,
    grain_floor: f32,
    /// Whether one of the two is softer than the other.
    blur_differs: bool,
}

/// Edges that differ by more than this are blurred, as a Gaussian variance in px² of a frame 1500 px wide.
const BLUR_PX2: f32 = 0.5;
/// A step to the next stop that differs by this much more than its neighbours is a longer one.
const LONGER: f32 = 1.2;

fn blur_differs(a: &FrameFacts, b: &FrameFacts) -> bool {
    let soft = |f: &FrameFacts| f.object.as_ref().and_then(|o| o.softness);
    let (Some(s), Some(t)) = (soft(a), soft(b)) else { return false };
    let scale = (a.full_size_px.0.max(a.full_size_px.1) as f32 / 1500.0).max(1.0);
    let most = (s.across_px2 - t.across_px2).abs().max((s.upright_px2 - t.upright_px2).abs());
    most > BLUR_PX2 * scale * scale
}

impl Pair {
    fn of(a: &FrameFacts, b: &FrameFacts) -> Self {
        Self {
            same_bytes: a.digest == b.digest,
            difference: a.signature.difference(&b.signature),
            grain: a.signature.grain_agreement(&b.signature),
            grain_floor: a.signature.grain_floor.max(b.signature.grain_floor),
            blur_differs: blur_differs(a, b),
        }
    }

    /// Judges a pair among pairs `near`; `step_before` and `step_after` say how much the frame before
    /// differs from the one before it, and the frame after from this one.
    fn judge(&self, near: &[&Self], step_before: Option<f32>, step_after: Option<f32>) -> Option<Flag> {
        let flag = |share: f64, how: &str| {
            Flag::new(FlagKind::Duplicate, share, "%", format!("{how}; retake the stop"))
        };
        if self.same_bytes {
            return Some(flag(
                100.0,
                "the file is the one of the stop before, byte for byte: the camera sent its last picture again",
            ));
        }
        let middle = |mut values: Vec<f32>| {
            values.sort_by(f32::total_cmp);
            values.get(values.len() / 2).copied()
        };
        let grains: Vec<f32> = near.iter().filter_map(|p| p.grain).collect();
        let usual_grain = middle(grains.clone()).unwrap_or(0.0);
        // Where the codec left next to no grain, agreement is a matter of chance.
        let chance = 6.0 * middle(grains.iter().map(|g| (g - usual_grain).abs()).collect()).unwrap_or(0.0);
        let usual_difference = middle(near.iter().filter_map(|p| p.difference).collect());
        let closer = match (self.difference, usual_difference) {
            (Some(own), Some(usual)) => Some(f64::from(own / usual.max(1e-3))),
            _ => None,
        };
        if let Some(grain) = self.grain
            && grain > usual_grain.max(0.0) + chance.clamp(0.3, 0.65)
            // A turned object with detail looks different whatever its grain says.
            && (closer.is_none_or(|c| c < 0.4) || (closer.is_some_and(|c| c < 0.9) && usual_difference.is_some_and(|u| u < 1.2)))
        {
            return Some(flag(
                100.0 * f64::from(grain),
                "the picture agrees with the stop before down to its grain: the camera sent its last picture again",
            ));
        }
        let (own, usual) = (self.difference?, usual_difference?);
        // The lower quarter: another copy near by is no measure of what turning does.
        let mut differences: Vec<f32> = near.iter().filter_map(|p| p.difference).collect();
        differences.sort_by(f32::total_cmp);
        let least = differences[differences.len() / 4];
        // Two exposures of one scene differ by grain alone; a turned object differs by much more, and at
        // every stop about here.
        let most = if self.blur_differs { 2.4 } else { 1.6 } * self.grain_floor;
        let alike = near.len() >= 3 && own < most && usual > 3.0 * own && least > 2.2 * own;
        // Two frames of one angle: after a stop turned too far, the next one stands where it should.
        let before_is_off = step_before
            .zip(step_after)
            .is_some_and(|(before, after)| before > LONGER * after && before > LONGER * usual);
        if alike && !before_is_off {
            return Some(flag(
                100.0 * (1.0 - closer?),
                "the object stands as at the stop before: the table did not move",
            ));
        }
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pair(difference: f32) -> Pair {
        Pair {
            same_bytes: false,
            difference: Some(difference),
            grain: Some(0.0),
            grain_floor: 0.4,
            blur_differs: false,
        }
    }

    fn judged(own: &Pair, before: f32, after: f32) -> bool {
        let usual: Vec<Pair> = (0..8).map(|_| pair(3.6)).collect();
        own.judge(&usual.iter().collect::<Vec<_>>(), Some(before), Some(after)).is_some()
    }

    #[test]
    fn a_table_that_stood_is_named() {
        assert!(judged(&pair(0.3), 3.6, 5.3));
        assert!(!judged(&pair(0.9), 3.6, 5.3));
    }

    #[test]
    fn a_table_that_stood_is_named_though_one_frame_is_blurred() {
        assert!(judged(&Pair { blur_differs: true, ..pair(0.9) }, 3.6, 5.3));
    }

    #[test]
    fn a_stop_after_one_that_turned_a_step_too_far_is_not_blamed() {
        assert!(!judged(&pair(0.3), 5.3, 3.6));
    }
}
