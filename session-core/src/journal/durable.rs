//! The one place that writes state to disk.
//!
//! `std::fs::write`, `rename` and the removers are banned elsewhere by `clippy.toml`: each can replace
//! or lose something. What a crash may still lose is said at each function.

use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// How half-written state files begin; a killed run may leave one, which the next removes.
pub(super) const STATE_PREFIX: &str = ".roundstop-state-";

/// An I/O error with the path it happened to.
#[derive(Debug, thiserror::Error)]
#[error("{what} {}: {}", path.display(), reason(source))]
pub struct PathError {
    /// What was being done, such as `cannot write`.
    pub what: &'static str,
    /// The file or folder.
    pub path: PathBuf,
    /// The system's word on it.
    pub source: io::Error,
}

impl PathError {
    /// Ties an I/O error to its path; for `map_err`.
    pub fn at<'a>(what: &'static str, path: &'a Path) -> impl FnOnce(io::Error) -> Self + 'a {
        move |source| Self { what, path: path.to_owned(), source }
    }
}

/// The system's word in plain ones where people meet it often, with what to do.
fn reason(error: &io::Error) -> String {
    match error.kind() {
        io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => {
            "the disk is full; free some room on it".to_owned()
        }
        io::ErrorKind::ReadOnlyFilesystem => "the disk is read-only; choose another folder".to_owned(),
        io::ErrorKind::PermissionDenied => {
            "no permission; choose a folder of your own or change its permissions".to_owned()
        }
        _ => error.to_string(),
    }
}

/// Makes names inside a folder last through a power cut.
///
/// Some file systems (network shares) refuse to sync a folder; that is not an error, only a weaker
/// promise: after a power cut the newest names there may be missing.
pub fn sync_folder(folder: &Path) -> Result<(), PathError> {
    if cfg!(not(unix)) {
        return Ok(());
    }
    let handle = File::open(folder).map_err(PathError::at("cannot open folder", folder))?;
    match handle.sync_all() {
        Ok(()) => Ok(()),
        Err(error) if matches!(error.kind(), io::ErrorKind::InvalidInput | io::ErrorKind::Unsupported) => {
            Ok(())
        }
        Err(error) => Err(PathError::at("cannot sync folder", folder)(error)),
    }
}

/// Makes a folder and its missing parents, and makes each name last through a power cut.
pub fn create_folder(folder: &Path) -> Result<(), PathError> {
    if folder.is_dir() {
        return Ok(());
    }
    let parent = parent_of(folder);
    create_folder(parent)?;
    match fs::create_dir(folder) {
        // Another thread or program was quicker.
        Err(error) if error.kind() == io::ErrorKind::AlreadyExists && folder.is_dir() => {}
        made => made.map_err(PathError::at("cannot make folder", folder))?,
    }
    sync_folder(parent)
}

/// The folder that holds a path; of a bare name, the working folder.
pub fn parent_of(path: &Path) -> &Path {
    path.parent().filter(|parent| !parent.as_os_str().is_empty()).unwrap_or(Path::new("."))
}

/// Replaces a state file as a whole: readers see the old content or the new, never a part.
///
/// A crash may lose the new content, never the old. For state only; frames go through [`Part`].
pub fn replace_state(path: &Path, content: &[u8]) -> Result<(), PathError> {
    let at = |what| PathError::at(what, path);
    let folder = parent_of(path);
    let mut file =
        tempfile::Builder::new().prefix(STATE_PREFIX).tempfile_in(folder).map_err(at("cannot write"))?;
    file.write_all(content).map_err(at("cannot write"))?;
    file.as_file().sync_all().map_err(at("cannot sync"))?;
    set_common_permissions(file.as_file()).map_err(at("cannot set permissions of"))?;
    file.persist(path).map_err(|error| at("cannot replace")(error.error))?;
    sync_folder(folder)
}

/// Temporary files are private; what stays should be as readable as any file.
fn set_common_permissions(file: &File) -> io::Result<()> {
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        file.set_permissions(fs::Permissions::from_mode(0o644))?;
    }
    #[cfg(not(unix))]
    let _ = file;
    Ok(())
}

/// A whole, synced file that does not have its final name yet.
///
/// Dropped without [`Part::settle`], the `.part` file stays on disk for recovery to find.
#[derive(Debug)]
pub struct Part {
    path: PathBuf,
}

impl Part {
    /// Writes bytes to a new `NAME.part` beside the final place and syncs them.
    ///
    /// After a failure nothing stays: the bytes are still where they came from.
    pub fn write(folder: &Path, name: &str, bytes: &[u8]) -> Result<Self, PathError> {
        let mut attempt = 0;
        loop {
            let path = match attempt {
                0 => folder.join(format!("{name}.part")),
                // A killed run leaves a `.part` that must not be trusted or reused: write another.
                n => folder.join(format!("{name}.{n}.part")),
            };
            match File::options().write(true).create_new(true).open(&path) {
                Ok(mut file) => {
                    let written = file
                        .write_all(bytes)
                        .map_err(PathError::at("cannot write", &path))
                        .and_then(|()| file.sync_all().map_err(PathError::at("cannot sync", &path)));
                    if written.is_err() {
                        remove_copy(&path);
                    }
                    return written.map(|()| Self { path });
                }
                Err(error) if error.kind() == io::ErrorKind::AlreadyExists && attempt < 1000 => attempt += 1,
                Err(error) => return Err(PathError::at("cannot write", &path)(error)),
            }
        }
    }

    /// Takes up a `.part` file that an earlier run left complete.
    pub fn found(path: PathBuf) -> Self {
        Self { path }
    }

    /// Gives the file its final name without replacing anything.
    ///
    /// The name lasts through a power cut only after [`sync_folder`].
    pub fn settle(self, place: &Path) -> Result<(), PathError> {
        move_without_replacing(&self.path, place)
    }
}

/// Renames a file within one file system; fails with `AlreadyExists` rather than replace anything.
pub fn move_without_replacing(from: &Path, to: &Path) -> Result<(), PathError> {
    // tempfile knows each system's atomic way: renameat2, link and unlink, MoveFileEx.
    let path = tempfile::TempPath::try_from_path(from).map_err(PathError::at("cannot find", from))?;
    match path.persist_noclobber(to) {
        Ok(()) => Ok(()),
        Err(failed) => {
            let error = PathError::at("cannot move a file to", to)(failed.error);
            // Dropping a TempPath deletes its file; this one must stay.
            let _ = failed.path.keep();
            Err(error)
        }
    }
}

/// Removes a working copy whose content is kept elsewhere and synced.
#[allow(clippy::disallowed_methods, reason = "only copies of kept frames come here")]
pub fn remove_copy(path: &Path) {
    let _ = fs::remove_file(path);
}
