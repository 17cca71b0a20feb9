//! `finishing.json` in the session folder: what was decided for this set.

use std::collections::BTreeMap;
use std::path::Path;

use anyhow::Context;
use imaging::finish::{Axis, FinishSettings};
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
    /// One frame of the empty table, as seen from the session folder; `{row}` stands for the row's name.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub plate: Option<String>,
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
            plate: None,
            axes: BTreeMap::new(),
            creator: String::new(),
            copyright: String::new(),
        }
    }
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
    file.settings.check().with_context(|| format!("in {}", path.display()))?;
    Ok(file)
}

/// Writes a set's settings, all or nothing.
///
/// # Errors
/// When the disk will not, or a value is outside its range.
pub fn write_finishing(dir: &Path, file: &FinishingFile) -> anyhow::Result<()> {
    file.settings.check()?;
    let text = serde_json::to_string_pretty(file)? + "\n";
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
