//! How large a listing's pictures are, beside what the camera saw of them.

use imaging::export::ListingProfile;
use imaging::finish::SetPlan;
use serde::Serialize;

/// The width of a listing's pictures, and of what is cut out of the frames for them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct ListingSize {
    /// What the profile asks for, pixels.
    pub asked_px: u32,
    /// What the crop has, pixels of the camera.
    pub crop_px: u32,
}

impl ListingSize {
    /// Compares the plans of all rows, made with the profile's ratio, with what the profile asks for; `None` without
    /// a row.
    pub(super) fn of(plans: &[SetPlan], profile: &ListingProfile) -> Option<Self> {
        let widths = plans.iter().map(|plan| plan.placement.crop.width_px);
        // All frames are cut alike; where rows differ, the narrowest is enlarged most.
        let crop_px = widths.min_by(f64::total_cmp)?;
        Some(Self { asked_px: profile.width_px, crop_px: crop_px.round() as u32 })
    }

    /// How many times the crop is enlarged; `None` when it has as many pixels as are asked for.
    pub fn enlarged(self) -> Option<f64> {
        (self.crop_px < self.asked_px).then(|| f64::from(self.asked_px) / f64::from(self.crop_px.max(1)))
    }

    /// The same as a person reads it: two decimals where one would say nothing.
    pub fn enlarged_words(self) -> Option<String> {
        self.enlarged().map(|times| if times < 1.1 { format!("{times:.2}") } else { format!("{times:.1}") })
    }

    /// Says that the crop is enlarged, and what to do about it.
    pub(super) fn note(self) -> Option<String> {
        let times = self.enlarged_words()?;
        let Self { asked_px, crop_px } = self;
        Some(format!(
            "the profile asks for pictures {asked_px} px wide; the crop has {crop_px} px: it is enlarged {times} times and \
             will look soft; use a smaller profile, leave less margin, or move the camera nearer"
        ))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_what_is_enlarged_is_said() {
        let size = |asked_px, crop_px| ListingSize { asked_px, crop_px };
        assert_eq!(size(2000, 2000).note(), None);
        assert_eq!(size(2000, 3000).enlarged(), None);
        assert_eq!(size(2000, 1900).enlarged_words().as_deref(), Some("1.05"));
        let said = size(2000, 800).note().unwrap();
        assert!(said.contains("2000 px wide; the crop has 800 px: it is enlarged 2.5 times"), "{said}");
        assert!(size(16, 0).enlarged().is_some_and(f64::is_finite));
    }
}
