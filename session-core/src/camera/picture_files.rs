//! Picture files below a folder, as cameras and cards lay them out.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use super::sniff;
use crate::journal::SESSION_FILE;

/// How deep cameras nest folders at most; DCIM/100ABCDE is two (DCF, JEITA CP-3461).
const DEEPEST: usize = 6;

/// Finds every picture file in a folder and its sub-folders, in no order.
///
/// Hidden files and folders, links to folders, and sets of this program are passed over: a set's own
/// frames must not come in as new ones.
///
/// # Errors
/// When the folder itself cannot be listed; a sub-folder that cannot is passed over.
pub fn below(folder: &Path) -> io::Result<Vec<PathBuf>> {
    let mut found = Vec::new();
    let mut waiting = collect(folder, &mut found)?;
    for _ in 0..DEEPEST {
        let mut deeper = Vec::new();
        for folder in waiting.iter().filter(|folder| !folder.join(SESSION_FILE).exists()) {
            deeper.extend(collect(folder, &mut found).unwrap_or_default());
        }
        waiting = deeper;
    }
    Ok(found)
}

/// Adds a folder's picture files to `found`; gives its sub-folders.
fn collect(folder: &Path, found: &mut Vec<PathBuf>) -> io::Result<Vec<PathBuf>> {
    let mut folders = Vec::new();
    for entry in fs::read_dir(folder)? {
        let Ok(entry) = entry else { continue };
        if entry.file_name().to_string_lossy().starts_with('.') {
            continue;
        }
        let path = entry.path();
        match entry.file_type() {
            Ok(kind) if kind.is_dir() => folders.push(path),
            Ok(_) if sniff::has_picture_extension(&path) => found.push(path),
            _ => {}
        }
    }
    Ok(folders)
}
