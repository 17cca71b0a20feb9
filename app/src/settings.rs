//! What is remembered from one start to the next: the look, the devices, where the work was.

use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use session_core::check::FlagPolicy;
use session_core::journal::SESSION_FILE;
use session_core::journal::durable::{create_folder, replace_state};
use session_core::turntable::serial::Dialect;

/// What is remembered; a field that is missing or unknown costs nothing else.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, Default)]
#[serde(default)]
pub struct Settings {
    /// Whether the window is light.
    pub light: bool,
    /// The size of everything in the window, 1 to 2.
    pub scale: Option<f32>,
    /// The window's width and height, points at a scale of 1.
    pub window: Option<[f32; 2]>,
    /// Whether the computer stays quiet when the set is done or a person is needed.
    pub silent: bool,
    /// What follows when a frame is flagged.
    pub on_flag: FlagPolicy,
    /// The language chosen, by its tag (BCP 47); `None` for English.
    pub language: Option<String>,
    /// The table last used, as the command line names it.
    pub table: Option<String>,
    /// How that table is spoken to; `None` for the program in `controller/`.
    pub dialect: Option<Dialect>,
    /// The camera last used, as the command line names it.
    pub camera: Option<String>,
    /// Sets that were worked on, the last one first.
    pub recent: Vec<PathBuf>,
    /// The shoot list in use.
    pub list: Option<PathBuf>,
}

/// Sets that are remembered.
const MOST_RECENT: usize = 12;

impl Settings {
    /// Remembers that this set was worked on; tells whether that is news.
    pub fn note_set(&mut self, folder: &Path) -> bool {
        if self.recent.first().is_some_and(|last| last == folder) {
            return false;
        }
        self.recent.retain(|known| known != folder);
        self.recent.insert(0, folder.to_owned());
        self.recent.truncate(MOST_RECENT);
        true
    }

    /// The set worked on last, of those that are still there.
    pub fn last_set(&self) -> Option<&Path> {
        self.recent.iter().map(PathBuf::as_path).find(|folder| folder.join(SESSION_FILE).is_file())
    }

    /// Remembers the window's size as the screen sees it: what is on it is `scale` times as large as its points.
    pub fn note_window(&mut self, points: [f32; 2], scale: f32) {
        self.window = Some(points.map(|side| (side * scale).round()));
    }

    /// The scale, within 1 to 2.
    pub fn scale(&self) -> f32 {
        self.scale.filter(|scale| scale.is_finite()).unwrap_or(1.0).clamp(1.0, 2.0)
    }

    /// The window's size, within what screens have.
    pub fn window_size(&self) -> [f32; 2] {
        let [width, height] =
            self.window.filter(|size| size.iter().all(|side| side.is_finite())).unwrap_or([1280.0, 800.0]);
        [width.clamp(1024.0, 8000.0), height.clamp(640.0, 5000.0)]
    }
}

/// The file they are remembered in; `None` on a system that names no such place.
pub fn place() -> Option<PathBuf> {
    Some(directories::ProjectDirs::from("", "", "Roundstop")?.config_dir().join("settings.json"))
}

/// Reads the settings; what cannot be read counts as never set, for nothing a person made is in them.
pub fn read(path: &Path) -> Settings {
    let text = std::fs::read_to_string(path).unwrap_or_default();
    serde_json::from_str(&text).unwrap_or_default()
}

/// Remembers the settings.
///
/// # Errors
/// A sentence when the file cannot be written.
pub fn write(path: &Path, settings: &Settings) -> Result<(), String> {
    if let Some(folder) = path.parent() {
        create_folder(folder).map_err(|error| error.to_string())?;
    }
    let text = serde_json::to_vec_pretty(settings).map_err(|error| error.to_string())?;
    replace_state(path, &text).map_err(|error| error.to_string())
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::disallowed_methods, clippy::float_cmp)]
    use super::*;

    #[test]
    fn settings_come_back_and_damage_costs_nothing() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("deep/settings.json");
        assert_eq!(read(&path), Settings::default());
        let settings = Settings {
            light: true,
            scale: Some(1.5),
            recent: vec!["sets/LH-1".into()],
            ..Settings::default()
        };
        write(&path, &settings).unwrap();
        assert_eq!(read(&path), settings);
        std::fs::write(&path, "{\"light\": true, \"of\": \"a later program\"}").unwrap();
        assert!(read(&path).light);
        std::fs::write(&path, "{\"light\": tru").unwrap();
        assert_eq!(read(&path), Settings::default());
    }

    #[test]
    fn the_last_sets_are_remembered_once_each_and_those_gone_are_passed_over() {
        let folder = tempfile::tempdir().unwrap();
        let mut settings = Settings::default();
        for number in 0..20 {
            assert!(settings.note_set(&folder.path().join(format!("set-{number}"))));
        }
        assert!(settings.note_set(&folder.path().join("set-15")));
        assert!(!settings.note_set(&folder.path().join("set-15")));
        assert_eq!(settings.recent.len(), MOST_RECENT);
        assert_eq!(settings.recent.iter().filter(|set| set.ends_with("set-15")).count(), 1);
        assert_eq!(settings.last_set(), None);
        let there = folder.path().join("set-18");
        std::fs::create_dir(&there).unwrap();
        std::fs::write(there.join(SESSION_FILE), "{}").unwrap();
        assert_eq!(settings.last_set(), Some(there.as_path()));
    }

    #[test]
    fn the_window_is_as_large_after_a_restart_whatever_the_scale() {
        for scale in [1.0, 1.5, 2.0] {
            let mut settings = Settings { scale: Some(scale), ..Settings::default() };
            // What 1500 by 900 on screen leaves at this scale.
            settings.note_window([1500.0 / scale, 900.0 / scale], settings.scale());
            assert_eq!(settings.window_size(), [1500.0, 900.0]);
        }
    }

    #[test]
    fn nonsense_is_brought_within_bounds() {
        let settings = Settings { scale: Some(40.0), window: Some([f32::NAN, 3.0]), ..Settings::default() };
        assert!((settings.scale() - 2.0).abs() < f32::EPSILON);
        assert_eq!(settings.window_size(), [1280.0, 800.0]);
    }
}
