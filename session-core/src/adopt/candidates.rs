//! Looking at files that may become frames.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use jiff::Timestamp;
use jiff::civil::DateTime;
use jiff::tz::TimeZone;

use super::AdoptError;
use super::order::natural_key;
use crate::camera::picture_files;
use crate::camera::settings::FrameSettings;
use crate::camera::sniff;
use crate::file_name::of_path;
use crate::journal::durable::PathError;
use crate::journal::{exposure_facts, sha256_hex};

/// One exposure's files.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate {
    /// The picture's path below the folder looked at.
    pub name: PathBuf,
    /// All its files, the picture first, RAW after it.
    pub files: Vec<PathBuf>,
    /// SHA-256 of each.
    pub sha256: Vec<String>,
    /// When it was taken, by the camera's clock; `None` where the file does not tell.
    pub taken: Option<DateTime>,
    /// When its file was last changed, local time.
    pub changed: DateTime,
    /// What it was shot with.
    pub settings: FrameSettings,
}

/// Looks at every picture file below a folder; files of one folder with one stem belong together.
pub(super) fn look(folder: &Path) -> Result<Vec<Candidate>, AdoptError> {
    let mut stems: BTreeMap<PathBuf, Vec<PathBuf>> = BTreeMap::new();
    for path in picture_files::below(folder).map_err(PathError::at("cannot list", folder))? {
        stems.entry(path.with_extension("")).or_default().push(path);
    }
    let mut bad = Vec::new();
    let mut found = Vec::new();
    for (_, mut files) in stems {
        files.sort_by_key(|path| natural_key(path));
        match candidate(folder, files)? {
            Ok(candidate) => found.push(candidate),
            Err(reason) => bad.push(reason),
        }
    }
    if !bad.is_empty() {
        return Err(AdoptError::NotWhole(bad));
    }
    if found.is_empty() {
        return Err(AdoptError::NoPictures(folder.to_owned()));
    }
    found.sort_by_key(|candidate| natural_key(&candidate.name));
    Ok(found)
}

/// Reads one exposure's files; the inner error says which is no whole picture.
fn candidate(folder: &Path, files: Vec<PathBuf>) -> Result<Result<Candidate, String>, AdoptError> {
    let mut read = Vec::new();
    let mut facts = None;
    let mut changed = Timestamp::UNIX_EPOCH;
    for path in files {
        let bytes = fs::read(&path).map_err(PathError::at("cannot read", &path))?;
        let kind = match sniff::inspect(&bytes, &path) {
            Ok(kind) => kind,
            Err(reason) => return Ok(Err(format!("{}: {reason}", of_path(&path)))),
        };
        let modified = fs::metadata(&path).and_then(|meta| meta.modified());
        let modified = modified.map_err(PathError::at("cannot look at", &path))?;
        changed = changed.max(Timestamp::try_from(modified).unwrap_or(Timestamp::UNIX_EPOCH));
        facts = facts.or_else(|| exposure_facts(&bytes));
        read.push((!kind.is_finished_picture(), path, sha256_hex(&bytes)));
    }
    read.sort_by_key(|(raw, _, _)| *raw);
    let name = read.first().map(|(_, path, _)| path.strip_prefix(folder).unwrap_or(path).to_owned());
    let (files, sha256) = read.into_iter().map(|(_, path, sha256)| (path, sha256)).unzip();
    Ok(Ok(Candidate {
        name: name.unwrap_or_default(),
        files,
        sha256,
        taken: facts.as_ref().and_then(|facts| clock_time(facts.taken_at.as_deref()?)),
        changed: TimeZone::system().to_datetime(changed),
        settings: FrameSettings {
            from_file: facts.map(|facts| facts.to_map()).unwrap_or_default(),
            ..FrameSettings::default()
        },
    }))
}

/// EXIF's `YYYY:MM:DD HH:MM:SS` with a fraction, if the camera wrote one; zeros stand for a clock not set.
fn clock_time(text: &str) -> Option<DateTime> {
    DateTime::strptime("%Y:%m:%d %H:%M:%S%.f", text.trim_end_matches(['\0', ' '])).ok()
}
