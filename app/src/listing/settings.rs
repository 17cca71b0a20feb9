//! `finishing.json` in the session folder: what was decided for this set.

use std::collections::BTreeMap;
use std::path::Path;

use anyhow::Context;
use imaging::finish::{Axis, CropSettings, FinishSettings};
use serde::{Deserialize, Serialize};
use session_core::journal::durable::replace_state;

/// The newest form of the file.
const SCHEMA: u32 = 1;
const NAME: &str = "finishing.json";

/// What `finishing.json` holds.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FinishingFile {
    /// The form of this file.
    pub schema: u32,
    /// The steps' settings.
    #[serde(default)]
    pub settings: FinishSettings,
    /// Whether the margin in the settings was chosen for this set; otherwise a listing takes its profile's.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub margin_is_chosen: bool,
    /// Longest side of finished pictures in pixels, 16 to 12 000; the camera's own scale where it is left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub size_px: Option<u32>,
    /// One frame of the empty table, as seen from the session folder; `{row}` stands for the row's name.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub plate: Option<String>,
    /// Frames of the empty table that belong to one row, by its name; they go before the one for all rows.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub plates: BTreeMap<String, String>,
    /// The turning axis by row, where it is to be other than measured.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub axes: BTreeMap<String, Axis>,
    /// Who took the pictures; goes into them.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub creator: String,
    /// Whose they are; goes into them.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub copyright: String,
}

impl Default for FinishingFile {
    fn default() -> Self {
        Self {
            schema: SCHEMA,
            settings: FinishSettings::default(),
            margin_is_chosen: false,
            size_px: None,
            plate: None,
            plates: BTreeMap::new(),
            axes: BTreeMap::new(),
            creator: String::new(),
            copyright: String::new(),
        }
    }
}

impl FinishingFile {
    /// The margin that was chosen for this set, per cent; `None` where it is just the usual one.
    pub fn chosen_margin(&self) -> Option<f64> {
        let margin = self.settings.crop?.margin_percent;
        (self.margin_is_chosen || differs(margin, CropSettings::default().margin_percent)).then_some(margin)
    }

    /// The frame of the empty table for a row of this name, as seen from the session folder.
    pub fn plate_of(&self, row: &str) -> Option<String> {
        let own = self.plates.get(row).cloned();
        own.or_else(|| self.plate.as_ref().map(|plate| plate.replace("{row}", row)))
    }

    /// Uses one name for all rows from now on, or no frame of the empty table at all.
    pub fn use_plate(&mut self, plate: Option<String>) {
        self.plate = plate;
        self.plates.clear();
    }

    /// Uses a frame of the empty table for one row, whose camera stands at a height of its own; `None` goes back to
    /// the one for all rows.
    pub fn use_plate_of_row(&mut self, row: String, plate: Option<String>) {
        match plate {
            Some(plate) => drop(self.plates.insert(row, plate)),
            None => drop(self.plates.remove(&row)),
        }
    }
}

/// Checks what the steps' own settings do not.
fn check(file: &FinishingFile) -> anyhow::Result<()> {
    file.settings.check()?;
    let fits = file.size_px.is_none_or(|side| (16..=12_000).contains(&side));
    anyhow::ensure!(fits, "size_px is {}; write 16 to 12000", file.size_px.unwrap_or_default());
    Ok(())
}

fn differs(one: f64, other: f64) -> bool {
    (one - other).abs() > 1e-9
}

/// Reads a set's settings; the usual ones where there is no file yet.
///
/// # Errors
/// When the file is no such file, newer, or holds a value outside its range.
pub fn read_finishing(dir: &Path) -> anyhow::Result<FinishingFile> {
    let path = dir.join(NAME);
    let text = match std::fs::read_to_string(&path) {
        Ok(text) => text,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(FinishingFile::default()),
        Err(error) => return Err(error).with_context(|| format!("{} cannot be read", path.display())),
    };
    let file: FinishingFile = serde_json::from_str(&text).with_context(|| {
        format!("{} cannot be understood; mend it, or remove it for the usual settings", path.display())
    })?;
    anyhow::ensure!(
        file.schema <= SCHEMA,
        "{} has form {}, this program reads up to form {SCHEMA}; use a newer Roundstop",
        path.display(),
        file.schema
    );
    check(&file).with_context(|| format!("in {}", path.display()))?;
    Ok(file)
}

/// Writes a set's settings, all or nothing. A margin that is changed counts as chosen for the set from then on.
///
/// # Errors
/// When the disk will not, or a value is outside its range.
pub fn write_finishing(dir: &Path, file: &FinishingFile) -> anyhow::Result<()> {
    check(file)?;
    let before = read_finishing(dir).unwrap_or_default();
    let margin = |file: &FinishingFile| file.settings.crop.unwrap_or_default().margin_percent;
    let mut file = file.clone();
    file.margin_is_chosen |= before.margin_is_chosen || differs(margin(&file), margin(&before));
    let text = serde_json::to_string_pretty(&file)? + "\n";
    replace_state(&dir.join(NAME), text.as_bytes())?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_are_read_back_as_they_were_written() {
        // What a picture is made with is compared as a digest: one last digit off and all is made anew.
        let mut state = 1_u64;
        for _ in 0..20_000 {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            let figure = (state >> 11) as f64 / (1_u64 << 53) as f64 * 6000.0;
            let read: f64 = serde_json::from_str(&serde_json::to_string(&figure).unwrap()).unwrap();
            assert_eq!(read.to_bits(), figure.to_bits(), "{figure}");
        }
    }

    #[test]
    fn a_margin_counts_as_chosen_once_it_was_changed() {
        let dir = tempfile::tempdir().unwrap();
        let store = |percent: f64, mark: bool| {
            let mut file = FinishingFile { margin_is_chosen: mark, ..FinishingFile::default() };
            file.settings.crop = Some(CropSettings { margin_percent: percent, ratio: 1.0 });
            write_finishing(dir.path(), &file).unwrap();
            read_finishing(dir.path()).unwrap().chosen_margin()
        };
        assert_eq!(FinishingFile::default().chosen_margin(), None);
        assert_eq!(store(8.0, false), None, "the usual one, untouched");
        assert_eq!(store(15.0, false), Some(15.0));
        assert_eq!(store(8.0, false), Some(8.0), "moved back to the usual one: chosen");
    }

    #[test]
    fn settings_are_kept_and_wrong_ones_refused() {
        let dir = tempfile::tempdir().unwrap();
        assert_eq!(read_finishing(dir.path()).unwrap(), FinishingFile::default());
        let mut file =
            FinishingFile { plate: Some("empty-{row}.jpg".to_owned()), ..FinishingFile::default() };
        file.axes.insert("level".to_owned(), Axis { column_px: 10.5, lean_deg: -0.25 });
        write_finishing(dir.path(), &file).unwrap();
        assert_eq!(read_finishing(dir.path()).unwrap(), file);
        file.settings.sharpen_percent = 400.0;
        assert!(
            write_finishing(dir.path(), &file).unwrap_err().to_string().contains("sharpen_percent is 400")
        );
        replace_state(&dir.path().join(NAME), br#"{"schema":9}"#).unwrap();
        assert!(read_finishing(dir.path()).unwrap_err().to_string().contains("newer Roundstop"));
    }
}
