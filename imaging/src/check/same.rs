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
            let near: Vec<&Pair> = (i.saturating_sub(5)..(i + 6).min(pairs.len()))
                .filter(|&j| j != i)
                .filter_map(|j| pairs[j].as_ref())
                .filter(|p| !p.same_bytes)
                .collect();
            pair.judge(&near)
        })
        .collect()
}

struct Pair {
    same_bytes: bool,
    difference: Option<f32>,
    grain: Option<f32>,
    grain_floor: f32,
}

impl Pair {
    fn of(a: &FrameFacts, b: &FrameFacts) -> Self {
        Self {
            same_bytes: a.digest == b.digest,
            difference: a.signature.difference(&b.signature),
            grain: a.signature.grain_agreement(&b.signature),
            grain_floor: a.signature.grain_floor.max(b.signature.grain_floor),
        }
    }

    fn judge(&self, near: &[&Self]) -> Option<Flag> {
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
        if near.len() >= 3 && own < 1.6 * self.grain_floor && usual > 3.0 * own && least > 2.2 * own {
            return Some(flag(
                100.0 * (1.0 - closer?),
                "the object stands as at the stop before: the table did not move",
            ));
        }
        None
    }
}
