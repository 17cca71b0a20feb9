//! What a shop asks for, in a small file of our own.

use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::MovingKind;
use super::encode::{Chroma, FileType};
use crate::finish::{Background, CropSettings, FinishSettings, Target};

/// Says what is wrong with a listing profile.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum ProfileError {
    /// It is no TOML or has unknown or missing fields.
    #[error("it cannot be understood: {0}")]
    Form(String),
    /// This build has no encoder for the file type; only AVIF can be left out.
    #[error(
        "it asks for AVIF pictures, which this Roundstop was built without; build it with `--features avif`, or write file_type = \"webp\""
    )]
    NotBuiltIn,
    /// A value is outside its range.
    #[error("{field} is {found}; write {wanted}")]
    Range {
        /// The field.
        field: &'static str,
        /// What it holds.
        found: String,
        /// What it may hold.
        wanted: &'static str,
    },
    /// The stops cannot be thinned evenly.
    #[error("{have} stops cannot be thinned evenly to {want}; possible are {possible}")]
    Frames {
        /// Stops there are.
        have: usize,
        /// Frames asked for.
        want: usize,
        /// What would work, in words.
        possible: String,
    },
}

/// The colours of a listing's pictures.
///
/// Finishing works in sRGB, and a shop's page shows other colours wrongly wherever their profile is dropped (common
/// practice, no source): so there is one to name.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum ColourSpace {
    /// IEC 61966-2-1.
    #[default]
    Srgb,
}

/// A listing profile.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ListingProfile {
    /// Its name for people.
    pub name: String,
    /// Width of each picture in pixels, 16 to 12 000. Width and height give the ratio.
    pub width_px: u32,
    /// Height in pixels, 16 to 12 000.
    pub height_px: u32,
    /// The file type: jpeg, webp, png, or avif where that is built in.
    #[serde(default)]
    pub file_type: FileType,
    /// The pictures' colours.
    #[serde(default)]
    pub colour_space: ColourSpace,
    /// Highest quality tried, 1 to 100; nothing to PNG.
    #[serde(default = "default_quality")]
    pub quality: u8,
    /// The quality below which a byte limit is refused, 1 to 100.
    #[serde(default = "default_min_quality")]
    pub min_quality: u8,
    /// Colour detail in JPEG.
    #[serde(default)]
    pub chroma: Chroma,
    /// Most bytes a file may have.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub max_bytes: Option<u64>,
    /// Room on each side of the object in per cent of the picture, 0 to 45, for sets that have no margin of their
    /// own.
    #[serde(default = "default_margin")]
    pub margin_percent: f64,
    /// Whether that margin holds for every set, whatever was chosen for it.
    #[serde(default)]
    pub margin_is_fixed: bool,
    /// White, or as shot.
    #[serde(default = "default_background")]
    pub background: Background,
    /// What the moving preview is coded as.
    #[serde(default)]
    pub moving: MovingKind,
    /// How many frames a second a video made of the pictures shows, 1 to 120: then a numbered sequence of stills
    /// is written too.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sequence_fps: Option<f64>,
    /// How many frames of each row are taken; all of them where it is left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub frames: Option<u32>,
    /// How files are named, as in a plan: {sku} {row} {stop} {degrees}.
    #[serde(default = "default_file_name")]
    pub file_name: String,
    /// Whether the camera's exposure data stays in the files.
    #[serde(default = "yes")]
    pub keep_exif: bool,
    /// Whether place, serial numbers and owner stay too.
    #[serde(default)]
    pub keep_place_and_serials: bool,
}

fn default_quality() -> u8 {
    88
}
fn default_min_quality() -> u8 {
    50
}
fn default_margin() -> f64 {
    8.0
}
fn default_background() -> Background {
    Background::White
}
fn default_file_name() -> String {
    "{sku}_{stop}".to_owned()
}
fn yes() -> bool {
    true
}

impl ListingProfile {
    /// Reads a profile.
    ///
    /// # Errors
    /// [`ProfileError`] with the field it is about.
    pub fn from_toml(text: &str) -> Result<Self, ProfileError> {
        let profile: Self = toml::from_str(text).map_err(|e| ProfileError::Form(e.to_string()))?;
        profile.check()?;
        Ok(profile)
    }

    /// Checks the ranges, and that this build can write the file type.
    ///
    /// # Errors
    /// The first field that cannot be used.
    pub fn check(&self) -> Result<(), ProfileError> {
        let range = |field, found: String, good: bool, wanted| {
            if good { Ok(()) } else { Err(ProfileError::Range { field, found, wanted }) }
        };
        if !self.file_type.is_built_in() {
            return Err(ProfileError::NotBuiltIn);
        }
        range("name", "blank".to_owned(), !self.name.trim().is_empty(), "a name for people")?;
        let side = 16..=12_000;
        range("width_px", self.width_px.to_string(), side.contains(&self.width_px), "16 to 12000")?;
        range("height_px", self.height_px.to_string(), side.contains(&self.height_px), "16 to 12000")?;
        let quality = 1..=100;
        range("quality", self.quality.to_string(), quality.contains(&self.quality), "1 to 100")?;
        let good = self.min_quality >= 1 && self.min_quality <= self.quality;
        range("min_quality", self.min_quality.to_string(), good, "1 up to quality")?;
        let margin = (0.0..=45.0).contains(&self.margin_percent);
        range("margin_percent", self.margin_percent.to_string(), margin, "0 to 45")?;
        if let Some(fps) = self.sequence_fps {
            range("sequence_fps", fps.to_string(), (1.0..=120.0).contains(&fps), "1 to 120")?;
        }
        range("max_bytes", "too small".to_owned(), self.max_bytes.is_none_or(|b| b >= 1000), "1000 or more")?;
        range("frames", "0".to_owned(), self.frames != Some(0), "1 or more, or leave it out")?;
        let ratio = f64::from(self.width_px) / f64::from(self.height_px);
        range(
            "width_px",
            format!("{ratio:.1} times height_px"),
            (0.1..=10.0).contains(&ratio),
            "0.1 to 10 times",
        )
    }

    /// The pictures' size.
    pub fn target(&self) -> Target {
        Target { width_px: self.width_px, height_px: self.height_px }
    }

    /// Memory that coding one picture takes, bytes.
    pub fn memory_to_code(&self) -> u64 {
        const CODEC: u64 = 64 * 1024 * 1024;
        u64::from(self.width_px) * u64::from(self.height_px) * self.file_type.bytes_per_pixel() + CODEC
    }

    /// The room round the object, per cent: what was chosen for the set, unless the profile's is fixed.
    pub fn margin_for(&self, chosen: Option<f64>) -> f64 {
        chosen.filter(|_| !self.margin_is_fixed).unwrap_or(self.margin_percent)
    }

    /// Says where the margin is from, when a person may wonder.
    pub fn margin_note(&self, chosen: Option<f64>) -> Option<String> {
        let chosen = chosen.filter(|chosen| (chosen - self.margin_percent).abs() > 1e-9)?;
        let own = self.margin_percent;
        Some(if self.margin_is_fixed {
            format!(
                "the margin is {own} %, which this profile wants of every set; for the set itself {chosen} % was chosen"
            )
        } else {
            format!("the margin is {chosen} %, as chosen for this set; the profile's own is {own} %")
        })
    }

    /// The set's finishing with this profile's ratio and background, and the margin of one of them; `chosen` is
    /// the margin that was chosen for the set.
    #[must_use]
    pub fn finishing(&self, set: &FinishSettings, chosen: Option<f64>) -> FinishSettings {
        let ratio = f64::from(self.width_px) / f64::from(self.height_px);
        FinishSettings {
            crop: Some(CropSettings { margin_percent: self.margin_for(chosen), ratio }),
            background: self.background,
            ..set.clone()
        }
    }
}

/// Which of `have` stops of a row are taken so that `want` remain, evenly: their places from 0.
///
/// # Errors
/// [`ProfileError::Frames`] when the step would be no whole number.
pub fn thinned(have: usize, want: Option<u32>) -> Result<Vec<usize>, ProfileError> {
    let want = want.map_or(have, |w| w as usize);
    if want == 0 || have == 0 || !have.is_multiple_of(want) {
        let possible: Vec<String> =
            (1..=have).filter(|n| have.is_multiple_of(*n)).map(|n| n.to_string()).collect();
        return Err(ProfileError::Frames { have, want, possible: possible.join(", ") });
    }
    Ok((0..have).step_by(have / want).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stops_are_thinned_evenly_or_not_at_all() {
        assert_eq!(thinned(72, Some(24)).unwrap(), (0..24).map(|i| i * 3).collect::<Vec<_>>());
        assert_eq!(thinned(5, None).unwrap(), [0, 1, 2, 3, 4]);
        let error = thinned(36, Some(24)).unwrap_err().to_string();
        assert_eq!(
            error,
            "36 stops cannot be thinned evenly to 24; possible are 1, 2, 3, 4, 6, 9, 12, 18, 36"
        );
        assert!(thinned(24, Some(48)).is_err());
    }

    #[test]
    fn a_margin_chosen_for_the_set_wins_unless_the_profiles_is_fixed() {
        let read = |more: &str| {
            let text = format!("name = 'Demo'\nwidth_px = 800\nheight_px = 800\nmargin_percent = 6\n{more}");
            ListingProfile::from_toml(&text).unwrap()
        };
        let margin = |profile: &ListingProfile, chosen| {
            let finishing = profile.finishing(&FinishSettings::default(), chosen);
            (finishing.crop.unwrap().margin_percent, profile.margin_note(chosen).unwrap_or_default())
        };
        let open = read("");
        assert_eq!(margin(&open, None), (6.0, String::new()));
        assert_eq!(margin(&open, Some(6.0)), (6.0, String::new()));
        let (found, note) = margin(&open, Some(15.0));
        assert!((found - 15.0).abs() < 1e-9 && note.contains("15 %, as chosen for this set"), "{note}");
        let (found, note) = margin(&read("margin_is_fixed = true"), Some(15.0));
        assert!((found - 6.0).abs() < 1e-9 && note.contains("this profile wants of every set"), "{note}");
    }

    /// A profile that asks for AVIF.
    fn avif() -> Result<ListingProfile, ProfileError> {
        ListingProfile::from_toml("name = 'Demo'\nwidth_px = 800\nheight_px = 800\nfile_type = 'avif'")
    }

    #[cfg(feature = "avif")]
    #[test]
    fn avif_is_read_where_it_is_built_in() {
        assert_eq!(avif().unwrap().file_type, FileType::Avif);
    }

    #[cfg(not(feature = "avif"))]
    #[test]
    fn avif_is_refused_where_it_is_not_built_in_with_what_to_do() {
        let said = avif().unwrap_err().to_string();
        assert!(said.contains("--features avif") && said.contains("webp"), "{said}");
    }

    #[test]
    fn a_profile_is_read_with_its_defaults_and_refused_with_the_field() {
        let read = |more: &str| ListingProfile::from_toml(&format!("name = 'Demo'\nwidth_px = 800\n{more}"));
        let profile = read("height_px = 600\ncolour_space = 'srgb'").unwrap();
        assert_eq!(profile, read("height_px = 600").unwrap());
        assert_eq!((profile.quality, profile.file_type, profile.frames), (88, FileType::Jpeg, None));
        assert_eq!((profile.moving, profile.sequence_fps), (MovingKind::WebP, None));
        let finishing = profile.finishing(&FinishSettings::default(), None);
        assert!((finishing.crop.unwrap().ratio - 4.0 / 3.0).abs() < 1e-9);
        for (more, word) in [
            ("height_px = 2", "height_px"),
            ("height_px = 600\nquality = 0", "quality"),
            ("height_px = 600\nmin_quality = 95", "min_quality"),
            ("height_px = 600\nframes = 0", "frames"),
            ("height_px = 600\nsequence_fps = 0", "sequence_fps"),
            ("height_px = 600\nmoving = 'avi'", "unknown variant"),
            ("height_px = 600\nshop = 'x'", "unknown field"),
            ("height_px = 600\nfile_type = 'gif'", "unknown variant"),
            ("height_px = 600\ncolour_space = 'adobe-rgb'", "expected `srgb`"),
            ("height_px = 60", "10 times"),
            ("", "height_px"),
        ] {
            let error = read(more).unwrap_err().to_string();
            assert!(error.contains(word), "{more}: {error}");
        }
        let blank = ListingProfile::from_toml("name = ' '\nwidth_px = 800\nheight_px = 800");
        assert!(blank.unwrap_err().to_string().contains("name is blank"));
    }
}
