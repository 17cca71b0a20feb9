//! What a photographer decides about finishing; the app keeps it beside the set.

use serde::{Deserialize, Serialize};
use thiserror::Error;

/// Says what is wrong with settings.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("{field} is {found}; write {wanted}")]
pub struct SettingsError {
    /// The field.
    pub field: &'static str,
    /// What it holds.
    pub found: String,
    /// What it may hold.
    pub wanted: &'static str,
}

/// The settings of finishing, in the order of the steps.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct FinishSettings {
    /// Whether exposure and white balance are made even over the set.
    pub even: bool,
    /// What counts as neutral.
    pub white_balance: WhiteBalance,
    /// Whether the turning axis is made vertical and put in the middle.
    pub straighten: bool,
    /// The common crop; `None` keeps the whole frame.
    pub crop: Option<CropSettings>,
    /// What becomes of the background.
    pub background: Background,
    /// What becomes of the shadow on a white background.
    pub shadow: Shadow,
    /// Strength of output sharpening in per cent, 0 to 100; 0 leaves it out.
    pub sharpen_percent: f32,
}

impl Default for FinishSettings {
    fn default() -> Self {
        Self {
            even: true,
            white_balance: WhiteBalance::Background,
            straighten: true,
            crop: Some(CropSettings::default()),
            background: Background::White,
            shadow: Shadow::Keep,
            sharpen_percent: 30.0,
        }
    }
}

impl FinishSettings {
    /// Checks the ranges.
    ///
    /// # Errors
    /// The first field outside its range.
    pub fn check(&self) -> Result<(), SettingsError> {
        if !(0.0..=100.0).contains(&self.sharpen_percent) {
            return Err(SettingsError {
                field: "sharpen_percent",
                found: self.sharpen_percent.to_string(),
                wanted: "0 to 100",
            });
        }
        self.crop.map_or(Ok(()), CropSettings::check)
    }
}

/// What counts as neutral in a set.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum WhiteBalance {
    /// The background is grey or white: a slight cast on it is taken out of the whole set.
    Background,
    /// As the camera had it.
    AsShot,
}

/// The common crop.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct CropSettings {
    /// Room on each side of the object, per cent of the finished picture's side, 0 to 45.
    pub margin_percent: f64,
    /// Width over height, 0.1 to 10.
    pub ratio: f64,
}

impl Default for CropSettings {
    fn default() -> Self {
        Self { margin_percent: 8.0, ratio: 1.0 }
    }
}

impl CropSettings {
    fn check(self) -> Result<(), SettingsError> {
        if !(0.0..=45.0).contains(&self.margin_percent) {
            let found = self.margin_percent.to_string();
            return Err(SettingsError { field: "margin_percent", found, wanted: "0 to 45" });
        }
        if !(0.1..=10.0).contains(&self.ratio) {
            return Err(SettingsError {
                field: "ratio",
                found: self.ratio.to_string(),
                wanted: "width over height, 0.1 to 10",
            });
        }
        Ok(())
    }
}

/// What becomes of the background.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Background {
    /// Pure white.
    White,
    /// As the camera saw it.
    AsShot,
}

/// What becomes of the shadow on a white background.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Shadow {
    /// It stays; without a frame of the empty table only near the object, where it is told from the
    /// table itself.
    Keep,
    /// It is taken out.
    Remove,
}
