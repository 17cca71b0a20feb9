//! What a camera is set to, in the camera's own words.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

/// Settings as the camera words them, such as `1/60` or `Automatic`; `None` where it does not tell.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct CameraSettings {
    /// The exposure mode, such as `M` or `Program`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub exposure_mode: Option<String>,
    /// The shutter speed, seconds, such as `1/60`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub shutter: Option<String>,
    /// The f-number, such as `f/11` or `11`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub aperture: Option<String>,
    /// The ISO speed, such as `100` or `Auto`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub iso: Option<String>,
    /// The white balance, such as `Daylight` or `Automatic`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub white_balance: Option<String>,
    /// The focus mode, such as `Manual` or `AF-S`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub focus_mode: Option<String>,
    /// The form of the files, such as `RAW + Large Fine JPEG`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub image_format: Option<String>,
    /// Where the camera puts its files, such as `Memory card` or `Internal RAM`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub capture_target: Option<String>,
}

/// One thing that must stay the same through a set.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Setting {
    /// Who chooses shutter and aperture: the photographer or a program.
    ExposureMode,
    /// How long the shutter is open.
    Shutter,
    /// The f-number.
    Aperture,
    /// The ISO speed.
    Iso,
    /// The white balance.
    WhiteBalance,
    /// Whether the camera focuses by itself.
    FocusMode,
    /// The focal length; a zoom ring may creep.
    FocalLength,
    /// The form of the files.
    ImageFormat,
}

impl Setting {
    /// The word for people.
    pub fn word(self) -> &'static str {
        match self {
            Self::ExposureMode => "exposure mode",
            Self::Shutter => "shutter speed",
            Self::Aperture => "aperture",
            Self::Iso => "ISO",
            Self::WhiteBalance => "white balance",
            Self::FocusMode => "focus mode",
            Self::FocalLength => "focal length",
            Self::ImageFormat => "image format",
        }
    }

    /// Whether a value means that the camera chooses by itself; words that are not known count as fixed.
    fn is_automatic(self, value: &str) -> bool {
        let value = value.trim().to_lowercase();
        let holds = |words: &[&str]| words.iter().any(|word| value.contains(word));
        let is = |words: &[&str]| words.contains(&value.as_str());
        match self {
            Self::ExposureMode => {
                // Words that EXIF (CIPA DC-008), PTP (ISO 15740) and camera menus use for programs.
                is(&["p", "a", "s", "av", "tv", "sv", "tav", "a_dep", "dep", "green"])
                    || (!holds(&["manual"])
                        && holds(&[
                            "auto",
                            "program",
                            "priority",
                            "creative",
                            "action",
                            "sports",
                            "portrait",
                            "landscape",
                            "night",
                            "close",
                        ]))
            }
            Self::WhiteBalance => holds(&["auto"]) || value.starts_with("awb"),
            Self::FocusMode => {
                !holds(&["manual"])
                    && (holds(&["auto", "single", "continuous"])
                        || value.starts_with("af")
                        || value.starts_with("ai ")
                        || is(&["one shot", "one-shot"]))
            }
            Self::Shutter | Self::Aperture | Self::Iso => holds(&["auto"]),
            Self::FocalLength | Self::ImageFormat => false,
        }
    }
}

/// What one frame was made with: settings in words, as its file and as its camera tell them.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct FrameSettings {
    /// From the file's EXIF data.
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    pub from_file: BTreeMap<Setting, String>,
    /// From the camera itself.
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    pub from_camera: BTreeMap<Setting, String>,
}

/// One setting that is not what it was.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SettingChange {
    /// Which.
    pub setting: Setting,
    /// What it was.
    pub from: String,
    /// What it is now.
    pub to: String,
}

impl std::fmt::Display for SettingChange {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} changed from {} to {}", self.setting.word(), self.from, self.to)
    }
}

impl FrameSettings {
    /// Whether nothing is known.
    pub fn is_empty(&self) -> bool {
        self.from_file.is_empty() && self.from_camera.is_empty()
    }

    /// What differs from an earlier frame; a setting that either does not tell cannot differ.
    ///
    /// The file says what was really used, so the camera's word counts only where the files are silent.
    pub fn changes_from(&self, earlier: &Self) -> Vec<SettingChange> {
        let told_by_files =
            |setting| self.from_file.contains_key(setting) && earlier.from_file.contains_key(setting);
        let files = pairs(&earlier.from_file, &self.from_file);
        let cameras =
            pairs(&earlier.from_camera, &self.from_camera).filter(|(setting, _, _)| !told_by_files(setting));
        let changed = files.chain(cameras).filter(|(_, from, to)| from != to);
        changed
            .map(|(setting, from, to)| SettingChange {
                setting: *setting,
                from: from.clone(),
                to: to.clone(),
            })
            .collect()
    }

    /// What the camera chooses by itself, one sentence each with what to do.
    pub fn automatics(&self) -> Vec<String> {
        let mut found: BTreeMap<Setting, &String> = BTreeMap::new();
        for (setting, value) in self.from_camera.iter().chain(&self.from_file) {
            if setting.is_automatic(value) {
                found.insert(*setting, value);
            }
        }
        found
            .into_iter()
            .map(|(setting, value)| {
                let risk = match setting {
                    Setting::FocusMode => "the plane of focus may jump from stop to stop",
                    Setting::WhiteBalance => "colours may differ from stop to stop",
                    _ => "frames may come out lighter and darker from stop to stop",
                };
                format!(
                    "The camera chooses its {} by itself ('{value}'): {risk}. Set it by hand before the set.",
                    setting.word()
                )
            })
            .collect()
    }
}

/// Values that both tell.
fn pairs<'a>(
    earlier: &'a BTreeMap<Setting, String>,
    later: &'a BTreeMap<Setting, String>,
) -> impl Iterator<Item = (&'a Setting, &'a String, &'a String)> {
    earlier.iter().filter_map(|(setting, from)| Some((setting, from, later.get(setting)?)))
}

impl CameraSettings {
    /// The settings that must stay the same, by kind.
    pub fn to_map(&self) -> BTreeMap<Setting, String> {
        [
            (Setting::ExposureMode, &self.exposure_mode),
            (Setting::Shutter, &self.shutter),
            (Setting::Aperture, &self.aperture),
            (Setting::Iso, &self.iso),
            (Setting::WhiteBalance, &self.white_balance),
            (Setting::FocusMode, &self.focus_mode),
            (Setting::ImageFormat, &self.image_format),
        ]
        .into_iter()
        .filter_map(|(setting, value)| Some((setting, value.clone()?)))
        .collect()
    }

    /// What the camera chooses by itself, one sentence each with what to do.
    pub fn automatics(&self) -> Vec<String> {
        FrameSettings { from_camera: self.to_map(), ..FrameSettings::default() }.automatics()
    }
}
