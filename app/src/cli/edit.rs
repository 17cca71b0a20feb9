//! `roundstop set-aside` and `roundstop keep`: which frames are used.

use std::path::Path;

use session_core::journal::{ChoiceError, SessionFolder};

use super::{fault, pick, status, tell_recovery, usage};

/// Runs `roundstop set-aside DIR --stops …`.
pub fn set_aside(dir: &Path, text: &str) -> u8 {
    edit(dir, text, SessionFolder::set_aside)
}

/// Runs `roundstop keep DIR --stop … --version …`.
pub fn keep(dir: &Path, text: &str, version: u32) -> u8 {
    edit(dir, text, |folder, stops| folder.choose_version(stops, version))
}

/// Notes something on the stops named, on all or none.
fn edit(dir: &Path, text: &str, note: impl Fn(&SessionFolder, &[u32]) -> Result<(), ChoiceError>) -> u8 {
    let folder = match SessionFolder::open(dir) {
        Ok(folder) => folder,
        Err(error) => return fault(&error.into()),
    };
    tell_recovery(&folder);
    let picked = match pick::stops(text, folder.shots()) {
        Ok(picked) => picked,
        Err(reason) => return usage(&reason),
    };
    match note(&folder, &picked) {
        Ok(()) => {}
        Err(ChoiceError::Journal(error)) => return fault(&error.into()),
        Err(error) => return usage(&error.to_string()),
    }
    println!("{}", status::summary(&folder.status()));
    super::EXIT_DONE
}
