//! Files that are made, as opposed to shot: written whole, swapped in at the end, removed when stale.
//!
//! The only place of this crate that removes or renames; it touches nothing but what it can tell as its own.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use anyhow::Context;
use imaging::export::Manifest;
use session_core::journal::durable::{PathError, create_folder, parent_of, replace_state, sync_folder};

/// What a listing's manifest says it was written by.
pub(super) const WRITTEN_BY: &str = concat!("Roundstop ", env!("CARGO_PKG_VERSION"));

/// The list of what was made, in its folder.
pub(super) const MANIFEST: &str = "manifest.json";

/// Whether a file with this key is there already.
pub(super) fn has_key(path: &Path, key: &str) -> Option<Vec<u8>> {
    let bytes = std::fs::read(path).ok()?;
    (super::key_in(&bytes) == Some(key)).then_some(bytes)
}

/// A folder that is filled beside its place and takes it when it is complete.
pub(super) struct Draft {
    place: PathBuf,
    part: PathBuf,
    old: PathBuf,
}

impl Draft {
    /// Begins, or goes on with, a draft for `place`.
    ///
    /// # Errors
    /// When something else lies there, or the folder cannot be made.
    pub fn open(place: &Path) -> anyhow::Result<Self> {
        let name = place
            .file_name()
            .with_context(|| format!("{} has no name of its own; choose another folder", place.display()))?
            .to_string_lossy()
            .into_owned();
        let beside = parent_of(place);
        create_folder(beside)?;
        let draft = Self {
            place: place.to_owned(),
            part: beside.join(format!(".{name}.roundstop-part")),
            old: beside.join(format!(".{name}.roundstop-old")),
        };
        draft.mend()?;
        draft.check_place()?;
        create_folder(&draft.part)?;
        Ok(draft)
    }

    /// A kill between the two renames leaves the old listing aside: it goes back.
    fn mend(&self) -> anyhow::Result<()> {
        if self.old.is_dir() && !self.place.exists() {
            rename(&self.old, &self.place)?;
        }
        Ok(())
    }

    /// Only a listing of ours is ever replaced, and only when all in it is in its list.
    fn check_place(&self) -> anyhow::Result<()> {
        if !self.place.exists() {
            return Ok(());
        }
        anyhow::ensure!(self.place.is_dir(), "{} is a file; choose another folder", self.place.display());
        let found = files_below(&self.place)?;
        if found.is_empty() {
            return Ok(());
        }
        // Finished pictures have a list too, of no profile.
        let Some(manifest) = own_manifest(&self.place).filter(|list| !list.profile.is_empty()) else {
            anyhow::bail!(
                "{} holds other files, which an export would replace; choose another folder",
                self.place.display()
            );
        };
        let own: BTreeSet<String> =
            manifest.pictures.into_iter().map(|p| p.file).chain(manifest.other_files).collect();
        if let Some(foreign) = found.iter().find(|file| !own.contains(*file)) {
            anyhow::bail!(
                "{} also holds {foreign}, which the export did not make; move it away, or choose another folder",
                self.place.display()
            );
        }
        Ok(())
    }

    /// Takes over a file with this key from an unfinished draft or from the listing in place.
    ///
    /// # Errors
    /// When the copy cannot be written.
    pub fn reuse(&self, file: &str, key: &str) -> anyhow::Result<Option<Vec<u8>>> {
        if let Some(bytes) = has_key(&self.part.join(file), key) {
            return Ok(Some(bytes));
        }
        let Some(bytes) = has_key(&self.place.join(file), key) else { return Ok(None) };
        self.write(file, &bytes)?;
        Ok(Some(bytes))
    }

    /// Writes one file whole.
    ///
    /// # Errors
    /// When the disk will not.
    pub fn write(&self, file: &str, bytes: &[u8]) -> anyhow::Result<()> {
        let path = self.part.join(file);
        if let Some(parent) = path.parent() {
            create_folder(parent)?;
        }
        Ok(replace_state(&path, bytes)?)
    }

    /// Reads one file of the draft.
    ///
    /// # Errors
    /// When it cannot be read.
    pub fn read(&self, file: &str) -> std::io::Result<Vec<u8>> {
        std::fs::read(self.part.join(file))
    }

    /// Puts the draft in its place; files that are not in `files` are left out.
    ///
    /// # Errors
    /// When the disk will not; the old listing then stays or goes back at the next run.
    pub fn settle(self, files: &BTreeSet<String>) -> anyhow::Result<()> {
        for stale in files_below(&self.part)?.iter().filter(|f| !files.contains(*f)) {
            remove_file(&self.part.join(stale))?;
        }
        self.check_place()?;
        if self.old.exists() {
            remove_folder(&self.old)?;
        }
        if self.place.exists() {
            rename(&self.place, &self.old)?;
        }
        rename(&self.part, &self.place)?;
        sync_folder(parent_of(&self.place))?;
        if self.old.exists() {
            remove_folder(&self.old)?;
        }
        Ok(())
    }
}

/// The list in a folder, where it is one that this program wrote.
fn own_manifest(folder: &Path) -> Option<Manifest> {
    let bytes = std::fs::read(folder.join(MANIFEST)).ok()?;
    let manifest: Manifest = serde_json::from_slice(&bytes).ok()?;
    manifest.written_by.starts_with("Roundstop ").then_some(manifest)
}

/// Removes the list of what was made from a folder that is about to change; only one of ours.
///
/// # Errors
/// When the disk will not.
pub(super) fn remove_manifest(folder: &Path) -> anyhow::Result<()> {
    if own_manifest(folder).is_some() { remove_file(&folder.join(MANIFEST)) } else { Ok(()) }
}

/// Removes pictures of earlier runs from `finished/` that are no longer made; only files that carry a key.
///
/// # Errors
/// When the folder cannot be read.
pub(super) fn remove_stale(folder: &Path, keep: &BTreeSet<String>) -> anyhow::Result<()> {
    for file in files_below(folder)?.iter().filter(|f| !keep.contains(*f)) {
        let path = folder.join(file);
        let own = std::fs::read(&path).is_ok_and(|bytes| super::key_in(&bytes).is_some());
        if own {
            remove_file(&path)?;
        }
    }
    Ok(())
}

/// Names of all files in a folder and its folders, as seen from it, with `/`.
fn files_below(folder: &Path) -> anyhow::Result<BTreeSet<String>> {
    let mut found = BTreeSet::new();
    let mut open = vec![(folder.to_owned(), String::new())];
    while let Some((at, prefix)) = open.pop() {
        for entry in std::fs::read_dir(&at).map_err(PathError::at("cannot read folder", &at))? {
            let entry = entry.map_err(PathError::at("cannot read folder", &at))?;
            let name = format!("{prefix}{}", entry.file_name().to_string_lossy());
            if entry.path().is_dir() {
                open.push((entry.path(), format!("{name}/")));
            } else {
                found.insert(name);
            }
        }
    }
    Ok(found)
}

#[allow(clippy::disallowed_methods, reason = "only folders that an export made, checked by their manifest")]
fn rename(from: &Path, to: &Path) -> anyhow::Result<()> {
    Ok(std::fs::rename(from, to).map_err(PathError::at("cannot move", from))?)
}

#[allow(
    clippy::disallowed_methods,
    reason = "only files of an export's draft, pictures that carry a key, and lists of them"
)]
fn remove_file(path: &Path) -> anyhow::Result<()> {
    Ok(std::fs::remove_file(path).map_err(PathError::at("cannot remove", path))?)
}

#[allow(clippy::disallowed_methods, reason = "only a listing whose every file is in its own manifest")]
fn remove_folder(path: &Path) -> anyhow::Result<()> {
    Ok(std::fs::remove_dir_all(path).map_err(PathError::at("cannot remove", path))?)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn manifest(files: &[&str]) -> Vec<u8> {
        let manifest = Manifest {
            written_by: WRITTEN_BY.to_owned(),
            sku: "LH-1".to_owned(),
            title: String::new(),
            profile: "demo".to_owned(),
            pictures: Vec::new(),
            other_files: files.iter().map(|f| (*f).to_owned()).collect(),
        };
        manifest.to_json().unwrap().into_bytes()
    }

    #[test]
    fn a_listing_is_replaced_and_anything_else_is_not() {
        let dir = tempfile::tempdir().unwrap();
        let place = dir.path().join("out");
        let own = BTreeSet::from(["manifest.json".to_owned(), "a.txt".to_owned()]);
        for text in ["one", "two"] {
            let draft = Draft::open(&place).unwrap();
            draft.write("a.txt", text.as_bytes()).unwrap();
            draft.write("sub/stale.txt", b"left by a killed run").unwrap();
            draft.write("manifest.json", &manifest(&["a.txt", "manifest.json"])).unwrap();
            assert!(
                !std::fs::read_to_string(place.join("a.txt")).is_ok_and(|t| t == text),
                "not before the end"
            );
            draft.settle(&own).unwrap();
            assert_eq!(std::fs::read_to_string(place.join("a.txt")).unwrap(), text);
        }
        assert_eq!(std::fs::read_dir(dir.path()).unwrap().count(), 1, "nothing else is left");
        replace_state(&place.join("mine.txt"), b"a person's").unwrap();
        let error = Draft::open(&place).err().unwrap().to_string();
        assert!(error.contains("mine.txt"), "{error}");
        let other = dir.path().join("other");
        create_folder(&other).unwrap();
        replace_state(&other.join("x"), b"").unwrap();
        assert!(Draft::open(&other).err().unwrap().to_string().contains("holds other files"));
        let finished = dir.path().join("finished");
        create_folder(&finished).unwrap();
        let list = String::from_utf8(manifest(&["manifest.json"])).unwrap().replace("\"demo\"", "\"\"");
        replace_state(&finished.join("manifest.json"), list.as_bytes()).unwrap();
        assert!(Draft::open(&finished).err().unwrap().to_string().contains("holds other files"));
    }

    #[test]
    fn a_kill_between_the_renames_is_mended() {
        let dir = tempfile::tempdir().unwrap();
        let old = dir.path().join(".out.roundstop-old");
        create_folder(&old).unwrap();
        replace_state(&old.join("manifest.json"), &manifest(&["manifest.json"])).unwrap();
        Draft::open(&dir.path().join("out")).unwrap();
        assert!(dir.path().join("out/manifest.json").is_file());
    }
}
