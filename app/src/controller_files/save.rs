//! Puts the files into a folder, such as the board's drive, without losing what is there.

use std::io;
use std::path::{Path, PathBuf};

use session_core::journal::durable::{Part, PathError, move_without_replacing, remove_copy, sync_folder};

use super::BoardFiles;

/// What became of one file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Saved {
    /// It is new.
    New(PathBuf),
    /// The same was there already.
    Same(PathBuf),
    /// Another one was there and is kept under the second name.
    Replaced(PathBuf, PathBuf),
}

/// Saves the files. All are compared before the first is written.
///
/// # Errors
/// A sentence for people: which file, what is wrong, what to do.
pub fn save(files: &BoardFiles, folder: &Path, replace: bool) -> Result<Vec<Saved>, String> {
    if !folder.is_dir() {
        let what = if folder.exists() { "is no folder" } else { "is not there" };
        return Err(format!(
            "{} {what}; name the board's drive, or an existing folder to copy from later",
            folder.display()
        ));
    }
    let mut different = Vec::new();
    let mut work = Vec::new();
    for (name, content) in &files.files {
        let path = folder.join(name);
        match std::fs::read(&path) {
            Ok(there) if there == content.as_bytes() => work.push((path, name, content, true)),
            Ok(_) => {
                different.push(*name);
                work.push((path, name, content, false));
            }
            Err(error) if error.kind() == io::ErrorKind::NotFound => work.push((path, name, content, false)),
            Err(error) => return Err(format!("{} cannot be read: {error}; check the drive", path.display())),
        }
    }
    if !replace && !different.is_empty() {
        return Err(format!(
            "{} in {} differ from what would be written; add --replace to put the new ones there (the old are kept with the \
             ending .old), or name another folder",
            different.join(", "),
            folder.display()
        ));
    }
    let mut saved = Vec::new();
    for (path, name, content, same) in work {
        if same {
            saved.push(Saved::Same(path));
            continue;
        }
        saved.push(put(folder, &path, name, content).map_err(|error| explain(folder, &error))?);
    }
    sync_folder(folder).map_err(|error| explain(folder, &error))?;
    Ok(saved)
}

fn put(folder: &Path, path: &Path, name: &str, content: &str) -> Result<Saved, PathError> {
    // Whole and synced under another name first, so that a full or pulled drive costs no working file.
    let part = Part::write(folder, name, content.as_bytes()).inspect_err(|error| {
        if error.source.kind() == io::ErrorKind::StorageFull {
            remove_copy(&error.path);
        }
    })?;
    let kept = if path.exists() {
        let old = free_name(folder, name);
        move_without_replacing(path, &old)?;
        Some(old)
    } else {
        None
    };
    part.settle(path)?;
    Ok(match kept {
        Some(old) => Saved::Replaced(path.to_owned(), old),
        None => Saved::New(path.to_owned()),
    })
}

/// `NAME.old`, or the first of `NAME.old.2`, `NAME.old.3` … that is free.
fn free_name(folder: &Path, name: &str) -> PathBuf {
    let first = folder.join(format!("{name}.old"));
    let numbered = (2..).map(|number| folder.join(format!("{name}.old.{number}")));
    std::iter::once(first.clone()).chain(numbered).find(|path| !path.exists()).unwrap_or(first)
}

fn explain(folder: &Path, error: &PathError) -> String {
    format!("{error}. What stood in {} before is still there; then try again", folder.display())
}
